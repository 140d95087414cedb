"""Promises of all rules: each flags its bad sketch, accepts its good one and explains itself."""

import re
from dataclasses import fields, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from drawn import MIRROR, RULES, built, checked, turned, wall

import rules
from checker.facade import Subjects
from checker.lanes import lanes_of
from checker.model import ROLES
from checker.output.explain import rule_in_full, rules_table
from checker.result import SEVERITIES
from checker.rule import FAIL, NOT_MODELLED, PASS, UNDECIDED
from checker.rule import rule as declare

EVERY = [pytest.param(rule, id=name) for name, rule in RULES.items()]
EVERY_LIMIT = [
    pytest.param(rule, setting, id=f"{name}.{setting.name}")
    for name, rule in RULES.items()
    for setting in fields(rule.limits)
]
CUTTING = re.compile(r"\b(cut|drill|grind|trim|notch|saw|loosen|unbolt|unscrew|weaken|remove|shorten)\w*\b", re.I)
LOAD_BEARING = re.compile(r"\b(column|frame|beam|plinth element|plinth|rail|purlin|bolt|anchor|brac)\w*\b", re.I)


def test_the_rules_are_those_that_lie_in_the_folder():
    files = {path.stem for path in Path(rules.__file__).parent.glob("*.py")} - {"__init__"}
    assert {rule.name.replace("-", "_") for rule in RULES.values()} == files


@cache
def of_bad(name):
    """What all rules say of the bad sketch of one, as it is drawn."""
    return checked(RULES[name].bad)


@pytest.mark.parametrize("rule", EVERY)
def test_it_accepts_its_good_sketch_as_does_every_other_rule(rule):
    result = checked(rule.good)
    assert [(v.rule, v.state, v.message) for v in result.verdicts] == []
    (coverage,) = [each for each in result.coverage if each.rule == rule.name]
    assert coverage.passed == coverage.subjects > 0


@pytest.mark.parametrize("place", [None, turned(24.2, 4e5, -7e5, 60.0), MIRROR], ids=["drawn", "far", "mirrored"])
@pytest.mark.parametrize("rule", EVERY)
def test_it_flags_its_bad_sketch_wherever_it_stands(rule, place):
    result = of_bad(rule.name) if place is None else checked(rule.bad, place=place)
    mine = [issue for issue in result.issues if issue.rule == rule.name]
    assert len(mine) == 1
    assert mine[0].severity == rule.severity
    assert mine[0].members


@pytest.mark.parametrize("rule", EVERY)
def test_bad_differs_from_good_by_its_own_fault(rule):
    """The fault may show in rules that look at the same parts, never in one about another layer."""
    if rule.name == "air-barrier-line":
        return
    # The airtight line as a whole is about what breaks any other layer.
    others = {issue.rule for issue in of_bad(rule.name).issues} - {rule.name, "air-barrier-line"}
    assert all(RULES[name].layer is None for name in others)
    assert rule.bad.describe() != rule.good.describe()
    assert rule.bad.describe().endswith(".")


@pytest.mark.parametrize("rule", EVERY)
def test_it_explains_itself(rule):
    assert rule.title
    assert not rule.title.endswith(".")
    assert rule.text.startswith(rule.title)
    reason = rule.text[len(rule.title) + 1 :].strip()
    assert len(reason.split()) > 10
    assert reason.endswith(".")
    assert rule.severity in SEVERITIES
    assert set(rule.needs) <= set(ROLES)
    assert rule.needs
    assert issubclass(rule.subject, Subjects)
    module = __import__(f"rules.{rule.name.replace('-', '_')}", fromlist=["x"])
    assert module.__doc__
    assert rule.limits.__doc__


@pytest.mark.parametrize("rule", EVERY)
def test_its_remedy_spares_what_bears_load(rule):
    """No clause tells to cut or loosen a part that carries something; a seal strip may be cut."""
    assert rule.remedy.endswith(".")
    for clause in re.split(r"[.;,:]", rule.remedy):
        assert not (CUTTING.search(clause) and LOAD_BEARING.search(clause)), clause


@pytest.mark.parametrize(("rule", "setting"), EVERY_LIMIT)
def test_its_limits_say_what_they_are(rule, setting):
    about = setting.metadata
    assert about["basis"] in ("standard", "published", "practice", "project")
    assert about["means"]
    assert about["source"]
    if about["basis"] in ("standard", "published"):
        assert "no source" not in about["source"]
    if isinstance(setting.default, bool):
        assert about["unit"] == ""
    else:
        assert setting.name.endswith(f"_{about['unit']}")
        assert setting.default >= 0


@pytest.mark.parametrize("rule", EVERY)
def test_its_words_reach_the_table_and_the_page(rule):
    assert rule.name in rules_table(list(RULES.values()))
    page = " ".join(rule_in_full(rule).split())
    for said in (rule.remedy, *(setting.metadata["means"] for setting in fields(rule.limits))):
        assert said in page


@pytest.mark.parametrize("rule", EVERY)
def test_its_limits_are_traced_to_their_sources_and_shown_by_sketches(rule):
    """The page and the README's table tell limits, basis, source, a good and a bad sketch; none may be lacking."""
    page = " ".join(rule_in_full(rule).split())
    table = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    (row,) = [line for line in table.splitlines() if line.startswith(f"| `{rule.name}` |")]
    assert fields(rule.limits)
    for setting in fields(rule.limits):
        assert setting.name in page
        assert setting.name in row
        for about in ("basis", "source"):
            assert setting.metadata[about] in page
            assert setting.metadata[about] in row
    for sketch in (rule.good, rule.bad):
        assert sketch.describe()
        assert sketch.describe() in page
        assert sketch.describe() in row


@pytest.mark.parametrize("rule", EVERY)
def test_it_answers_for_all_subjects_at_once(rule):
    """Every array of its answer has one entry per subject, also where there are none."""
    needed = [n for n, part in rule.good.parts.items() if part.role in set(rule.needs) - {"panel"}]
    for facade in (built(rule.bad), built(rule.good.without(*needed))):
        asked = rule.subjects(facade)
        said = rule.check(asked, facade, rule.limits())
        n = len(asked)
        assert said.state.shape == said.value_mm.shape == said.warning.shape == (n,)
        assert said.point.shape == (n, 3)
        assert len(said.says) == n
        assert set(said.state) <= {PASS, FAIL, NOT_MODELLED, UNDECIDED}
        assert all(
            bool(text) == (state in (FAIL, UNDECIDED)) for text, state in zip(said.says, said.state, strict=True)
        )
        assert not np.isnan(said.point[said.state == FAIL]).any()


@pytest.mark.parametrize("rule", EVERY)
def test_a_failure_says_value_and_requirement(rule):
    failing = [v for v in of_bad(rule.name).verdicts if v.rule == rule.name]
    assert failing
    for verdict in failing:
        assert verdict.value_mm is not None
        assert f"{abs(verdict.value_mm):.1f} mm" in verdict.message or "missing over the whole" in verdict.message
        inside = (verdict.minimum_mm is None or verdict.value_mm >= verdict.minimum_mm) and (
            verdict.maximum_mm is None or verdict.value_mm <= verdict.maximum_mm
        )
        assert not inside


@pytest.mark.parametrize("rule", [p for p in EVERY if p.values[0].layer and p.values[0].layer.seams])
def test_a_layer_that_is_taken_away_whole_is_not_modelled(rule):
    """No neighbour of the same role stands for it; what is left of the sketch is as right as before."""
    facade = built(rule.good)
    lanes = [lane for kind in rule.layer.seams for lane in lanes_of(facade, rule.layer, kind)]
    names = {facade.model.elements[e].name for lane in lanes for e in lane.inside.element}
    assert names
    result = checked(rule.good.without(*names))
    assert not [v for v in result.verdicts if v.rule == rule.name]
    (coverage,) = (each for each in result.coverage if each.rule == rule.name)
    assert coverage.not_modelled == coverage.subjects


def test_panels_and_columns_alone_give_one_line_per_absent_layer():
    """The seams themselves are judged, and pass; nothing else is said."""
    alone = [name for name, part in wall(4, 3).parts.items() if part.role in ("panel", "column")]
    sketch = replace(wall(4, 3), parts={name: wall(4, 3).parts[name] for name in alone})
    result = checked(sketch)
    assert not result.verdicts
    for coverage in result.coverage:
        layer = RULES[coverage.rule].layer
        assert coverage.passed + coverage.not_modelled == coverage.subjects
        assert coverage.not_modelled in (0, coverage.subjects)
        assert layer is None or coverage.not_modelled == coverage.subjects


def test_a_rule_that_says_nothing_is_refused():
    model = RULES["seam-width"]

    def silent(seams, facade, limits):
        raise AssertionError

    given = {name: getattr(model, name) for name in ("subject", "limits", "remedy", "needs", "good", "bad")}
    with pytest.raises(TypeError, match="says nothing"):
        declare(**given)(silent)
    silent.__doc__ = "Says something. At length."
    assert declare(**given)(silent).name == "silent"
    with pytest.raises(TypeError, match="unknown roles"):
        declare(**(given | {"needs": ("pannel",)}))(silent)
