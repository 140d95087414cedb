"""The airtight line: which walks there are, where they are broken, and what share of it is closed."""

from pathlib import Path

import numpy as np
import pytest
from drawn import MIRROR, built, checked, only_issue, turned, wall, with_part

from checker import run
from checker.barrier import BROKEN, CLOSED, air_lines, links
from checker.facade import CornerSeams
from checker.rule import load_rules
from checker.settings import Settings, files_to_read
from checker.sketch import BAY, FOOT, ROW, block, closed, corner, gate

ROOT = Path(__file__).parent.parent

RULE = "air-barrier-line"
PLACES = pytest.mark.parametrize("place", [np.eye(4), turned(24.2, 4e5, -7e5, 60.0), MIRROR])


def line(result):
    return next(each for each in result.coverage if each.rule == RULE)


def test_every_bay_row_and_opening_is_walked():
    facade = built(closed())
    walks = air_lines(facade)
    assert sorted(kind.split()[1] for kind in walks.kind) == ["opening", "round", "round", "round", "up", "up"]
    up = [i for i, kind in enumerate(walks.kind) if kind.endswith("up")]
    # Base, joint between the rows, roof edge.
    assert [len(walks.links[i]) for i in up] == [3, 3]
    assert len(set(np.concatenate(walks.links).tolist())) == len(links(facade).state)


@PLACES
def test_closed_everywhere(place):
    result = checked(closed(), place=place)
    assert not result.verdicts
    assert (line(result).subjects, line(result).passed) == (6, 6)
    assert result.airtight.closed_m == pytest.approx(sum(links(built(closed())).length))
    assert result.airtight.broken_m == result.airtight.not_modelled_m == result.airtight.undecided_m == 0.0


@PLACES
@pytest.mark.parametrize(
    ("gone", "words", "open_m"),
    [
        ("column seal 2 left", "round this row", 2.0),
        ("roof seal 1", "up this bay", 6.0 - 0.03),
        ("window seal head", "round this opening", 0.98),
        ("gasket 1.2", "up this bay", 5.97),
    ],
)
def test_one_missing_strip_breaks_the_walks_over_it(gone, words, open_m, place):
    result = checked(closed().without(gone), place=place)
    issue = only_issue(result, RULE)
    assert issue.severity == "note"
    assert words in issue.title
    assert result.airtight.broken_m == pytest.approx(open_m, abs=1e-5)


def test_the_two_parts_are_named_between_which_it_is_open():
    issue = only_issue(checked(closed().without("plinth seal 2")), RULE)
    assert "between plinth 2 and panel 2.1" in issue.title
    assert issue.worst_mm == pytest.approx(5970.0, abs=0.01)


@pytest.mark.parametrize(("most", "fine"), [(400.0, True), (399.9, False), (1000.0, True)])
def test_limit(most, fine):
    from checker.rule import load_rules

    rule = next(each for each in load_rules() if each.name == RULE)
    sketch = closed().stretched("column seal 2 left", "top", -400.0)
    result = checked(sketch, limits={RULE: rule.limits(open_mm=most)})
    assert (not [issue for issue in result.issues if issue.rule == RULE]) == fine


def test_nothing_drawn_is_one_line_and_no_issue():
    sketch = wall(3, 2)
    bare = sketch.without(*[n for n, p in sketch.parts.items() if p.role not in ("panel", "column")])
    result = checked(bare)
    assert RULE not in {v.rule for v in result.verdicts}
    assert line(result).not_modelled == line(result).subjects > 0
    assert result.airtight.closed_m == 0.0
    assert result.airtight.not_modelled_m > 0


def test_rows_go_on_round_a_corner():
    facade = built(corner(2))
    walks = air_lines(facade)
    rounds = [i for i, kind in enumerate(walks.kind) if kind.endswith("round")]
    assert [len(walks.links[i]) for i in rounds] == [1, 1]
    result = checked(corner(2).without("column seal at corner left", "column seal at corner right"))
    assert any("round this row" in v.message for v in result.verdicts if v.rule == RULE) or line(result).not_modelled


def test_a_door_is_walked_round_with_its_threshold():
    result = checked(gate().without("door seal threshold"))
    issue = only_issue(result, RULE)
    assert "round this opening" in issue.title
    assert issue.worst_mm == pytest.approx(3980.0, abs=0.01)


def test_a_body_that_cannot_be_measured_leaves_its_walks_undecided():
    from drawn import remade

    model = remade(closed().model(), {}, {"plinth 2": "its mesh is open"})
    result = checked(model)
    mine = [v for v in result.verdicts if v.rule == RULE]
    assert {v.state for v in mine} == {"undecided"}
    assert result.airtight.undecided_m > ROW / 1000


@pytest.mark.parametrize(("gone", "kind"), [("column seal 2 left", "plan"), ("plinth seal 2", "upright")])
def test_the_section_runs_across_the_seam_where_the_line_is_broken(gone, kind):
    issue = only_issue(checked(closed().without(gone)), RULE)
    assert issue.section.kind == kind


def test_a_walk_is_told_at_the_side_on_which_it_is_broken():
    """Rows go round the building; the words and the view are of the side where the break is, not where they begin."""
    files = files_to_read(sorted((ROOT / "sample_models" / "defects").glob("*.ifc")), Settings())
    facade = built(run.check(files, Settings(), load_rules(), lambda what, share: None).model)
    walks, sides = air_lines(facade), facade.sides
    broken = np.flatnonzero(walks.worst >= 0)
    assert (walks.side[broken] != walks.home[broken]).any()
    side = walks.side[broken]
    out = np.einsum("nj,nj->n", sides.frame[side, 2], walks.point[broken])
    assert (out > sides.inner[side] - 0.5).all()
    assert (out < sides.outer[side] + 0.1).all()


@pytest.mark.parametrize(
    ("change", "tight"),
    [
        (lambda s: s, True),
        (lambda s: s.without("column seal at corner right"), False),
        (lambda s: s.without("column seal at corner left"), False),
        (lambda s: s.moved("column seal at corner right", x=-10.0), False),
        (lambda s: s.moved("column seal at corner right", x=-1.0), True),
    ],
)
def test_a_corner_is_closed_where_seals_lead_from_one_panel_to_the_other(change, tight):
    facade = built(change(corner(1)), turned(17.0, 1e5, -2e5, 3))
    every = links(facade)
    (state,) = (int(every.state[k]) for k, kind in enumerate(every.kind) if kind is CornerSeams)
    assert state == (CLOSED if tight else BROKEN)


def test_foam_between_both_panels_closes_a_corner():
    bare = corner(1).without("column seal at corner right", "column seal at corner left")
    for z, tight in ((-12.0, True), (-8.0, False)):
        foam = block("foam", (BAY + 108, BAY + 228), (FOOT, FOOT + ROW), (z, 8.0))
        every = links(built(with_part(bare, "foam", foam)))
        (state,) = (int(every.state[k]) for k, kind in enumerate(every.kind) if kind is CornerSeams)
        assert state == (CLOSED if tight else BROKEN)
