from itertools import pairwise

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from checker.read.solids import WELD_M, first_equal, mesh_fault, sound, turned, volumes

BOX = trimesh.creation.box((2.0, 0.2, 1.0))
POINTS, TRIANGLES = np.array(BOX.vertices), np.array(BOX.faces, dtype=np.int64)


def soup(points, triangles):
    """Each triangle with corners of its own."""
    return points[triangles].reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3)


def one(triangles):
    return np.zeros(len(triangles), dtype=np.int64)


def test_a_box():
    assert sound(TRIANGLES, one(TRIANGLES), 1).tolist() == [True]
    assert mesh_fault(POINTS, TRIANGLES) == ""
    assert volumes(POINTS, TRIANGLES, one(TRIANGLES), 1) == pytest.approx([0.4])
    assert volumes(POINTS, TRIANGLES[:, ::-1], one(TRIANGLES), 1) == pytest.approx([-0.4])


@pytest.mark.parametrize("far", [0.0, 1e6, -6.5e6])
def test_volumes_do_not_suffer_from_distance(far):
    assert volumes(POINTS + far, TRIANGLES, one(TRIANGLES), 1) == pytest.approx([0.4], rel=1e-6)


def test_many_meshes_at_once_with_empty_ones_between():
    points = np.concatenate([POINTS, POINTS + 5, POINTS])
    triangles = np.concatenate([TRIANGLES, TRIANGLES + 8, TRIANGLES[1:] + 16])
    owner = np.repeat([1, 3, 4], [12, 12, 11])
    assert sound(triangles, owner, 6).tolist() == [True, True, True, True, False, True]
    assert volumes(points, triangles, owner, 6)[[0, 1, 2, 3, 5]] == pytest.approx([0, 0.4, 0, 0.4, 0])
    assert sound(np.zeros((0, 3), dtype=np.int64), np.zeros(0, dtype=np.int64), 2).tolist() == [True, True]


@given(noise=st.integers(0, 2**32 - 1))
def test_corners_closer_than_the_weld_are_one(noise):
    points, triangles = soup(POINTS, TRIANGLES)
    assert not sound(triangles, one(triangles), 1)[0]
    shift = np.random.default_rng(noise).uniform(-0.25, 0.25, points.shape) * WELD_M
    assert mesh_fault(points + shift, triangles) == ""


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize(("gap", "fault"), [(0.9, ""), (3.6, "its body is an open mesh (8 free edges)")])
def test_the_weld_has_a_limit(gap, fault, side):
    """A lid that floats above its box by a little less than the weld, and by more than any weld."""
    lid = np.flatnonzero((POINTS[TRIANGLES][:, :, 2] == 0.5).all(axis=1))
    assert len(lid) == 2
    points, triangles = np.concatenate([POINTS, POINTS + np.array([0, 0, side * gap * WELD_M])]), TRIANGLES.copy()
    triangles[lid] += 8
    # Box and lid are open along four edges each.
    assert mesh_fault(points, triangles) == fault


@pytest.mark.parametrize("missing", range(12))
def test_a_missing_triangle(missing):
    triangles = np.delete(TRIANGLES, missing, axis=0)
    assert mesh_fault(POINTS, triangles) == "its body is an open mesh (3 free edges)"


def split_edge(points, triangles, shares):
    """The first triangle drawn with further points on its first edge, which its neighbour does not know."""
    a, b, c = triangles[0]
    new = [points[a] + share * (points[b] - points[a]) for share in shares]
    chain = [a, *range(len(points), len(points) + len(new)), b]
    fan = [[p, q, c] for p, q in pairwise(chain)]
    return np.concatenate([points, new]), np.concatenate([triangles[1:], fan])


@pytest.mark.parametrize("shares", [[0.5], [0.1, 0.3, 0.9], [1 / 3, 2 / 3]])
def test_points_on_the_edge_of_a_neighbour(shares):
    points, triangles = split_edge(POINTS, TRIANGLES, shares)
    assert not sound(triangles, one(triangles), 1)[0]
    assert mesh_fault(points, triangles) == ""
    away = points.copy()
    away[8:] += [0, 0.01, 0.02]
    assert mesh_fault(away, triangles).startswith("its body is an open mesh")


@given(turn=st.lists(st.booleans(), min_size=12, max_size=12))
def test_faces_turned_at_random_are_turned_back(turn):
    mixed = TRIANGLES.copy()
    mixed[turn] = mixed[turn][:, ::-1]
    if any(turn) and not all(turn):
        assert mesh_fault(POINTS, mixed) == "the faces of its body do not agree on which side is outside"
    mended = turned(POINTS, mixed)
    assert sound(mended, one(mended), 1)[0]
    assert volumes(POINTS, mended, one(mended), 1) == pytest.approx([0.4])
    # A second opinion on each face: outwards is away from the middle of a convex body.
    normals = np.cross(POINTS[mended[:, 1]] - POINTS[mended[:, 0]], POINTS[mended[:, 2]] - POINTS[mended[:, 0]])
    assert (np.einsum("ij,ij->i", normals, POINTS[mended].mean(axis=1)) > 0).all()


def test_pieces_of_one_body_are_turned_each():
    points = np.concatenate([POINTS, POINTS + np.array([5, 0, 0])])
    triangles = np.concatenate([TRIANGLES[:, ::-1], TRIANGLES + 8])
    mended = turned(points, triangles)
    assert volumes(points, mended, one(mended), 1) == pytest.approx([0.8])


@given(
    turns=st.lists(st.booleans(), min_size=36, max_size=36),
    spin=st.floats(0, 6.28),
    far=st.sampled_from([0.0, 1e4]),
)
def test_a_hollow_in_a_body_and_a_body_in_the_hollow(turns, spin, far):
    """Three boxes like nested dolls, with faces turned at random."""
    sizes = (1.0, 0.8, 0.5)
    points = np.concatenate([POINTS * size for size in sizes])
    triangles = np.concatenate([TRIANGLES + 8 * i for i in range(3)])
    triangles[turns] = triangles[turns][:, ::-1]
    rotation = trimesh.transformations.rotation_matrix(spin, [1, 2, 3])[:3, :3]
    points = points @ rotation.T + far
    mended = turned(points, triangles)
    expected = 0.4 * (sizes[0] ** 3 - sizes[1] ** 3 + sizes[2] ** 3)
    assert volumes(points, mended, one(mended), 1) == pytest.approx([expected], rel=1e-6)


def test_pieces_that_overlap_are_no_hollows():
    points = np.concatenate([POINTS, POINTS * [0.3, 3.0, 0.3]])
    triangles = np.concatenate([TRIANGLES, TRIANGLES[:, ::-1] + 8])
    mended = turned(points, triangles)
    assert volumes(points, mended, one(mended), 1) == pytest.approx([0.4 + 0.4 * 0.27])


def test_what_cannot_be_turned_stays():
    assert np.array_equal(turned(POINTS, TRIANGLES[1:]), TRIANGLES[1:])
    three = np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]])
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1], [0, -1, 0]], dtype=float)
    assert np.array_equal(turned(points, three), three)


def test_two_boxes_that_touch_along_an_edge_are_closed():
    points = np.concatenate([POINTS, POINTS + np.array([2, 0, 1])])
    triangles = np.concatenate([TRIANGLES, TRIANGLES + 8])
    assert mesh_fault(points, triangles) == ""


def test_triangles_without_area_do_not_matter():
    flat = np.array([[0, 0, 1], [2, 2, 2]])
    assert mesh_fault(POINTS, np.concatenate([TRIANGLES, flat])) == ""


def test_first_equal():
    rows = np.array([[0.0, 1], [2, 2], [-0.0, 1], [0, 1], [2, 2]])
    assert first_equal(np.array([0, 0, 0, 1, 0]), rows).tolist() == [0, 1, 0, 3, 1]
    assert first_equal(np.zeros(0, dtype=np.int64), np.zeros((0, 3))).tolist() == []
