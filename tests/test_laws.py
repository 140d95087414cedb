"""Laws that hold for any facade: how it stands, how it is mirrored, named, cut and meshed changes no finding."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import trimesh
from drawn import (
    ELL,
    MIRROR,
    RULES,
    WITH_COURT,
    bent,
    bodies_of,
    building,
    checked,
    end_moved,
    failing,
    joined,
    leaning,
    mended,
    reduced,
    remade,
    renamed,
    turned,
    wall,
    warped,
)
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from thorough import some

from checker.sketch import Block, Sketch

WALL = wall(3, 2, full=True)
change = st.tuples(
    st.sampled_from(list(WALL.parts)),
    st.sampled_from(["move", "left", "right", "top", "bottom", "taper", "out", "drop"]),
    st.integers(-30, 30),
)
changes = st.lists(change, min_size=1, max_size=3)


def changed(what: list[tuple[str, str, int]]) -> Sketch:
    """A wall of three bays and two rows in which a few things are wrong."""
    sketch = WALL
    for name, kind, by in what:
        role = WALL.parts[name].role
        if name not in sketch.parts:
            continue
        if kind == "drop" and role not in ("panel", "column"):
            sketch = sketch.without(name)
        elif kind == "taper" and role == "panel":
            sketch = sketch.tapered(name, by)
        elif kind in ("left", "right"):
            sketch = end_moved(sketch, name, kind == "right", by)
        elif kind == "top" or (kind == "bottom" and role in ("seal", "foam", "flashing")):
            # Seals are 6 mm thick and more, insulation and sealant 8, so that a part of it keeps them bodies.
            sketch = sketch.stretched(name, kind, by / {"seal": 6, "insulation": 4, "sealant": 4}.get(role, 1))
        elif kind == "out" and role in ("base-rail", "column"):
            sketch = sketch.moved(name, z=by / 2)
        else:
            sketch = sketch.moved(name, x=by)
    return sketch


def told(result):
    """What a result says, less places."""
    verdicts = [
        (
            v.rule,
            v.state,
            v.severity,
            v.subject,
            v.elements,
            v.message,
            None if v.value_mm is None else round(v.value_mm, 2) + 0.0,
        )
        for v in result.verdicts
    ]
    issues = [
        (i.key, i.title, i.severity, len(i.members), i.move and (i.move.part, i.move.direction)) for i in result.issues
    ]
    return verdicts, issues


def numbers(result):
    """Rule, state, severity and value of every verdict, in no order; values are alike within 0.0001 mm."""
    found = sorted(
        ((v.rule, v.state, v.severity), v.value_mm if v.value_mm is not None else 1e9) for v in result.verdicts
    )
    return [(what, pytest.approx(value, abs=1e-4)) for what, value in found]


def numbers_over_bends(result):
    """Those numbers; of airtight lines the total, as the seam at a bend is counted to the side on its left."""
    lines = [v.value_mm for v in result.verdicts if v.rule == "air-barrier-line"]
    rest = replace(result, verdicts=tuple(v for v in result.verdicts if v.rule != "air-barrier-line"))
    return numbers(rest), pytest.approx(sum(lines), abs=1e-3)


@settings(max_examples=some(25))
@example([("inner sealant 3.2 left", "right", -5), ("column seal 2 left", "drop", -6)], 0.0, 1e5, -3e5, 20.0)
@example([("rail 1", "move", 2)], 24.938840375219428, 1e5, -3e5, 20.0)
@given(changes, st.floats(-180, 180), *[st.floats(-1e6, 1e6)] * 2, st.floats(-500, 500))
def test_turning_and_moving_the_building_changes_no_word(what, degrees, x, y, z):
    sketch = changed(what)
    place = turned(degrees, x, y, z)
    before, after = checked(sketch), checked(sketch, place=place)
    assert told(before) == told(after)
    for one, two in zip(before.verdicts, after.verdicts, strict=True):
        there = place[:3, :3] @ one.point_m + place[:3, 3]
        np.testing.assert_allclose(two.point_m, there, atol=1e-5)
    for one, two in zip(before.issues, after.issues, strict=True):
        np.testing.assert_allclose(two.look, place[:3, :3] @ one.look, atol=1e-7)
        if one.move:
            np.testing.assert_allclose(two.move.vector_m, place[:3, :3] @ one.move.vector_m, atol=1e-7)


@settings(max_examples=some(10))
@given(changes, st.sampled_from([-5.0, 5.0]), st.floats(-180, 180))
def test_a_leaning_facade_is_measured_in_its_own_plane(what, lean, degrees):
    """Columns lean with their panels; only what stands on level ground, the plinth joint, is no longer the same."""
    sketch = changed(what)
    rules = ["seam-width", "panel-end-offset", "seam-foam"]
    assert numbers(checked(sketch, rules)) == numbers(checked(sketch, rules, turned(degrees) @ leaning(lean)))


SWAP = {"left": "right", "right": "left"}


@settings(max_examples=some(25))
@example([("rail 1", "move", 2), ("rail 1", "top", 1)], 0.0)
@example([("base insulation 1", "move", 2), ("base insulation 1", "top", 1)], 0.0)
@given(changes, st.floats(-180, 180))
def test_mirroring_the_building_mirrors_its_findings(what, degrees):
    sketch = changed(what)
    place = MIRROR @ turned(degrees)
    before, after = checked(sketch), checked(sketch, place=place)
    assert numbers(before) == numbers(after)
    mirrored = {(v.rule, frozenset(v.elements)): v for v in after.verdicts}
    for verdict in before.verdicts:
        twin = mirrored[verdict.rule, frozenset(verdict.elements)]
        words = " ".join(SWAP.get(word, word) for word in verdict.message.split())
        there = place[:3, :3] @ verdict.point_m + place[:3, 3]
        # Of two places of the airtight line that are equally open either may be told.
        exact = verdict.rule != "air-barrier-line"
        if exact and (words == twin.message or "left" not in words + twin.message):
            np.testing.assert_allclose(twin.point_m, there, atol=1e-5)
        assert twin.kind == verdict.kind
    told_to = {
        (i.rule, i.move.part): SWAP_DIRECTION.get(i.move.direction, i.move.direction) for i in before.issues if i.move
    }
    for issue in after.issues:
        if issue.move and (issue.rule, issue.move.part) in told_to:
            assert issue.move.direction == told_to[issue.rule, issue.move.part]


SWAP_DIRECTION = {"to the left": "to the right", "to the right": "to the left"}


@settings(max_examples=some(20))
@given(changes, st.text("abcdef", min_size=1, max_size=4), st.randoms(use_true_random=False))
def test_names_ids_and_order_change_no_number(what, prefix, random):
    """Other names are other GlobalIds, and so another order of everything inside."""
    sketch = changed(what)
    order = list(range(len(sketch.parts)))
    random.shuffle(order)
    other = renamed(sketch, prefix).model(order=order)
    before = checked(sketch)
    assert numbers(before) == numbers(checked(other))
    assert told(before) == told(checked(sketch.model(order=order)))


WIDER = {
    "air-barrier-line": {"open_mm": (0.0, 500.0, 9000.0)},
    "seam-width": {"tolerance_mm": (5.0, 8.0, 25.0)},
    "panel-end-offset": {"tolerance_mm": (5.0, 7.5, 15.0)},
    "plinth-level": {"tolerance_mm": (10.0, 12.0, 30.0)},
    "plinth-step": {"maximum_mm": (10.0, 14.0, 40.0), "cut_from_mm": (7.0, 9.0, 30.0)},
    "base-rail-offset": {"minimum_mm": (7.0, 5.0, -20.0), "maximum_mm": (9.0, 11.0, 30.0)},
    "column-seal": {"joint_mm": (1.0, 4.0, 50.0), "loose_mm": (1.0, 4.0, 40.0)},
    "plinth-seal": {"joint_mm": (1.0, 4.0, 50.0), "width_mm": (40.0, 30.0, 1.0), "edge_mm": (10.0, 20.0, 40.0)},
    "base-insulation": {"joint_mm": (1.0, 4.0, 50.0)},
    "base-rail-joint": {"gap_mm": (10.0, 14.0, 60.0), "overlap_mm": (1.0, 4.0, 70.0)},
    "base-rail-drainage": {"outer_mm": (0.0, 0.0, 0.0)},
    "column-plinth-seal": {"joint_mm": (1.0, 4.0, 50.0), "open_mm": (1.0, 3.0, 40.0)},
    "corner-flashing": {"gap_mm": (2.0, 5.0, 50.0)},
    "seam-foam": {
        "joint_mm": (1.0, 4.0, 50.0),
        "depth_mm": (50.0, 40.0, 1.0),
        "loose_mm": (0.0, 20.0, 60.0),
        "above_rail_mm": (8.0, 10.0, 60.0),
    },
    "seam-insulation": {"open_mm": (5.0, 20.0, 80.0)},
    "seam-tape": {"gap_mm": (1.0, 4.0, 50.0), "bite_mm": (10.0, 5.0, 0.0)},
    "seam-flashing": {"gap_mm": (10.0, 12.0, 50.0), "cover_mm": (50.0, 40.0, 1.0)},
    "flashing-tape": {"gap_mm": (1.0, 4.0, 50.0), "behind_mm": (10.0, 5.0, 0.0)},
    "fire-rated-seam": {"gap_mm": (1.0, 4.0, 50.0)},
    "gasket-compression": {
        "minimum_percent": (30.0, 25.0, 0.0),
        "maximum_percent": (50.0, 60.0, 100.0),
        "joint_mm": (1.0, 4.0, 50.0),
    },
    "inner-groove-sealant": {"short_mm": (1.0, 4.0, 50.0), "least_mm": (5.0, 2.0, 0.0)},
    "outer-groove-sealant": {"short_mm": (1.0, 4.0, 50.0), "reach_mm": (60.0, 40.0, 0.0)},
    "panel-bearing": {"minimum_mm": (40.0, 30.0, 0.0), "tolerance_mm": (15.0, 10.0, 0.0)},
    "panel-edge-gap": {"maximum_mm": (5.0, 8.0, 40.0), "overlap_mm": (25.0, 28.0, 60.0)},
    "panel-field": {"hole_mm": (60.0, 80.0, 300.0)},
    "row-alignment": {"maximum_mm": (3.0, 10.0, 300.0)},
    "opening-seal": {"joint_mm": (1.0, 4.0, 50.0)},
    "flashing-lap": {"sealed_mm": (100.0, 80.0, 1.0), "unsealed_mm": (150.0, 90.0, 1.0)},
    "opening-gap": {"most_mm": (10.0, 12.0, 40.0), "steel_small_mm": (4.0, 2.0, 0.0)},
    "opening-insulation": {"open_mm": (5.0, 20.0, 80.0)},
    "door-threshold-seal": {"joint_mm": (1.0, 4.0, 50.0)},
    "eave-profile": {"joint_mm": (1.0, 4.0, 50.0)},
    "membrane-clamp": {"joint_mm": (1.0, 4.0, 50.0), "slack_mm": (10.0, 5.0, 0.0)},
    "roof-edge-seal": {"joint_mm": (1.0, 4.0, 50.0)},
    "roof-membrane-lap": {"joint_mm": (1.0, 4.0, 50.0), "lap_mm": (100.0, 80.0, 1.0)},
}


def test_every_rule_has_limits_to_widen():
    assert set(WIDER) == set(RULES)


@settings(max_examples=some(20))
@given(changes)
def test_widening_a_limit_never_adds_a_failure(what):
    sketch = changed(what)
    found = []
    for step in range(3):
        limits = {name: RULES[name].limits(**{k: v[step] for k, v in wider.items()}) for name, wider in WIDER.items()}
        found.append(failing(checked(sketch, limits=limits)))
    assert found[0] >= found[1] >= found[2]


def split(sketch: Sketch, name: str, shares: list[float]) -> Sketch:
    """A part cut into butting pieces along its longest side."""
    block = sketch.parts[name].blocks[0]
    axis = int(np.argmax(np.subtract(block.high, block.low)))
    places = [block.low[axis] + share * (block.high[axis] - block.low[axis]) for share in (0.0, *sorted(shares), 1.0)]
    parts = {k: p for k, p in sketch.parts.items() if k != name}
    for i, (low, high) in enumerate(pairwise(places)):
        first, last = list(block.low), list(block.high)
        first[axis], last[axis] = low, high
        parts[f"{name} piece {i}"] = replace(sketch.parts[name], blocks=(Block(tuple(first), tuple(last)),))
    return replace(sketch, parts=parts)


@settings(max_examples=some(20))
@given(changes, st.data())
def test_strips_cut_into_butting_pieces_change_nothing(what, data):
    sketch = changed(what)
    before = checked(sketch)
    # How long two strips overlap is told of each pair of pieces.
    assume(not any(v.value_mm is not None and v.value_mm < 0 and RULES[v.rule].layer for v in before.verdicts))
    strips = [name for name, part in sketch.parts.items() if part.role in ("seal", "foam")]
    pieces = sketch
    for name in data.draw(st.lists(st.sampled_from(strips), min_size=1, max_size=3, unique=True)):
        cuts = data.draw(st.lists(st.integers(2, 8), min_size=1, max_size=3, unique=True))
        pieces = split(pieces, name, [cut / 10 + 0.0123 for cut in cuts])
    after = checked(pieces)
    assert numbers(before) == numbers(after)
    assert [i.key for i in before.issues] == [i.key for i in after.issues]


@settings(max_examples=some(10))
@given(changes)
def test_a_second_building_far_away_has_findings_of_its_own(what):
    sketch = changed(what)
    alone = checked(sketch)
    twice = checked(joined(sketch.model(), renamed(sketch, "other ").model(turned(180.0, 90.0, 400.0, 2.0))))
    assert numbers(twice) == [pair for pair in numbers(alone) for _ in range(2)]
    assert len(twice.issues) == 2 * len(alone.issues)


@settings(max_examples=some(10))
@given(changes, st.floats(-180, 180))
def test_finer_triangles_change_no_number(what, degrees):
    sketch = changed(what)
    model = sketch.model(turned(degrees))
    finer = {name: trimesh.remesh.subdivide(*body) for name, body in bodies_of(model).items()}
    assert numbers(checked(model)) == numbers(checked(remade(model, finer)))


@settings(max_examples=some(20))
@given(st.lists(change, min_size=1, max_size=6))
def test_every_subject_is_in_exactly_one_state(what):
    sketch = changed(what)
    result = checked(sketch)
    for coverage in result.coverage:
        named = [v for v in result.verdicts if v.rule == coverage.rule]
        assert len({v.subject for v in named}) == len(named)
        counts = [coverage.passed, coverage.failed, coverage.not_modelled, coverage.undecided, coverage.accepted]
        assert min(counts) >= 0
        assert sum(counts) == coverage.subjects
        assert coverage.failed == sum(v.state == "fail" for v in named)
        assert coverage.undecided == sum(v.state == "undecided" for v in named)
    members = [m for issue in result.issues for m in issue.members]
    assert sorted(members) == [k for k, v in enumerate(result.verdicts) if v.state == "fail"]
    for issue in result.issues:
        assert {result.verdicts[m].issue for m in issue.members} == {issue.key}
        assert len({result.verdicts[m].rule for m in issue.members}) == 1
    assert len({issue.key for issue in result.issues}) == len(result.issues)


@settings(max_examples=some(25))
@given(changes)
def test_a_told_move_mends_its_issue_and_breaks_nothing_of_its_rule(what):
    sketch = changed(what)
    before = checked(sketch)
    for issue in before.issues:
        if issue.move is not None:
            after = failing(checked(mended(sketch, issue.move), [issue.rule]))
            members = {(issue.rule, before.verdicts[m].subject) for m in issue.members}
            assert not members & after
            assert len(after) < len({v for v in failing(before) if v[0] == issue.rule})


BUILDINGS = {"ell": building(ELL), "court": building(*WITH_COURT), "bent in": bent(5.0), "bent out": bent(-14.0)}


@pytest.mark.parametrize("name", BUILDINGS)
@settings(max_examples=6)
@given(
    st.lists(st.tuples(st.integers(0, 10**6), *[st.integers(-25, 25)] * 3), min_size=1, max_size=4),
    st.floats(-180, 180),
    st.booleans(),
)
def test_corners_courtyards_and_bends_stand_anywhere_and_may_be_mirrored(name, moves, degrees, mirrored):
    """Any few parts moved by millimetres in any direction."""
    stands_anywhere(name, moves, degrees, mirrored)


@pytest.mark.parametrize(
    ("name", "moves"),
    [
        ("bent out", [(5789, 17, 3, 0)]),  # a column at a bend, askew to one of its sides
        ("bent out", [(962549, -2, -19, 0), (738913, 22, 0, -25), (443516, -15, -4, 3)]),  # open left and right
        ("ell", [(11896, 1, 0, 0)]),  # strips that leave a corner open
        ("court", [(389905, -24, -3, 20), (411846, -13, 2, -9), (469509, -24, 0, 1)]),  # the same beside another fault
    ],
)
def test_these_may_be_mirrored_too(name, moves):
    """What random examples have found."""
    stands_anywhere(name, moves, 0.0, True)
    stands_anywhere(name, moves, -2.1, True)


def stands_anywhere(name, moves, degrees, mirrored):
    model, bodies = BUILDINGS[name], bodies_of(BUILDINGS[name])
    for number, *by in moves:
        element = model.elements[number % len(model.elements)].name
        points, triangles = bodies[element]
        # Off the round millimetres at which distances in the drawing are decided.
        bodies[element] = points + np.array(by) * 0.001037, triangles
    place = turned(degrees, 3e5, -2e5, 7.0) @ (MIRROR if mirrored else np.eye(4))
    there = {
        element: (points @ place[:3, :3].T + place[:3, 3], triangles[:, ::-1] if mirrored else triangles)
        for element, (points, triangles) in bodies.items()
    }
    moved = remade(replace(model, origin=place[:3, 3].round()), there)
    assert numbers_over_bends(checked(remade(model, bodies))) == numbers_over_bends(checked(moved))


NOTHING = (np.zeros((0, 3)), np.zeros((0, 3), np.int64))
HURT = ("gone", "empty", "open", "shifted", "turned", "flat", "misread", "sound")


@settings(max_examples=some(25))
@given(st.sampled_from(sorted(BUILDINGS)), st.integers(0, 10**9))
def test_whatever_a_model_lacks_every_subject_gets_an_answer_with_a_place(name, seed):
    """Parts gone, without a body, open, far off, turned over, flat, or taken for something else."""
    rng = np.random.default_rng(seed)
    model = BUILDINGS[name]
    lost = {role for role in sorted({r.role for r in model.roles} - {"panel", "column"}) if rng.random() < 0.2}
    fate = rng.choice(HURT, len(model.elements), p=[0.08, 0.05, 0.05, 0.05, 0.03, 0.02, 0.02, 0.7])
    keep = [i for i, role in enumerate(model.roles) if fate[i] != "gone" and role.role not in lost]
    model, fate = reduced(model, keep), fate[keep]
    bodies, faults, roles = {}, {}, list(model.roles)
    for i, (element, (points, triangles)) in enumerate(bodies_of(model).items()):
        middle = points.mean(axis=0)
        if fate[i] in ("empty", "open"):
            faults[element] = f"its body is {fate[i]}"
        if fate[i] == "empty":
            bodies[element] = NOTHING
        elif fate[i] == "shifted":
            bodies[element] = points + rng.uniform(-0.2, 0.2, 3), triangles
        elif fate[i] == "turned":
            bodies[element] = middle + (points - middle)[:, [2, 0, 1]], triangles
        elif fate[i] == "flat":
            bodies[element] = middle + (points - middle) * [1, 1, 0], triangles
        elif fate[i] == "misread":
            roles[i] = replace(
                roles[i], role=str(rng.choice(["panel", "column", "plinth", "seal", "window", "opening"]))
            )
    result = checked(replace(remade(model, bodies, faults), roles=tuple(roles)))
    for coverage in result.coverage:
        counts = [coverage.passed, coverage.failed, coverage.not_modelled, coverage.undecided, coverage.accepted]
        assert min(counts) >= 0
        assert sum(counts) == coverage.subjects
    for verdict in result.verdicts:
        assert verdict.message
        assert np.isfinite(verdict.point_m).all()
        assert verdict.value_mm is None or np.isfinite(verdict.value_mm)
        assert verdict.state == "undecided" or verdict.issue is not None
    for issue in result.issues:
        assert np.isfinite((*issue.point_m, *issue.look, issue.size_m)).all()


def test_warping_helpers_leave_volumes_closed():
    """The drawings themselves: every body of a sketch is closed and the right way round, mirrored or not."""
    sketch = warped(wall(2, 1).tapered("panel 1.1", 9.0), "column 2", {(1, 1, 1): (20.0, 0, 0)})
    for place in (np.eye(4), MIRROR, turned(24.2, 5, 5)):
        for points, triangles in bodies_of(sketch.model(place)).values():
            body = trimesh.Trimesh(points, triangles, process=False)
            assert body.volume > 0
            edges = np.sort(body.edges, axis=1)
            assert (np.unique(edges, axis=0, return_counts=True)[1] == 2).all()
