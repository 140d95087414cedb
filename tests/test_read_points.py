"""One point on each body tells where it lies: held against the bodies themselves."""

from pathlib import Path

import numpy as np
import pytest
from facades import FAR, Site, curtain, precast, steel_hall, write
from read_kit import everything

from checker.geometry import boxes
from checker.model import ModelFile
from checker.read import open_models
from checker.read.reading import Reading

REAL = sorted((Path(__file__).resolve().parents[2] / "shared" / "real_models").glob("*.ifc"))


def off(reading: Reading) -> np.ndarray:
    """How far each point lies from the box of its body; every element that has a body has a point."""
    meshes, _ = reading.bodies(everything(reading))
    points, owner = reading.points(everything(reading))
    bodies = np.flatnonzero(np.diff(meshes.triangle_start))
    assert set(bodies) <= set(owner)
    keep = np.isin(owner, bodies)
    box, points, owner = boxes(meshes), points[keep], owner[keep]
    outside = np.maximum(np.maximum(box.low[owner] - points, points - box.high[owner]), 0.0)
    result: np.ndarray = np.linalg.norm(outside, axis=1)
    return result


@pytest.mark.parametrize("body", ["extruded", "brep", "mapped"])
@pytest.mark.parametrize("place", [Site(), FAR], ids=["drawn", "far"])
def test_points_lie_on_their_bodies(tmp_path, body, place):
    site = Site(place.turn, place.offset, "m", body)
    reading = open_models([ModelFile(path) for path in write([*curtain(), *precast(), *steel_hall()], tmp_path, site)])
    assert off(reading).max() < 1e-6


@pytest.mark.skipif(not REAL, reason="the real models are not here")
@pytest.mark.parametrize("path", REAL, ids=lambda path: path.stem)
def test_points_of_models_that_others_made_lie_on_their_bodies(path):
    """What openings and half spaces cut away may have held the point."""
    far = off(open_models([ModelFile(path)]))
    assert np.mean(far < 1e-3) > 0.98
    assert far.max() < 2.0


def test_only_what_is_asked_for_is_looked_at(tmp_path):
    reading = open_models([ModelFile(path) for path in write(curtain(), tmp_path)])
    wanted = everything(reading)
    wanted[1:] = False
    assert set(reading.points(wanted)[1]) == {0}
    assert len(reading.points(~everything(reading))[0]) == 0
