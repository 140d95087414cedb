"""Who is who from one release to the next: parts and issues, rung by rung, and never where it is ambiguous."""

import itertools
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drawn import end_moved, remade, renamed, turned, wall
from hypothesis import given
from hypothesis import strategies as st
from life_kit import engine

from checker.identity import (
    PARTS_AGAIN,
    SAME_PARTS,
    SAME_PLACE,
    SAME_PLACE_M,
    Parts,
    Trace,
    base_of,
    check_id_of,
    part_changes,
    parts_of,
    same_issues,
    settled,
)
from checker.model import ModelFile
from checker.read import open_models
from checker.sketch import guid_of

NOTHING = (np.zeros((0, 3)), np.zeros((0, 3), np.int64))
REAL = Path(__file__).parent.parent.parent / "shared" / "real_models"


# ---- pairs ----------------------------------------------------------------------------------------------------------


COSTS = st.dictionaries(st.tuples(st.integers(0, 5), st.integers(0, 5)), st.integers(0, 20).map(lambda k: k / 10))


@given(COSTS, st.randoms())
def test_pairs_do_not_depend_on_order_and_are_one_to_one(costs, pick):
    found, left = settled(costs, 0.15)
    mixed = list(costs.items())
    pick.shuffle(mixed)
    assert settled(dict(mixed), 0.15) == (found, left)
    assert len(set(found.values())) == len(found)
    assert all(pair in costs for pair in found.items())
    assert not {o for o, _ in left} & set(found)
    assert not {n for _, n in left} & set(found.values())
    turned_round, _ = settled({(n, o): cost for (o, n), cost in costs.items()}, 0.15)
    assert {(o, n) for n, o in turned_round.items()} == set(found.items())


@given(COSTS)
def test_no_pair_is_taken_while_a_second_one_is_about_as_good(costs):
    found, _ = settled(costs, 0.15)
    used = set(found.items())
    for (o, n), cost in costs.items():
        if (o, n) not in used and (o in found or n in found.values()):
            rivals = [pair for pair in used if pair[0] == o or pair[1] == n]
            assert min(costs[pair] for pair in rivals) < cost


# ---- parts ----------------------------------------------------------------------------------------------------------


def parts(*rows):
    """Parts of role, class, name, tag and the low corner of a box of 1 by 0.1 by 1 m; GlobalIds as given."""
    guid, name, tag, low = zip(*rows, strict=True) if rows else ((), (), (), ())
    low = np.array(low, float).reshape(-1, 3)
    n = len(guid)
    return Parts(
        guid, ("panel",) * n, ("IfcPlate",) * n, name, tag, ("facade",) * n,
        np.stack([low, low + np.array([1.0, 0.1, 1.0])], axis=1), np.full(n, 2.4), np.full(n, 0.1),
    )  # fmt: skip


def rungs(found, old, new):
    return {old.guid[o]: (new.guid[n], rung) for (o, n), rung in zip(found.same.tolist(), found.rung, strict=True)}


def test_the_ladder_of_parts():
    old = parts(
        ("stays", "Panel", "K1", (0, 0, 0)),
        ("marked", "Panel", "K2", (2, 0, 0)),
        ("named", "Panel A2.3", "", (4, 0, 0)),
        ("placed", "Panel", "", (6, 0, 0)),
        ("removed", "Panel", "", (8, 0, 0)),
    )
    new = parts(
        ("stays", "Other", "K9", (50, 0, 0)),
        ("m2", "Panel", "K2", (2, 30, 0)),
        ("n2", "Panel A2.3", "", (4, 30, 0)),
        ("p2", "Panel", "", (6.004, 0, 0)),
        ("added", "Panel", "", (10, 0, 0)),
    )
    found = part_changes(old, new)
    assert rungs(found, old, new) == {
        "stays": ("stays", "GlobalId"),
        "marked": ("m2", "mark"),
        "named": ("n2", "mark"),
        "placed": ("p2", "body"),
    }
    assert [new.guid[i] for i in found.added] == ["added"]
    assert [old.guid[i] for i in found.removed] == ["removed"]
    assert len(found.moved) == 4
    assert found.again(old, new) == {"marked": "m2", "named": "n2", "placed": "p2"}


def test_marks_that_were_counted_anew_do_not_beat_bodies():
    old = parts(*((f"o{k}", "Panel", f"K{k}", (2 * k, 0, 0)) for k in range(5)))
    new = parts(*((f"n{k}", "Panel", f"K{k}", (2 * (k - 1), 0, 0)) for k in range(6)))
    found = part_changes(old, new)
    assert rungs(found, old, new) == {f"o{k}": (f"n{k + 1}", "body") for k in range(5)}
    assert [new.guid[i] for i in found.added] == ["n0"]


def test_marks_that_others_have_too_and_bodies_that_lie_in_each_other_decide_nothing():
    old = parts(("o1", "Panel", "K", (0, 0, 0)), ("o2", "Panel", "K", (9, 0, 0)))
    new = parts(("n1", "Panel", "K", (20, 0, 0)), ("n2", "Panel", "K", (30, 0, 0)))
    assert rungs(part_changes(old, new), old, new) == {}
    twins = parts(("n1", "Panel", "", (0, 0, 0)), ("n2", "Panel", "", (0, 0, 0)))
    found = part_changes(old, twins)
    assert (rungs(found, old, twins), found.unclear.tolist()) == ({}, [0])
    for other in (replace(new, name=("Foam", "Foam"), box=old.box), replace(new, role=("foam", "foam"), box=old.box)):
        assert part_changes(old, replace(other, tag=("", ""))).same.tolist() == []


@pytest.mark.parametrize(("by", "moved"), [(0.0, 0), (0.00009, 0), (0.00011, 1), (-3.0, 1)])
def test_a_tenth_of_a_millimetre_is_no_move(by, moved):
    found = part_changes(parts(("a", "", "", (0, 0, 0))), parts(("a", "", "", (0, 0, by))))
    assert (len(found.moved), len(found.reshaped)) == (moved, 0)


def test_a_turned_part_has_moved_and_a_cut_one_has_another_shape():
    wall_before, wall_after = wall(), wall().moved("rail 1", z=4.0)
    wall_after = end_moved(wall_after, "panel 1.1", True, -2.0)
    old, new = parts_of(wall_before.model()), parts_of(wall_after.model())
    found = part_changes(old, new)
    assert [old.guid[found.same[k, 0]] for k in found.moved] == [guid_of("rail 1")]
    assert [old.guid[found.same[k, 0]] for k in found.reshaped] == [guid_of("panel 1.1")]
    turned_wall = parts_of(wall_before.model(turned(31.0, 4e5, -2e4, 7.0)))
    found = part_changes(old, turned_wall)
    assert (len(found.moved), len(found.reshaped), len(found.added)) == (len(old), 0, 0)


def test_a_part_without_body_or_role_is_no_part_at_a_seam():
    model = wall().model()
    bodiless = remade(model, {"panel 1.1": NOTHING})
    assert guid_of("panel 1.1") not in parts_of(bodiless).guid
    every = list(range(len(model.elements)))
    assert part_changes(parts(), parts_of(model)).added.tolist() == every
    assert part_changes(parts_of(model), parts()).removed.tolist() == every


@pytest.mark.skipif(not REAL.is_dir(), reason="models from elsewhere are not here")
def test_two_real_releases_of_which_no_global_id_survived():
    """Of 90 parts most did not move (README of the models); found are those whose bodies lie where they were."""
    read = []
    for name in ("old", "new"):
        reading = open_models([ModelFile(REAL / f"aac-plot01-{name}.ifc", name)])
        meshes, _ = reading.bodies(np.ones(len(reading.elements), bool))
        boxes = np.array(
            [
                [meshes.points[a:b].min(axis=0), meshes.points[a:b].max(axis=0)] if b > a else np.full((2, 3), np.nan)
                for a, b in itertools.pairwise(meshes.point_start)
            ]
        )
        has = ~np.isnan(boxes[:, 0, 0])
        elements = [e for e, one in zip(reading.elements, has, strict=True) if one]
        n = len(elements)
        read.append(
            Parts(
                tuple(e.guid for e in elements), ("panel",) * n, tuple(e.ifc_class for e in elements),
                tuple(e.name for e in elements), tuple(e.tag for e in elements), ("aac",) * n,
                boxes[has] + reading.origin, np.ones(n), np.ones(n),
            )
        )  # fmt: skip
    old, new = read
    assert not set(old.guid) & set(new.guid)
    found = part_changes(old, new)
    assert set(found.rung) == {"body", "mark"}
    # Found without the ladder: one class, one name, one outline in plan, feet within the 20 mm by which they sank.
    expected = {}
    for i in range(len(old)):
        fits = [
            j
            for j in range(len(new))
            if (new.ifc_class[j], new.name[j]) == (old.ifc_class[i], old.name[i])
            and np.abs(new.box[j, :, :2] - old.box[i, :, :2]).max() < 1e-3
            and np.abs(new.box[j, :, 2] - old.box[i, :, 2]).max() < 0.021
        ]
        expected |= {i: fits[0]} if len(fits) == 1 else {}
    assert len(expected) > 0.8 * len(old)
    assert expected.items() <= dict(found.same.tolist()).items()
    assert len(found.unclear) == 0


# ---- issues ---------------------------------------------------------------------------------------------------------


def trace(name, used, point=(0.0, 0.0, 0.0), marks=(), rule="seam-width"):
    return Trace(f"{rule}|{name}", rule, frozenset(used.split()), frozenset(marks), (point,))


def matched(old, new, again=None, present=None):
    here = set().union(*(t.parts for t in new)) if present is None else set(present.split())
    return same_issues(old, new, again or {}, here)


def test_same_parts_are_enough_wherever_the_place_is():
    found = matched([trace("panel|A", "A B C")], [trace("panel|A", "A B C", (0.0, 99.0, 0.0))])
    assert found.continued == {0: (0, SAME_PARTS)}
    assert matched([trace("panel|A", "A B")], [trace("panel|A", "A B", rule="seam-foam")]).continued == {}


@pytest.mark.parametrize(("away", "same"), [(SAME_PLACE_M - 0.01, True), (SAME_PLACE_M + 0.01, False)])
def test_some_of_the_parts_are_enough_only_nearby(away, same):
    old, new = [trace("panel|A", "A B C D E F")], [trace("end|B", "A B X", (away, 0.0, 0.0))]
    assert bool(matched(old, new).continued) == same


def test_several_on_one_pair_go_to_the_nearest_and_their_numbers_do_not_move():
    old = [
        trace("panel|A", "A B", (1.0, 0, 0)),
        trace("panel|A|#2", "A B", (3.0, 0, 0)),
        trace("panel|A|#3", "A B", (5.0, 0, 0)),
    ]
    new = [trace("panel|A", "A B", (3.1, 0, 0)), trace("panel|A|#2", "A B", (5.2, 0, 0))]
    found = matched(old, new)
    assert {n: o for n, (o, _) in found.continued.items()} == {0: 1, 1: 2}
    assert found.unclear == {}


def test_what_was_still_there_explains_a_fault_better_than_what_was_mended():
    old = [trace("panel|A", "A B", (0.1, 0, 0)), replace(trace("panel|A|#2", "A B", (0.2, 0, 0)), over=True)]
    for both in (old, old[::-1]):
        (which,) = [both[o] for o, _ in matched(both, [trace("panel|A", "A B", (0.15, 0, 0))]).continued.values()]
        assert which == old[0]


def test_twins_keep_their_numbers_and_one_that_is_left_is_ambiguous():
    old = [trace("panel|A", "A B"), trace("panel|A|#2", "A B")]
    assert {n: o for n, (o, _) in matched(old, old).continued.items()} == {0: 0, 1: 1}
    found = matched(old, old[:1])
    assert (found.continued, found.unclear) == ({}, {0: (0,), 1: (0,)})
    found = matched(old[:1], old)
    assert (found.continued, found.unclear) == ({}, {0: (0, 1)})


def test_parts_with_new_global_ids_are_recognised_by_what_they_became():
    found = matched([trace("panel|A", "A B")], [trace("panel|X", "X Y")], again={"A": "X", "B": "Y"})
    assert found.continued == {0: (0, PARTS_AGAIN)}
    assert matched([trace("panel|A", "A B")], [trace("panel|X", "X Y", (9, 0, 0))]).continued == {}


def test_rule_and_place_count_only_where_parts_have_gone():
    old, new = [trace("panel|A", "A B")], [trace("panel|X", "X Y", (0.2, 0.1, 0.0))]
    assert matched(old, new).continued == {0: (0, SAME_PLACE)}
    assert matched(old, new, present="A B X Y").continued == {}
    assert matched(old, [replace(new[0], check_id="seam-width|column|X")]).continued == {}
    assert matched(old, [replace(new[0], points=((0.51, 0.0, 0.0),))]).continued == {}
    assert matched([replace(old[0], points=())], new).continued == {}


def test_marks_tell_places_apart():
    old = [trace("place|A", "A", marks=["S1"]), trace("place|B", "B", (0.01, 0, 0), marks=["S2"])]
    new = [trace("place|Y", "Y", (0.01, 0, 0), marks=["S2"]), trace("place|X", "X", marks=["S1"])]
    assert {n: o for n, (o, _) in matched(old, new).continued.items()} == {0: 1, 1: 0}
    bare = [replace(t, marks=frozenset()) for t in (*old, *new)]
    found = matched(bare[:2], bare[2:])
    assert (found.continued, found.unclear) == ({}, {0: (0, 1), 1: (0, 1)})


def test_a_column_whose_two_ends_are_blamed_now_is_ambiguous():
    old = [trace("column|C", "C L R")]
    new = [trace("end of the left panel|C", "C L R"), trace("end of the right panel|C", "C L R")]
    assert matched(old, new).unclear == {0: (0, 1)}


def test_a_building_that_moved_as_a_whole_keeps_its_issues():
    old = [trace(f"panel|{k}", f"{k} c", (k, 0, 0)) for k in ["1", "2", "3"]]
    old = [replace(t, points=((float(k), 0.0, 0.0),)) for k, t in enumerate(old)]
    several = [trace("panel|A", "A B", (0.0, 9.0, 0.0)), trace("panel|A|#2", "A B", (3.0, 9.0, 0.0))]
    every = [*old, *several]
    moved = [replace(t, points=(tuple(np.add(t.points[0], (400.0, -30.0, 2.0))),)) for t in every]
    assert {n: o for n, (o, _) in matched(every, moved[:4]).continued.items()} == {k: k for k in range(4)}


@given(st.randoms(), st.integers(1, 8))
def test_recognition_does_not_depend_on_order(pick, count):
    world = [trace(f"panel|{k}", f"{k}a {k}b", (float(pick.random()), 0.0, 0.0)) for k in range(count)]
    old, new = pick.sample(world, pick.randint(0, count)), pick.sample(world, pick.randint(0, count))
    found = {new[n].check_id: old[o].check_id for n, (o, _) in matched(old, new).continued.items()}
    old2, new2 = pick.sample(old, len(old)), pick.sample(new, len(new))
    assert found == {new2[n].check_id: old2[o].check_id for n, (o, _) in matched(old2, new2).continued.items()}


@given(st.text(max_size=30))
def test_a_check_id_is_one_plain_line_whatever_a_file_calls_its_parts(guid):
    check_id = check_id_of("seam-width", "panel", [guid])
    assert check_id.isascii()
    assert len(check_id.splitlines()) == 1
    assert check_id.count("|") == 2
    assert base_of(check_id) in (check_id, "seam-width|panel")


# ---- the whole engine -----------------------------------------------------------------------------------------------


WRONG = (
    end_moved(wall(4, 3), "panel 1.2", True, 9.0)
    .moved("column 3", x=12.0)
    .stretched("plinth 2", "top", -14.0)
    .stretched("column seal 4 left", "top", -400.0)
    .without("foam 2.3")
)


def reissued(sketch):
    """The same building with other GlobalIds."""
    model = renamed(sketch, "again ").model()
    return replace(model, elements=tuple(replace(e, name=e.name.removeprefix("again ")) for e in model.elements))


def told(result):
    return sorted((c.life, c.rung) for c in result.changes.issues)


def test_nothing_changed_nothing_said():
    result, file = engine(WRONG)
    assert {c.life for c in result.changes.issues} == {"new"}
    again, same = engine(WRONG, file)
    assert again.changes.issues == tuple(replace(c, remark=None) for c in result.changes.issues)
    assert same == file
    assert [i.key for i in again.issues] == [i.key for i in result.issues]


@pytest.mark.parametrize("known", [True, False])
def test_new_global_ids_everywhere_keep_every_issue(known):
    first, file = engine(WRONG)
    before = parts_of(WRONG.model()) if known else None
    second, after = engine(reissued(WRONG), file, before)
    assert told(second) == [("unchanged", PARTS_AGAIN if known else SAME_PLACE)] * len(first.issues)
    assert [i.key for i in second.issues] == [i.key for i in first.issues]
    # Each topic has one comment more, with a viewpoint of the new parts, and goes on from there by its parts.
    assert [len(t.comments) for t in after.topics] == [2] * len(after.topics)
    assert all(c.remark.view for c in second.changes.issues)
    third, same = engine(reissued(WRONG.moved("rail 4", z=0.5)), after)
    assert told(third) == [("unchanged", SAME_PARTS)] * len(first.issues)
    assert same == after


def test_what_is_mended_while_all_global_ids_change_is_closed_as_gone():
    _, file = engine(WRONG)
    second, after = engine(reissued(wall(4, 3)), file, parts_of(WRONG.model()))
    assert {c.life for c in second.changes.issues} == {"mended"}
    assert {t.status for t in after.topics} == {"Closed"}


@pytest.mark.parametrize("place", [turned(0.0, 300.0, -20.0, 5.0), turned(0.0, 1e5, 2e5, 0.0)])
def test_a_building_moved_as_a_whole_is_the_same_building(place):
    first, file = engine(WRONG)
    second, _ = engine(WRONG.model(place), file)
    assert told(second) == [("unchanged", SAME_PARTS)] * len(first.issues)
    assert [i.key for i in second.issues] == [i.key for i in first.issues]


def test_mending_one_and_breaking_another_changes_no_other_key():
    first, file = engine(WRONG)
    other = end_moved(WRONG, "panel 1.2", True, -9.0)
    other = end_moved(other, "panel 3.1", True, 11.0)
    second, _ = engine(other, file)
    lives = {c.key: c.life for c in second.changes.issues}
    gone = {i.key for i in first.issues if i.elements[0] == first.issues[-1].elements[0]}
    assert {lives[key] for key in gone} == {"mended"}
    assert {lives[i.key] for i in first.issues if i.key not in gone} == {"unchanged"}
    assert [c.rule for c in second.changes.issues if c.life == "new"] == ["panel-end-offset", "seam-width"]


SILENT = {
    "rule off": {"switched_off": frozenset({"seam-width"})},
    "layer off": {"layers": {"seam-foam": "off"}},
}


def test_what_was_not_asked_is_not_closed():
    first, file = engine(WRONG)
    for settings in SILENT.values():
        result, after = engine(wall(4, 3), file, **settings)
        unsure = [c for c in result.changes.issues if c.life == "no longer checkable"]
        assert {c.rule for c in unsure} == ({"seam-width"} if "switched_off" in settings else {"seam-foam"})
        assert {t.guid for t in after.topics if t.status == "Open"} == {c.topic for c in unsure}
    no_foam = wall(4, 3).without(*(name for name in wall(4, 3).parts if name.startswith("foam")))
    result, _ = engine(no_foam, file)
    (unsure,) = [c for c in result.changes.issues if c.life == "no longer checkable"]
    assert unsure.says.endswith("no elastic foam strip between the panel ends in any model of this release")
    assert len(first.issues) > 3


def test_a_part_that_lost_its_body_or_its_role_leaves_its_issue_alone():
    _, file = engine(end_moved(wall(4, 3), "panel 1.2", True, 9.0))
    model = wall(4, 3).model()
    bodiless = remade(
        model, {"panel 1.2": (np.zeros((0, 3)), np.zeros((0, 3), np.int64))}, {"panel 1.2": "has no body"}
    )
    nameless = replace(
        model,
        roles=tuple(
            replace(role, role="") if e.name == "panel 1.2" else role
            for e, role in zip(model.elements, model.roles, strict=True)
        ),
    )
    for other, says in ((bodiless, "it could not be measured"), (nameless, "nothing was measured there")):
        result, after = engine(other, file)
        lives = [c for c in result.changes.issues if c.topic in {t.guid for t in file.topics}]
        assert {(c.life, c.says.rpartition("; ")[2]) for c in lives} == {("no longer checkable", says)}
        assert after.topics[: len(file.topics)] == file.topics


def test_a_part_that_is_gone_closes_its_issue():
    _, file = engine(end_moved(wall(4, 3), "panel 1.2", True, 9.0))
    result, after = engine(wall(4, 3).without("panel 1.2"), file)
    mine = [c for c in result.changes.issues if c.topic in {t.guid for t in file.topics}]
    assert {c.life for c in mine} == {"mended"}
    assert all(c.remark.text.startswith("Gone: panel 1.2") for c in mine)
    assert {t.status for t in after.topics[: len(file.topics)]} == {"Closed"}


def test_a_person_closes_and_the_gate_opens():
    first, file = engine(end_moved(wall(4, 3), "panel 1.2", True, 9.0))
    assert first.count("error")
    closed = replace(
        file, topics=tuple(replace(t, status="Closed", modified_by="anna@example.org") for t in file.topics)
    )
    second, _ = engine(end_moved(wall(4, 3), "panel 1.2", True, 9.0).moved("rail 4", z=0.5), closed)
    assert second.count("error") == 0
    assert {v.state for v in second.verdicts} == {"accepted"}
    assert {i.accepted for i in second.issues} == {"Closed in the BCF file by anna@example.org"}


def test_random_releases_lose_nothing():
    pick = random.Random(3)
    names = ["panel 1.2", "panel 2.1", "panel 3.3"]
    file, keys = None, set()
    for k in range(6):
        sketch = wall(4, 3).moved("rail 4", z=0.01 * k)
        for name in pick.sample(names, pick.randint(0, 3)):
            sketch = end_moved(sketch, name, True, pick.choice([7.0, 9.0, 12.0]))
        result, file = engine(sketch, file)
        assert len({i.key for i in result.issues}) == len(result.issues)
        assert all(t.description for t in file.topics)
        keys |= {i.key for i in result.issues}
    assert len(file.topics) == len(keys)
