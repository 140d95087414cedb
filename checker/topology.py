"""From a model to its facade: every seam of every kind."""

from collections.abc import Sequence

from checker.facade import Facade, Layer
from checker.foot import base, plinth_joints, rails
from checker.joints import corners, panel_edges, panel_ends
from checker.model import Model
from checker.openings import openings
from checker.walls import Walls


def build(model: Model, layers: Sequence[Layer] = ()) -> Facade:
    """Find sides, panels, columns and seams of a model; ``layers`` are all that parts may belong to.

    Elements without a body are left out; the caller tells of them.
    """
    walls = Walls(model)
    ends = panel_ends(walls)
    edges, standing = panel_edges(walls)
    foot, plinths = base(walls, standing)
    joints = plinth_joints(walls, plinths)
    seams = {type(each): each for each in (ends, edges, foot, joints, corners(walls), openings(walls))}
    return Facade(
        model, walls.boxes, walls.sides, walls.panels, walls.columns, seams, plinths, rails(walls), tuple(layers)
    )
