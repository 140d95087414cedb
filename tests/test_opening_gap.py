"""Gap round windows: limits by size and material of the frame, who should move, what cannot be measured."""

import numpy as np
import pytest
from drawn import MIRROR, checked, only_issue, turned, with_part

from checker.sketch import BAY, FOOT, ROW, Block, Part, Sketch, block, detail, guid_of

RULE = "opening-gap"
WINDOW = detail()


def window(width: float, gap: float, material: str = "steel", depth: tuple[float, float] = (20, 100)) -> Sketch:
    """One tall panel with a window of a size, the same gap all round."""
    sketch = Sketch({name: part for name, part in detail(2).parts.items() if name.startswith("column")})
    low = (1000.0, FOOT + 100)
    high = (low[0] + width + 2 * gap, low[1] + 500 + 2 * gap)
    x, y = (15.0, BAY - 15), (FOOT, FOOT + 2 * ROW)
    whole = (
        Block((x[0], y[0], 8), (low[0], y[1], 128)),
        Block((high[0], y[0], 8), (x[1], y[1], 128)),
        Block((low[0], y[0], 8), (high[0], low[1], 128)),
        Block((low[0], high[1], 8), (high[0], y[1], 128)),
    )
    sketch = with_part(sketch, "panel 1", Part("panel", whole))
    sketch = with_part(sketch, "panel 2", block("panel", (BAY + 15, 2 * BAY - 15), y, (8, 128)))
    frame = block("window", (low[0] + gap, high[0] - gap), (low[1] + gap, high[1] - gap), depth)
    return with_part(sketch, f"{material} window", frame)


def states(sketch: Sketch, place: np.ndarray | None = None) -> set[tuple[str, str]]:
    """(severity, message) of what fails."""
    return {(v.severity, v.message) for v in checked(sketch, [RULE], place).verdicts}


# Structural warranty manual (United Kingdom), gaps round windows, quoted second-hand: 10 mm at most where the opening
# is up to 3 m, 15 mm above; steel needs 4, 5 and 6 mm, aluminium 5, 5 and 7.5 mm, white PVC the same, timber 5 mm.
@pytest.mark.parametrize(
    ("width", "gap", "fine"),
    [
        (1980, 10.0, True),
        (1980, 10.02, False),
        (1980, 10.5, False),
        (1980, 9.98, True),
        (2980, 10.0, True),  # the opening is exactly 3 m wide
        (2981, 10.0, True),
        (3470, 15.0, True),
        (3470, 15.02, False),
        (3469, 15.5, False),
    ],
)
def test_published_widest_gaps(width: float, gap: float, fine: bool) -> None:
    said = states(window(width, gap))
    assert (not said) == fine
    assert all(severity == "error" for severity, _ in said)


@pytest.mark.parametrize(
    ("material", "width", "least"),
    [
        ("steel", 1400, 4.0),
        ("steel", 2000, 5.0),
        ("steel", 3500, 6.0),
        ("aluminium", 1400, 5.0),
        ("aluminium", 2000, 5.0),
        ("aluminium", 3500, 7.5),
        ("PVC", 2000, 5.0),
        ("PVC", 3500, 7.5),
        ("timber", 3500, 5.0),
    ],
)
def test_published_gaps_that_frames_need(material: str, width: float, least: float) -> None:
    assert not states(window(width, least, material))
    said = states(window(width, least - 0.02, material))
    assert {severity for severity, _ in said} == {"warning"}
    assert all(f"only {least - 0.02:.1f} mm" in text or f"only {least:.1f} mm" in text for _, text in said)


@pytest.mark.parametrize("place", [np.eye(4), turned(131.0, 3e5, -2e5, 9.0), MIRROR], ids=["drawn", "far", "mirrored"])
def test_a_frame_off_the_middle_is_told_where_to_go(place: np.ndarray) -> None:
    result = checked(WINDOW.moved("window", x=4.0), [RULE], place)
    issue = only_issue(result, RULE)
    assert issue.worst_mm == pytest.approx(14.0, abs=0.01)
    assert issue.move is not None
    assert issue.move.part == guid_of("window")
    assert issue.move.distance_mm == pytest.approx(4.0, abs=1.01)
    assert issue.move.direction == ("to the right" if place is MIRROR else "to the left")


def test_a_frame_that_cuts_into_the_panel() -> None:
    said = checked(WINDOW.moved("window", y=-13.0), [RULE]).verdicts
    assert {v.message.split(",")[0] for v in said} == {
        "Frame cuts into the panel by 3.0 mm",
        "Gap round the frame is 23.0 mm",
    }


def test_the_hole_is_seen_in_the_body_where_no_opening_is_drawn() -> None:
    assert not checked(WINDOW.without("window opening"), [RULE]).verdicts
    moved = WINDOW.without("window opening").moved("window", x=4.0)
    assert only_issue(checked(moved, [RULE]), RULE).worst_mm == pytest.approx(14.0, abs=0.01)


def test_a_frame_before_an_uncut_panel_is_undecided_and_says_why() -> None:
    sketch = with_part(WINDOW.without("window opening"), "panel 2.2", block(
        "panel", (BAY + 15, 2 * BAY - 15), (FOOT + ROW, FOOT + 2 * ROW), (8, 128)
    ))  # fmt: skip
    result = checked(sketch, [RULE])
    assert not result.issues
    assert {(v.state, v.message) for v in result.verdicts} == {("undecided", "no opening is cut into the panels here")}


def test_a_frame_that_lies_on_the_panels_has_no_gap() -> None:
    result = checked(window(2000, -60.0, depth=(128, 160)), [RULE])
    (coverage,) = result.coverage
    assert coverage.subjects == 0


def test_a_threshold_is_no_gap_round_a_frame() -> None:
    from checker.sketch import gate

    result = checked(gate(), [RULE])
    (coverage,) = result.coverage
    assert (coverage.subjects, coverage.passed) == (3, 3)
