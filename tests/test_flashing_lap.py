"""Laps of flashings against a published code of practice, and what counts as a lap.

The values 100 mm (sealed) and 150 mm (not sealed) are those of a code of practice for metal roof and wall cladding
(New Zealand), section on flashing laps; the four cases below are the table of `test_published_laps`.
"""

import re
from pathlib import Path

import numpy as np
import pytest
from drawn import RULES, bent, checked, only_issue, to_world, turned, wall, with_part

from checker.sketch import FOOT, ROW, block, guid_of

RULE = "flashing-lap"
PUBLISHED = Path(__file__).parents[2] / "shared" / "standards" / "published-values.md"
WALL = wall(bays=2, rows=2)
FIRST, SECOND = "plinth flashing 1", "plinth flashing 2"


def lapped(lap, **stated):
    """Two plinth flashings that lap by ``lap`` mm, the first one with property values."""
    sketch = WALL.stretched(FIRST, "right", lap - 100.0)
    return sketch.stating(FIRST, **stated) if stated else sketch


@pytest.mark.parametrize(
    ("lap", "sealed", "passes"), [(100, True, True), (100, False, False), (150, False, True), (99, True, False)]
)
def test_published_laps(lap, sealed, passes):
    result = checked(lapped(lap, lapsealed=str(sealed).upper()), [RULE])
    assert (not result.verdicts) == passes


def test_laps_are_those_of_the_published_values():
    """Section 12, check 12 of the published values: "flashing lap 100 sealed pass, 100 unsealed fail, ..."."""
    if not PUBLISHED.exists():
        pytest.skip("the published values are not here")
    text = PUBLISHED.read_text(encoding="utf-8")
    (line,) = [each for each in text[text.index("## 12.") :].splitlines() if each.startswith("12. **Laps and gaps**")]
    said = re.findall(r"(\d+) (sealed|unsealed) \*\*(pass|fail)\*\*", line)
    assert len(said) == 4
    for lap, sealed, verdict in said:
        result = checked(lapped(float(lap), lapsealed=str(sealed == "sealed")), [RULE])
        assert (not result.verdicts) == (verdict == "pass"), (lap, sealed)


@pytest.mark.parametrize(
    ("lap", "sealed", "passes"),
    [
        (99.98, True, False),
        (100.0, True, True),
        (100.02, True, True),
        (149.98, False, False),
        (150.0, False, True),
        (-10.0, True, False),
        (0.0, True, False),
    ],
)
def test_limits(lap, sealed, passes):
    result = checked(lapped(lap, lapsealed="yes" if sealed else "no"), [RULE], turned(24.2, 6e5, 6e5, 1))
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(lap, abs=0.01)
        assert verdict.minimum_mm == (100.0 if sealed else 150.0)
        assert verdict.elements == (guid_of(FIRST), guid_of(SECOND))


@pytest.mark.parametrize(
    ("stated", "unstated_is_sealed", "least"),
    [
        ({}, True, 100.0),
        ({}, False, 150.0),
        ({"lapsealed": "TRUE"}, False, 100.0),
        ({"lapsealed": ".T."}, False, 100.0),
        ({"sealed": "ja"}, False, 100.0),
        ({"lapsealed": ".F."}, True, 150.0),
        ({"lapsealed": " Nein "}, True, 150.0),
        ({"lapsealed": "perhaps"}, True, 100.0),
        ({"lapsealed": "perhaps"}, False, 150.0),
    ],
)
def test_what_a_flashing_states_decides(stated, unstated_is_sealed, least):
    limits = {RULE: RULES[RULE].limits(unstated_is_sealed=unstated_is_sealed)}
    plain = with_part(WALL, "seam flashing", block("flashing", (5925, 6075), (FOOT, FOOT + 2 * ROW), (128, 129)))
    plain = plain.without("flashing 2.1", "flashing 2.2")
    sketch = plain.stretched(FIRST, "right", -40.0)
    sketch = sketch.stating(FIRST, **stated) if stated else sketch
    (verdict,) = checked(sketch, [RULE], limits=limits).verdicts
    assert (verdict.value_mm, verdict.minimum_mm) == (pytest.approx(60.0), least)


def test_one_piece_that_says_no_is_enough():
    sketch = lapped(120.0).stating(FIRST, lapsealed="true").stating(SECOND, lapsealed="false")
    assert checked(sketch, [RULE]).verdicts


def test_words():
    (short,) = checked(lapped(60.0), [RULE]).verdicts
    assert short.message == "Flashings lap by 60.0 mm, required at least 100 mm (sealed)"
    (apart,) = checked(lapped(-12.0, sealed="no"), [RULE]).verdicts
    assert apart.message == "Flashings leave 12.0 mm open between them, required at least 150 mm (not sealed)"


def test_it_points_to_the_lap():
    issue = only_issue(checked(lapped(60.0)), RULE)
    np.testing.assert_allclose(issue.point_m, to_world(5980, 335, 128), atol=2e-3)
    upright = only_issue(checked(WALL.stretched("flashing 2.2", "bottom", 30.0)), RULE)
    assert upright.worst_mm == pytest.approx(70.0)
    np.testing.assert_allclose(upright.point_m, to_world(6000, FOOT + ROW - 35, 128), atol=2e-3)


def test_every_lap_is_asked_once():
    (coverage,) = checked(wall(bays=4, rows=3), [RULE]).coverage
    # Three laps along the plinth, two up each of the three inner columns.
    assert (coverage.subjects, coverage.passed) == (9, 9)


def test_flashings_round_a_slight_bend_lap_once_though_both_sides_see_it():
    result = checked(bent(3.0), [RULE])
    pairs = [v.elements for v in result.verdicts]
    assert pairs
    assert len(pairs) == len(set(pairs))


def test_flashings_on_both_sides_of_a_door_do_not_lap():
    assert not checked(wall(bays=4, rows=1, without=[2]), [RULE]).verdicts


def test_a_short_piece_between_two_others_laps_with_both():
    sketch = with_part(WALL, SECOND, block("flashing", (6500, 12000), (290, 400), (129, 130)))
    sketch = with_part(sketch, "link", block("flashing", (5900, 6620), (290, 400), (130, 131)))
    result = checked(sketch, [RULE])
    assert not result.verdicts
    (coverage,) = result.coverage
    assert coverage.subjects == 3


def test_no_flashing_anywhere_is_not_modelled_and_fails_once_where_required():
    bare = WALL.without(*(name for name in WALL.parts if "flashing" in name))
    result = checked(bare, [RULE])
    assert not result.verdicts
    assert (result.coverage[0].subjects, result.coverage[0].not_modelled) == (1, 1)
    required = checked(bare, [RULE], layers={"flashing": "required"})
    assert only_issue(required, RULE).title == "No flashing in front of the seam in any model, the project requires it"
    assert (required.coverage[0].failed, required.coverage[0].not_modelled) == (1, 0)
    assert not checked(bare, layers={"flashing": "off"}).verdicts
