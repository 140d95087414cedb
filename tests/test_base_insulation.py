"""Insulation strip on the base rail: gaps, overlaps, corners, and what else of insulation is none of it."""

import numpy as np
import pytest
from drawn import (
    ELL,
    RECTANGLE,
    RULES,
    bodies_of,
    building,
    checked,
    only_issue,
    remade,
    to_world,
    turned,
    wall,
    with_part,
)

from checker.sketch import FOOT, RAIL_TOP, block, corner, detail

RULE = "base-insulation"
WALL = wall(bays=3, rows=1)
STRIP = "base insulation 2"


@pytest.mark.parametrize(
    ("by", "value"),
    [(0.0, None), (-1.0, None), (-1.02, 1.02), (-6.0, 6.0), (1.0, None), (1.02, -1.02), (8.0, -8.0)],
)
def test_pieces_must_butt(by, value):
    result = checked(WALL.stretched(STRIP, "right", by), [RULE], turned(24.2, 0, 9e5, -7))
    assert bool(result.verdicts) == (value is not None)
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(value, abs=0.01)
        assert (verdict.minimum_mm, verdict.maximum_mm) == (-1.0, 1.0)
    assert len(result.issues) == (value is not None)


def test_the_project_sets_the_limit():
    limits = {RULE: RULES[RULE].limits(joint_mm=6.0)}
    assert not checked(WALL.stretched(STRIP, "right", -6.0), [RULE], limits=limits).verdicts


def test_it_points_to_the_gap_and_says_what_is_missing():
    issue = only_issue(checked(WALL.stretched(STRIP, "left", 2000.0)), RULE)
    assert issue.title.startswith("Insulation strip on the base rail has a gap of 2000.0 mm")
    np.testing.assert_allclose(issue.point_m, to_world(6015 + 1985 / 2, 366, 58), atol=2e-3)
    gone = only_issue(checked(WALL.without(STRIP)), RULE)
    assert "missing over the whole seam" in gone.title


@pytest.mark.parametrize(
    ("y", "z", "there"),
    [
        (0.0, 0.0, True),
        (-4.0, 0.0, True),
        (8.0, 0.0, False),
        (0.0, 40.0, True),
        (0.0, 100.0, False),
        (0.0, -100.0, False),
    ],
    ids=["on the rail", "pressed", "in the panel", "outer half", "weather side", "behind"],
)
def test_the_strip_lies_between_plinth_and_panel(y, z, there):
    result = checked(WALL.moved(STRIP, y=y, z=z), [RULE])
    assert (not result.verdicts) == there
    assert all(f"{STRIP} lies beside its place" in v.message for v in result.verdicts)


def test_other_insulation_is_none_of_it():
    """The core of a panel, of a plinth, and the filling of the seams: the strip itself is in no model."""
    bare = detail().without("base insulation 1", "base insulation 2")
    for name, y in (("core", (FOOT, FOOT + 1000.0)), ("plinth core", (-600.0, 300.0))):
        bare = with_part(bare, name, block("insulation", (15, 5985), y, (30, 100)))
    result = checked(bare)
    (coverage,) = [each for each in result.coverage if each.rule == RULE]
    assert (coverage.subjects, coverage.not_modelled, result.verdicts) == (2, 2, ())


def test_the_strip_fills_no_other_layer():
    for strip in ("plinth seal", "column seal"):
        sketch = WALL.without(*(name for name in WALL.parts if name.startswith(strip)))
        assert checked(sketch).verdicts == ()


def test_strips_butt_round_outer_and_inner_corners():
    assert not checked(corner(), [RULE]).verdicts
    deep = checked(corner().stretched("base insulation 2", "front", 15.0), [RULE])
    assert only_issue(deep, RULE).worst_mm == pytest.approx(-15.0, abs=0.01)
    np.testing.assert_allclose(deep.issues[0].point_m, to_world(6158, 366, 15.5), atol=2e-3)
    for corners in (RECTANGLE, ELL):
        model = building(corners)
        assert not checked(model, [RULE]).verdicts
        bodies = bodies_of(model)
        for number in range(len(corners)):
            start, end = np.array(corners[number]), np.array(corners[(number + 1) % len(corners)])
            way = np.append((end - start) / np.linalg.norm(end - start), 0.0)
            points, triangles = bodies[f"0.{number} base insulation 1"]
            first = points @ way < (points @ way).min() + 1e-6
            for by in (0.03, -0.03):
                moved = points + np.outer(first, way) * by
                result = checked(remade(model, {f"0.{number} base insulation 1": (moved, triangles)}), [RULE])
                assert [v.value_mm for v in result.verdicts] == [pytest.approx(1000 * by, abs=0.01)]


def test_a_door_breaks_the_line():
    door = wall(bays=4, rows=1, without=[2])
    assert not checked(door, [RULE]).verdicts
    (verdict,) = checked(door.without("base insulation 1"), [RULE]).verdicts
    assert verdict.axis == "1-2"


def test_without_a_plinth_the_strip_is_still_asked():
    bare = WALL.without("plinth 2")
    assert not checked(bare, [RULE]).verdicts
    assert checked(bare.without(STRIP), [RULE]).verdicts
    assert RAIL_TOP < FOOT
