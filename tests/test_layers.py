"""What covers a seam: stretches held against a raster, lanes, tracks, pieces gone astray or not to be measured."""

from dataclasses import replace

import numpy as np
import pytest
from drawn import RULES, built, checked, remade, turned, wall, with_part
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.facade import SEAM_KINDS, PanelEndSeams
from checker.layers import cover, laps
from checker.sketch import FOOT, ROW, block, detail

LAYERS = {rule.layer.name: rule.layer for rule in RULES.values() if rule.layer is not None}
ROWS = 3
TOP = int(FOOT + ROWS * ROW)
WALL = wall(2, ROWS)
LEFT = "column seal 2 left"


def covered(sketch, layer, kind=PanelEndSeams, place=None):
    """The cover of a layer, and the order of its seams from the foot up, or from the left."""
    facade = built(sketch, place)
    seams = facade.seams[kind]
    order = np.lexsort((seams.start, seams.line))
    return cover(facade, LAYERS[layer], kind), order


pieces = st.lists(st.tuples(st.integers(-200, 3100), st.integers(20, 1500)), max_size=7)


@settings(max_examples=40)
@given(pieces, st.floats(-180, 180))
def test_share_and_gap_are_those_of_a_raster(stretches, degrees):
    """Strips anywhere in one lane, in whole mm: counted millimetre by millimetre up the column."""
    sketch = WALL.without(LEFT)
    for k, (low, length) in enumerate(stretches):
        bottom = int(FOOT) + low
        sketch = with_part(sketch, f"strip {k}", block("seal", (5940, 5980), (bottom, bottom + length), (0, 8)))
    found, order = covered(sketch, "column-seal", place=turned(degrees, 50.0, -3.0, 2.0))
    raster = np.zeros(ROWS * int(ROW), bool)
    for low, length in stretches:
        raster[max(low, 0) : max(low + length, 0)] = True
    holes = np.flatnonzero(np.diff(np.concatenate([[0], ~raster, [0]]))).reshape(-1, 2)
    for row, i in enumerate(order):
        mine = slice(row * int(ROW), (row + 1) * int(ROW))
        assert found.share[i] == pytest.approx(raster[mine].mean(), abs=1e-9)
        touching = [b - a for a, b in holes if a < mine.stop and b > mine.start]
        assert found.gap[i] * 1e3 == pytest.approx(max(touching, default=0), abs=1e-6) or found.lap[i] > found.gap[i]
    assert found.modelled


@settings(max_examples=30)
@given(st.lists(st.integers(40, 900), min_size=2, max_size=5), st.data())
def test_laps_are_the_overlaps_of_neighbours(lengths, data):
    """Strips one after another, each with a drawn overlap (negative: gap) to the one before."""
    sketch, at, joints = WALL.without(LEFT), int(FOOT), []
    for k, length in enumerate(lengths):
        lap = data.draw(st.integers(-30, 30)) if k else 0
        low = at - lap
        joints.append((low + lap / 2, lap))
        at = low + length
        sketch = with_part(sketch, f"strip {k}", block("seal", (5940, 5980), (low, at), (0, 8)))
    facade = built(sketch)
    found = cover(facade, LAYERS["column-seal"], PanelEndSeams).joints
    seen = sorted(
        zip((found.at * 1e3 + facade.model.origin[2] * 1e3).round(3), (found.lap * 1e3).round(3), strict=True)
    )
    assert [lap for _, lap in seen] == [lap for _, lap in joints[1:]]
    assert [at for at, _ in seen] == [pytest.approx(at) for at, _ in joints[1:]]


@pytest.mark.parametrize(
    ("x", "z", "inside"),
    [
        ((5940, 5980), (0, 8), True),
        ((5700, 5740), (0, 8), True),
        ((5640, 5680), (0, 8), False),
        ((5940, 5980), (20, 28), True),
        ((5940, 5980), (40, 48), False),
        ((5940, 5980), (-30, -22), False),
        ((5940, 5980), (128, 136), False),
        ((5980, 6010), (0, 8), True),
        ((5986, 6014), (0, 8), False),
    ],
)
def test_a_strip_counts_in_its_lane_only(x, z, inside):
    """Behind the left panel end: within 300 mm of it, between column face and panel or 20 mm off."""
    sketch = with_part(WALL.without(LEFT), "strip", block("seal", x, (FOOT, TOP), z))
    found, order = covered(sketch, "column-seal")
    assert (found.share[order] > 0.999).all() == inside


def test_a_part_that_only_pokes_into_a_lane_does_not_count():
    """A deep profile whose edge reaches the zone lies elsewhere: the middle of its section decides."""
    sketch = with_part(WALL.without(LEFT), "deep", block("seal", (5940, 5980), (FOOT, TOP), (5, 120)))
    found, order = covered(sketch, "column-seal")
    assert (found.share[order] == 0).all()


def test_what_crosses_a_line_covers_none_of_it():
    sketch = with_part(WALL.without(LEFT), "across", block("seal", (5500, 5980), (FOOT + 400, FOOT + 440), (0, 8)))
    found, order = covered(sketch, "column-seal")
    assert found.share[order].max() < 0.05
    assert not checked(
        with_part(WALL, "across", block("seal", (5500, 5980), (FOOT + 400, FOOT + 440), (0, 8)))
    ).verdicts


def test_the_worse_lane_decides():
    sketch = WALL.stretched(LEFT, "top", -ROW).stretched("column seal 2 right", "top", -ROW / 2)
    found, order = covered(sketch, "column-seal")
    assert found.share[order] == pytest.approx([1.0, 1.0, 0.0])
    assert found.gap[order] == pytest.approx([0.0, 0.0, 1.0])
    assert found.lane[order[-1]] == 0


def test_strips_side_by_side_are_tracks_of_their_own_and_strips_on_top_of_each_other_are_not():
    beside = with_part(WALL, "second", block("seal", (5890, 5930), (FOOT, TOP), (0, 8)))
    on_top = with_part(WALL, "second", block("seal", (5945, 5985), (FOOT + 500, FOOT + 900), (4, 12)))
    for sketch, lap in ((beside, 0.0), (on_top, 0.4)):
        found, order = covered(sketch, "column-seal")
        assert found.lap[order].max() == pytest.approx(lap, abs=1e-9)


def test_foam_layers_one_behind_the_other_are_tracks_of_their_own():
    sketch = with_part(WALL, "outer", block("foam", (5985, 6015), (FOOT, TOP), (60, 110)))
    found, order = covered(sketch, "seam-foam")
    assert found.lap[order].max() == 0.0


def test_a_piece_astray_is_told_only_where_it_lies_in_place_nowhere():
    model = wall(3, ROWS)
    swapped = model.without("column seal 2 left")
    found, _ = covered(swapped, "column-seal")
    assert (found.astray == -1).all()
    off = model.moved("column seal 2 left", z=100.0)
    facade = built(off)
    found = cover(facade, LAYERS["column-seal"], PanelEndSeams)
    at = np.array([axis == "2" for axis in facade.seams[PanelEndSeams].axis])
    assert {facade.model.elements[e].name for e in found.astray[at]} == {"column seal 2 left"}
    assert (found.astray[~at] == -1).all()


def test_a_layer_is_modelled_once_a_piece_lies_anywhere_near():
    bare = WALL.without(*(n for n, p in WALL.parts.items() if p.role == "foam"))
    assert not covered(bare, "seam-foam")[0].modelled
    assert (covered(bare, "seam-foam")[0].share == 0).all()
    astray = with_part(bare, "foam", block("foam", (6100, 6140), (FOOT, TOP), (8, 58)))
    assert covered(astray, "seam-foam")[0].modelled
    far = with_part(bare, "foam", block("foam", (7000, 7030), (FOOT, TOP), (8, 58)))
    assert not covered(far, "seam-foam")[0].modelled


def test_a_piece_that_cannot_be_measured_leaves_its_seams_undecided():
    model = remade(WALL.model(), {}, {LEFT: "its mesh is open"})
    result = checked(model, ["column-seal"])
    assert {v.state for v in result.verdicts} == {"undecided"}
    assert len(result.verdicts) == ROWS
    assert all(LEFT in v.message and "its mesh is open" in v.message for v in result.verdicts)


def test_the_share_of_every_layer_reaches_the_seam_table():
    columns = checked(detail()).seams.columns
    for name, layer in LAYERS.items():
        # What lies on no seam of its own, or at single places of it, has no share of any.
        assert (name in columns) == bool(layer.seams and layer.runs)
        for kind, share in zip(columns["kind"], columns.get(name, ()), strict=name in columns):
            assert (share is not None) == (SEAM_KINDS[kind] in layer.seams)
            # The sketch shows no roof.
            assert share is None or share == pytest.approx(float(kind != "roof-edge"))


def test_laps_name_the_pieces_the_place_and_the_way():
    facade = built(WALL)
    found = laps(facade, LAYERS["flashing"])
    names = [tuple(facade.model.elements[e].name for e in pair) for pair in found.parts]
    assert ("plinth flashing 1", "plinth flashing 2") in names
    assert {("flashing 2.1", "flashing 2.2"), ("flashing 2.2", "flashing 2.3")} <= set(names)
    assert found.lap == pytest.approx(0.1)
    upright = [i for i, kind in enumerate(found.kind) if kind == "panel-end"]
    np.testing.assert_allclose(np.abs(found.along[upright]), [[0, 0, 1]] * len(upright), atol=1e-12)


def test_nothing_is_asked_of_a_layer_without_seams():
    alone = wall(1, 1)
    assert len(built(alone).seams[PanelEndSeams]) == 0
    for name, layer in LAYERS.items():
        for kind in layer.seams:
            found = cover(built(alone), LAYERS[name], kind)
            assert len(found.share) == len(built(alone).seams[kind])


def test_a_strip_gone_astray_stands_in_for_no_layer():
    """Of twelve places for tape behind flashings a column seal on the outer face takes one."""
    bare = wall(bays=3, rows=3, full=True)
    bare = bare.without(*(name for name in bare.parts if name.startswith(("flashing tape", "seam tape"))))
    astray = with_part(bare, "column seal astray", block("seal", (5910, 5930), (FOOT, FOOT + ROW), (128, 131)))
    for name in ("flashing-tape", "seam-tape"):
        (coverage,) = checked(astray, [name]).coverage
        assert coverage.not_modelled == coverage.subjects > 0


def test_another_role_stands_in_only_where_the_own_one_is_nowhere():
    """A strip in the seam that its model calls a seal is the foam of a model without any, and none beside foam."""
    named = {name: part for name, part in WALL.parts.items() if part.role == "foam"}
    renamed = WALL.without(*named)
    for name, part in named.items():
        renamed = with_part(renamed, name, replace(part, role="seal"))
    assert covered(renamed, "seam-foam")[0].share == pytest.approx(1.0)
    assert covered(renamed, "column-seal")[0].share == pytest.approx(1.0)
    name, part = next(iter(named.items()))
    mixed = with_part(WALL.without(name), name, replace(part, role="seal"))
    assert covered(mixed, "seam-foam")[0].share.min() == pytest.approx(0.0, abs=1e-6)
