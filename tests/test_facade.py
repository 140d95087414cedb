"""Who meets whom: sides, panels, columns and seams of facades that are not as simple as a drawing."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
import trimesh
from drawn import (
    ELL,
    RECTANGLE,
    WITH_COURT,
    bent,
    bodies_of,
    building,
    built,
    checked,
    end_moved,
    failing,
    i_column,
    joined,
    leaning,
    remade,
    to_world,
    turned,
    wall,
    warped,
    with_part,
)
from read_kit import Kit, everything, mesh_of

from checker import geometry as g
from checker.facade import BaseSeams, CornerSeams, PanelEdgeSeams, PanelEndSeams, PlinthJoints
from checker.model import GridAxis, Meshes
from checker.sketch import BAY, FOOT, ROW, Block, Part, Sketch, block


def by_names(facade, kind):
    """Number of each seam by the names of its left and right part."""
    seams, elements = facade.seams[kind], facade.model.elements
    names = [
        tuple(elements[p].name if p >= 0 else "" for p in pair) for pair in zip(seams.left, seams.right, strict=True)
    ]
    return {pair: i for i, pair in enumerate(names)}


def widths_mm(facade, kind=PanelEndSeams):
    """Smallest and largest width by names, to a hundredth of a millimetre."""
    seams = facade.seams[kind]
    return {
        pair: (round(float(seams.width_min[i]) * 1e3, 2) + 0.0, round(float(seams.width_max[i]) * 1e3, 2) + 0.0)
        for pair, i in by_names(facade, kind).items()
    }


def lengths_mm(facade, kind=PanelEndSeams):
    return {pair: round(float(facade.seams[kind].length[i]) * 1e3, 2) for pair, i in by_names(facade, kind).items()}


def out_of(facade):
    """Outward directions of the sides in degrees from north, with the number of sides of each."""
    angles = np.degrees(np.arctan2(facade.sides.frame[:, 2, 0], facade.sides.frame[:, 2, 1]))
    return sorted(round(float(a) % 360, 1) % 360 for a in angles)


# Sides and corners


@pytest.mark.parametrize(
    ("rings", "sides", "corners"),
    [
        ((RECTANGLE,), [0, 90, 180, 270], 8),
        ((ELL,), [0, 0, 90, 90, 180, 270], 12),
        (WITH_COURT, [0, 0, 90, 90, 180, 180, 270, 270], 16),
    ],
    ids=["rectangle", "ell", "with a courtyard"],
)
def test_a_sound_building_has_its_sides_and_corners_and_no_fault(rings, sides, corners):
    model = building(*rings)
    facade = built(model)
    assert out_of(facade) == sides
    assert len(facade.seams[CornerSeams]) == corners
    np.testing.assert_allclose(facade.seams[CornerSeams].width_min, 0.020, atol=1e-9)
    np.testing.assert_allclose(facade.seams[CornerSeams].length, 1.0, atol=1e-9)
    assert (facade.seams[CornerSeams].column >= 0).all()
    assert checked(model).verdicts == ()


def placed(model, matrix):
    bodies = {n: (p @ matrix[:3, :3].T + matrix[:3, 3], t) for n, (p, t) in bodies_of(model).items()}
    return remade(replace(model, origin=matrix[:3, 3].round()), bodies)


def test_a_hall_at_24_degrees_far_from_the_origin_is_the_same_hall():
    straight, oblique = building(RECTANGLE), placed(building(RECTANGLE), turned(24.2, 512345.0, 6012345.0, 31.0))
    assert checked(oblique).verdicts == ()
    for kind in (PanelEndSeams, PanelEdgeSeams, BaseSeams, CornerSeams, PlinthJoints):
        assert widths_mm(built(oblique), kind) == widths_mm(built(straight), kind)
        assert built(oblique).seams[kind].ids == built(straight).seams[kind].ids


@pytest.mark.parametrize("apart", [0.5, 0.9, 5.0])
def test_two_buildings_back_to_back_keep_their_outsides(apart):
    """The columns of the neighbour stand nearer to a wall than a metre, on its outer side."""
    one = building(RECTANGLE)
    depth = 12.0 + 2 * 0.228 + apart
    two = building(RECTANGLE)
    two = replace(two, elements=tuple(replace(e, guid=e.guid[::-1], name=f"other {e.name}") for e in two.elements))
    north_of = np.array([0.0, depth, 0.0])
    two = remade(two, {n: (p + north_of, t) for n, (p, t) in bodies_of(two).items()})
    model = joined(one, two)
    facade = built(model)
    south, north = ([s for s, f in enumerate(facade.sides.frame) if f[2, 1] * way > 0.9] for way in (-1, 1))
    assert (len(south), len(north)) == (2, 2)
    assert checked(model).verdicts == ()
    corners = [tuple(name.startswith("other") for name in pair) for pair in by_names(facade, CornerSeams)]
    assert sorted(corners) == [(False, False)] * 8 + [(True, True)] * 8


def test_panels_on_both_faces_of_the_columns_are_two_sides_and_no_corner():
    sketch = wall(3, 2)
    for name, part in list(sketch.parts.items()):
        if part.role == "panel":
            low, high = part.blocks[0].low, part.blocks[0].high
            sketch = with_part(
                sketch, f"inner {name}", block("panel", (low[0], high[0]), (low[1], high[1]), (-318, -198))
            )
    facade = built(sketch)
    assert out_of(facade) == [0, 180]
    assert len(facade.seams[CornerSeams]) == 0
    assert len(facade.seams[PanelEndSeams]) == 8
    assert set(widths_mm(facade).values()) == {(30.0, 30.0)}
    outer = [v for v in checked(sketch).verdicts if not any("inner" in n for n in named(facade, v))]
    assert outer == []


def named(facade, verdict):
    names = {e.guid: e.name for e in facade.model.elements}
    return [names[guid] for guid in verdict.elements]


def test_panels_that_lie_are_no_wall():
    sketch = with_part(wall(2, 1), "roof", block("panel", (0, 12000), (1700, 1820), (-6000, 100)))
    result = checked(sketch)
    assert result.verdicts == ()
    assert len(built(sketch).panels.element) == 2
    assert any("lie flat" in note and "1" in note for note in result.notes)
    only = Sketch({name: part for name, part in sketch.parts.items() if part.role != "panel" or name == "roof"})
    result = checked(only)
    assert "upright" in result.unchecked
    assert (result.verdicts, result.coverage) == ((), ())


def test_the_outside_of_a_wall_without_columns_near_is_away_from_the_building():
    model = building(RECTANGLE)
    nothing = (np.zeros((0, 3)), np.zeros((0, 3), np.int64))
    columns = {e.name: nothing for e, r in zip(model.elements, model.roles, strict=True) if r.role == "column"}
    assert out_of(built(remade(model, columns))) == [0, 90, 180, 270]


# Names


def test_axes_and_sides_are_named_by_the_grid_else_counted_from_the_left():
    sketch = wall(3, 1)
    assert set(built(sketch).seams[PanelEndSeams].axis) == {"2", "3"}
    model = sketch.model(turned(24.2, 40.0, 5.0))
    ends = {
        "C": (12, -8, 12, 8),
        "4": (6, -8, 6, 8),
        "A": (-3, 0.1, 30, 0.1),
        "4b": (6.2, -8, 6.2, 8),
        "far": (90, 0, 90, 9),
    }
    place = turned(24.2, 40.0, 5.0)
    grid = tuple(
        GridAxis(tag, np.array([[a, b, 0.0], [c, d, 0.0]]) @ place[:3, :3].T + place[:3, 3] - model.origin)
        for tag, (a, b, c, d) in ends.items()
    )
    facade = built(replace(model, grid=grid))
    assert facade.sides.names == ("A",)
    assert set(facade.seams[PanelEndSeams].axis) == {"C", "4"}
    # Columns without a grid axis are counted, and nobody takes their number for an axis of the grid.
    assert set(facade.seams[BaseSeams].axis) == {"(1)-4", "4-C", "C-(4)"}


def test_seam_ids_are_unique():
    for facade in (built(building(*WITH_COURT)), built(bent(5.0))):
        ids = [i for seams in facade.seams.values() for i in seams.ids]
        assert len(ids) == len(set(ids))


# Panel ends


def test_a_row_of_panels_of_other_heights_beside_a_column_gives_a_seam_for_each_meeting():
    sketch = wall(3, 2).without("panel 2.1", "panel 2.2")
    for k, (low, high) in enumerate([(0, 700), (700, 1300), (1300, 2000)], 1):
        sketch = with_part(sketch, f"panel 2.{k}", block("panel", (6015, 11985), (FOOT + low, FOOT + high), (8, 128)))
    facade = built(sketch)
    expected = {("panel 1.1", "panel 2.1"): 700, ("panel 1.1", "panel 2.2"): 300, ("panel 1.2", "panel 2.2"): 300}
    expected |= {("panel 1.2", "panel 2.3"): 700, ("panel 2.1", "panel 3.1"): 700, ("panel 2.2", "panel 3.1"): 300}
    expected |= {("panel 2.2", "panel 3.2"): 300, ("panel 2.3", "panel 3.2"): 700}
    assert lengths_mm(facade) == expected
    assert set(widths_mm(facade).values()) == {(30.0, 30.0)}
    # Rows of other heights do not line up: that is what the rule about them is for.
    assert {rule for rule, _ in failing(checked(sketch))} <= {"row-alignment"}
    # The panel between them set off: one issue with all four seams it touches.
    off = checked(sketch.moved("panel 2.2", x=-12.0))
    assert [
        (i.rule, len(i.members), i.move.what) for i in off.issues if i.rule in ("panel-end-offset", "seam-width")
    ] == [
        ("panel-end-offset", 4, "panel"),
        ("seam-width", 4, "panel"),
    ]


def test_a_tongue_does_not_lengthen_a_seam():
    sketch = wall(2, 2)
    for bay in (1, 2):
        low = sketch.parts[f"panel {bay}.1"].blocks[0]
        tongue = Block((low.low[0], low.high[1], 58), (low.high[0], low.high[1] + 12, 78))
        sketch = with_part(sketch, f"panel {bay}.1", Part("panel", (low, tongue)))
        upper = sketch.parts[f"panel {bay}.2"].blocks[0]
        x, y = (upper.low[0], upper.high[0]), (upper.low[1], upper.high[1])
        grooved = (
            Block((x[0], y[0] + 13, 8), (x[1], y[1], 128)),
            Block((x[0], y[0], 8), (x[1], y[0] + 13, 57)),
            Block((x[0], y[0], 79), (x[1], y[0] + 13, 128)),
        )
        sketch = with_part(sketch, f"panel {bay}.2", Part("panel", grooved))
    assert set(lengths_mm(built(sketch)).values()) == {1000.0}
    assert failing(checked(sketch)) == set()


def notched(depth: float) -> Sketch:
    """Panel 1.1 with a notch of 150 mm in its right end, to clear a bracket."""
    blocks = (
        Block((15, FOOT, 8), (5985, FOOT + 500, 128)),
        Block((15, FOOT + 500, 8), (5985 - depth, FOOT + 650, 128)),
        Block((15, FOOT + 650, 8), (5985, FOOT + ROW, 128)),
    )
    return with_part(wall(3, 2), "panel 1.1", Part("panel", blocks))


def test_a_shallow_notch_widens_its_seam():
    facade = built(notched(80.0))
    assert widths_mm(facade)["panel 1.1", "panel 2.1"] == (30.0, 110.0)
    (verdict,) = [v for v in checked(notched(80.0)).verdicts if v.rule == "seam-width"]
    assert verdict.value_mm == pytest.approx(110.0)
    assert FOOT + 500 <= verdict.point_m[2] * 1e3 <= FOOT + 650


def test_a_deep_notch_parts_its_seam():
    facade = built(notched(500.0))
    seams, elements = facade.seams[PanelEndSeams], facade.model.elements
    pieces = [i for i in range(len(seams)) if elements[seams.left[i]].name == "panel 1.1"]
    assert sorted(round(float(seams.length[i]) * 1e3) for i in pieces) == [350, 500]
    assert not {rule for rule, _ in failing(checked(notched(500.0)))} & {"seam-width", "panel-end-offset"}


def test_ends_out_of_square_are_measured_at_both_extremes():
    sketch = warped(
        wall(3, 1),
        "panel 2.1",
        {(0, 1, 0): (4.0, 0, 0), (0, 1, 1): (4.0, 0, 0), (1, 1, 0): (-3.0, 0, 0), (1, 1, 1): (-3.0, 0, 0)},
    )
    facade = built(sketch, turned(24.2))
    assert widths_mm(facade) == {("panel 1.1", "panel 2.1"): (30.0, 34.0), ("panel 2.1", "panel 3.1"): (30.0, 33.0)}
    seams, pair = facade.seams[PanelEndSeams], by_names(facade, PanelEndSeams)
    i, j = pair["panel 1.1", "panel 2.1"], pair["panel 2.1", "panel 3.1"]
    assert seams.offset_right_max[i] - seams.offset_right_min[i] == pytest.approx(0.004)
    assert seams.offset_left_max[j] - seams.offset_left_min[j] == pytest.approx(0.003)
    assert failing(checked(sketch)) == set()


def test_overlapping_panels_have_a_negative_width():
    facade = built(end_moved(wall(3, 1), "panel 1.1", True, 75.0))
    assert widths_mm(facade)["panel 1.1", "panel 2.1"] == (-45.0, -45.0)


def test_a_bay_without_panels_is_no_seam():
    facade = built(wall(4, 1, without=[2]))
    assert set(by_names(facade, PanelEndSeams)) == {("panel 3.1", "panel 4.1")}
    assert len(facade.seams[BaseSeams]) == 3
    assert len({int(line) for line in facade.seams[BaseSeams].line}) == 2


@pytest.mark.parametrize("inner", [True, False])
def test_panels_of_different_thickness_meet_all_the_same(inner):
    """100 mm beside 120, flush at the inner face; and 60 mm thicker outwards."""
    sketch = wall(3, 2)
    for row in (1, 2):
        sketch = sketch.stretched(f"panel 2.{row}", "front", -20.0 if inner else 60.0)
    assert set(widths_mm(built(sketch)).values()) == {(30.0, 30.0)}
    assert {rule for rule, _ in failing(checked(sketch))} <= {"flashing-lap"}


@pytest.mark.parametrize("lean", [-5.0, 5.0])
def test_a_leaning_facade_has_upright_frames_of_its_own(lean):
    facade = built(wall(3, 2), turned(24.2, 5.0, 5.0) @ leaning(lean))
    assert np.degrees(np.arcsin(facade.sides.frame[0, 2, 2])) == pytest.approx(lean)
    assert facade.sides.frame[0, 0, 2] == pytest.approx(0.0)
    assert set(widths_mm(facade).values()) == {(30.0, 30.0)}
    assert set(lengths_mm(facade).values()) == {1000.0}
    assert failing(checked(wall(3, 2), place=turned(24.2, 5.0, 5.0) @ leaning(lean))) == set()


@pytest.mark.parametrize("degrees", [-14.0, -5.0, -1.5, 1.5, 5.0, 14.0])
def test_facets_meet_in_seams_measured_across_the_bend(degrees):
    """Ends 15 mm from the axis, at depth 8 to 128: narrowest at the outer face of a re-entrant bend, else inside."""
    facade = built(bent(degrees))
    half = np.radians(degrees) / 2
    depth = -128.0 if degrees > 0 else -8.0
    expected = round(2 * (15.0 * np.cos(half) + depth * np.sin(half)), 2)
    found = {pair: w for pair, w in widths_mm(facade).items() if pair[0][0] != pair[1][0]}
    assert set(found) == {(f"{k} panel 2.{row}", f"{k + 1} panel 1.{row}") for k in (0, 1) for row in (1, 2)}
    for narrow, _ in found.values():
        assert narrow == pytest.approx(expected, abs=0.011)
    assert len(facade.seams[CornerSeams]) == 0


@pytest.mark.parametrize("degrees", [-30.0, -16.0])
def test_a_sharper_bend_is_a_corner(degrees):
    facade = built(bent(degrees))
    assert len(facade.seams[CornerSeams]) == 4
    plan = [
        shapely.convex_hull(shapely.multipoints(bodies_of(facade.model)[n][0][:, :2]))
        for n in ("0 panel 2.1", "1 panel 1.1")
    ]
    i = by_names(facade, CornerSeams)["0 panel 2.1", "1 panel 1.1"]
    assert facade.seams[CornerSeams].width_min[i] == pytest.approx(shapely.distance(*plan), abs=1e-9)


# The foot


def test_plinth_elements_need_not_follow_the_bays():
    sketch = wall(3, 1).without("plinth 1", "plinth 2", "plinth 3")
    cuts = [10, 2500, 4100, 9000, 13300, 17990]
    for k, (low, high) in enumerate(pairwise(cuts)):
        sketch = with_part(sketch, f"plinth {k}", block("plinth", (low + 5, high - 5), (-600, 300), (8, 118)))
    facade = built(sketch)
    assert len(facade.seams[PlinthJoints]) == 4
    assert len(facade.plinths) == 5
    assert set(widths_mm(facade, BaseSeams).values()) == {(70.0, 70.0)}
    assert len(facade.seams[BaseSeams]) == 3
    assert checked(sketch).verdicts == ()


def test_a_foot_out_of_square_is_measured_only_where_it_is_a_foot():
    """Where a panel's end leans outwards, the outline of its bottom runs up that end."""
    facade = built(wall(2, 1).tapered("panel 1.1", -9.0))
    assert set(widths_mm(facade, BaseSeams).values()) == {(70.0, 70.0)}


def test_a_sloping_plinth_top_gives_both_widths():
    facade = built(warped(wall(3, 1), "plinth 2", {(1, 1, z): (0, -8.0, 0) for z in (0, 1)}))
    low, high = widths_mm(facade, BaseSeams)["plinth 2", "panel 2.1"]
    assert low == pytest.approx(70.0 + 8.0 * 5 / 5980, abs=0.01)
    assert high == pytest.approx(78.0 - 8.0 * 5 / 5980, abs=0.01)


# Columns

TOP = FOOT + 4 * ROW + 200
WALL = wall(3, 4)


def column_line(facade, name):
    """Centre at z = 0 (mm, sketch x), slope, front (mm), half width (mm) of a column at the only side."""
    c, elements = facade.columns, facade.model.elements
    (i,) = [i for i, e in enumerate(c.element) if elements[e].name == name]
    origin = facade.model.origin @ facade.sides.frame[0].T
    z = facade.model.origin[2]
    slope = c.centre[i, 1]
    return (
        (c.centre[i, 0] + origin[0] - slope * z) * 1e3,
        slope,
        (c.front[i, 0] + c.front[i, 1] * (0 - z) + origin[2]) * 1e3,
        c.half[i] * 1e3,
    )


def read_profile(folder, profile, depth=TOP / 1000 + 0.5, turn=0.0, along=(0, 0, 1)):
    """A column of a profile, as the reading layer gives its body: points (p, 3) round its axis from z = 0 up."""
    kit = Kit(unit="mm")
    made = profile(kit)
    kit.product(
        "IfcColumn",
        kit.extrusion(made, depth, along=along),
        placement=kit.place(kit.axes((0, 0, 0), (0, 0, 1), (np.cos(turn), np.sin(turn), 0))),
    )
    reading = kit.read(folder)
    meshes, faults = reading.bodies(everything(reading))
    assert faults == ("",)
    return mesh_of(reading, meshes, 0)


def i_profile(kit, h=0.190, b=0.200, tw=0.0065, tf=0.010, r=0.018):
    mm = kit.length
    return kit.make("IfcIShapeProfileDef", "AREA", None, None, mm(b), mm(h), mm(tw), mm(tf), mm(r), None, None)


PROFILES = {
    "I": (i_profile, 200.0, 190.0),
    "channel": (
        lambda k: k.make(
            "IfcUShapeProfileDef",
            "AREA",
            None,
            None,
            k.length(0.2),
            k.length(0.075),
            k.length(0.0085),
            k.length(0.0115),
            None,
            None,
            None,
        ),
        75.0,
        200.0,
    ),
    "angle": (
        lambda k: k.make(
            "IfcLShapeProfileDef", "AREA", None, None, k.length(0.15), k.length(0.1), k.length(0.012), None, None, None
        ),
        100.0,
        150.0,
    ),
    "hollow": (
        lambda k: k.make(
            "IfcRectangleHollowProfileDef",
            "AREA",
            None,
            None,
            k.length(0.2),
            k.length(0.1),
            k.length(0.008),
            None,
            None,
        ),
        200.0,
        100.0,
    ),
    "round": (
        lambda k: k.make("IfcCircleHollowProfileDef", "AREA", None, None, k.length(0.1095), k.length(0.008)),
        219.0,
        219.0,
    ),
}


@pytest.mark.parametrize("quarter", [0, 1, 2])
@pytest.mark.parametrize("name", PROFILES)
def test_the_centre_line_of_a_column_runs_through_the_middle_of_its_section(name, quarter, tmp_path):
    profile, x, y = PROFILES[name]
    points, triangles = read_profile(tmp_path, profile, turn=quarter * np.pi / 2)
    wide, deep = (x, y) if quarter % 2 == 0 else (y, x)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    stands = points - [middle[0], middle[1], 0.0] + to_world(BAY, -500.0, -deep / 2)
    model = remade(WALL.model(), {"column 2": (stands, triangles)})
    centre, slope, front, half = column_line(built(model), "column 2")
    assert centre == pytest.approx(BAY, abs=0.1)
    assert slope == pytest.approx(0.0, abs=1e-6)
    assert front == pytest.approx(0.0, abs=0.1)
    assert half == pytest.approx(wide / 2, abs=0.1)
    # Narrow sections leave little to bear on.
    assert {rule for rule, _ in failing(checked(model))} <= {"panel-bearing"}


@pytest.mark.parametrize("name", PROFILES)
def test_a_rolled_column_that_leans_has_a_leaning_centre_line(name, tmp_path):
    profile, _, deep = PROFILES[name]
    points, triangles = read_profile(tmp_path, profile, along=(0.004, 0, 1))
    foot = points[points[:, 2] < 1e-6]
    middle = (foot.min(axis=0) + foot.max(axis=0)) / 2
    stands = points - [middle[0], middle[1], 0.0] + to_world(BAY, -500.0, -deep / 2)
    facade = built(remade(WALL.model(), {"column 2": (stands, triangles)}))
    centre, slope, front, _ = column_line(facade, "column 2")
    assert slope == pytest.approx(0.004, abs=1e-6)
    assert centre == pytest.approx(BAY + 0.004 * 500.0, abs=0.1)
    assert front == pytest.approx(0.0, abs=0.1)


def test_an_i_section_has_the_area_of_its_table(tmp_path):
    """A wide-flange section 190 x 200 x 6.5 x 10, root radius 18: 53.8 cm2 in section tables (value from memory)."""
    points, triangles = read_profile(tmp_path, i_profile, depth=4.0)
    box = g.boxes(Meshes(points, triangles, np.array([0, len(points)]), np.array([0, len(triangles)])))
    np.testing.assert_allclose(box.size[0], [4.0, 0.2, 0.19], atol=1e-6)
    assert box.volume[0] / 4.0 * 1e4 == pytest.approx(53.8, abs=0.1)


def test_plates_stiffeners_and_haunches_do_not_move_the_centre_line():
    plates = (
        Block((BAY - 200, -530, -400), (BAY + 300, -500, 200)),  # base plate, eccentric
        Block((BAY + 5, 1500, -175), (BAY + 300, 1515, -15)),  # stiffener
        Block((BAY, 3500, -600), (BAY + 350, TOP, -190)),  # haunch
        Block((BAY + 100, 2000, -190), (BAY + 180, 2300, -20)),  # bracket
    )
    column = WALL.parts["column 2"]
    sketch = with_part(WALL, "column 2", replace(column, blocks=(*column.blocks, *plates)))
    centre, slope, front, half = column_line(built(sketch), "column 2")
    assert (centre, slope, front, half) == pytest.approx((BAY, 0.0, 0.0, 100.0), abs=1e-6)


@pytest.mark.parametrize(("across", "out"), [(20.0, 0.0), (-35.0, 0.0), (0.0, -25.0), (12.0, 9.0)])
def test_a_leaning_column_has_a_leaning_centre_line(across, out):
    """Its head displaced by mm along the facade and outwards."""
    sketch = warped(WALL, "column 2", {(x, 1, z): (across, 0, out) for x in (0, 1) for z in (0, 1)})
    centre, slope, front, half = column_line(built(sketch), "column 2")
    height = TOP + 500.0
    assert slope == pytest.approx(across / height, abs=1e-9)
    assert centre == pytest.approx(BAY + across * 500.0 / height, abs=1e-6)
    assert front == pytest.approx(out * 500.0 / height, abs=1e-6)
    assert half == pytest.approx(100.0)


def test_columns_in_storeys_serve_the_seams_at_their_height():
    foot = FOOT + 2 * ROW
    sketch = with_part(WALL.without("column 2"), "low", i_column(BAY, foot))
    sketch = with_part(sketch, "high", i_column(BAY, TOP, foot=foot))
    facade = built(sketch)
    seams, names = facade.seams[PanelEndSeams], [e.name for e in facade.model.elements]
    found = {(int(seams.row[i]), names[seams.column[i]]) for i in range(len(seams)) if seams.axis[i] == "2"}
    assert found == {(1, "low"), (2, "low"), (3, "high"), (4, "high")}


def test_the_nearest_column_is_the_one_behind_a_seam():
    sketch = with_part(WALL, "post", block("column", (BAY + 150, BAY + 250), (-500, TOP), (-100, 0)))
    facade = built(sketch)
    seams, names = facade.seams[PanelEndSeams], [e.name for e in facade.model.elements]
    assert {names[c] for c, axis in zip(seams.column, seams.axis, strict=True) if axis == "2"} == {"column 2"}
    assert failing(checked(sketch)) == set()


@pytest.mark.parametrize(("width", "off"), [(900.0, 0.0), (900.0, 250.0), (1500.0, 380.0)])
def test_a_column_much_wider_than_the_seam_is_measured_at_its_middle(width, off):
    low, high = BAY - width / 2 + off, BAY + width / 2 + off
    sketch = with_part(WALL, "column 2", block("column", (low, high), (-500, TOP), (-400, 0)))
    seams = built(sketch).seams[PanelEndSeams]
    at_column = np.array(seams.axis) != "3"
    np.testing.assert_allclose(seams.offset_left_min[at_column] * 1e3, 15.0 + off, atol=1e-6)
    np.testing.assert_allclose(seams.offset_right_min[at_column] * 1e3, 15.0 - off, atol=1e-6)


def test_offsets_add_up_to_the_width_at_the_narrowest_place():
    """width = offset left + offset right, as the seam table promises."""
    sketch = warped(
        WALL.tapered("panel 1.2", -6.0), "column 2", {(x, 1, z): (15.0, 0, 0) for x in (0, 1) for z in (0, 1)}
    )
    columns = checked(sketch.moved("panel 2.3", x=4.0)).seams.columns
    for kind, width, left, right in zip(
        *(columns[n] for n in ("kind", "width_min_mm", "offset_left_mm", "offset_right_mm")), strict=True
    ):
        if kind == "panel-end":
            assert width == pytest.approx(left + right, abs=0.01)


def test_a_sphere_among_the_panels_is_no_reason_to_stop():
    """A body of no direction with the wrong role: measured somehow, never a crash."""
    sketch = with_part(wall(2, 1), "ball", block("panel", (20000, 20100), (0, 100), (0, 100)))
    ball = trimesh.creation.icosphere(2, 0.3)
    ball.apply_translation([20.0, 3.0, 1.0])
    result = checked(remade(sketch.model(), {"ball": (ball.vertices, ball.faces)}))
    assert result.panels == 3
