"""What a person has to act on: grouping by cause, keys that stay, acceptances, layers required or off, counting."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from drawn import (
    RULES,
    bodies_of,
    checked,
    end_moved,
    failing,
    mended,
    only_issue,
    remade,
    to_world,
    turned,
    wall,
    with_part,
)

from checker.settings import Acceptance
from checker.sketch import FOOT, ROW, block, guid_of

WALL = wall(bays=3, rows=4)
NOTHING = (np.zeros((0, 3)), np.zeros((0, 3), np.int64))
LATER, EARLIER = date(2999, 1, 1), date(2000, 1, 1)


def issues(result, rule):
    return [issue for issue in result.issues if issue.rule == rule]


def of(result, rule):
    (found,) = [each for each in result.coverage if each.rule == rule]
    return found


# Grouping


def test_a_column_off_its_place_is_one_issue_with_all_its_seams():
    issue = only_issue(checked(WALL.moved("column 2", x=12.0)), "panel-end-offset")
    assert len(issue.members) == 4
    assert issue.title.endswith("; move the column 12 mm to the left (4 places)")
    assert issue.elements[0] == [e.guid for e in checked(WALL).model.elements].index(guid_of("column 2"))
    assert issue.size_m == pytest.approx(3 * ROW / 1000)


def test_a_shifted_panel_is_one_issue_with_two_members_in_each_rule_it_offends():
    result = checked(WALL.moved("panel 2.3", x=12.0))
    asked = ("panel-end-offset", "seam-width")
    assert [(i.rule, len(i.members), i.move.what) for i in result.issues if i.rule in asked] == [
        ("panel-end-offset", 2, "panel"),
        ("seam-width", 2, "panel"),
    ]


def test_gaps_apart_from_each_other_are_issues_of_their_own():
    sketch = WALL.without("column seal 2 left")
    for k, (low, high) in enumerate([(0, 500), (520, 2500), (2530, 4000)]):
        sketch = with_part(sketch, f"strip {k}", block("seal", (5940, 5980), (FOOT + low, FOOT + high), (0, 8)))
    found = issues(checked(sketch), "column-seal")
    assert sorted(round(i.worst_mm) for i in found) == [20, 30]
    assert len({i.key for i in found}) == 2


def test_the_worst_member_gives_value_and_place():
    sketch = end_moved(end_moved(WALL, "panel 1.1", True, 7.0), "panel 1.3", True, 9.0)
    issue = only_issue(checked(sketch), "seam-width")
    assert issue.worst_mm == pytest.approx(21.0)
    assert issue.point_m[2] == pytest.approx((FOOT + 2.5 * ROW) / 1000)
    assert issue.move.part == guid_of("panel 1.3")
    assert issue.move.also == (guid_of("panel 1.1"),)


def test_warnings_and_errors_are_never_one_issue():
    sketch = WALL.stretched("plinth 1", "top", 8.0).stretched("plinth 3", "top", 12.0)
    assert sorted(i.severity for i in issues(checked(sketch), "plinth-step")) == ["error", "warning"]
    both = WALL.stretched("plinth 2", "top", -12.0).stretched("plinth 3", "top", -4.0)
    assert sorted(i.severity for i in issues(checked(both), "plinth-step")) == ["error", "warning"]


def test_the_project_sets_how_grave_a_rule_is():
    sketch = end_moved(WALL, "panel 1.1", True, 9.0)
    result = checked(sketch, severities={"seam-width": "note"})
    assert {i.severity for i in issues(result, "seam-width")} == {"note"}
    warned = checked(WALL.stretched("plinth 1", "top", 8.0), severities={"plinth-step": "note"})
    assert {i.severity for i in issues(warned, "plinth-step")} == {"note"}


def test_a_rule_that_is_switched_off_says_nothing():
    result = checked(end_moved(WALL, "panel 1.1", True, 9.0), switched_off=frozenset({"seam-width"}))
    assert not issues(result, "seam-width")
    assert "seam-width" not in {c.rule for c in result.coverage}


def test_the_owner_is_he_whose_part_should_move():
    model = WALL.moved("column 2", x=12.0).model()
    sources = (replace(model.sources[0], owner="panels"), replace(model.sources[0], owner="steel"))
    elements = tuple(
        replace(e, source=int(role.role == "column")) for e, role in zip(model.elements, model.roles, strict=True)
    )
    result = checked(replace(model, sources=sources, elements=elements))
    assert [i.owner for i in result.issues] == ["steel"]
    bare = WALL.without("foam 2.1").model()
    elements = tuple(replace(e, source=int(r.role == "foam")) for e, r in zip(bare.elements, bare.roles, strict=True))
    (missing,) = checked(replace(bare, sources=sources, elements=elements)).issues
    assert missing.owner == "steel"  # who models the other foam


# Keys


FAULTS = {
    "panel-end-offset": [WALL.moved("column 2", x=by) for by in (-14.0, 12.0, 33.0)],
    "seam-width": [end_moved(WALL, "panel 1.2", True, by) for by in (6.0, 7.5, 40.0)],
    "plinth-level": [WALL.stretched("plinth 1", "top", by) for by in (-30.0, -10.5)],
    "plinth-step": [WALL.stretched("plinth 3", "top", by) for by in (-30.0, 12.0)],
    "base-rail-offset": [WALL.moved("rail 2", z=by) for by in (-4.0, 3.0)],
    "column-seal": [WALL.stretched("column seal 3 right", "top", -by) for by in (3.0, 400.0, 990.0)],
    "seam-foam": [WALL.stretched("foam 2.3", "top", -by) for by in (3.0, 400.0, 990.0)],
    "plinth-seal": [WALL.stretched("plinth seal 3", "right", -by) for by in (30.0, 4000.0)],
    "flashing-lap": [WALL.stretched("flashing 2.2", "bottom", by) for by in (5.0, 130.0)],
}


@pytest.mark.parametrize("rule", FAULTS)
def test_a_key_does_not_change_with_value_or_place(rule):
    keys = set()
    for sketch in FAULTS[rule]:
        for place in (np.eye(4), turned(77.0, 1e5, 2e5, -9.0)):
            issue = only_issue(checked(sketch, place=place), rule)
            keys.add((issue.key, issue.topic, issue.check_id))
    assert len(keys) == 1
    ((key, topic, check_id),) = keys
    assert len(key) == 8
    assert int(key, 16) >= 0
    assert topic.count("-") == 4
    assert check_id.startswith(f"{rule}|")


def test_a_key_stays_when_other_faults_come_and_go():
    alone = only_issue(checked(WALL.moved("column 3", x=12.0)), "panel-end-offset").key
    crowd = (
        WALL.moved("column 3", x=12.0).moved("column 2", x=9.0).stretched("plinth 1", "top", -20.0).without("foam 2.1")
    )
    assert alone in {i.key for i in checked(crowd).issues}


def test_a_key_stays_when_the_worst_member_is_another_one():
    keys = set()
    for one, two in ((-13.0, -14.0), (-14.0, -13.0)):
        sketch = wall(5, 1).stretched("plinth 2", "top", one).stretched("plinth 3", "top", two)
        keys.add(only_issue(checked(sketch), "plinth-level").key)
    assert len(keys) == 1


def test_no_two_issues_share_a_key():
    worst = WALL
    for name in WALL.parts:
        if name.startswith(("panel", "rail", "plinth 1", "plinth 3")):
            worst = worst.moved(name, x=17.0, z=3.0)
        elif "seal" in name or "foam" in name:
            worst = worst.stretched(name, "left", 9.0).stretched(name, "top", -3.0)
    keys = [i.key for i in checked(worst).issues]
    assert len(keys) > 10
    assert len(keys) == len(set(keys))


# Acceptances


def accepted(sketch, **terms):
    """The result with an acceptance of the one issue of panel-end-offset (worst 27 mm, at most 20)."""
    key = only_issue(checked(sketch), "panel-end-offset").key
    terms = {"issue": key, "until": LATER, "reason": "wider strip", "by": "facade lead", "upto_mm": 30.0} | terms
    return checked(sketch, accepted=(Acceptance(**terms),))


OFF = WALL.moved("column 2", x=12.0)


@pytest.mark.parametrize(("upto", "holds"), [(27.0, True), (30.0, True), (26.98, False), (20.0, False)])
def test_an_acceptance_holds_while_not_worse(upto, holds):
    result = accepted(OFF, upto_mm=upto)
    (issue,) = result.issues
    states = {v.state for v in result.verdicts}
    assert states == {"accepted" if holds else "fail"}
    assert bool(issue.accepted) == holds
    assert result.count("error") == (0 if holds else 1)
    coverage = of(result, "panel-end-offset")
    assert (coverage.accepted, coverage.failed) == ((4, 0) if holds else (0, 4))
    assert bool(result.notes) == (not holds)
    if holds:
        assert issue.accepted == "Accepted until 2999-01-01 by facade lead: wider strip"
    else:
        assert "the issue is worse now" in result.notes[0]


@pytest.mark.parametrize(("width", "upto", "holds"), [(22.0, 22.0, True), (22.0, 21.0, True), (22.0, 23.0, False)])
def test_what_is_too_small_is_accepted_down_to_a_value(width, upto, holds):
    sketch = end_moved(WALL, "panel 1.1", True, 30.0 - width)
    key = only_issue(checked(sketch), "seam-width").key
    result = checked(sketch, accepted=(Acceptance(key, LATER, "thin strip", "lead", upto_mm=upto),))
    assert {v.state for v in result.verdicts if v.rule == "seam-width"} == {"accepted" if holds else "fail"}


def test_an_overlap_is_accepted_down_to_its_negative_value():
    sketch = WALL.stretched("foam 2.1", "top", 30.0)
    key = only_issue(checked(sketch), "seam-foam").key
    for upto, holds in ((-30.0, True), (-29.0, False), (30.0, False)):
        result = checked(sketch, accepted=(Acceptance(key, LATER, "r", "b", upto_mm=upto),))
        assert bool(result.issues[0].accepted) == holds


def test_an_acceptance_expires(monkeypatch):
    result = accepted(OFF, until=EARLIER)
    assert {v.state for v in result.verdicts} == {"fail"}
    assert "expired on 2000-01-01" in result.notes[0]
    day = date(2026, 12, 31)
    for seconds, holds in ((1798675200, True), (1798761600, False)):  # 2026-12-31 and 2027-01-01 at midnight
        monkeypatch.setenv("SOURCE_DATE_EPOCH", str(seconds))
        assert bool(accepted(OFF, until=day).issues[0].accepted) == holds


def test_an_acceptance_without_a_value_holds_only_where_there_is_none():
    result = accepted(OFF, upto_mm=None)
    assert {v.state for v in result.verdicts} == {"fail"}
    assert "needs upto_mm" in result.notes[0]
    bare = WALL.without(*(n for n, p in WALL.parts.items() if p.role == "flashing"))
    need = {"flashing": "required"}
    key = only_issue(checked(bare, layers=need), "flashing-lap").key
    result = checked(bare, layers=need, accepted=(Acceptance(key, LATER, "no rain here", "lead"),))
    assert {v.state for v in result.verdicts} == {"accepted"}


def test_an_acceptance_that_fits_nothing_is_told():
    result = checked(OFF, accepted=(Acceptance("00000000", LATER, "r", "b"),))
    assert result.notes == ("Acceptance of 00000000 fits no issue of this run.",)
    assert {v.state for v in result.verdicts} == {"fail"}


def test_an_acceptance_covers_its_issue_alone():
    sketch = OFF.moved("column 3", x=12.0)
    keys = [i.key for i in checked(sketch).issues]
    result = checked(sketch, accepted=(Acceptance(keys[0], LATER, "r", "b", upto_mm=30.0),))
    assert [bool(i.accepted) for i in result.issues] == [True, False]
    assert [v.state for v in result.verdicts].count("accepted") == 4


# Layers


SEALED = {"column-seal": "seal", "seam-foam": "foam", "flashing": "flashing"}


@pytest.mark.parametrize("layer", SEALED)
def test_a_layer_that_is_nowhere_is_not_modelled_until_the_project_requires_it(layer):
    sketch = WALL.without(*(n for n, p in WALL.parts.items() if p.role == SEALED[layer]))
    rule = next(r.name for r in RULES.values() if r.layer is not None and r.layer.name == layer)
    expected = checked(sketch)
    assert (of(expected, rule).not_modelled, of(expected, rule).failed) == (of(expected, rule).subjects, 0)
    assert not issues(expected, rule)
    assert of(expected, rule).subjects > 0
    required = checked(sketch, layers={layer: "required"})
    issue = only_issue(required, rule)
    assert "in any model, the project requires it" in issue.title
    assert of(required, rule).failed == of(required, rule).subjects
    off = checked(sketch, layers={layer: "off"})
    assert rule not in {c.rule for c in off.coverage}


def test_one_piece_anywhere_makes_what_is_missing_a_failure():
    seals = [n for n, p in WALL.parts.items() if p.role == "foam"]
    sketch = WALL.without(*seals[1:])
    coverage = of(checked(sketch), "seam-foam")
    assert (coverage.passed, coverage.failed, coverage.not_modelled) == (1, 7, 0)


def test_a_required_layer_that_is_there_is_judged_as_ever():
    assert not checked(WALL, layers=dict.fromkeys(SEALED, "required")).verdicts


# What cannot be measured


def test_an_open_body_leaves_its_subjects_undecided_and_they_are_counted():
    result = checked(remade(WALL.model(), {}, {"panel 2.2": "its mesh is open"}))
    assert not result.issues
    for rule in ("seam-width", "panel-end-offset", "column-seal", "seam-foam"):
        coverage = of(result, rule)
        assert (coverage.undecided, coverage.passed, coverage.subjects) == (2, 6, 8)
    said = {v.message for v in result.verdicts if v.rule != "air-barrier-line"}
    assert said == {f"panel 2.2 ({guid_of('panel 2.2')}): its mesh is open"}


@pytest.mark.parametrize("name", ["panel 2.2", "rail 2", "plinth 2", "foam 2.1", "flashing 2.1"])
def test_a_part_without_a_body_is_undecided_in_every_rule_that_needs_it(name):
    role = WALL.parts[name].role
    rules = {r.name for r in RULES.values() if role in r.needs or (r.layer is not None and role in r.layer.roles)}
    assert rules
    result = checked(remade(WALL.model(), {name: NOTHING}, {name: "it has no body"}))
    told = {v.rule for v in result.verdicts if v.elements == (guid_of(name),) and v.state == "undecided"}
    assert told == rules
    for rule in rules:
        coverage = of(result, rule)
        counted = coverage.passed + coverage.failed + coverage.undecided + coverage.not_modelled
        assert counted == coverage.subjects
    assert all(
        v.message == f"{name} ({guid_of(name)}): it has no body" for v in result.verdicts if guid_of(name) in v.elements
    )


def test_acceptance_and_undecided_leave_each_other_alone():
    model = remade(OFF.model(), {}, {"panel 2.2": "its mesh is open"})
    result = checked(model)
    issue = only_issue(result, "panel-end-offset")
    assert len(issue.members) == 3
    again = checked(model, accepted=(Acceptance(issue.key, LATER, "r", "b", upto_mm=30.0),))
    assert of(again, "panel-end-offset").accepted == 3
    assert of(again, "panel-end-offset").undecided == 2


# Moves


def test_a_move_is_told_in_whole_millimetres_where_one_fits():
    assert only_issue(checked(WALL.moved("column 2", x=11.6)), "panel-end-offset").move.distance_mm == 12.0
    limits = {"base-rail-offset": RULES["base-rail-offset"].limits(minimum_mm=8.2, maximum_mm=8.4)}
    rail = WALL
    for name in ("rail 1", "rail 2", "rail 3"):
        rail = rail.moved(name, z=0.3)
    assert not checked(rail, ["base-rail-offset"], limits=limits).issues
    issue = only_issue(checked(rail.moved("rail 2", z=4.0), ["base-rail-offset"], limits=limits), "base-rail-offset")
    assert issue.move.distance_mm == 4.0
    issue = only_issue(checked(rail.moved("rail 2", z=4.5), ["base-rail-offset"], limits=limits), "base-rail-offset")
    assert issue.move.distance_mm == 4.5


def test_moves_are_told_as_seen_from_outside_and_in_the_world():
    place = turned(90.0)
    issue = only_issue(checked(WALL.moved("column 2", x=12.0), place=place), "panel-end-offset")
    assert issue.move.direction == "to the left"
    np.testing.assert_allclose(issue.move.vector_m, place[:3, :3] @ to_world(-12.0, 0, 0), atol=1e-9)
    assert issue.look == pytest.approx(tuple(place[:3, :3] @ np.array([0, 1, 0])), abs=1e-9)


def test_all_moves_of_a_run_together_leave_nothing_of_their_rules():
    sketch = WALL.moved("column 2", x=12.0).moved("rail 3", z=4.0).stretched("plinth 1", "top", -13.0)
    sketch = end_moved(sketch, "panel 3.4", False, -8.0)
    before = checked(sketch)
    assert {i.rule for i in before.issues} == {
        "panel-end-offset",
        "base-rail-offset",
        "plinth-level",
        "plinth-step",
        "seam-width",
    }
    moved = set()
    for issue in before.issues:
        if (issue.move.part, issue.move.what) not in moved:
            moved.add((issue.move.part, issue.move.what))
            sketch = mended(sketch, issue.move)
    assert failing(checked(sketch)) == set()


# A run as a whole


def test_verdicts_stand_in_the_order_of_rules_and_the_same_run_says_the_same():
    sketch = OFF.without("foam 2.1").stretched("plinth 1", "top", -13.0)
    one, two = checked(sketch), checked(sketch)
    assert one.verdicts == two.verdicts
    assert one.issues == two.issues
    assert [c.rule for c in one.coverage] == sorted(RULES)
    assert [i.rule for i in one.issues] == sorted(i.rule for i in one.issues)


def test_results_are_in_the_coordinates_of_the_model():
    place = turned(0.0, 3.5e5, -6.1e6, 77.0)
    near, far = (checked(OFF, place=p) for p in (np.eye(4), place))
    np.testing.assert_allclose(np.subtract(far.issues[0].point_m, near.issues[0].point_m), place[:3, 3], atol=1e-8)
    for axis, shift in zip("xyz", place[:3, 3], strict=True):
        a, b = (np.array(r.seams.columns[f"{axis}_m"], float) for r in (near, far))
        np.testing.assert_allclose(b - a, shift, atol=1e-8)
    assert far.seam_length_m == pytest.approx(near.seam_length_m)
    assert sum(np.array(near.seams.columns["length_mm"], float)) / 1e3 == pytest.approx(near.seam_length_m)


def test_hostile_names_reach_results_as_they_are():
    """Escaping is the outputs' matter; nothing here may interpret a name, a brace least of all."""
    evil = "{value} %s {0} =1+1 <script>"
    model = WALL.moved("column seal 2 left", z=128.0).model()
    elements = tuple(replace(e, name=evil) if e.name == "column seal 2 left" else e for e in model.elements)
    result = checked(replace(model, elements=elements))
    assert all(evil in v.message for v in result.verdicts if v.rule == "column-seal")
    assert bodies_of(model)
