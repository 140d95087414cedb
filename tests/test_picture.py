"""The painter against analytic projection (shapely) and an independent PNG decoder (Pillow)."""

import dataclasses
import io

import numpy as np
import pytest
import shapely
from box_model import Part, Place, cover, hall, issue_of, model_of
from hypothesis import given, settings
from hypothesis import strategies as st
from thorough import some

from checker.model import Meshes, Model
from checker.output import picture
from checker.output.pens import MARK
from checker.output.picture import draw, draw_all
from checker.output.raster import PAPER, paint, png
from checker.output.views import CONCERNED, MOVES, SEALS, Viewpoint, context_view, element_boxes
from checker.result import Move

Image = pytest.importorskip("PIL.Image")

WIDE, HIGH = 400, 300


def pixels(data: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def looking(eye, at, tints=(), place=None, radius=50.0) -> Viewpoint:
    """A camera by hand; its worst place lies behind it, so that no mark is drawn, unless one is given."""
    direction = np.subtract(at, eye) / np.linalg.norm(np.subtract(at, eye))
    right = np.cross(direction, (0, 0, 1)) / np.linalg.norm(np.cross(direction, (0, 0, 1)))
    up = np.cross(right, direction)
    place = tuple(np.subtract(eye, 10 * direction)) if place is None else place
    return Viewpoint(
        tuple(eye), tuple(direction), tuple(up), 60.0, (), (), tuple(tints), tuple(at), radius, place, 0.25, (0, 0, 0)
    )


def projected(view: Viewpoint, points, width=WIDE, height=HIGH) -> np.ndarray:
    """Pixels (n, 2) of world points and nothing else, from the text of the standard: the angle is the vertical one."""
    away = np.asarray(points) - view.eye
    depth = away @ view.direction
    scale = height / 2 / np.tan(np.radians(view.field_of_view_deg) / 2)
    x = away @ np.cross(view.direction, view.up) / depth * scale
    y = away @ np.array(view.up) / depth * scale
    return np.column_stack([width / 2 + x, height / 2 - y])


def middles(width=WIDE, height=HIGH) -> tuple[np.ndarray, np.ndarray]:
    rows, columns = np.mgrid[:height, :width] + 0.5
    return columns, rows


@settings(max_examples=some(25), deadline=None)
@given(
    st.tuples(*[st.floats(-4, 4)] * 3),
    st.tuples(*[st.floats(0.3, 5)] * 3),
    st.floats(0, 360),
    st.floats(0, 360),
    st.floats(-10, 10),
)
def test_outline_of_a_box_is_the_hull_of_its_projected_corners(low, size, turn, around, above):
    place = Place(turn)
    part = Part("box", "panel", low, tuple(np.add(low, size)))
    eye = (14 * np.cos(np.radians(around)), 14 * np.sin(np.radians(around)), above)
    model = model_of([part], place)
    view = looking(eye, (0.0, 0.0, 0.0), [(0, MOVES)])
    hull = shapely.convex_hull(shapely.MultiPoint(projected(view, part.corners(place))))
    # A pixel has colour when one of the four spots that are averaged in it lies on the box.
    columns, rows = middles()
    spots = [(columns + i / 4, rows + j / 4) for i in (-1, 1) for j in (-1, 1)]
    expected = np.any([shapely.contains_xy(hull, *spot) for spot in spots], axis=0)
    painted = surfaces(view, model)
    assert (painted & expected).sum() >= 0.999 * (painted | expected).sum()
    # Edges reach no more than their width over the outline.
    edged = (pixels(draw(view, model, WIDE, HIGH)) != PAPER).any(axis=2)
    assert edged[expected].all()
    assert not edged[~shapely.contains_xy(hull.buffer(1.5), *middles())].any()


def surfaces(view: Viewpoint, model: Model) -> np.ndarray:
    """Where surfaces are, without edges: the same scene with its edges left out."""
    scene = picture.scene_of(view, model, element_boxes(model))
    bare = dataclasses.replace(scene, ends=scene.ends[:0], edge_layer=scene.edge_layer[:0])
    return (pixels(paint(bare, WIDE, HIGH)) != PAPER).any(axis=2)


def test_ground_from_under_the_camera_to_the_horizon():
    # Crosses the near plane; the top of the slab, 1 m under the eye and 500 m long, ends 1/500 under the horizon.
    model = model_of([Part("ground", "", (-2000, -500, -2), (2000, 500, -1))])
    painted = surfaces(looking((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), radius=10.0), model)
    horizon = HIGH / 2 + HIGH / 2 / np.tan(np.radians(30)) / 500
    # The lower of the two spots averaged in a pixel decides.
    np.testing.assert_array_equal(painted, middles()[1] + 0.25 > horizon)


def test_the_nearer_surface_is_seen_and_a_hidden_flagged_part_shines_through():
    model = model_of([Part("near", "panel", (-1, 0, -1), (1, 0.1, 1)), Part("far", "panel", (-3, 2, -3), (3, 2.1, 3))])
    near, far = (next(i for i, e in enumerate(model.elements) if e.name == name) for name in ("near", "far"))
    eye, at = (0.0, -8.0, 0.0), (0.0, 0.0, 0.0)

    def colours(tints):
        image = pixels(draw(looking(eye, at, tints), model, WIDE, HIGH))
        return image[HIGH // 2 + 5, WIDE // 2 + 5], image[HIGH // 2 + 5, WIDE // 2 + 60]

    grey, beside = colours([])
    np.testing.assert_array_equal(grey, beside)
    orange, beside = colours([(near, MOVES)])
    np.testing.assert_array_equal(beside, grey)
    assert orange[0] > orange[1] + 100 > orange[2] + 100
    through, beside = colours([(far, MOVES)])
    np.testing.assert_array_equal(beside, orange)
    np.testing.assert_allclose(through, 0.7 * grey + 0.3 * orange, atol=1)


def test_what_hides_the_place_becomes_see_through_and_nothing_else_does():
    model = model_of([*hall(), cover(2), cover(0)])
    issue = issue_of(model, ["Panel right 2", "Panel left 2"], (0.06, 0.0, 2.9))
    view = context_view(issue, model)
    image = pixels(draw(view, model))
    # Two spots on the right-hand panels, 50 mm from the seam: behind the flashing of row 2, and of row 0.
    behind, other = (np.round(projected(view, [(0.05, -0.003, z)], 1000, 750)[0]).astype(int) for z in (2.2, 0.5))
    beside = np.round(projected(view, [(0.4, 0.0, 2.2)], 1000, 750)[0]).astype(int)
    orange, seen, covered = (image[y, x] for x, y in (beside, behind, other))
    assert seen[0] > seen[2] + 60, "the flashing hides the flagged panel"
    assert (seen != orange).any(), "the flashing is not to be seen at all"
    assert abs(covered - covered.mean()).max() < 30, "a flashing elsewhere is drawn as it is"


def test_a_wall_before_the_place_gets_a_hole_round_it_and_stays_elsewhere():
    screen = Part("Screen", "", (-6, -1.1, 0.5), (6, -1.0, 4.0))
    models = (model_of(hall()), model_of([*hall(), screen]))
    views = [context_view(issue_of(m, ["Panel right 2", "Panel left 2"], (0.5, 0.0, 2.5)), m) for m in models]
    clear, image = (pixels(draw(view, model)) for view, model in zip(views, models, strict=True))
    view = views[0]
    x, y = projected(view, [view.place], 1000, 750)[0].astype(int)
    far_x, far_y = projected(view, [(3.5, 0.0, 2.7)], 1000, 750)[0].astype(int)
    grey = image[tuple(projected(view, [(3.5, -1.1, 3.9)], 1000, 750)[0].astype(int)[::-1])]
    orange = clear[far_y, far_x]
    # The screen's own grey is looked up where only the screen is; see-through surfaces are drawn at 22 %.
    np.testing.assert_allclose(image[y + 26, x], orange + 0.22 * (grey - orange), atol=3)
    np.testing.assert_allclose(image[far_y, far_x], grey + 0.3 * (orange - grey), atol=3)


def test_flagged_seals_have_a_tint_of_their_own_unless_they_come_first():
    model = model_of(hall())
    view = context_view(issue_of(model, ["Panel left 2", "Seal 2", "Panel right 2"], (0.0, 0.0, 2.5)), model)
    guids = {part.name: part.guid for part in hall()}
    assert view.coloured == (
        (MOVES, (guids["Panel left 2"],)),
        (SEALS, (guids["Seal 2"],)),
        (CONCERNED, (guids["Panel right 2"],)),
    )
    view = context_view(issue_of(model, ["Seal 2", "Panel left 2"], (0.0, 0.0, 2.5)), model)
    assert view.coloured[0] == (MOVES, (guids["Seal 2"],))


def only_mark(image: np.ndarray) -> np.ndarray:
    return (np.abs(image - MARK) <= 2).all(axis=2)


@pytest.mark.parametrize("place", [Place(), Place(33, (500_000.0, 5_900_000.0, 40.0))], ids=["here", "far away"])
def test_the_mark_lies_on_the_projected_place(place):
    model = model_of(hall(), place)
    # The whole part fills the picture, so no magnified detail is needed and the mark is all there is of its colour.
    issue = issue_of(model, ["Seal 2"], (0.01, 0.14, 2.75), (0, -1, 0), place, worst_mm=499.0)
    view = context_view(issue, model)
    at = np.argwhere(only_mark(pixels(draw(view, model)))) + 0.5
    spot = projected(view, [issue.point_m], 1000, 750)[0]
    assert len(at) > 50
    np.testing.assert_allclose((at.min(axis=0) + at.max(axis=0)) / 2, spot[::-1], atol=0.75)


def test_the_magnifier_shows_a_fine_seam_in_its_true_proportion():
    model = model_of(hall(seam_m=0.022))
    issue = issue_of(model, ["Panel right 2", "Panel left 2"], (-0.004, 0.0, 2.5))
    view = context_view(issue, model)
    assert view.detail_m == 0.25
    image = pixels(draw(view, model))
    # The circle is known by its rim: only there is so much of the mark's colour in one column.
    rim = only_mark(image)
    columns = np.flatnonzero(rim.sum(axis=0) > 40)
    left, right = columns.min(), columns.max()
    middle = (left + right + 1) // 2
    rows = np.flatnonzero(rim[:, middle])
    upper = (rows.min() * 3 + rows.max()) // 4
    row = image[upper, left + 40 : right - 40]
    yellow, red = (np.flatnonzero(np.abs(row - shade).sum(axis=1) < 12) for shade in fronts(view, model))
    assert yellow.max() < red.min()
    # The dark edges on both sides are drawn about a pixel wide.
    assert (red.min() - yellow.max()) / (right - left - 3) == pytest.approx(0.022 / 0.25, abs=3 / 360)


def fronts(view: Viewpoint, model: Model) -> list[np.ndarray]:
    image = pixels(draw(view, model))
    spots = projected(view, [(-4.0, 0.0, 2.7), (4.0, 0.0, 2.7)], 1000, 750).astype(int)
    return [image[y, x] for x, y in spots]


@pytest.mark.parametrize("look", [(0, 1, 0), (0, -1, 0), (0, 0, -1), (0, 0, 1), (1, 0, 0), (0.6, 0.0, -0.8)])
def test_camera_is_sound_and_frames_the_selected_parts(look):
    model = model_of(hall())
    names = ["Panel left 2", "Panel right 2", "Column 0"]
    view = context_view(issue_of(model, names, (0.0, 0.0, 2.5), look), model)
    direction, up = np.array(view.direction), np.array(view.up)
    assert np.linalg.norm(direction) == pytest.approx(1, abs=1e-9)
    assert np.linalg.norm(up) == pytest.approx(1, abs=1e-9)
    assert direction @ up == pytest.approx(0, abs=1e-9)
    assert direction @ look > 0.9
    assert np.linalg.norm(np.subtract(view.centre, view.eye)) >= view.radius_m / np.sin(np.radians(30)) * 1.1 - 1e-4
    for part in hall():
        if part.name in names:
            # In a square window too, whichever way a reader takes the angle.
            spots = projected(view, part.corners(Place()), 100, 100)
            assert ((spots > 0) & (spots < 100)).all()


def test_camera_stands_on_the_side_it_looks_from_and_a_little_above():
    model = model_of(hall())
    view = context_view(issue_of(model, ["Panel left 2"], (0.0, 0.0, 2.5)), model)
    assert view.eye[1] < -1
    assert view.eye[2] > view.centre[2]
    assert abs(view.eye[0] - view.centre[0]) > 0.1


def test_a_part_as_wide_as_a_roof_is_coloured_but_does_not_push_the_camera_away():
    model = model_of(hall())
    view = context_view(issue_of(model, ["Roof", "Panel left 3"], (-2.0, 0.0, 4.05)), model)
    roof, panel = (next(p.guid for p in hall() if p.name == name) for name in ("Roof", "Panel left 3"))
    assert view.selected == (panel,)
    assert view.coloured == ((MOVES, (roof,)), (CONCERNED, (panel,)))
    assert view.radius_m < 4


def test_a_place_far_from_all_flagged_parts_does_not_take_the_picture_away_from_them():
    model = model_of(hall())
    view = context_view(issue_of(model, ["Panel left 2"], (400.0, 0.0, 2.5)), model)
    (part,) = [part for part in hall() if part.name == "Panel left 2"]
    spots = projected(view, part.corners(Place()), 100, 100)
    assert ((spots > 0) & (spots < 100)).all()
    assert np.ptp(spots, axis=0).max() > 40
    assert not only_mark(pixels(draw(view, model))).any()


def test_flagged_parts_far_from_the_place_are_coloured_only():
    model = model_of(hall())
    view = context_view(issue_of(model, ["Panel left 0", "Panel left 3"], (-3.0, 0.0, 0.5)), model)
    assert len(view.selected) == 1
    assert sum(len(guids) for _, guids in view.coloured) == 2


def test_a_small_part_is_shown_with_its_surroundings():
    shim = (0.004, 0.02, 0.03)
    model = model_of([Part("shim", "seal", (0, 0, 0), shim), Part("post", "column", (0, 1, 0), (1, 2, 3))])
    view = context_view(issue_of(model, ["shim"], (0.0, 0.0, 0.0)), model)
    span = projected(view, [(0, 0, 0), shim], 100, 100)
    assert 0.1 < view.radius_m <= 1.0
    assert np.abs(span[1] - span[0]).max() > 1.2, "under two percent of the half picture"


def test_parts_without_a_body_are_left_out_and_the_place_is_framed():
    model = model_of([Part("box", "panel", (0, 0, 0), (1, 1, 1))])
    hollow = Meshes(model.meshes.points[:0], model.meshes.triangles[:0], np.zeros(2, int), np.zeros(2, int))
    model = dataclasses.replace(model, meshes=hollow, faults=("no body",))
    view = context_view(issue_of(model, ["box"], (3.0, 4.0, 5.0)), model)
    assert (view.selected, view.coloured, view.tints) == ((), (), ())
    assert view.centre == (3.0, 4.0, 5.0)
    assert only_mark(pixels(draw(view, model))).sum() > 50


def test_a_broken_body_is_drawn_from_both_sides():
    model = model_of([Part("box", "panel", (-1, -1, -1), (1, 1, 1))])
    back = np.array([[0, 1, 2]]) if facing_away(model) else np.array([[0, 2, 1]])
    sheet = Meshes(model.meshes.points, back, model.meshes.point_start, np.array([0, 1]))
    view = looking((0.0, 0.0, 8.0), (0.0, 0.1, 0.0))
    for fault, seen in (("", False), ("the mesh is open", True)):
        broken = dataclasses.replace(model, meshes=sheet, faults=(fault,))
        assert surfaces(view, broken).any() == seen


def facing_away(model: Model) -> bool:
    a, b, c = model.meshes.points[:3]
    return bool(np.cross(b - a, c - a)[2] < 0)


def test_an_absurdly_fine_part_is_left_out_rather_than_drawn_for_minutes(monkeypatch):
    model = model_of([Part("a", "panel", (-1, -1, -1), (1, 1, 1)), Part("b", "panel", (2, -1, -1), (4, 1, 1))])
    view = looking((0.0, -12.0, 0.0), (0.0, 0.0, 0.0), [(0, MOVES), (1, CONCERNED)])
    both = surfaces(view, model)
    monkeypatch.setattr(picture, "MOST_TRIANGLES", 1.9)
    one = surfaces(view, model)
    assert 0 < one.sum() < both.sum()


def test_voids_and_rooms_are_not_drawn():
    room = [p for p in hall() if p.role == "opening"]
    model = model_of(room)
    assert not surfaces(looking((0.0, -30.0, 2.0), (0.0, 0.0, 2.0)), model).any()


def test_the_way_to_move_is_shown_and_points_that_way():
    model = model_of(hall())
    plain = issue_of(model, ["Panel right 2", "Panel left 2"], (0.0, 0.0, 2.5))
    images = []
    for way in ((0.0, 0.0, 0.0), (0.01, 0.0, 0.0), (-0.01, 0.0, 0.0), (0.0, 0.0, -0.01)):
        moved = dataclasses.replace(plain, move=Move("x", "end", way, 10.0, "there") if any(way) else None)
        images.append(pixels(draw(context_view(moved, model), model)))
    still, right, left, down = images
    middle = [np.argwhere((image != still).any(axis=2)).mean(axis=0) for image in (right, left, down)]
    assert middle[0][1] > middle[2][1] > middle[1][1]
    assert middle[2][0] > middle[0][0] + 20


def test_two_processes_draw_the_same_as_one(monkeypatch):
    monkeypatch.setattr(picture, "SIZES", ((10**9, (120, 90)),))
    model = model_of(hall())
    boxes = element_boxes(model)
    views = [
        context_view(issue_of(model, [f"Panel {side} {row}"], (0.0, 0.0, row + 0.5)), model, boxes)
        for row in range(4)
        for side in ("left", "right")
    ]
    alone = list(draw_all(views, model, boxes))
    assert alone == [draw(view, model, 120, 90) for view in views]
    monkeypatch.setattr(picture, "WORTH_A_PROCESS", 1)
    monkeypatch.setattr(picture, "BATCH", 3)
    monkeypatch.setattr(picture.os, "cpu_count", lambda: 2)
    assert list(draw_all(views, model, boxes)) == alone


LARGE, MIDDLE, SMALL, LEAST = (1000, 750), (640, 480), (480, 360), (320, 240)


@pytest.mark.parametrize(
    ("number", "size"),
    [(240, LARGE), (241, MIDDLE), (800, MIDDLE), (801, SMALL), (4000, SMALL), (4001, LEAST)],
)
def test_the_more_pictures_the_smaller_they_are(monkeypatch, small_pictures, number, size):
    monkeypatch.setattr(picture, "SIZES", small_pictures)
    monkeypatch.setattr(picture.os, "cpu_count", lambda: 1)
    monkeypatch.setattr(picture, "_scene", lambda view, *_: view)
    monkeypatch.setattr(picture, "_painted", lambda scene, width, height: (scene, width, height))
    assert list(draw_all(list(range(number)), None, None)) == [(k, *size) for k in range(number)]


@pytest.mark.parametrize("at_once", [True, False])
def test_pictures_are_drawn_where_no_process_can_be_started(monkeypatch, at_once):
    class Refused:
        def __init__(self, *_, **__):
            if at_once:
                raise NotImplementedError("no shared locks here")

        def map(self, *_):
            raise OSError("no semaphores here")

        def shutdown(self, **_):
            pass

    model = model_of(hall())
    views = [context_view(issue_of(model, ["Seal 1"], (0.0, 0.0, 1.5)), model)]
    expected = list(draw_all(views, model, element_boxes(model)))
    monkeypatch.setattr(picture, "WORTH_A_PROCESS", 1)
    monkeypatch.setattr(picture.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(picture, "ProcessPoolExecutor", Refused)
    assert list(draw_all(views, model, element_boxes(model))) == expected


@given(st.integers(1, 30), st.integers(1, 30), st.integers(0, 2**32 - 1))
@settings(max_examples=some(30), deadline=None)
def test_png_is_read_back_by_another_decoder(height, width, seed):
    image = np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)
    np.testing.assert_array_equal(pixels(png(image)), image)


def test_an_empty_model_still_gives_a_picture():
    model = model_of([])
    issue = dataclasses.replace(issue_of(model, [], (1.0, 2.0, 3.0)), elements=())
    image = pixels(draw(context_view(issue, model), model, WIDE, HIGH))
    assert image.shape == (HIGH, WIDE, 3)
    assert only_mark(image).any()
