"""Plan sections and clearances, held against shapely on the outlines the bodies were drawn from and against volumes."""

import numpy as np
import pytest
import shapely
import trimesh
from drawn import turned
from hypothesis import given, settings
from hypothesis import strategies as st
from thorough import some

from checker.geometry import slices
from checker.model import Meshes
from checker.plan import clearance, section, widest_step
from checker.sketch import Block, Part, Sketch


def meshes(*bodies):
    """Bodies (points, triangles) as one list."""
    points, triangles = zip(*bodies, strict=True)
    starts = np.concatenate([[0], np.cumsum([len(p) for p in points])])
    return Meshes(
        np.concatenate(points).astype(float),
        np.concatenate([np.asarray(t, np.int64) + n for t, n in zip(triangles, starts, strict=False)]),
        starts,
        np.concatenate([[0], np.cumsum([len(t) for t in triangles])]),
    )


def box(x, y, z, degrees=0.0):
    """A box of trimesh between pairs of coordinates, turned about the origin, its triangles in its own order."""
    low, high = np.array([x, y, z], float).T
    body = trimesh.creation.box(bounds=[low, high])
    place = turned(degrees)
    return body.vertices @ place[:3, :3].T, body.faces


def outline(x, y, degrees):
    ring = np.array([(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])])
    return shapely.Polygon(ring @ turned(degrees)[:2, :2].T)


boxes = st.tuples(st.integers(-50, 50), st.integers(-50, 50), st.integers(2, 60), st.integers(2, 60))


@settings(max_examples=some(60))
@given(boxes, boxes, st.floats(-180, 180), st.floats(-180, 180))
def test_clearance_is_that_of_the_outlines(one, two, turn_one, turn_two):
    """Outlines in mm, drawn out to the same height, each turned about the origin; distances by shapely."""
    shapes, bodies = [], []
    for (x, y, w, d), degrees in ((one, turn_one), (two, turn_two)):
        shapes.append(outline((x / 1e3, (x + w) / 1e3), (y / 1e3, (y + d) / 1e3), degrees))
        bodies.append(box((x / 1e3, (x + w) / 1e3), (y / 1e3, (y + d) / 1e3), (0, 1), degrees))
    found = clearance(meshes(*bodies), 0, 1)
    apart = shapely.distance(*shapes)
    if apart > 1e-6:
        assert found.value == pytest.approx(apart, abs=1e-7)
        assert np.linalg.norm(found.way) == pytest.approx(1.0)
        # Moved that way by a little the second one is that much further off.
        moved = shapely.transform(shapes[1], lambda c: c + 1e-3 * found.way[:2])
        assert shapely.distance(shapes[0], moved) == pytest.approx(apart + 1e-3, abs=1e-7)
    elif shapely.area(shared := shapely.intersection(*shapes)) > 1e-7:
        # The least width of what both share, looked for in half degrees; their outlines are convex.
        turns = np.radians(np.arange(0.0, 180.0, 0.5))
        points = shapely.get_coordinates(shared)
        widths = np.ptp(points @ np.stack([np.cos(turns), np.sin(turns)]), axis=0)
        assert -found.value <= widths.min() + 1e-7
        assert -found.value >= widths.min() - np.radians(0.25) * widths.max() - 1e-7
        assert np.ptp(points @ found.way[:2]) == pytest.approx(-found.value, abs=1e-6)


@pytest.mark.parametrize("depth", [1e-3, 18e-3])
@pytest.mark.parametrize("degrees", [0.0, 33.0, 90.0])
def test_overlap_is_how_far_one_end_runs_in(depth, degrees):
    first, second = box((0, 6), (0, 0.1), (0, 0.06), degrees), box((5.9, 6), (-4, depth), (0.01, 0.09), degrees)
    found = clearance(meshes(first, second), 0, 1)
    assert found.value == pytest.approx(-depth, abs=1e-8)
    np.testing.assert_allclose(found.way, turned(degrees)[:3, :3] @ [0, -1, 0], atol=1e-6)
    assert 0.01 < found.point[2] < 0.06


def test_bodies_that_share_no_height_have_no_clearance():
    assert clearance(meshes(box((0, 1), (0, 1), (0, 1)), box((0, 1), (0, 1), (1, 2))), 0, 1) is None


def test_sections_add_up_to_the_volume():
    """Bodies of trimesh: a ring with a hole through it, a ball, a cone; the mean of many sections times the height."""
    for body in (
        trimesh.creation.annulus(0.3, 0.5, 0.4),
        trimesh.creation.icosphere(subdivisions=3),
        trimesh.creation.cone(0.5, 1.2),
    ):
        each = meshes((body.vertices, body.faces))
        low, high = body.bounds[:, 2]
        heights = low + (high - low) * (np.arange(400) + 0.5) / 400
        areas = [shapely.area(section(each, 0, z)) for z in heights]
        assert np.mean(areas) * (high - low) == pytest.approx(body.volume, rel=2e-4)


def test_a_section_of_blocks_that_touch_is_whole():
    """A part made of blocks: a frame round a hole."""
    around = (((0, 0), (100, 30)), ((0, 70), (100, 100)), ((0, 30), (20, 70)), ((80, 30), (100, 70)))
    blocks = tuple(Block((a, 0, -d), (c, 50, -b)) for (a, b), (c, d) in around)
    for degrees in (0.0, 24.2):
        model = Sketch({"frame": Part("base-rail", blocks)}).model(turned(degrees, 5e5, 5e5, 1.0))
        cut = section(model.meshes, 0, 1.025 - model.origin[2])
        assert shapely.area(cut) == pytest.approx(0.01 - 0.06 * 0.04, abs=1e-7)
        assert [len(part.interiors) for part in shapely.get_parts(cut)] == [1]


def test_a_body_that_does_not_close_is_taken_by_its_hull():
    points, triangles = box((0, 1), (0, 2), (0, 1))
    normal = np.cross(*(points[triangles[:, k]] - points[triangles[:, 0]] for k in (1, 2)))
    open_ = meshes((points, triangles[normal[:, 0] < 1e-9]))
    assert shapely.area(section(open_, 0, 0.5)) == pytest.approx(2.0)
    assert section(open_, 0, 3.0).is_empty


def test_the_widest_step_of_a_way_and_the_height_where_it_is():
    first, last = box((0, 1), (0, 1), (0, 1)), box((1.5, 2), (0, 1), (0, 1))
    low, stone = box((1.1, 1.45), (0, 1), (0, 0.4)), box((1.1, 1.45), (0, 1), (-1, 2))
    bodies = meshes(first, last, low, stone)
    assert widest_step(bodies, {0}, {1}, set()).clear.value == pytest.approx(0.5)
    step = widest_step(bodies, {0}, {1}, {2})
    assert (step.first, step.second, step.clear.value) == (0, 1, pytest.approx(0.5))
    assert step.clear.point[2] > 0.4
    step = widest_step(bodies, {0}, {1}, {3})
    assert (step.first, step.second, step.clear.value) == (0, 3, pytest.approx(0.1))
    assert widest_step(bodies, {0}, {0}, set()).clear.value == 0.0
    assert widest_step(bodies, {0, 3}, {3, 1}, set()).clear.value == 0.0
    assert widest_step(bodies, {0, 2}, {2, 1}, set()).clear.value == pytest.approx(0.5)  # above the low one


@settings(max_examples=some(30))
@given(boxes, st.floats(-180, 180), st.integers(1, 99))
def test_slices_square_to_any_direction(one, degrees, percent):
    """A box in its own frame: wherever it is cut it is as wide and as high as it is."""
    x, y, w, d = (v / 1e3 for v in one)
    body = meshes(box((x, x + w), (y, y + d), (0.2, 0.9), degrees))
    frame = turned(degrees)[:3, :3].T
    low, high = slices(body, np.array([0]), frame[None], np.array([[x + w * percent / 100, x - 1.0]]))
    np.testing.assert_allclose(low[0, 0], [y, 0.2], atol=1e-12)
    np.testing.assert_allclose(high[0, 0], [y + d, 0.9], atol=1e-12)
    assert np.isnan(low[0, 1]).all()
