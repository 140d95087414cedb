"""Holes in the field of panels: area and size, what is no hole, and what tells where panels should be.

Areas are held against the volumes that trimesh finds for the bodies.
"""

import numpy as np
import pytest
import trimesh
from drawn import (
    BAY,
    ELL,
    FOOT,
    RECTANGLE,
    ROW,
    RULES,
    WITH_COURT,
    bent,
    bodies_of,
    building,
    built,
    checked,
    end_moved,
    only_issue,
    remade,
    to_world,
    turned,
    wall,
    warped,
    with_part,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.facade import Bays
from checker.sketch import Block, Part, block, guid_of

RULE = "panel-field"
WALL = wall(bays=3, rows=3)
TOP = FOOT + 3 * ROW


def field(what, place=None):
    return built(what, place).of(Bays)


def covered(sketch):
    """What the panels of the middle bay cover, in square metres: their volume by trimesh over their thickness."""
    return sum(
        trimesh.Trimesh(points, triangles, process=False).volume / 0.12
        for name, (points, triangles) in bodies_of(sketch.model()).items()
        if name.startswith("panel 2.")
    )


@pytest.mark.parametrize("place", [np.eye(4), turned(61.0, 4e5, -3e5, 12.0)], ids=["drawn", "far"])
@pytest.mark.parametrize(
    ("gone", "bay", "size"),
    [
        (["panel 2.2"], "2-3", (6000, 1000)),
        (["panel 2.3"], "2-3", (6000, 1000)),
        (["panel 2.1"], "2-3", (6000, 1000)),
        (["panel 1.3"], "1-2", (5985, 1000)),
        (["panel 3.1"], "3-4", (5985, 1000)),
        (["panel 2.2", "panel 2.3"], "2-3", (6000, 2000)),
        (["panel 2.1", "panel 2.2", "panel 2.3"], "2-3", (6000, 3000)),
    ],
)
def test_missing_panels(gone, bay, size, place):
    """The hole reaches from axis to axis, less the seams of the rows that are there."""
    found = field(WALL.without(*gone), place)
    (k,) = np.flatnonzero(found.width > 0)
    assert found.ids[k] == f"bay/F1/{bay}"
    assert sorted(found.size[k] * 1000) == [pytest.approx(v, abs=0.01) for v in sorted(size)]
    assert found.open[k] == pytest.approx(size[0] * size[1] / 1e6, abs=1e-4)
    result = checked(WALL.without(*gone), [RULE], place)
    (verdict,) = result.verdicts
    assert verdict.value_mm == pytest.approx(min(size), abs=0.01)
    assert f"Hole of {found.open[k]:.2f} m² in the field of panels" in verdict.message


def test_the_finding_points_into_the_hole_and_names_what_is_round_it():
    issue = only_issue(checked(WALL.without("panel 2.2"), [RULE]), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(1.5 * BAY, FOOT + 1.5 * ROW, 68), atol=1e-3)
    names = {guid_of(name) for name in ("panel 2.1", "panel 2.3", "panel 1.2", "panel 3.2", "column 2", "column 3")}
    model = WALL.without("panel 2.2").model()
    assert names <= {model.elements[e].guid for e in issue.elements}


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (60.0, True), (60.02, False), (400.0, False)])
def test_limit_of_a_panel_that_is_too_low(by, passes):
    """A joint that gapes is the question of another rule as far as one reaches; then it is a hole."""
    result = checked(WALL.stretched("panel 2.2", "top", -by), [RULE])
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(by, abs=0.01)


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (269.0, True), (271.0, False), (1500.0, False)])
def test_limit_of_a_panel_that_is_too_short(by, passes):
    """Ends up to 300 mm apart make a seam, whose width another rule measures; then it is a hole."""
    result = checked(end_moved(WALL, "panel 2.2", True, -by), [RULE])
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(by + 15, abs=0.01) or by > 1000


def test_no_wall_of_the_drawings_has_a_hole():
    for what in (
        WALL,
        wall(1, 1),
        wall(4, 2, without=[2]),
        building(RECTANGLE),
        building(ELL),
        building(*WITH_COURT),
        bent(5.0),
        bent(-14.0),
        RULES["door-threshold-seal"].good,
        RULES["opening-seal"].good,
    ):
        found = field(what)
        assert len(found)
        assert found.open.max() == 0.0
        assert found.area.min() > 1.0


def opened(sketch, x=(BAY + 1000, BAY + 2200), y=(FOOT + ROW + 200, FOOT + ROW + 800)):
    """A hole cut through panel 2.2."""
    left, right, low, high = BAY + 15, 2 * BAY - 15, FOOT + ROW, FOOT + 2 * ROW
    return with_part(
        sketch,
        "panel 2.2",
        Part(
            "panel",
            (
                Block((left, low, 8), (x[0], high, 128)),
                Block((x[1], low, 8), (right, high, 128)),
                Block((x[0], low, 8), (x[1], y[0], 128)),
                Block((x[0], y[1], 8), (x[1], high, 128)),
            ),
        ),
    )


def test_a_hole_cut_through_a_panel_is_one_unless_an_opening_or_a_frame_is_there():
    sketch = opened(WALL)
    issue = only_issue(checked(sketch, [RULE]), RULE)
    assert issue.title.startswith("Hole of 0.72 m² in the field of panels, 1200 mm long and 600.0 mm wide")
    x, y = (BAY + 1000, BAY + 2200), (FOOT + ROW + 200, FOOT + ROW + 800)
    opening = block("opening", x, y, (0, 140))
    window = block("window", (x[0] + 10, x[1] - 10), (y[0] + 10, y[1] - 10), (20, 100))
    for name, part in (("opening", opening), ("window", window), ("door", window)):
        assert not checked(with_part(sketch, name, part), [RULE]).verdicts
    half = block("window", (x[0] + 10, x[0] + 500), (y[0] + 10, y[1] - 10), (20, 100))
    assert checked(with_part(sketch, "window", half), [RULE]).verdicts


def test_what_else_stands_in_the_plane_of_the_panels_fills_it():
    sketch = WALL.without("panel 2.2")
    other = block("", (BAY, 2 * BAY), (FOOT + ROW, FOOT + 2 * ROW), (20, 100))
    assert not checked(with_part(sketch, "glazing", other), [RULE]).verdicts
    inside = block("", (BAY, 2 * BAY), (FOOT + ROW, FOOT + 2 * ROW), (-500, -420))
    assert checked(with_part(sketch, "partition", inside), [RULE]).verdicts


def stepped(drop_columns):
    """A wall whose last two bays end one row lower; their columns too, or not."""
    sketch = wall(4, 3).without("panel 3.3", "panel 4.3")
    for k in (4, 5) if drop_columns else ():
        sketch = sketch.stretched(f"column {k}", "top", -ROW)
    return sketch


def test_columns_tell_a_step_in_the_roof_from_missing_panels():
    assert not checked(stepped(drop_columns=True), [RULE]).verdicts
    assert {v.axis for v in checked(stepped(drop_columns=False), [RULE]).verdicts} == {"3-4", "4-5"}


def test_a_facade_clad_to_half_its_height_has_no_hole_above():
    low = wall(3, 2)
    for k in (1, 2, 3, 4):
        low = low.stretched(f"column {k}", "top", 4000.0)
    assert not checked(low, [RULE]).verdicts


@pytest.mark.parametrize("slope", [-500.0, 300.0])
def test_gables(slope):
    """The upper row follows the roof; the area of a missing panel below it and of half a panel in it."""
    sketch = WALL
    for bay in (1, 2, 3):
        rise = [slope * (bay - 1) / 3, slope * bay / 3]
        points = {(0, 1, z): (0.0, rise[0], 0.0) for z in (0, 1)} | {(1, 1, z): (0.0, rise[1], 0.0) for z in (0, 1)}
        sketch = warped(sketch, f"panel {bay}.3", points)
    for k in (1, 2, 3, 4):
        sketch = sketch.stretched(f"column {k}", "top", slope * (k - 1) / 3)
    assert field(sketch).open.max() == 0.0
    found = field(sketch.without("panel 2.2"))
    assert found.open.max() == pytest.approx(6.0, abs=1e-3)
    found = field(sketch.without("panel 2.3"))
    assert found.open.max() == pytest.approx(6.0 * (ROW + slope / 2) / 1000, abs=0.02)


@settings(max_examples=15)
@given(
    st.lists(st.sampled_from([f"panel 2.{row}" for row in (1, 2, 3)]), unique=True, max_size=2),
    st.floats(400, 3000),
    st.floats(400, 2500),
    st.floats(100, 800),
    st.floats(-180, 180),
)
def test_areas_are_those_of_an_independent_library(gone, x, wide, high, degrees):
    """What trimesh finds open between foot, roof edge and the axes of the middle bay, less its half of the seams."""
    sketch = opened(WALL, (BAY + x, BAY + x + wide), (FOOT + ROW + 100, FOOT + ROW + 100 + high)).without(*gone)
    seams = (3 - len(gone)) * 2 * 0.015
    found = field(sketch, turned(degrees, 1e4, 2e4, 3.0))
    assert found.open.sum() == pytest.approx(3 * 6.0 - covered(sketch) - seams, abs=2e-4)


def test_a_panel_that_cannot_be_placed_leaves_its_bay_undecided():
    nothing = (np.zeros((0, 3)), np.zeros((0, 3), np.int64))
    model = remade(WALL.model(), {"panel 2.2": nothing}, {"panel 2.2": "has no body"})
    states = {(v.state, v.kind) for v in checked(model, [RULE]).verdicts}
    assert states == {("undecided", ""), ("undecided", "bay")}
