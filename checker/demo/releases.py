"""Three weekly releases of the sample hall, in which defects are mended, made, made worse and brought back."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from checker.demo.author import Options, write_files
from checker.demo.defects import DEFECTS, Parts, _stretch
from checker.demo.hall import clean_parts, finished

FAR_OFF: Final[Mapping[str, Callable[[Parts], None]]] = {
    "4 mm shorter": _stretch("A/panel/1/2", "u", high=-4.0),
    "4 mm longer": _stretch("A/panel/1/2", "u", high=4.0),
    "20 mm less lap": _stretch("A/seam-flashing/2/1", "v", high=-20.0),
}
"""What is done to a part besides its defect."""


@dataclass(frozen=True, slots=True)
class Release:
    """One release: its defects, what else is done to parts, parts exported with other GlobalIds, models left out."""

    saved: str
    defects: tuple[str, ...]
    edits: tuple[str, ...] = ()
    reissued: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


_ALWAYS: Final = ("short-panel", "plinth-low", "flashing-lap-vertical-80", "column-seal-gap-5", "opening-seal-no-sill")
RELEASES: Final[Mapping[str, Release]] = {
    "1": Release("2026-03-02T08:00:00", (*_ALWAYS, "raked-end", "rail-off", "foam-missing-row")),
    "2": Release(
        "2026-03-09T08:00:00",
        (*_ALWAYS, "rail-off", "overlap-panels"),
        edits=("4 mm shorter",),
        reissued=("D/panel/", "D/column-seal/", "D/foam/"),
    ),
    "3": Release(
        "2026-03-16T08:00:00",
        (*_ALWAYS, "rail-off", "rail-off", "overlap-panels", "foam-missing-row", "door-threshold-seal-missing"),
        edits=("4 mm longer", "20 mm less lap"),
        reissued=("D/panel/", "D/column-seal/", "D/foam/"),
        missing=("precast",),
    ),
}


def write_releases(folder: Path) -> None:
    """Write the models of each release into a folder of its own, packed, for they hardly differ."""
    for name, release in RELEASES.items():
        frames, parts = clean_parts()
        for defect in release.defects:  # one that is named twice is twice as large
            DEFECTS[defect].edit(parts)
        for edit in release.edits:
            FAR_OFF[edit](parts)
        hall = finished(frames, parts, tongues=False, mirror=False)
        options = Options(zipped=True, saved=release.saved, reissued=release.reissued)
        for path in write_files(folder / name, hall, options).files:
            if path.stem in release.missing:
                path.unlink()
