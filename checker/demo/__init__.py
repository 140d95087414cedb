"""The sample hall: models of a cold store, clean or with chosen defects, and the truth about each.

`write_hall` writes them as IFC in many guises; what a check must find is known beforehand, from the geometry as drawn.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from checker.demo.author import Options, guid, write_files
from checker.demo.defects import DEFECTS, LIMITS, Defect
from checker.demo.hall import Place, clean_parts, finished
from checker.demo.truth import Expected, SeamTruth, Truth, expected_text, seams_table
from checker.errors import BadSettings, did_you_mean

__all__ = [
    "DEFECTS",
    "LIMITS",
    "Defect",
    "Expected",
    "Options",
    "SeamTruth",
    "Truth",
    "expected_text",
    "seams_table",
    "write_hall",
]

DEFAULT: Final = Options()


def write_hall(folder: Path, defects: Sequence[str] = (), options: Options = DEFAULT) -> Truth:
    """Write the sample hall into ``folder`` (made if absent) and tell the truth about it.

    Raises `BadSettings` for a defect that is not in `DEFECTS`, ValueError for options that do not go together.
    """
    for name in defects:
        if name not in DEFECTS:
            raise BadSettings(f"The sample hall has no defect '{name}'. {did_you_mean(name, DEFECTS)}")
    chosen = [defect for name, defect in DEFECTS.items() if name in defects]
    frames, parts = clean_parts()
    for defect in chosen:
        defect.edit(parts)
    hall = finished(frames, parts, options.tongues, options.mirror)
    written = write_files(folder, hall, options)

    def in_model(facade: str, place: Place) -> Place:
        x, y, z = written.building.apply(hall.frames[facade].world(place))
        return round(x / 1000, 6), round(y / 1000, 6), round(z / 1000, 6)

    seams = tuple(
        SeamTruth(
            kind="panel-end",
            left=guid(seam.left),
            right=guid(seam.right),
            column=guid(seam.column),
            facade=seam.facade,
            axis=seam.axis,
            row=seam.row,
            length_mm=seam.length_mm,
            width_min_mm=seam.width_min_mm,
            width_max_mm=seam.width_max_mm,
            offset_left_mm=seam.offset_left_mm,
            offset_right_mm=seam.offset_right_mm,
            place=in_model(seam.facade, seam.place),
        )
        for seam in hall.seams
    )
    expected = tuple(
        Expected(
            defect=defect.name,
            rule=fault.rule,
            state="fail",
            severity=fault.severity,
            elements=tuple(guid(key) for key in fault.elements),
            names=tuple(written.names[key] for key in fault.elements),
            value_mm=fault.value_mm,
            minimum_mm=fault.minimum_mm,
            maximum_mm=fault.maximum_mm,
            place=in_model(fault.facade, fault.place),
            says=fault.says,
            facade=fault.facade,
            seam=fault.seam,
            side=fault.side,
        )
        for defect in chosen
        for fault in defect.faults(hall)
    )
    return Truth(written.files, seams, expected)
