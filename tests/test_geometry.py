"""Geometry held against other libraries: trimesh (bodies, sections), shapely (outlines, clipping), and rasters."""

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from checker import geometry as g
from checker.model import Meshes

angles = st.floats(-180.0, 180.0)
lengths = st.floats(0.05, 9.0)
rotations = st.tuples(*[st.integers(-9, 9)] * 4).filter(any)


def rotation(quaternion) -> np.ndarray:
    return trimesh.transformations.quaternion_matrix(np.array(quaternion) / np.linalg.norm(quaternion))


def meshes_of(*bodies: trimesh.Trimesh) -> Meshes:
    """Bodies one after another, as the reader gives them."""
    points = np.cumsum([0, *(len(b.vertices) for b in bodies)])
    triangles = np.cumsum([0, *(len(b.faces) for b in bodies)])
    return Meshes(
        np.concatenate([np.zeros((0, 3)), *(np.asarray(b.vertices) for b in bodies)]),
        np.concatenate(
            [np.zeros((0, 3), np.int64), *(np.asarray(b.faces) + s for b, s in zip(bodies, points, strict=False))]
        ),
        points.astype(np.int64),
        triangles.astype(np.int64),
    )


def boxed(*bounds) -> trimesh.Trimesh:
    return trimesh.util.concatenate([trimesh.creation.box(bounds=b) for b in bounds])


def prism(outline, depth: float) -> trimesh.Trimesh:
    """A convex outline (k, 2) in x and y drawn out by ``depth`` along z."""
    ring = np.asarray(shapely.convex_hull(shapely.multipoints(outline)).exterior.coords)[:-1][::-1]
    fan = [(0, i, i + 1) for i in range(1, len(ring) - 1)]
    made = trimesh.creation.extrude_triangulation(ring, fan, depth)
    if made.volume < 0:
        made.invert()
    return made


# A panel end with a groove, a notched end, a gable, a section with flanges: what silhouettes must follow.
SHAPES = {
    "grooved end": boxed(([0, 0, 0], [3, 1, 0.05]), ([0, 0, 0.05], [2.98, 1, 0.07]), ([0, 0, 0.07], [3, 1, 0.12])),
    "notched end": boxed(([0, 0, 0], [3, 0.4, 0.12]), ([0, 0.4, 0], [2.7, 0.6, 0.12]), ([0, 0.6, 0], [3, 1, 0.12])),
    "gable": prism([(0, 0), (3, 0), (3, 0.6), (1.4, 1.0), (0, 0.7)], 0.12),
    "end out of square": prism([(0, 0), (3, 0), (2.991, 1), (0.004, 1)], 0.12),
    "section": boxed(
        ([0, 0, 0], [0.2, 0.015, 4]), ([0.095, 0.015, 0], [0.105, 0.175, 4]), ([0, 0.175, 0], [0.2, 0.19, 4])
    ),
    "tube": trimesh.creation.cylinder(radius=0.1, height=3.0, sections=24),
}


@settings(max_examples=25)
@given(lengths, lengths, lengths, rotations, st.tuples(lengths, lengths, lengths))
def test_an_oriented_box_has_the_size_axes_and_place_of_the_box_it_was_made_from(x, y, z, turn, place):
    matrix = rotation(turn)
    matrix[:3, 3] = place
    body = trimesh.creation.box([x, y, z], matrix)
    box = g.boxes(meshes_of(trimesh.creation.icosphere(1), body))
    order = np.argsort([-x, -y, -z], kind="stable")
    np.testing.assert_allclose(box.size[1], np.array([x, y, z])[order], atol=1e-9)
    np.testing.assert_allclose(box.centre[1], place, atol=1e-9)
    if min(np.abs(np.subtract.outer([x, y, z], [x, y, z]))[np.triu_indices(3, 1)]) > 1e-6:
        np.testing.assert_allclose(np.abs(box.axes[1] @ matrix[:3, order]), np.eye(3), atol=1e-9)
    np.testing.assert_allclose((box.low[1], box.high[1]), body.bounds, atol=1e-9)


@pytest.mark.parametrize("name", SHAPES)
@settings(max_examples=4)
@given(turn=rotations)
def test_volume_and_area_are_those_of_another_library(name, turn):
    body = SHAPES[name].copy().apply_transform(rotation(turn))
    box = g.boxes(meshes_of(body))
    assert box.volume[0] == pytest.approx(body.volume, abs=1e-9)
    assert box.area[0] == pytest.approx(body.area, abs=1e-9)


@pytest.mark.parametrize("rake", [0.01, 0.06, 0.3, 0.5])
@settings(max_examples=4)
@given(turn=rotations)
def test_slanted_ends_and_gables_do_not_turn_the_axes_of_a_panel(rake, turn):
    matrix = rotation(turn)
    panel = prism([(0, 0), (6, 0), (6 - rake, 1), (0, 1)], 0.12).apply_transform(matrix)
    axes = g.boxes(meshes_of(panel)).axes[0]
    np.testing.assert_allclose(np.abs(axes @ matrix[:3, :3]), np.eye(3), atol=1e-9)


def test_a_body_without_triangles_has_zeros():
    box = g.boxes(meshes_of(trimesh.Trimesh(), trimesh.creation.box([1, 2, 3])))
    assert box.size[0].tolist() == box.centre[0].tolist() == [0, 0, 0]
    assert (box.volume[0], box.area[0]) == (0, 0)
    assert box.volume[1] == pytest.approx(6.0)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("side", [0, 1, 2])
@pytest.mark.parametrize("sign", [-1, 1])
@settings(max_examples=3)
@given(turn=rotations)
def test_a_silhouette_is_the_edge_of_the_shadow(name, side, sign, turn):
    """The shadow is what the projected triangles cover together; shapely cuts each of them."""
    matrix = rotation(turn)
    along = (side + 1) % 3
    body, frame = SHAPES[name].copy().apply_transform(matrix), matrix[:3, :3].T
    lines = g.silhouettes(meshes_of(body), np.array([0]), frame[None], side, sign, along)
    local = body.vertices @ frame.T
    flat = shapely.polygons(local[body.faces][:, :, [along, side]])
    flat = flat[shapely.area(flat) > 1e-9]
    low, high = local[:, along].min(), local[:, along].max()
    for share in (0.013, 0.21, 0.48, 0.77, 0.983):
        at = low + share * (high - low)
        cuts = shapely.intersection(flat, shapely.linestrings([[at, -20.0], [at, 20.0]]))
        edge = shapely.total_bounds(cuts)[3 if sign > 0 else 1]
        for reading in (-1, 1):
            assert g.sample(lines, np.array([[at]]), reading)[0, 0] == pytest.approx(edge, abs=g.STRAIGHT)


def test_a_silhouette_jumps_where_a_notch_begins():
    body, frame = SHAPES["notched end"], np.eye(3)
    lines = g.silhouettes(meshes_of(body), np.array([0]), frame[None], 0, 1, 1)
    at, value = lines.at[0], lines.value[0]
    jumps = np.flatnonzero((np.diff(at) == 0) & (np.diff(value) != 0))
    np.testing.assert_allclose(at[jumps], [0.4, 0.6], atol=1e-6)
    np.testing.assert_allclose(g.sample(lines, at[None, jumps], -1), [[3.0, 2.7]], atol=1e-9)
    np.testing.assert_allclose(g.sample(lines, at[None, jumps], 1), [[2.7, 3.0]], atol=1e-9)


@pytest.mark.parametrize("name", SHAPES)
@settings(max_examples=5)
@given(turn=rotations, share=st.floats(0.03, 0.97), angle=angles)
def test_a_section_reaches_as_far_as_that_of_another_library(name, turn, share, angle):
    body = SHAPES[name].copy().apply_transform(rotation(turn))
    frame = trimesh.transformations.rotation_matrix(np.radians(angle), [0, 0, 1])[:3, :3]
    z = body.bounds[0, 2] + share * (body.bounds[1, 2] - body.bounds[0, 2])
    low, high = g.sections(meshes_of(body), np.array([0]), frame[None], np.array([[z, 99.0]]))
    cut = trimesh.intersections.mesh_plane(body, [0, 0, 1], [0, 0, z]).reshape(-1, 3)
    seen = cut @ frame[[0, 2]].T
    np.testing.assert_allclose(low[0, 0], seen.min(axis=0), atol=1e-8)
    np.testing.assert_allclose(high[0, 0], seen.max(axis=0), atol=1e-8)
    assert np.isnan(low[0, 1]).all()
    assert np.isnan(high[0, 1]).all()


def hundredths(low: int, high: int):
    """Plain numbers: the other libraries stumble over those that are nearly nothing."""
    return st.integers(low, high).map(lambda number: number / 100)


corner = st.tuples(*[hundredths(-200, 200)] * 3)


@settings(max_examples=60)
@given(st.lists(st.tuples(corner, corner, corner), min_size=1, max_size=4), st.tuples(*[hundredths(-150, 150)] * 4))
def test_clipping_leaves_what_an_intersection_leaves(corners, bounds):
    """Clipped in coordinates 1 and 2 by shapely, lifted back to coordinate 0 by the plane of the triangle."""
    low, high = np.minimum(bounds[:2], bounds[2:]), np.maximum(bounds[:2], bounds[2:]) + 0.05
    corners = np.array(corners)
    reach, met = g.clip_triangles(corners, np.tile(low, (len(corners), 1)), np.tile(high, (len(corners), 1)))
    window = shapely.box(*low, *high)
    for triangle, found, there in zip(corners, reach, met, strict=True):
        matrix = np.column_stack([triangle[:, 1:], np.ones(3)])
        if abs(np.linalg.det(matrix)) < 0.05:
            continue  # seen from its edge: shapely has no area to cut
        rest = shapely.intersection(shapely.polygons(triangle[:, 1:]), window)
        if rest.is_empty or rest.area < 1e-6:
            continue
        assert there
        lifted = np.column_stack([shapely.get_coordinates(rest), np.ones(len(shapely.get_coordinates(rest)))])
        height = lifted @ np.linalg.solve(matrix, triangle[:, 0])
        np.testing.assert_allclose(found, [height.min(), height.max()], atol=1e-7)


def test_a_triangle_seen_from_its_edge_is_clipped_too():
    edge_on = np.array([[[0.0, 0.0, 0.0], [4.0, 4.0, 0.0], [2.0, 2.0, 0.0]]])
    reach, met = g.clip_triangles(edge_on, np.array([[1.0, -1.0]]), np.array([[3.0, 1.0]]))
    assert met.tolist() == [True]
    np.testing.assert_allclose(reach, [[1.0, 3.0]])


stretch = st.tuples(st.integers(0, 2), st.integers(0, 60), st.integers(0, 12))


@given(st.lists(stretch, max_size=12))
def test_merged_stretches_cover_what_a_raster_covers(stretches):
    group = np.array([s[0] for s in stretches], np.int64)
    start = np.array([s[1] for s in stretches], float)
    end = start + [s[2] for s in stretches]
    merged = g.merge(group, start, end)
    raster = np.zeros((3, 80), bool)
    for each, first, length in stretches:
        raster[each, first : first + length] = True
    drawn = np.zeros((3, 80), bool)
    for each, first, last in zip(merged.group, merged.start, merged.end, strict=True):
        drawn[each, int(first) : int(last)] = True
    assert (drawn == raster).all()
    # No two of a group touch: they would be one.
    for one, two in zip(range(len(merged.group) - 1), range(1, len(merged.group)), strict=True):
        assert merged.group[one] != merged.group[two] or merged.start[two] > merged.end[one] + g.SAME_LENGTH


@given(
    st.lists(stretch, max_size=12), st.lists(st.tuples(st.integers(0, 70), st.integers(1, 40)), min_size=3, max_size=3)
)
def test_what_no_stretch_covers_is_what_a_raster_leaves_open(stretches, windows):
    """Within each group's own window; stretches may begin before it and end behind it."""
    group = np.array([s[0] for s in stretches], np.int64)
    start = np.array([s[1] for s in stretches], float)
    first = np.array([w[0] for w in windows], float)
    last = first + [w[1] for w in windows]
    left = g.complement(g.merge(group, start, start + [s[2] for s in stretches]), first, last)
    open_there = np.zeros((3, 120), bool)
    for each, (low, length) in enumerate(windows):
        open_there[each, low : low + length] = True
    for each, low, length in stretches:
        open_there[each, low : low + length] = False
    drawn = np.zeros((3, 120), bool)
    for each, low, high in zip(left.group, left.start, left.end, strict=True):
        assert not drawn[each, int(low) : int(high)].any()
        drawn[each, int(low) : int(high)] = True
    assert (drawn == open_there).all()


@given(st.lists(st.tuples(st.integers(0, 3), st.floats(-9, 9)), max_size=20))
def test_grouped_numbers_are_those_of_plain_loops(pairs):
    pairs.sort(key=lambda pair: pair[0])
    group, values = np.array([p[0] for p in pairs], np.int64), np.array([p[1] for p in pairs], float)
    mine = [[v for k, v in pairs if k == wanted] for wanted in range(4)]
    assert g.lowest(values, group, 4).tolist() == [min(m, default=np.inf) for m in mine]
    assert g.highest(values, group, 4).tolist() == [max(m, default=-np.inf) for m in mine]
    np.testing.assert_allclose(g.total(values, group, 4), [sum(m) for m in mine], atol=1e-12)
    running = [max(v for k, v in pairs[: i + 1] if k == pairs[i][0]) for i in range(len(pairs))]
    assert g.running_highest(group, values).tolist() == running


points = st.lists(
    st.tuples(st.floats(0, 10), st.floats(-2, 2)), min_size=2, max_size=6, unique_by=lambda p: round(p[0], 2)
)


@given(points, points, st.floats(0.5, 4.0), st.floats(5.0, 9.5))
def test_the_gap_between_two_lines_is_their_difference_everywhere(near, far, start, end):
    lines = []
    for line in (near, far):
        line = sorted(line)
        at, value = (np.array([[p[i] for p in line]]) for i in (0, 1))
        lines.append(g.Lines(at, value))
    gap = g.gaps(lines[0], lines[1], np.array([start]), np.array([end]))

    def plain(at):
        one, two = (np.interp(at, line.at[0], line.value[0]) for line in lines)
        return two - one

    np.testing.assert_allclose(gap.value[0], plain(gap.at[0]), atol=1e-9)
    # Bends are among the stations, so the extremes are those of any finer sampling.
    fine = plain(np.linspace(start, end, 400))
    assert gap.value.min() <= fine.min() + 1e-9
    assert gap.value.max() >= fine.max() - 1e-9
    assert (gap.at.min(), gap.at.max()) == (start, end)


@pytest.mark.parametrize("far", [0.0, 1e3, 1e5])
def test_measures_hold_at_coordinates_that_a_local_origin_leaves(far):
    body = SHAPES["end out of square"].copy().apply_translation([far, -far, far / 10])
    lines = g.silhouettes(meshes_of(body), np.array([0]), np.eye(3)[None], 0, 1, 1)
    np.testing.assert_allclose(lines.value - far, [[3.0, 2.991]], atol=1e-8)


def test_bodies_of_two_lists_are_joined_in_one():
    """Of three elements the first and last were read at once, the one between them later."""
    boxes = [boxed([[i, 0, 0], [i + 1, 2, 3]]) for i in range(3)]
    nothing = trimesh.Trimesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64), process=False)
    first, later = meshes_of(boxes[0], nothing, boxes[2]), meshes_of(nothing, boxes[1], nothing)
    for both in (g.joined(first, later), g.joined(later, first)):
        whole = meshes_of(*boxes)
        np.testing.assert_array_equal(both.point_start, whole.point_start)
        np.testing.assert_array_equal(both.triangle_start, whole.triangle_start)
        np.testing.assert_array_equal(both.points[both.triangles], whole.points[whole.triangles])
