"""Weep holes of base rails: where they lie, which holes count, what is stated, and contradictions."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from drawn import MIRROR, RULES, bodies_of, checked, only_issue, remade, to_world, turned, wall, with_part

from checker.sketch import RAIL_TOP, Block, Part, detail, guid_of

RULE = "base-rail-drainage"
WALL = wall(bays=2, rows=1)
PLACES = [pytest.param(turned(24.2, 5e5, -3e5, 8.0), id="far"), pytest.param(MIRROR, id="mirrored")]


def pierced(out, sketch=WALL, rail="rail 1"):
    """A hole of 10 mm through a rail, its middle ``out`` mm outwards from the middle of the rail (z = 58)."""
    middle = 3000.0 if rail == "rail 1" else 9000.0
    return sketch.pierced(rail, (middle - 5.0, middle + 5.0), (53.0 + out, 63.0 + out))


def states(sketch, place=None):
    """What is said of rail 1 and of rail 2; '' where they are right."""
    said = {v.elements[0]: v.state for v in checked(sketch, [RULE], place).verdicts}
    return [said.get(guid_of(f"rail {k}"), "") for k in (1, 2)]


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(
    ("out", "passes"), [(-30.0, False), (-0.02, False), (0.0, True), (0.02, True), (30.0, True), (44.0, True)]
)
def test_the_outermost_hole_lies_in_the_outer_part(out, passes, place):
    result = checked(pierced(out, pierced(30.0, rail="rail 2")), [RULE], place)
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(out, abs=0.01)
        assert (verdict.minimum_mm, verdict.elements) == (0.0, (guid_of("rail 1"),))


def test_the_project_sets_the_limit():
    limits = {RULE: RULES[RULE].limits(outer_mm=25.0)}
    (verdict,) = checked(pierced(20.0, pierced(30.0, rail="rail 2")), [RULE], limits=limits).verdicts
    assert verdict.message == (
        "Weep hole lies 20.0 mm outside the middle of the base rail, required at least 25 mm outside"
    )


def test_it_points_to_the_hole():
    issue = only_issue(checked(RULES[RULE].bad), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(3000, 310, 28), atol=1e-6)
    assert issue.worst_mm == pytest.approx(-30.0)
    assert issue.move is None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("outside", 1), ("Outwards", 1), (" EXTERIOR ", 1), ("außen", 1), ("extérieur", 1), ("udvendig", 1),
        ("inside", -1), ("inwards", -1), ("Innen", -1), ("intérieur", -1), ("room side", -1), ("binnen", -1),
        ("", 0), ("left", 0), ("true", 0), ("7", 0),
    ],
)  # fmt: skip
def test_a_side_is_stated_in_words_of_several_languages(text, says):
    sketch = WALL.stating("rail 1", weepholesside=text).stating("rail 2", drainageside="outside")
    assert states(sketch) == [{1: "", -1: "fail", 0: "fail"}[says], ""]
    words = {-1: "states that it drains inwards", 0: "has no weep hole"}
    assert all(words[says] in v.message for v in checked(sketch, [RULE]).verdicts)


def test_neither_drawn_nor_stated_is_not_modelled_once():
    result = checked(WALL, [RULE])
    assert (result.coverage[0].not_modelled, result.coverage[0].subjects, result.verdicts) == (2, 2, ())
    required = checked(WALL, [RULE], layers={RULE: "required"})
    assert only_issue(required, RULE).title.startswith("No weep hole or stated drip")
    assert not checked(WALL, layers={RULE: "off"}).verdicts


def test_as_soon_as_one_rail_drains_the_others_must():
    for sketch in (WALL.stating("rail 1", weepholesside="outside"), pierced(30.0)):
        (verdict,) = checked(sketch, [RULE]).verdicts
        assert verdict.elements == (guid_of("rail 2"),)
        assert verdict.message == "Base rail has no weep hole, and none is stated"


def test_what_is_drawn_counts_before_what_is_stated_and_a_contradiction_is_told():
    drained = WALL.stating("rail 2", weepholeside="outside")
    inside = pierced(-30.0, drained.stating("rail 1", weepholesside="outside"))
    (verdict,) = checked(inside, [RULE]).verdicts
    assert (verdict.value_mm, verdict.severity) == (pytest.approx(-30.0), "error")
    outside = pierced(30.0, drained.stating("rail 1", weepholesside="inside"))
    (verdict,) = checked(outside, [RULE]).verdicts
    assert verdict.severity == "warning"
    assert verdict.message.endswith("but its weep holes are drawn in the outer part")


def upright_hole(z, y):
    """A channel with its web at the back, 3 mm thick, and a hole of 10 mm in its web or its outer lip."""
    hole = Block((0, y - 5, z[0]), (2995, y + 5, z[1])), Block((3005, y - 5, z[0]), (6000, y + 5, z[1]))
    whole = Block((0, 313, z[0]), (6000, y - 5, z[1])), Block((0, y + 5, z[0]), (6000, RAIL_TOP, z[1]))
    foot = Block((0, 310, 8), (6000, 313, 108))
    return with_part(pierced(30.0, rail="rail 2"), "rail 1", Part("base-rail", (foot, *whole, *hole)))


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(
    ("z", "y", "passes"),
    [((105, 108), 322.0, True), ((105, 108), 350.0, False), ((8, 11), 322.0, False)],
    ids=["outer lip, low", "outer lip, high", "web: for bolts"],
)
def test_a_hole_that_looks_outwards_counts_where_it_is_low_and_outside(z, y, passes, place):
    assert states(upright_hole(z, y), place) == ["" if passes else "fail", ""]


def test_holes_of_other_sizes_are_no_weep_holes():
    other = pierced(30.0, rail="rail 2")
    for size, passes in ((1.0, False), (3.2, True), (49.0, True), (60.0, False)):
        sketch = other.pierced("rail 1", (3000.0, 3000.0 + size), (80.0 - size / 2, 80.0 + size / 2))
        assert states(sketch) == ["" if passes else "fail", ""]


@pytest.mark.parametrize("place", PLACES)
def test_a_round_hole_in_a_triangulated_plate_is_found(place):
    """Triangles by an independent triangulation; the hole is a polygon of 24 sides, 30 mm outside of the middle."""
    hole = shapely.Point(3.0, -0.088).buffer(0.005, quad_segs=6)
    plate = shapely.box(0.0, -0.108, 6.0, -0.008).difference(hole)
    flat = [shapely.get_coordinates(t)[:3] for t in shapely.get_parts(shapely.constrained_delaunay_triangles(plate))]
    corners, triangles = [], []
    for t in flat:
        turn = np.cross(*(np.append(t[k] - t[0], 0.0) for k in (1, 2)))[2]
        t = t if turn > 0 else t[::-1]
        for z, order in ((0.310, (2, 1, 0)), (0.370, (0, 1, 2))):
            corners += [np.append(p, z) for p in t]
            triangles.append([len(corners) - 3 + k for k in order])
    for ring in shapely.get_rings(plate):
        points = shapely.get_coordinates(ring)
        points = points if shapely.is_ccw(ring) == (ring.equals(plate.exterior)) else points[::-1]
        for a, b in pairwise(points):
            corners += [np.append(p, z) for z in (0.310, 0.370) for p in (a, b)]
            n = len(corners) - 4
            triangles += [[n, n + 1, n + 3], [n, n + 3, n + 2]]
    model = pierced(30.0, rail="rail 2").model(place)
    points = np.array(corners) @ place[:3, :3].T + place[:3, 3]
    turn = 1 if np.linalg.det(place[:3, :3]) > 0 else -1
    drawn = remade(model, {"rail 1": (points, np.array(triangles)[:, ::turn])})
    assert checked(drawn, [RULE]).verdicts == ()
    assert checked(remade(model, {"rail 1": bodies_of(model)["rail 1"]}), [RULE]).verdicts


def test_a_rail_that_cannot_be_measured_is_undecided():
    result = checked(remade(detail().model(), {}, {"rail 2": "its mesh is open"}), [RULE])
    assert [(v.state, v.elements) for v in result.verdicts] == [("undecided", (guid_of("rail 2"),))]


def test_the_section_shows_how_far_the_hole_lies_from_the_middle():
    issue = only_issue(checked(pierced(-30.0, WALL.stating("rail 2", weepholeside="outside"))), RULE)
    start, end = np.array(issue.section.span)
    assert np.linalg.norm(end - start) * 1e3 == pytest.approx(30.0, abs=0.01)
