"""Flashing over the vertical seam."""

from dataclasses import dataclass

from checker.facade import Facade, PanelEndSeams
from checker.measure import joined, lacks, laid_over
from checker.rule import Verdicts, limit, rule
from checker.sections import SEAM_FLASHING
from checker.sketch import detail


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    cover_mm: float = limit(
        50.0,
        "mm",
        "least cover over each panel, smooth surface, category A; 75 in categories B and C",
        basis="published",
        source="code of practice for metal roof and wall cladding (New Zealand), flashing cover",
    )
    gap_mm: float = limit(
        10.0, "mm", "largest stretch of the seam that shows, also below a sloping roof edge", basis="practice"
    )


@rule(
    subject=PanelEndSeams,
    limits=Limits,
    layer=SEAM_FLASHING,
    remedy="Choose a flashing wide enough for the seam as it is, and set it in the middle.",
    needs=("panel",),
    good=detail(),
    bad=detail()
    .stretched("seam flashing lower", "left", 15.0)
    .saying("The lower flashing is 15 mm too narrow: it covers the left panel by 45 mm."),
)
def seam_flashing(seams: PanelEndSeams, facade: Facade, limits: Limits) -> Verdicts:
    """Flashing covers the vertical seam over its whole height, far enough over both panels.

    Wind drives rain sideways behind a narrow cover, to the tape and into the seam; a cover that is off the middle is
    narrow on one side. How far its pieces lap is asked elsewhere.
    """
    says = "Flashing over the seam"
    return joined(
        lacks(seams, facade, SEAM_FLASHING, PanelEndSeams, limits.gap_mm, says),
        laid_over(
            seams,
            facade,
            SEAM_FLASHING,
            limits.cover_mm,
            f"{says} covers the {{side}} panel by only {{value}}",
            f"{says} ends {{distance}} before the {{side}} panel begins",
            "flashing",
        ),
    )
