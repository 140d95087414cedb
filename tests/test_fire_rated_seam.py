"""Seams of fire-rated walls: what states a rating, what burns, and what is no pass."""

from dataclasses import replace

import numpy as np
import pytest
from drawn import checked, only_issue, turned, wall

from checker.model import Model
from checker.properties import fire_rating
from checker.sketch import guid_of

RULE = "fire-rated-seam"
WALL = wall(bays=3, rows=3, full=True)
RATED = WALL.stating("panel 1.2", firerating="EI 60")
WOOL = "seam insulation 2.2"


def coverage(result):
    return next(each for each in result.coverage if each.rule == RULE)


def named(model: Model, name: str, **words: object) -> Model:
    """The model with other words for one element."""
    return replace(model, elements=tuple(replace(e, **words) if e.name == name else e for e in model.elements))


def test_only_seams_at_rated_panels_are_asked():
    assert coverage(checked(WALL)).subjects == 0
    result = checked(RATED)
    assert not result.verdicts
    assert (coverage(result).subjects, coverage(result).passed) == (1, 1)


def test_foam_alone_is_no_pass():
    issue = only_issue(checked(RATED.without(WOOL), place=turned(24.2, 1e5, 0, 3)), RULE)
    assert issue.title == (
        "Seam rated EI 60 lacks non-combustible insulation over 1000.0 mm, required at most 1 mm; "
        "foam alone is no pass, a tested detail decides"
    )
    assert issue.severity == "error"
    assert "fire engineer" in issue.remedy


@pytest.mark.parametrize(("by", "passes"), [(0.0, True), (-1.0, True), (-1.02, False), (-300.0, False)])
def test_over_the_whole_height(by, passes):
    result = checked(RATED.stretched(WOOL, "top", by), [RULE])
    assert (not result.verdicts) == passes
    for verdict in result.verdicts:
        assert verdict.value_mm == pytest.approx(-by, abs=0.01)


@pytest.mark.parametrize(
    ("stated", "words", "state"),
    [
        ({"combustible": "false"}, {}, None),
        ({"combustible": "No"}, {}, None),
        ({"combustible": "true"}, {}, "fail"),
        ({}, {}, "undecided"),
        ({}, {"materials": ("Mineral wool",)}, None),
        ({}, {"materials": ("Steinwolle 120 kg/m3",)}, None),
        ({}, {"materials": ("Laine de roche",)}, None),
        ({}, {"materials": ("PIR",)}, "fail"),
        ({}, {"materials": ("EPS 100",)}, "fail"),
        ({}, {"type_name": "PU-Schaum"}, "fail"),
        ({"combustible": "true"}, {"materials": ("Mineral wool",)}, "fail"),
        ({"combustible": "perhaps"}, {"object_type": "Stone wool strip"}, None),
    ],
)
def test_what_burns_is_told_by_property_or_else_by_words(stated, words, state):
    model = named(RATED.stating(WOOL, **stated).model(), WOOL, **words)
    found = {v.state for v in checked(model, [RULE]).verdicts}
    assert found == ({state} if state else set())
    if state == "undecided":
        (verdict,) = checked(model, [RULE]).verdicts
        assert verdict.message == f"{WOOL} in a seam rated EI 60 states neither Combustible nor its material"
        assert guid_of(WOOL) in verdict.elements


def test_nothing_drawn_in_the_seams_is_not_modelled():
    bare = RATED.without(*(n for n, p in WALL.parts.items() if p.role in ("foam", "insulation") and "base" not in n))
    result = checked(bare)
    assert not result.verdicts
    assert coverage(result).not_modelled == 1


@pytest.mark.parametrize(
    ("said", "rated"),
    [
        ("EI 60", True),
        ("EI60", True),
        ("REI 120", True),
        ("F90", True),
        ("60", True),
        ("90 min", True),
        ("1 hr", True),
        ("2HR", True),
        ("Brandwand", True),
        ("", False),
        ("0", False),
        ("EI 0", False),
        ("-", False),
        ("None", False),
        ("n/a", False),
        ("Not rated", False),
        ("unrated", False),
        ("keine", False),
        ("NPD", False),
        ("A2-s1,d0", False),
        ("B-s2, d0", False),
        ("Class E", False),
        ("A1", False),
    ],
)
def test_what_states_a_rating(said, rated):
    """Classes of reaction to fire (EN 13501-1, from memory: A1 to F, with s and d) are no rating of resistance."""
    assert bool(fire_rating({"firerating": said})) == rated


def test_the_section_shows_what_is_missing():
    sketch = RATED.stretched(WOOL, "top", -60.0)
    issue = only_issue(checked(sketch), RULE)
    start, end = np.array(issue.section.span)
    assert np.linalg.norm(end - start) * 1e3 == pytest.approx(60.0, abs=0.01)
