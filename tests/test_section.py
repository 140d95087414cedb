"""Sections: cuts against trimesh and shapely, pictures against the projection that the standard describes."""

import dataclasses

import numpy as np
import pytest
import shapely
import trimesh
from box_model import Part as BoxPart
from box_model import Place, hall, issue_of, model_of
from drawn import MIRROR, RULES, bodies_of, checked, only_issue, remade, turned, wall, with_part
from hypothesis import given, settings
from hypothesis import strategies as st
from test_geometry import SHAPES, meshes_of, rotation, rotations
from test_picture import only_mark, pixels
from thorough import some

from checker.cut import cut, frame_of
from checker.output import pens
from checker.output.cutting import INK
from checker.output.picture import cut_scene, draw
from checker.output.raster import PAPER
from checker.output.views import MOVES, SECTION_M, context_view, element_boxes, section_view
from checker.sketch import FOOT, ROW, block, detail

WIDE, HIGH = 800, 600
HERE = Place()


# ---- cuts -----------------------------------------------------------------------------------------------------------


def areas_of_another_library(body: trimesh.Trimesh, normal, place) -> float:
    """Area of a plane section: lines from trimesh, put together to polygons by shapely."""
    frame = np.stack([*np.linalg.svd([normal])[2][1:], normal])
    lines = trimesh.intersections.mesh_plane(body, normal, place) @ frame[:2].T
    # Blocks that touch share lines: they are broken wherever they meet before polygons are made of them.
    noded = shapely.union_all(shapely.linestrings(lines), grid_size=1e-7)
    return float(shapely.area(shapely.polygonize(shapely.get_parts([noded]))))


@pytest.mark.parametrize("name", SHAPES)
@settings(max_examples=8, deadline=None)
@given(turn=rotations, tilt=rotations, share=st.floats(0.15, 0.85))
def test_areas_of_cuts_are_those_of_another_library(name, turn, tilt, share):
    body = SHAPES[name].copy().apply_transform(rotation(turn))
    frame = rotation(tilt)[:3, :3]
    low, high = body.bounds
    place = low + share * (high - low)
    found = cut(meshes_of(trimesh.creation.icosphere(1), body), np.array([1]), frame, place)
    assert found.areas(1)[0] == pytest.approx(areas_of_another_library(body, frame[2], place), abs=1e-6)


def test_the_cut_through_a_rolled_section_and_a_panel_has_the_area_of_its_profile():
    # Two flanges of 200 by 15 mm and a web of 10 by 160 mm; a panel end of 1000 by 120 mm.
    panel = trimesh.creation.box(bounds=[[0, 0, 0], [6, 1, 0.12]])
    meshes = meshes_of(SHAPES["section"], panel)
    assert cut(meshes, np.array([0]), np.eye(3), np.array([0, 0, 1.3])).areas(1)[0] == pytest.approx(0.0076, abs=1e-9)
    upright = np.array([[0.0, 1, 0], [0, 0, 1], [1, 0, 0]])
    assert cut(meshes, np.array([0, 1]), upright, np.array([4.0, 0, 0])).areas(2).tolist() == pytest.approx([0, 0.12])


@given(turn=rotations, up=st.booleans())
@settings(max_examples=some(30), deadline=None)
def test_a_face_that_lies_in_the_plane_is_cut_away_whole_or_not_at_all(turn, up):
    matrix = rotation(turn)
    body = trimesh.creation.box(bounds=[[0, 0, 0], [6, 1, 0.12]]).apply_transform(matrix)
    frame = matrix[:3, :3].T if up else np.diag([1, -1, -1]) @ matrix[:3, :3].T
    found = cut(meshes_of(body), np.array([0]), frame, matrix[:3, :3] @ (1.0, 0.3, 0.12))
    assert found.areas(1)[0] == pytest.approx(6.0 if up else 0.0, abs=1e-6)


@pytest.mark.parametrize("turn", [0.0, 24.2, 203.7])
@pytest.mark.parametrize("mirrored", [False, True])
def test_people_find_outside_at_the_bottom_of_plans_and_on_the_left_of_upright_sections(turn, mirrored):
    place = turned(turn)[:3, :3] @ (MIRROR[:3, :3] if mirrored else np.eye(3))
    right, out, up = place @ (1.0, 0, 0), place @ (0.0, -1, 0), np.array([0.0, 0, 1])
    for normal in (up, -up):
        frame, kind = frame_of(normal, out, up)
        assert kind == "plan"
        np.testing.assert_allclose(frame[1:], [-out, up], atol=1e-12)
    for normal in (right, -right):
        frame, kind = frame_of(normal, out, up)
        assert kind == "upright"
        np.testing.assert_allclose(frame[:2], [-out, up], atol=1e-12)
    frame, kind = frame_of(-out, out, up)
    assert kind == "facing"
    np.testing.assert_allclose(frame[1:], [up, out], atol=1e-12)
    np.testing.assert_allclose(np.cross(frame[0], frame[1]), frame[2], atol=1e-12)


# ---- which cut shows which failure ----------------------------------------------------------------------------------


def strips_cut(gap: float) -> list:
    """The strip left of column 2 in two pieces, ``gap`` mm between them in the second row."""
    sketch, strip = wall(3, 3), "column seal 2 left"
    low, high = (getattr(sketch.parts[strip].blocks[0], end) for end in ("low", "high"))
    middle, ends = FOOT + 1.5 * ROW, (low[1], high[1])
    pieces = ((ends[0], middle - gap / 2), (middle + gap / 2, ends[1]))
    for name, y in zip("ab", pieces, strict=True):
        sketch = with_part(sketch, f"{strip} {name}", block("seal", (low[0], high[0]), y, (low[2], high[2])))
    return sketch.without(strip)


# The rule, what is wrong, the kind of the cut, the way the measure runs in the picture (right, up) or None.
SHOWN = {
    "seam-width": (detail().moved("panel 1.1", x=-8), "plan", (1, 0)),
    "panel-end-offset": (detail().moved("column 2", x=12), "plan", (1, 0)),
    "base-rail-offset": (detail().moved("rail 1", z=5), "upright", (1, 0)),
    "plinth-level": (detail().stretched("plinth 2", "top", -14), "upright", (0, 1)),
    "plinth-step": (detail().stretched("plinth 2", "top", -14), "facing", (0, 1)),
    "column-seal": (strips_cut(5), "upright", (0, 1)),
    "column-seal, overlap": (strips_cut(-30), "upright", (0, 1)),
    "column-seal, long gap": (strips_cut(700), "plan", None),
    "plinth-seal": (detail().stretched("plinth seal 1", "right", -5), "plan", (1, 0)),
    "flashing-lap": (detail().stretched("plinth flashing 1", "right", -40), "plan", (1, 0)),
    "seam-foam": (wall().without("foam 2.2"), "plan", None),
    "opening-seal": (RULES["opening-seal"].bad, "upright", None),
    **{
        name: (RULES[name].bad, kind, way)
        for name, kind, way in (
            ("opening-gap", "plan", (1, 0)),
            ("panel-bearing", "plan", (1, 0)),
            ("panel-edge-gap", "upright", (0, 1)),
            ("panel-field", "upright", (0, 1)),
            ("gasket-compression", "upright", (0, 1)),
            ("seam-flashing", "plan", (1, 0)),
            ("row-alignment", "facing", (0, 1)),
            ("outer-groove-sealant", "plan", (1, 0)),
            ("roof-membrane-lap", "upright", (1, 0)),
        )
    },
}
PLACES = {"drawn": np.eye(4), "turned, far": turned(203.7, 4e5, -7e5, 60.0), "mirrored": turned(24.2) @ MIRROR}


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("what", SHOWN)
def test_the_section_shows_what_was_measured_from_end_to_end(what, place):
    sketch, kind, way = SHOWN[what]
    result = checked(sketch, [what.split(",")[0]], PLACES[place])
    issue = only_issue(result, what.split(",")[0])
    section = issue.section
    assert section.kind == kind
    towards, up = np.array(section.towards), np.array(section.up)
    if way is None:
        assert section.span is None
    else:
        start, end = np.array(section.span)
        assert np.linalg.norm(end - start) * 1000 == pytest.approx(abs(issue.worst_mm), abs=0.01)
        right = np.cross(up, towards)
        np.testing.assert_allclose(np.abs([(end - start) @ right, (end - start) @ up]) > 1e-6, way)
        np.testing.assert_allclose((np.array(section.span) - section.point_m) @ towards, 0, atol=1e-6)
    # At the worst place, or beside it in the thickness of a wall.
    assert np.linalg.norm(np.subtract(section.point_m, issue.point_m)) < (0.1 if RULES[issue.rule].layer else 0.01)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("what", [name for name, (*_, way) in SHOWN.items() if way])
def test_the_ends_of_the_measure_lie_on_the_parts(what, place):
    sketch, *_ = SHOWN[what]
    result = checked(sketch, [what.split(",")[0]], PLACES[place])
    issue = only_issue(result, what.split(",")[0])
    bodies = bodies_of(result.model)
    near = trimesh.util.concatenate([trimesh.Trimesh(*body, process=False) for body in bodies.values()])
    distance = np.abs(trimesh.proximity.closest_point_naive(near, np.array(issue.section.span))[1])
    # One end of these is a line in the air: the column's centre line, the level of the side, a hole, behind an edge.
    in_the_air = ("panel-end-offset", "plinth-level", "panel-bearing", "panel-field", "seam-flashing")
    ends_on_parts = 1 if what in in_the_air else 2
    # Steps are measured in the open joint between the parts, a lap beside the thin sheets.
    off = {"plinth-step": 0.0101, "row-alignment": 0.0101, "flashing-lap": 0.004}.get(what, 0.002)
    assert (np.sort(distance)[:ends_on_parts] < off).all()


def test_leaning_facades_are_cut_in_their_own_frame():
    angle = np.radians(12)
    lean = np.array(
        [[1, 0, 0, 0], [0, np.cos(angle), np.sin(angle), 0], [0, -np.sin(angle), np.cos(angle), 0], [0, 0, 0, 1.0]]
    )
    result = checked(SHOWN["seam-width"][0], ["seam-width"], lean)
    section = only_issue(result, "seam-width").section
    np.testing.assert_allclose(section.towards, lean[:3, 2], atol=1e-6)
    np.testing.assert_allclose(section.up, lean[:3, 1], atol=1e-6)


def test_a_missing_strip_is_drawn_like_its_neighbour_in_its_place():
    result = checked(SHOWN["column-seal, long gap"][0], ["column-seal"], PLACES["turned, far"])
    issue = only_issue(result, "column-seal")
    view = section_view(issue, result.model)
    outline = cut_scene(view, result.model, element_boxes(result.model)).missing
    (x1, y1), (x2, y2) = outline[:, 0].T, outline[:, 1].T
    assert 0.5 * (x1 * y2 - x2 * y1).sum() == pytest.approx(0.040 * 0.008, abs=1e-9)
    assert result.model.elements[issue.section.like].name in ("column seal 2 left a", "column seal 2 left b")
    place = cut_scene(view, result.model, element_boxes(result.model)).place
    middle = (outline.min(axis=(0, 1)) + outline.max(axis=(0, 1))) / 2
    np.testing.assert_allclose(middle, place, atol=1e-6)


# ---- the camera -----------------------------------------------------------------------------------------------------


def seam(seam_m=0.022, place=HERE):
    """A plan through the seam of row 2, whose width is the measure."""
    model = model_of(hall(seam_m), place)
    issue = issue_of(model, ["Panel right 2", "Panel left 2", "Column 0"], (seam_m / 2 - 0.015, 0.06, 2.5), place=place)
    half = place.rotation() @ (seam_m / 2, 0, 0)
    span = tuple(np.subtract(issue.point_m, half)), tuple(np.add(issue.point_m, half))
    return model, dataclasses.replace(issue, section=dataclasses.replace(issue.section, span=span))


def squarely(view, points, width=WIDE, height=HIGH) -> np.ndarray:
    """Pixels (n, 2) of points seen by an orthogonal camera: its scale is the height that it shows."""
    away = (np.asarray(points) - view.eye) * height / view.height_m
    return np.column_stack(
        [width / 2 + away @ np.cross(view.direction, view.up), height / 2 - away @ np.array(view.up)]
    )


@pytest.mark.parametrize("place", [Place(), Place(33, (5e5, 5.9e6, 40))], ids=["here", "far away"])
def test_the_camera_looks_square_on_a_plane_that_removes_what_is_before_it(place):
    model, issue = seam(place=place)
    view = section_view(issue, model)
    ((on, towards),) = view.clips
    assert on == pytest.approx(issue.point_m, abs=1e-6)
    assert towards == pytest.approx(np.negative(view.direction), abs=1e-9)
    assert np.dot(np.subtract(view.eye, on), towards) > 0, "the camera stands on the removed side"
    assert SECTION_M[0] <= view.height_m <= SECTION_M[1]
    spot = squarely(view, [issue.point_m])[0]
    assert (np.abs(spot - (WIDE / 2, HIGH / 2)) <= (WIDE / 4, HIGH / 4)).all()


def test_selected_is_what_is_wholly_seen_and_not_cut_away():
    model, issue = seam()
    issue = dataclasses.replace(issue, section=dataclasses.replace(issue.section, point_m=(0.0, 0.1, 2.5)))
    view = section_view(issue, model)
    # The column's middle lies below the cut at 2.5 m; the panels are much longer than the picture is wide.
    column = next(e.guid for e in model.elements if e.name == "Column 0")
    assert view.selected == (column,)
    assert sum(len(guids) for _, guids in view.coloured) == 3
    assert np.dot(np.subtract(view.eye, (0, 0, 4.5)), view.direction) < 0, "before all of the column"
    low = dataclasses.replace(issue, section=dataclasses.replace(issue.section, point_m=(0.0, 0.1, 0.5)))
    view = section_view(low, model)
    assert (view.selected, view.coloured) == ((), ()), "the middle of the column would be cut away"


def test_an_arrow_runs_from_the_worst_place_to_where_it_should_be():
    result = checked(SHOWN["seam-width"][0], ["seam-width"], PLACES["turned, far"])
    issue = only_issue(result, "seam-width")
    for view in (section_view(issue, result.model), context_view(issue, result.model)):
        start, *barbs = [line for line in view.lines if line[1] == view.lines[-1][1]]
        np.testing.assert_allclose(start[0], issue.point_m, atol=1e-8)
        np.testing.assert_allclose(np.subtract(*start[::-1]), issue.move.vector_m, atol=1e-8)
        for end, tip in barbs:
            assert np.dot(np.subtract(tip, end), issue.move.vector_m) > 0
            assert 0.005 < np.linalg.norm(np.subtract(tip, end)) < 0.05
        assert len(barbs) == 2


# ---- the picture ----------------------------------------------------------------------------------------------------


def is_colour(image, *colours):
    return np.any([(np.abs(image - np.array(colour)) <= 3).all(axis=2) for colour in colours], axis=0)


@pytest.mark.parametrize("place", [Place(), Place(33, (5e5, 5.9e6, 40)), Place(180)], ids=["here", "far away", "back"])
@pytest.mark.parametrize("seam_m", [0.006, 0.022, 0.046])
def test_an_open_seam_is_paper_as_wide_as_it_is(place, seam_m):
    model, issue = seam(seam_m, place)
    view = dataclasses.replace(section_view(issue, model), span=None)
    image = pixels(draw(view, model, WIDE, HIGH))
    # Between the panels near the outer face, clear of the mark in the middle.
    depth = place.world(np.array([[seam_m / 2 - 0.015, 0.02, 2.5]]))
    row = image[int(squarely(view, depth)[0][1])]
    paper = np.flatnonzero((row == PAPER).all(axis=1))
    scale = HIGH / view.height_m
    assert len(paper) == pytest.approx(seam_m * scale, abs=1.1)
    ends = place.world(np.array([[-0.015, 0.02, 2.5], [seam_m - 0.015, 0.02, 2.5]]))
    left, right = squarely(view, ends)[:, 0]
    assert (paper.min(), paper.max() + 1) == pytest.approx((left, right), abs=1)


def test_cut_faces_fill_what_another_library_says_and_are_edged_inside():
    model, issue = seam()
    view = dataclasses.replace(section_view(issue, model), span=None)
    image = pixels(draw(view, model, WIDE, HIGH))
    columns, rows = np.meshgrid(np.arange(WIDE) + 0.5, np.arange(HIGH) + 0.5)
    x, y = squarely(view, [view.place])[0]
    # Neither the mark nor the scale bar, nor where the picture ends and parts go on without an edge.
    clear = (np.hypot(columns - x, rows - y) > 50) & ~((columns > WIDE - 220) & (rows > HIGH - 90))
    clear &= (columns > 4) & (columns < WIDE - 4) & (rows > 4) & (rows < HIGH - 4)
    blank, dark = (image == PAPER).all(axis=2), image.sum(axis=2) < 450
    faces = [shapely.box(*squarely(view, [part.low, part.high]).ravel()) for part in hall(0.022)]
    for part, face in zip(hall(0.022), faces, strict=True):
        if part.name in ("Panel left 2", "Panel right 2", "Column 0"):
            inside = shapely.contains_xy(face.buffer(-0.5), columns, rows)
            rim = inside & ~shapely.contains_xy(face.buffer(-1.6), columns, rows)
            assert not blank[inside & clear].any()
            assert dark[rim & clear].all()
            assert (rim & clear).sum() > 500
    outside = ~shapely.contains_xy(shapely.union_all(faces).buffer(0.8), columns, rows)
    assert blank[outside & clear].all()


def test_turning_the_building_turns_no_picture():
    sketch = SHOWN["seam-width"][0]
    images = []
    for place in (np.eye(4), turned(203.7, 4e5, -7e5, 60.0)):
        result = checked(sketch, ["seam-width"], place)
        images.append(
            pixels(draw(section_view(only_issue(result, "seam-width"), result.model), result.model, WIDE, HIGH))
        )
    # What falls on the border of two pixels may fall into either of them.
    one, other = images
    shifted = [np.roll(other, (down, right), (0, 1)) for down in (-1, 0, 1) for right in (-1, 0, 1)]
    assert (np.min([np.abs(one - each).max(axis=2) for each in shifted], axis=0) > 40).mean() < 1e-3


def test_mirroring_mirrors_plans_and_leaves_upright_sections_as_they_are():
    for what, flipped in (("seam-width", True), ("plinth-level", False)):
        scenes = []
        for place in (np.eye(4), MIRROR):
            result = checked(SHOWN[what][0], [what], place)
            view = section_view(only_issue(result, what), result.model)
            scene = cut_scene(view, result.model, element_boxes(result.model))
            lines = scene.outline * ((-1, 1) if flipped and place is MIRROR else (1, 1))
            drawn = shapely.union_all(shapely.linestrings(lines), grid_size=1e-6)
            scenes.append(shapely.intersection(drawn, shapely.box(-0.2, -0.15, 0.2, 0.15)))
        one, other = scenes
        assert shapely.hausdorff_distance(one, other) < 1e-4
        assert one.length == pytest.approx(other.length, rel=1e-3)
        assert one.length > 1


def test_an_open_body_is_a_thick_line_without_a_fill():
    result = checked(SHOWN["seam-width"][0], ["seam-width"])
    issue = only_issue(result, "seam-width")
    points, triangles = bodies_of(result.model)["column 2"]
    gone = dataclasses.replace(issue, move=None, section=dataclasses.replace(issue.section, span=None))
    whole, half = result.model, remade(result.model, {"column 2": (points, triangles[:-7])}, {"column 2": "is open"})
    # The flange away from the facade: filled with hatches, or nothing but its outline.
    spot = (6.06, 0.1825, issue.section.point_m[2])
    column = next(i for i, e in enumerate(whole.elements) if e.name == "column 2")
    assert column in issue.elements
    shares = []
    for model in (whole, half):
        view = section_view(gone, model)
        image = pixels(draw(view, model, WIDE, HIGH))
        x, y = squarely(view, [spot])[0].astype(int)
        shares.append(is_colour(image[y - 8 : y + 8, x - 20 : x + 20], PAPER, (246, 240, 236)).mean())
    assert shares[0] < 0.4 < 0.9 < shares[1]


def test_the_part_that_should_move_has_its_colour_an_arrow_and_a_ghost():
    result = checked(SHOWN["seam-width"][0], ["seam-width"])
    issue = only_issue(result, "seam-width")
    view = section_view(issue, result.model)
    image = pixels(draw(view, result.model, WIDE, HIGH))
    still = pixels(draw(dataclasses.replace(view, move=(0, 0, 0), target=None), result.model, WIDE, HIGH))
    mover = np.argwhere(is_colour(image, tuple(int(MOVES[k : k + 2], 16) for k in (2, 4, 6))))
    blue = np.argwhere(only_mark(image) & ~only_mark(still))
    assert len(mover) > 3000
    # It stands 8 mm too far left and should go to the right: its ghost ends so much further.
    assert issue.move.vector_m[0] > 0
    ghost = squarely(view, [np.add(issue.section.span[0], issue.move.vector_m)])[0]
    assert np.abs(blue[:, 1] - ghost[0]).min() <= 2
    assert len(blue) > 300


def test_neighbours_behind_the_plane_are_faint_and_far_ones_are_not_drawn():
    near = BoxPart("near", "plinth", (-0.1, -0.1, 0.9), (0.1, 0.1, 0.99))
    far = BoxPart("far", "plinth", (-0.1, -0.1, 0.1), (0.1, 0.1, 0.6))
    post = BoxPart("post", "column", (-0.2, 0.12, 0.5), (0.2, 0.14, 2.0))
    for parts, seen in (([near, post], True), ([far, post], False)):
        model = model_of(parts)
        view = section_view(issue_of(model, ["post"], (0.0, 0.05, 1.0)), model)
        image = pixels(draw(view, model, WIDE, HIGH))
        x, y = squarely(view, [(0.05, -0.05, 1.0)])[0].astype(int)
        assert ((image[y, x] != PAPER).any()) == seen
        assert image[y, x].min() > 200, "fainter than any cut face"


def test_figures_can_be_read_back():
    # Each digit differs from every other in a twentieth of its pixels, and is as wide as it says.
    shapes = []
    for digit in "0123456789":
        picture = np.full((60, 60, 3), 255.0)
        pens.figures(picture, digit, np.array([30.0, 30.0]), 36.0, INK)
        shapes.append(picture[..., 0] < 128)
        across = np.flatnonzero(shapes[-1].any(axis=0))
        assert across.max() - across.min() <= pens.figures_width(digit, 36.0) + 8
    ink = np.mean([shape.sum() for shape in shapes])
    for i, one in enumerate(shapes):
        assert all((one ^ other).sum() > 0.15 * ink for other in shapes[:i])


def test_an_issue_without_parts_still_has_a_section():
    model = model_of([])
    issue = dataclasses.replace(issue_of(model, [], (1.0, 2.0, 3.0)), elements=())
    view = section_view(issue, model)
    image = pixels(draw(view, model, WIDE, HIGH))
    assert view.height_m == SECTION_M[0]
    assert only_mark(image).sum() > 50
