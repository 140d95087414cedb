"""Which faces of boards look outdoors, on plans that anyone can check by looking at them."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_roles import about, meshes_of, thing

from checker.geometry import boxes
from checker.outdoors import EAVE, boards, covers, outdoors
from checker.shapes import shapes_of

THICK = 0.2


def wall(x0, y0, x1, y1, low=0.0, high=3.0):
    """A wall along x or y, its middle plane from one point to the other."""
    size = (abs(x1 - x0) or THICK, abs(y1 - y0) or THICK, high - low)
    at = (min(x0, x1) - (0.5 * THICK if x0 == x1 else 0), min(y0, y1) - (0.5 * THICK if y0 == y1 else 0), low)
    return thing("IfcWall", size, at)


def ring(x0, y0, x1, y1, **heights):
    """Four walls: south, east, north, west."""
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
    return [wall(*a, *b, **heights) for a, b in pairwise(corners)]


def slab(x0, y0, x1, y1, z=3.0):
    return thing("IfcSlab", (x1 - x0, y1 - y0, 0.2), (x0, y0, z))


def looks(things, mirror=False):
    """For each wall the sides that look outdoors, as directions in the plan: "n", "ns" or "" ... sorted."""
    meshes = meshes_of(things, mirror)
    shapes = shapes_of(boxes(meshes), np.ones(len(things), bool))
    every = np.ones(len(things), bool)
    board = boards(shapes, every)
    found = outdoors(shapes, meshes, board, covers(shapes, every))
    result = {}
    for i, faces in zip(board.tolist(), found.tolist(), strict=True):
        x, y = shapes.across[i]
        way = ("e" if x > 0 else "w", "w" if x > 0 else "e") if abs(x) > 0.7 else ("ns" if y > 0 else "sn")
        result[i] = "".join(sorted(w for w, out in zip(way[::-1], faces, strict=True) if out))
    return [result[i] for i in sorted(result)]


HALL = ring(0, 0, 20, 10)
PLANS = {
    "a hall": (HALL, ["s", "e", "n", "w"]),
    "a hall with a partition": ([*HALL, wall(10, 0.1, 10, 9.9)], ["s", "e", "n", "w", ""]),
    "a wall alone": ([wall(0, 0, 10, 0)], ["ns"]),
    "two walls that face each other": ([wall(0, 0, 10, 0), wall(0, 8, 10, 8)], ["s", "n"]),
    # The middle third of the south side is open.
    "a hall with its gate open": (
        [wall(0, 0, 7, 0), wall(13, 0, 20, 0), *HALL[1:]],
        ["s", "s", "e", "n", "w"],
    ),
    # Both wings of an angle look into the same yard.
    "a hall with a re-entrant corner": (
        [wall(0, 0, 20, 0), wall(20, 0, 20, 6), wall(8, 6, 20, 6), wall(8, 6, 8, 20), wall(0, 20, 8, 20),
         wall(0, 0, 0, 20)],
        ["s", "e", "n", "e", "n", "w"],
    ),
    "a court that is open to the south": (
        [wall(0, 0, 0, 20), wall(0, 20, 30, 20), wall(30, 0, 30, 20), wall(0, 0, 8, 0), wall(22, 0, 30, 0),
         wall(8, 0, 8, 12), wall(8, 12, 22, 12), wall(22, 0, 22, 12)],
        ["w", "n", "e", "s", "s", "e", "s", "w"],
    ),
    "a closed court without a roof looks like a room": (
        [*HALL, *ring(6, 3, 14, 7)], ["s", "e", "n", "w", "", "", "", ""],
    ),
    "a closed court with roofs all round": (
        [*HALL, *ring(6, 3, 14, 7), slab(0, 0, 20, 3), slab(0, 7, 20, 10), slab(0, 3, 6, 7), slab(14, 3, 20, 7)],
        ["s", "e", "n", "w", "n", "w", "s", "e"],
    ),
    "a hall behind a high garden wall": (
        [*HALL, slab(0, 0, 20, 10), *ring(-6, -6, 26, 16)],
        ["s", "e", "n", "w", "ns", "ew", "ns", "ew"],
    ),
    "a hall with a canopy on its south side": (
        [*HALL, slab(0, -5, 20, 10)],
        ["s", "e", "n", "w"],
    ),
    "walls that rise above the roof": (
        [*ring(0, 0, 20, 10, high=4.5), slab(0.1, 0.1, 19.9, 9.9)], ["s", "e", "n", "w"],
    ),
    "a low and a high part": (
        [HALL[0], HALL[2], HALL[3], slab(0, 0, 20, 10), *ring(20, 0, 30, 10, high=9.0), slab(20, 0, 30, 10, z=9.0)],
        ["s", "n", "w", "s", "e", "n", "w"],
    ),
    "a lining before the inner face": (
        [*HALL, thing("IfcCovering", (19, 0.05, 3), (0.5, 0.1, 0))], ["s", "e", "n", "w", ""],
    ),
    "two storeys": (
        [*HALL, *ring(0, 0, 20, 10, low=3.2, high=6.2), slab(0, 0, 20, 10), slab(0, 0, 20, 10, z=6.2)],
        ["s", "e", "n", "w"] * 2,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", PLANS)
def test_plans(name):
    things, expected = PLANS[name]
    assert looks(things) == expected


@pytest.mark.parametrize(("over", "expected"), [(EAVE + 0.5 * THICK - 0.05, "s"), (EAVE + 0.5 * THICK + 0.05, "")])
def test_an_eave_hides_no_sky_but_a_canopy_does(over, expected):
    """The sun-side wall of a yard closed by other walls: only what is above can tell."""
    yard = [wall(-1, -9, 21, -9), wall(-1, -9, -1, 0), wall(21, -9, 21, 0)]
    found = looks([wall(-1, 0, 21, 0), wall(-1, 10, 21, 10), slab(-1, -over, 21, 10), *yard])
    assert found[0] == expected


@pytest.mark.parametrize(
    ("size", "hides"),
    [
        ((18.0, 0.1, 0.5), True),
        ((18.0, 0.1, 0.35), False),  # a rail
        ((18.0, 0.7, 3.0), False),  # a rack
        ((0.35, 0.1, 3.0), False),
        ((1.0, 0.1, 3.0), True),
    ],
)
def test_what_is_large_enough_to_hide_a_room(size, hides):
    shapes = shapes_of(boxes(meshes_of([thing("IfcWall", size)])), np.ones(1, bool))
    assert (len(boards(shapes, np.ones(1, bool))) == 1) == hides


@settings(max_examples=25, deadline=None)
@given(
    name=st.sampled_from(sorted(PLANS)),
    turn=st.floats(0, 360),
    move=st.tuples(*[st.floats(-1e4, 1e4)] * 3),
    mirror=st.booleans(),
    seed=st.integers(0, 99),
)
def test_turning_moving_mirroring_and_order_change_nothing(name, turn, move, mirror, seed):
    things, expected = PLANS[name]
    order = np.random.default_rng(seed).permutation(len(things))
    changed = [things[i] for i in order]
    changed = [type(t)(t.element, t.points @ about(2, turn).T + move) for t in changed]
    meshes = meshes_of(changed, mirror)
    shapes = shapes_of(boxes(meshes), np.ones(len(things), bool))
    every = np.ones(len(things), bool)
    board = boards(shapes, every)
    found = outdoors(shapes, meshes, board, covers(shapes, every)).sum(axis=1)
    counts = dict(zip(order[board].tolist(), found.tolist(), strict=True))
    assert [counts[i] for i in sorted(counts)] == [len(sides) for sides in expected]


def test_nothing_has_no_faces():
    shapes = shapes_of(boxes(meshes_of([])), np.ones(0, bool))
    none = np.zeros(0, np.int64)
    assert outdoors(shapes, meshes_of([]), none, none).shape == (0, 2)
