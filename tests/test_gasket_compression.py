"""Gaskets between rows: how far they are pressed, by statement and by geometry, and whether they run through.

Published (trade gasket guides, quoted second-hand): 25 to 40 % for solid rubber, a ceiling of about 50 %; worked
examples 10 to 7 mm = 30 % passes, 10 to 7.5 mm = 25 % fails, 10 to 4.8 mm = 52 % is pressed too far.
"""

import numpy as np
import pytest
from drawn import RULES, checked, only_issue, to_world, turned, wall, with_part

from checker.sketch import BAY, FOOT, ROW, Block, Part, block, guid_of

RULE = "gasket-compression"
WALL = wall(bays=3, rows=3, full=True)
GASKET = "gasket 2.2"


def thick(sketch, thickness, **stated):
    """The gasket of the middle bay drawn so thick (mm), its lower side as it was."""
    return sketch.stretched(GASKET, "top", thickness - 6.0).stating(GASKET, **stated)


@pytest.mark.parametrize(
    ("thickness", "severity"),
    [
        (7.0, None),
        (7.02, "error"),
        (7.5, "error"),
        (9.9, "error"),
        (6.0, None),
        (5.0, None),
        (4.98, "warning"),
        (4.8, "warning"),
    ],
)
def test_published_examples_by_statement(thickness, severity):
    result = checked(thick(WALL, thickness, freethickness="10"), [RULE], turned(24.2, 1e5, -5e4, 3))
    assert [v.severity for v in result.verdicts] == ([severity] if severity else [])
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(thickness, abs=0.01)
        assert (verdict.minimum_mm, verdict.maximum_mm) == (pytest.approx(5.0), pytest.approx(7.0))
        assert guid_of(GASKET) in verdict.elements


def test_words_and_place():
    issue = only_issue(checked(thick(WALL, 7.5, freethickness="10")), RULE)
    assert issue.title == "Gasket is pressed from 10.0 to 7.5 mm, by 25 %, required 30 to 50 %"
    np.testing.assert_allclose(issue.point_m, to_world(1.5 * BAY, FOOT + ROW, 35), atol=1e-3)
    assert issue.axis == "2-3"


@pytest.mark.parametrize(
    ("said", "passes"), [("10 mm", True), ("0.010 m", True), ("1,0 cm", True), ("12", True), ("8", False)]
)
def test_the_statement_may_have_a_unit(said, passes):
    assert (not checked(thick(WALL, 6.5, freethickness=said), [RULE]).verdicts) == passes


def grooved(room, gasket=10.0):
    """Bay 2 with the groove of its lower joint drawn: ``room`` mm high for a gasket that is drawn at rest."""
    sketch = WALL.stating(GASKET)
    x, joint = (BAY + 15, 2 * BAY - 15), FOOT + ROW
    sketch = with_part(
        sketch,
        "panel 2.2",
        Part(
            "panel",
            (
                Block((x[0], joint, 8), (x[1], joint + ROW, 20)),
                Block((x[0], joint + room, 20), (x[1], joint + ROW, 50)),
                Block((x[0], joint, 50), (x[1], joint + ROW, 128)),
            ),
        ),
    )
    return with_part(sketch, GASKET, block("seal", x, (joint, joint + gasket), (30, 40)))


@pytest.mark.parametrize(
    ("room", "passes"), [(7.0, True), (7.02, False), (7.5, False), (5.0, True), (4.98, False), (4.8, False)]
)
def test_published_examples_by_geometry(room, passes):
    """The gasket is drawn 10 mm thick, at rest, and reaches into the panel above its groove."""
    result = checked(grooved(room), [RULE], turned(-61.0, 2e5, 2e5, 8))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert (verdict.state, verdict.value_mm) == ("fail", pytest.approx(room, abs=0.01))


def test_at_rest_by_statement_the_groove_tells():
    assert not checked(grooved(7.0).stating(GASKET, freethickness="10"), [RULE]).verdicts
    assert checked(grooved(7.5).stating(GASKET, freethickness="10"), [RULE]).verdicts


@pytest.mark.parametrize(
    ("sketch", "says"),
    [
        (WALL.stating(GASKET), "no property FreeThickness is in the model"),
        (grooved(10.0), "no property FreeThickness is in the model"),
        (WALL.stating(GASKET, freethickness="6"), "no groove it is pressed in is in the model"),
        (WALL.stating(GASKET, freethickness="soft"), "no property FreeThickness is in the model"),
    ],
    ids=["plain", "no pressure drawn", "at rest without groove", "no length"],
)
def test_what_the_model_does_not_tell_is_undecided(sketch, says):
    (verdict,) = checked(sketch, [RULE]).verdicts
    assert verdict.state == "undecided"
    assert says in verdict.message
    assert GASKET in verdict.message


@pytest.mark.parametrize(("by", "value"), [(0.0, None), (-1.0, None), (-1.02, 1.02), (-500.0, 500.0), (20.0, None)])
def test_it_runs_from_end_to_end_of_the_joint(by, value):
    result = checked(WALL.stretched(GASKET, "right", by), [RULE])
    assert [v.value_mm for v in result.verdicts] == ([] if value is None else [pytest.approx(value, abs=0.01)])


def test_the_seams_between_bays_are_no_gaps_in_it():
    bare = [n for n, p in WALL.parts.items() if p.role in ("foam", "insulation") and n.split()[0] in ("foam", "seam")]
    assert not checked(WALL.without(*bare), [RULE]).verdicts


def test_missing_gaskets_of_one_row_are_one_issue():
    issue = only_issue(checked(WALL.without("gasket 1.2", "gasket 3.2")), RULE)
    assert issue.title == "Gasket between the rows is missing over the whole seam (5970 mm) (2 places)"


def test_none_drawn_is_told_once_and_no_strip_at_a_column_or_window_stands_for_it():
    for sketch in (wall(3, 3), RULES["opening-seal"].good.without("gasket 1.2", "gasket 2.2")):
        result = checked(sketch)
        assert not [v for v in result.verdicts if v.rule == RULE]
        (coverage,) = (each for each in result.coverage if each.rule == RULE)
        assert coverage.not_modelled == coverage.subjects > 0


def test_the_project_sets_the_limits():
    limits = {RULE: RULES[RULE].limits(minimum_percent=25.0, maximum_percent=60.0)}
    for thickness in (7.5, 4.0):
        assert not checked(thick(WALL, thickness, freethickness="10"), [RULE], limits=limits).verdicts
