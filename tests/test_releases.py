"""The life of issues: every row of the table of states, and the laws above it, on records made by hand."""

import random
from dataclasses import replace

import pytest
from life_kit import EMPTY, FACADE, PARTS, SAVED, fault, first, lived, lives, now, only, said, touched

from checker.bcf.reading import moment
from checker.bcf.records import Comment
from checker.identity import SAME_PARTS, key_of, topic_of
from checker.memory import Told, previous_of, read_record
from checker.output.update import comment_date
from checker.releases import changes_of, named
from checker.settings import Statuses

WORSE = fault(52.0)
ACCEPTED = "Accepted until 2999-01-01 by lead: wider foam ordered"
PERSON = "anna@example.org"


def newest(file):
    """The newest comment of the only topic, its first line, and the status."""
    (topic,) = file.topics
    return topic.comments[-1].text, topic.comments[-1].text.splitlines()[0], topic.status


# ---- fails ----------------------------------------------------------------------------------------------------------


def test_fails_none_a_new_topic_is_open_and_its_first_comment_has_a_viewpoint():
    changes, file = lived([fault()], EMPTY, now("a"))
    change = only(changes)
    assert (change.life, change.remark.status, change.remark.view) == ("new", "Open", True)
    assert change.topic == topic_of(f"seam-width|panel|{PARTS[0]}")
    assert newest(file)[1] == "Seam is 46.0 mm wide"


def test_fails_open_and_nothing_changed_says_nothing():
    changes, file = lived([fault()], first(), now("b"))
    assert (only(changes).life, only(changes).remark) == ("unchanged", None)
    assert file == first()


@pytest.mark.parametrize(
    ("then", "life", "line"),
    [
        (fault(52.0), "worse", "Now 52.0 mm, was 46.0 mm: Seam is 52.0 mm wide"),
        (fault(40.0), "better", "Now 40.0 mm, was 46.0 mm: Seam is 40.0 mm wide"),
        (fault(10.0), "worse", "Now 10.0 mm, was 46.0 mm: Seam is 10.0 mm wide"),  # 15 below instead of 11 above
        (fault(14.0), "unchanged", "Now 14.0 mm, was 46.0 mm: Seam is 14.0 mm wide"),  # 11 below instead of above
        (fault(severity="warning"), "better", "Now a warning, was an error: Seam is 46.0 mm wide"),
        (
            fault(points=((1.0, 2.0, 3.0), (1.0, 2.0, 4.0), (1.0, 2.0, 5.0))),
            "worse",
            "Now at 3 places, was at 1: Seam is 46.0 mm wide",
        ),
        (fault(parts=(0, 1, 2)), "unchanged", "Unchanged, on other parts: Seam is 46.0 mm wide"),
        (
            fault(points=((1.0, 2.0, 3.6),)),
            "unchanged",
            "Unchanged, 0.6 m from its earlier place: Seam is 46.0 mm wide",
        ),
        (fault(None), "unchanged", "Another kind of fault now: Seam is None mm wide"),
    ],
)
def test_fails_open_and_changed_says_so_once(then, life, line):
    changes, file = lived([then], first(), now("b"))
    assert (only(changes).life, only(changes).rung) == (life, "same parts")
    assert newest(file)[1:] == (line, "Open")
    assert only(changes).remark.status == ""
    again, same = lived([then], file, now("c"))
    assert (only(again).life, same) == ("unchanged", file)


@pytest.mark.parametrize(("value", "says"), [(46.099, False), (46.11, True), (45.901, False), (45.89, True)])
def test_a_tenth_of_a_millimetre_is_no_change(value, says):
    assert (only(lived([fault(value)], first(), now("b"))[0]).remark is not None) == says


def test_creeping_is_told_as_soon_as_it_adds_up():
    file, told = first(), []
    for k in range(1, 7):
        changes, file = lived([fault(46.0 + 0.04 * k)], file, now("bcdef0"[k - 1]))
        told.append(only(changes).remark is not None)
    assert told == [False, False, True, False, False, True]


def test_a_moved_defect_and_other_parts_get_a_new_viewpoint_but_a_worse_value_does_not():
    for then, view in ((fault(52.0), False), (fault(52.0, (0, 1, 2)), True), (fault(points=((9.0, 2.0, 3.0),)), True)):
        assert only(lived([then], first(), now("b"))[0]).remark.view is view


def test_fails_closed_by_the_tool_is_opened_again():
    closed = lived([], first(), now("b"))[1]
    assert newest(closed)[2] == "Closed"
    changes, file = lived([fault(47.0)], closed, now("c"))
    assert (only(changes).life, only(changes).was_mm, only(changes).now_mm) == ("back", 46.0, 47.0)
    assert newest(file)[1:] == ("Back: Seam is 47.0 mm wide", "ReOpened")
    assert only(changes).remark.view is False
    assert only(lived([fault(parts=(0, 1, 2))], closed, now("c"))[0]).remark.view is True


def test_fails_closed_by_a_person_stays_closed_and_counts_as_accepted():
    closed = touched(first(), status="Closed")
    changes, file = lived([fault()], closed, now("b"))
    assert (only(changes).life, only(changes).remark, file) == ("accepted", None, closed)
    assert only(changes).says == f"Seam is 46.0 mm wide; closed in the BCF file by {PERSON}"
    for better in (fault(40.0), fault(parts=(0, 1, 2)), fault(severity="note")):
        assert only(lived([better], closed, now("b"))[0]).remark is None
    changes, file = lived([WORSE], closed, now("b"))
    assert (only(changes).life, only(changes).remark.status) == ("accepted", "")
    assert newest(file)[1:] == ("Now 52.0 mm, was 46.0 mm: Seam is 52.0 mm wide", "Closed")
    # The comment is the tool's, the closing is still the person's.
    changes, after = lived([WORSE], file, now("c"))
    assert (only(changes).life, after) == ("accepted", file)
    assert only(changes).says.endswith("closed in the BCF file by a person")


def test_a_person_who_touched_what_the_tool_closed_has_closed_it():
    closed = said(lived([], first(), now("b"))[1], "Seen, thank you.")
    changes, file = lived([fault()], closed, now("c"))
    assert only(changes).life == "accepted"
    assert newest(file)[1:] == ("Back: Seam is 46.0 mm wide", "Closed")


@pytest.mark.parametrize("word", ["closed", "CLOSED", "Closed"])
def test_closed_is_read_in_any_case(word):
    assert only(lived([fault()], touched(first(), status=word), now("b"))[0]).life == "accepted"


@pytest.mark.parametrize("word", ["", "In Progress", "Resolved", "Erledigt", "ReOpened"])
def test_an_unknown_status_is_open(word):
    changes, file = lived([WORSE], touched(first(), status=word), now("b"))
    assert (only(changes).life, newest(file)[2]) == ("worse", word)


# ---- passes, or is gone ---------------------------------------------------------------------------------------------


def test_passes_open_is_closed_with_a_comment():
    changes, file = lived([], first(), now("b"))
    assert (only(changes).life, only(changes).was_mm) == ("mended", 46.0)
    assert newest(file)[1:] == ("Mended: passes now, was 46.0 mm.", "Closed")


def test_an_element_that_is_gone_closes_and_is_named():
    gone = {guid: told for guid, told in now().part.items() if guid != PARTS[1]}
    changes, file = lived([], first(), now("b", part=gone, seen=lambda *_: "nothing"))
    assert only(changes).life == "mended"
    assert newest(file)[1:] == (f"Gone: K1 ({PARTS[1]}) is in no model any more.", "Closed")


def test_passes_closed_says_nothing():
    mended = lived([], first(), now("b"))[1]
    for file in (mended, touched(first(), status="Closed"), touched(mended, status="Closed")):
        changes, after = lived([], file, now("c"))
        assert (changes.issues, after) == ((), file)


def test_what_a_person_opened_again_is_not_closed_for_the_same_reason_twice():
    opened = touched(lived([], first(), now("b"))[1], status="Open")
    changes, after = lived([], opened, now("c"))
    assert (changes.issues, after) == ((), opened)
    changes, after = lived([fault()], opened, now("c"))
    assert (only(changes).life, newest(after)[1:]) == ("back", ("Back: Seam is 46.0 mm wide", "Open"))


# ---- not evaluated --------------------------------------------------------------------------------------------------


SILENCE = {
    "the rule is switched off": {"silent": {"seam-width": "the rule seam-width is switched off"}},
    "the rule is unknown": {"asked": frozenset({"plinth-level"})},
    "the layer is in no model": {"silent": {"seam-width": "no foam in any model of this release"}},
    "the model is missing": {"models": frozenset({"steel"}), "part": {}, "seen": lambda *_: "nothing"},
    "it could not be measured": {"seen": lambda *_: "undecided"},
    "nothing was measured there": {"seen": lambda *_: "nothing"},
}


@pytest.mark.parametrize("reason", SILENCE)
@pytest.mark.parametrize("status", ["Open", "Closed", "Waiting"])
def test_not_evaluated_says_nothing_whatever_the_status(reason, status):
    file = first() if status == "Open" else touched(first(), status=status)
    changes, after = lived([], file, now("b", **SILENCE[reason]))
    assert after == file
    assert lives(changes) == ([] if status == "Closed" else ["no longer checkable"])
    # As soon as it can be checked again it goes on as if nothing had been.
    assert only(lived([fault()], after, now("c"))[0]).life == ("accepted" if status == "Closed" else "unchanged")


def test_a_missing_model_is_told_even_where_its_parts_fail_no_rule():
    changes, _ = lived([], first(), now("b", **SILENCE["the model is missing"]))
    assert changes.notes == (f"Models of the previous release that are not in this one: {FACADE}.",)
    assert only(changes).says.endswith(f"not in this release: {FACADE}")


def test_a_model_under_another_file_name_is_not_missing():
    renamed = now(
        "b", models=frozenset({"facade-rev-b"}), part={g: (m, "facade-rev-b") for g, (m, _) in now().part.items()}
    )
    assert only(lived([], first(), renamed)[0]).life == "mended"


# ---- accepted in the settings ---------------------------------------------------------------------------------------


def test_accepted_closes_with_the_reason_and_opens_again_when_it_does_not_hold():
    changes, file = lived([fault(accepted=ACCEPTED)], first(), now("b"))
    assert only(changes).life == "accepted"
    text, line, status = newest(file)
    assert (line, status) == ("Accepted: Seam is 46.0 mm wide", "Closed")
    assert ACCEPTED in text
    assert lived([fault(accepted=ACCEPTED)], file, now("c"))[1] == file
    key = key_of(f"seam-width|panel|{PARTS[0]}")
    changes, back = lived([WORSE], file, now("c"), lapsed={key: "Acceptance holds up to 48 mm."})
    text, line, status = newest(back)
    assert (only(changes).life, status) == ("worse", "ReOpened")
    assert line == "Now 52.0 mm, was 46.0 mm: Seam is 52.0 mm wide"
    assert "Acceptance holds up to 48 mm." in text
    changes, back = lived([fault()], file, now("c"))
    assert (only(changes).life, newest(back)[1:]) == ("back", ("Back: Seam is 46.0 mm wide", "ReOpened"))
    assert "no longer accepted" in newest(back)[0]
    assert only(lived([fault(accepted=ACCEPTED)], back, now("d"))[0]).remark.status == "Closed"


def test_an_accepted_issue_that_gets_worse_within_its_limit_is_told_and_stays_closed():
    file = lived([fault(accepted=ACCEPTED)], first(), now("b"))[1]
    changes, after = lived([fault(47.0, accepted=ACCEPTED)], file, now("c"))
    assert (only(changes).life, newest(after)[2]) == ("accepted", "Closed")
    assert newest(after)[1] == "Now 47.0 mm, was 46.0 mm: Seam is 47.0 mm wide"
    assert lived([fault(40.0, accepted=ACCEPTED)], file, now("c"))[1] == file
    # It is still the tool that closed it.
    assert newest(lived([fault(60.0)], after, now("d"))[1])[2] == "ReOpened"


def test_new_and_accepted_at_once():
    changes, file = lived([fault(accepted=ACCEPTED)], EMPTY, now("a"))
    assert (only(changes).life, newest(file)[2]) == ("accepted", "Closed")
    assert ACCEPTED in newest(file)[0]
    assert newest(lived([fault()], file, now("b"))[1])[2] == "ReOpened"


def test_a_person_who_opens_an_accepted_issue_wins():
    file = touched(lived([fault(accepted=ACCEPTED)], first(), now("b"))[1], status="Open")
    changes, after = lived([fault(accepted=ACCEPTED)], file, now("c"))
    assert (only(changes).life, after) == ("accepted", file)
    assert newest(lived([fault(47.0, accepted=ACCEPTED)], file, now("c"))[1])[2] == "Open"
    assert newest(lived([fault(47.0, accepted=ACCEPTED)], file, now("c"))[1])[1].startswith("Now 47.0 mm, was 46.0 mm")


def test_an_accepted_issue_that_is_mended_stays_closed_in_silence():
    file = lived([fault(accepted=ACCEPTED)], first(), now("b"))[1]
    assert lived([], file, now("c"))[1] == file


# ---- words of the file ----------------------------------------------------------------------------------------------


GERMAN = Statuses(open=("Offen",), closed=("Erledigt", "Closed"), reopened=("Wieder offen",))


def test_words_come_from_the_list_of_the_file_in_its_own_spelling():
    empty = replace(EMPTY, statuses=("offen", "ERLEDIGT", "In Arbeit"))
    file = lived([fault()], empty, now("a"), GERMAN)[1]
    assert newest(file)[2] == "offen"
    file = lived([], file, now("b"), GERMAN)[1]
    assert newest(file)[2] == "ERLEDIGT"
    changes, file = lived([fault()], file, now("c"), GERMAN)
    assert newest(file)[2] == "offen"  # the list has no word for opened again
    assert changes.notes == ()


def test_a_list_without_a_word_that_fits_leaves_the_status_comments_and_reports():
    file = replace(touched(first(), status="Offen"), statuses=("Offen", "Fertig"))
    changes, after = lived([], file, now("b"))
    assert (only(changes).life, newest(after)[1:]) == ("mended", ("Mended: passes now, was 46.0 mm.", "Offen"))
    (note,) = changes.notes
    assert "allows no status such as Closed, so 1 topic could not be marked 'closed'" in note
    assert "Allowed are: Offen, Fertig." in note
    changes, same = lived([], after, now("b"))
    assert (only(changes).life, changes.notes, same) == ("mended", (note,), after)
    assert lived([], after, now("c"))[1] == after


def test_what_had_no_word_is_marked_when_there_is_one():
    done = Statuses(open=("Offen",), closed=("Fertig",), reopened=("Zurück",))
    start = replace(touched(first(), status="Offen"), statuses=("Offen", "Fertig"))
    mended = lived([], start, now("b"))[1]
    changes, file = lived([], mended, now("c"), done)
    assert (only(changes).life, newest(file)[1:]) == ("mended", ("Closed: was mended before.", "Fertig"))
    assert newest(lived([fault()], file, now("d"), done)[1])[1:] == ("Back: Seam is 46.0 mm wide", "Offen")
    accepted = lived([fault(accepted=ACCEPTED)], start, now("b"))[1]
    assert newest(accepted)[2] == "Offen"
    assert lived([fault(accepted=ACCEPTED)], accepted, now("c"))[1] == accepted
    assert newest(lived([fault(accepted=ACCEPTED)], accepted, now("c"), done)[1])[2] == "Fertig"


def test_what_cannot_be_marked_open_again_is_not_taken_for_accepted():
    done = Statuses(open=("Offen",), closed=("Fertig",), reopened=("Zurück",))
    start = replace(touched(first(), status="Offen"), statuses=("Offen", "Fertig"))
    closed = replace(lived([], start, now("b"), done)[1], statuses=("Fertig",))
    changes, back = lived([fault()], closed, now("c"), done)
    assert (only(changes).life, newest(back)[1:]) == ("back", ("Back: Seam is 46.0 mm wide", "Fertig"))
    changes, same = lived([fault()], back, now("d"), done)
    assert (only(changes).life, same) == ("unchanged", back)
    assert "could not be marked 'reopened'" in changes.notes[0]
    assert newest(lived([WORSE], back, now("d"), done)[1])[1].startswith("Now 52.0 mm, was 46.0 mm: ")
    assert newest(lived([fault()], replace(back, statuses=()), now("d"), done)[1])[2] == "Zurück"


def test_a_new_topic_gets_a_word_of_the_list_in_any_case():
    changes, file = lived([fault()], replace(EMPTY, statuses=("Closed", "Draft", "Final")), now("a"))
    assert newest(file)[2] == "Draft"
    assert "could not be marked 'open'" in changes.notes[0]


def test_without_a_list_any_word_is_written():
    assert newest(lived([], first(), now("b"), GERMAN)[1])[2] == "Erledigt"


# ---- laws -----------------------------------------------------------------------------------------------------------


def story(length=7, seed=0):
    """Random releases of three issues, with people in between."""
    pick = random.Random(seed)
    for k in range(length):
        faults = [
            fault(pick.choice([40.0, 46.0, 46.05, 52.0]), (p, p + 1), points=((float(p), 0.0, 0.0),))
            for p in (0, 3, 6)
            if pick.random() < 0.7
        ]
        release = now("0123456789abcdef"[k])
        if pick.random() < 0.3:
            release = replace(release, **pick.choice([each for each in SILENCE.values() if "part" not in each]))
        yield faults, release, pick.random()


def by_people(file, luck):
    """What a person may do between two releases."""
    if not file.topics or luck < 0.4:
        return file
    topic = file.topics[int(luck * 1000) % len(file.topics)]
    status = "Closed" if luck > 0.8 else "Open" if luck > 0.6 else topic.status
    comment = Comment(topic_of(f"{luck}"), SAVED, PERSON, f"Thought {luck}")
    changed = replace(topic, status=status, modified_by=PERSON, comments=(*topic.comments, comment))
    return replace(file, topics=tuple(changed if t is topic else t for t in file.topics))


@pytest.mark.parametrize("seed", range(40))
def test_the_same_run_twice_adds_nothing_and_nothing_of_people_is_lost(seed):
    file, wrote = EMPTY, {}
    for faults, release, luck in story(seed=seed):
        before = file
        changes, file = lived(faults, file, release)
        once_more, same = lived(faults, file, release)
        assert same == file
        assert [(c.key, c.life, c.was_mm) for c in once_more.issues] == [
            (c.key, c.life, c.was_mm) for c in changes.issues if c.remark or c.life != "mended"
        ]
        for topic in before.topics:
            after = next(t for t in file.topics if t.guid == topic.guid)
            assert after.comments[: len(topic.comments)] == topic.comments
            assert len(after.comments) - len(topic.comments) <= 1
            assert (after.title, after.description, after.created) == (topic.title, topic.description, topic.created)
            if topic.modified_by == PERSON and topic.status == "Closed":
                assert after.status == "Closed"
        guids = [comment.guid for topic in file.topics for comment in topic.comments]
        assert len(guids) == len(set(guids))
        file = by_people(file, luck)
        for topic in file.topics:
            mine = [c for c in topic.comments if c.author == PERSON]
            assert mine[: len(wrote.get(topic.guid, []))] == wrote.get(topic.guid, [])
            wrote[topic.guid] = mine


@pytest.mark.parametrize("seed", range(10))
def test_the_order_of_issues_topics_and_comments_means_nothing(seed):
    pick = random.Random(seed)
    file = EMPTY
    for faults, release, luck in story(seed=seed):
        shuffled = replace(
            file,
            topics=tuple(
                replace(t, comments=tuple(pick.sample(t.comments, len(t.comments))))
                for t in pick.sample(file.topics, len(file.topics))
            ),
        )
        plain, after = lived(faults, file, release)
        mixed, _ = lived(pick.sample(faults, len(faults)), shuffled, release)
        assert sorted((c.key, c.life, c.rung, c.was_mm) for c in plain.issues) == sorted(
            (c.key, c.life, c.rung, c.was_mm) for c in mixed.issues
        )
        assert {c.remark.guid for c in plain.issues if c.remark} == {c.remark.guid for c in mixed.issues if c.remark}
        file = by_people(after, luck)


def broken(text):
    return text.replace("\n", " \r\n ").replace(", ", ",\n ")


@pytest.mark.parametrize("seed", range(10))
def test_viewers_may_change_dates_capitals_and_line_breaks(seed):
    """As they come back from other programs: GUIDs in capitals, all comments dated anew, lines broken otherwise."""
    file = other = EMPTY
    for faults, release, _ in story(seed=seed):
        plain, file = lived(faults, file, release)
        odd, other = lived(faults, other, release)
        assert [(c.key, c.life) for c in plain.issues] == [(c.key, c.life) for c in odd.issues]
        other = replace(
            other,
            topics=tuple(
                replace(
                    t,
                    guid=t.guid.upper(),
                    created="2031-01-01T00:00:00+09:30",
                    comments=tuple(
                        replace(
                            c,
                            guid=c.guid.upper(),
                            date="2030-01-01T00:00:00.0000000+02:00",
                            text=c.text.replace("\n", " \r\n "),
                        )
                        for c in t.comments
                    ),
                )
                for t in other.topics
            ),
        )


def test_comments_of_one_topic_are_dated_one_after_the_other_whatever_the_clocks_say():
    (topic,) = said(first(), "From the future").topics
    ahead = replace(topic, comments=tuple(replace(c, date="2031-05-06T07:08:09.25+02:00") for c in topic.comments))
    assert comment_date(SAVED, ahead) == "2031-05-06T05:08:10Z"
    assert comment_date("2040-01-01T00:00:00Z", ahead) == "2040-01-01T00:00:00Z"
    assert comment_date(SAVED, replace(topic, created="yesterday", modified="", comments=())) == SAVED
    dates = [moment(comment_date(SAVED, replace(topic, modified=f"9999-12-31T23:59:{s}Z"))) for s in (57, 59)]
    assert all(dates)


# ---- whose topic it is ----------------------------------------------------------------------------------------------


def test_only_a_check_id_that_gives_the_guid_makes_a_topic_ours():
    (topic,) = first().topics
    foreign = (
        replace(topic, guid=topic_of("other"), comments=()),
        replace(topic, description="Check ID: something else", comments=()),
        replace(topic, description="", comments=()),
        replace(topic, description=topic.description.replace("panel", "Panel"), comments=()),
    )
    for each in foreign:
        file = replace(EMPTY, topics=(each,))
        assert previous_of(file, Statuses(), {}).known == ()
        changes, after = lived([fault()], file, now("b"))
        assert only(changes).life == "new"
        assert after.topics[0] == each
        assert len({t.guid for t in after.topics}) == 2
    ours = (topic, replace(topic, author="somebody else", title="Renamed"), replace(topic, guid=topic.guid.upper()))
    more = replace(topic, description=f"{topic.description}\r\nSee also the drawing.")
    for each in (*ours, more):
        assert previous_of(replace(EMPTY, topics=(each,)), Statuses(), {}).known[0].check_id


def test_a_topic_whose_description_was_rewritten_stays_ours():
    file = touched(first(), description="Please ask the panel fitter.")
    changes, after = lived([WORSE], file, now("b"))
    assert (only(changes).life, len(after.topics)) == ("worse", 1)
    assert newest(lived([], after, now("c"))[1])[2] == "Closed"
    # Whoever quotes a comment of ours has not made a topic of ours.
    (topic,) = first().topics
    quoting = replace(
        topic,
        guid=topic_of("other"),
        description="",
        comments=(Comment(topic_of("quote"), SAVED, PERSON, topic.comments[0].text),),
    )
    assert previous_of(replace(EMPTY, topics=(quoting,)), Statuses(), {}).known == ()


def test_a_topic_that_cannot_be_read_keeps_its_issue():
    """Its folder's name still says whose it is; under another name the issue would be seen twice once it is mended."""
    (topic,) = first().topics
    broken = replace(topic, description="", comments=(), fault="cut off")
    changes, _ = lived([fault()], replace(EMPTY, topics=(broken,)), now("b"))
    assert only(changes).topic == topic.guid


def test_of_two_topics_with_one_check_id_the_one_with_more_of_people_is_used():
    (topic,) = first().topics
    copied = replace(topic, guid=topic_of("copy"))
    spoken = replace(copied, comments=(*topic.comments, Comment(topic_of("c"), SAVED, PERSON, "Please look.")))
    for both, used in (
        ((topic, copied), topic),
        ((copied, topic), topic),
        ((topic, spoken), spoken),
        ((spoken,), spoken),
    ):
        changes, after = lived([WORSE], replace(EMPTY, topics=both), now("b"))
        assert (only(changes).life, only(changes).topic) == ("worse", used.guid)
        assert [t for t in after.topics if t.guid != used.guid] == [t for t in both if t.guid != used.guid]
        assert len(changes.notes) == len(both) - 1
        assert all("more than one topic" in note for note in changes.notes)


def test_a_quoted_record_does_not_count():
    (topic,) = first().topics
    lie = topic.comments[0].text.replace("Record 1: new", "Record 9: mended")
    file = said(first(), lie)
    assert only(lived([fault()], file, now("b"))[0]).life == "unchanged"


def test_a_topic_without_comments_goes_on_in_silence_until_it_passes():
    file = touched(first(), comments=())
    changes, after = lived([WORSE], file, now("b"))
    assert (only(changes).life, only(changes).rung, after) == ("unchanged", "same parts", file)
    text, line, status = newest(lived([], file, now("b"))[1])
    assert (line, status) == ("Mended: passes now.", "Closed")
    assert "no value, 1 place, no place, set Closed" in text
    again, back = lived([WORSE], lived([], file, now("b"))[1], now("c"))
    assert (only(again).life, newest(back)[2]) == ("back", "ReOpened")
    gone = {guid: told for guid, told in now().part.items() if guid != PARTS[0]}
    changes, after = lived([], file, now("b", part=gone, seen=lambda *_: "nothing"))
    assert (only(changes).life, after) == ("no longer checkable", file)
    assert only(changes).says.endswith("nothing tells in which model its parts were")


def test_models_that_are_rolled_back_are_told_against_what_was_last_told():
    """The same bytes again, but not right after each other: what lies beside the file tells which release was last."""
    file = lived([WORSE], first(), now("b"))[1]
    (topic,) = file.topics
    worse, same = ({topic.guid: Told(life, 46.0, SAME_PARTS)} for life in ("worse", "unchanged"))
    for last, told, life in (
        ("", {}, "worse"),
        ("b" * 12, worse, "worse"),
        ("b" * 12, same, "unchanged"),  # once before, another release, and this one twice
        ("a" * 12, worse, "unchanged"),
    ):
        previous = replace(previous_of(file, Statuses(), {}), release=last, told=told)
        names = named([WORSE], previous, now("b"))
        assert only(changes_of([WORSE], names, previous, now("b"), Statuses(), {})).life == life


def test_a_missing_topic_means_nothing_and_comes_back_under_its_guid():
    changes, file = lived([fault()], replace(first(), topics=()), now("b"))
    assert only(changes).life == "new"
    assert file.topics[0].guid == first().topics[0].guid


def test_a_renamed_rule_goes_on_under_its_new_name():
    old = first(fault(rule="seam-gap", what="panel"), release=now("a", asked=frozenset({"seam-gap"})))
    changes, _ = lived([WORSE], old, now("b"), renamed={"seam-gap": "seam-width"})
    assert (only(changes).life, only(changes).key) == ("worse", key_of(f"seam-gap|panel|{PARTS[0]}"))
    assert newest(lived([], old, now("b"), renamed={"seam-gap": "seam-width"})[1])[2] == "Closed"
    assert (
        only(lived([WORSE], old, now("b"))[0].__class__("", lived([WORSE], old, now("b"))[0].issues[:1])).life == "new"
    )


# ---- records --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["plain", "a, b; c: (d)", "Record 7: mended", "x" * 100, "", "ü\u202e\n", "0" * 22, "in facade: x"]
)
def test_a_record_is_read_as_it_was_written_whatever_parts_and_models_are_called(name):
    release = now("a", part=dict.fromkeys(PARTS, (name, name)), models=frozenset({name}))
    (topic,) = first(fault(parts=range(9)), release=release).topics
    record = read_record(topic.comments[0].text)
    assert (record.number, record.event, record.value_mm, record.release) == (1, "new", 46.0, "a" * 12)
    assert set(record.parts) == set(PARTS)
    assert record.text() == topic.comments[0].text.splitlines()[-1]


def test_of_many_parts_a_record_names_thirty():
    many = {f"0Many{k:017d}": (f"M{k}", FACADE) for k in range(100)}
    wide = fault(parts=(), check_id=f"seam-width|panel|{max(many)}")
    wide = replace(wide, parts=tuple(many))
    file = first(wide, release=now("a", part=many))
    record = read_record(file.topics[0].comments[0].text)
    assert (len(record.parts), record.more) == (30, 70)
    assert max(many) in record.parts
    shuffled = replace(wide, parts=tuple(random.Random(1).sample(sorted(many), 100)))
    assert lived([shuffled], file, now("b", part=many))[1] == file


def test_texts_that_only_look_like_records_are_none():
    text = first().topics[0].comments[0].text
    for broken in ("", "Record 1:", text.replace("46.00", "nan"), text.replace("release a", "release x"), text[:-60]):
        assert read_record(broken) is None or read_record(broken).parts != read_record(text).parts


def test_every_life_is_told_in_its_order():
    told = lived([fault(52.0), fault(parts=(3, 4))], first(fault(), fault(parts=(6, 7))), now("b"))[0]
    assert [change.life for change in told.issues] == ["new", "worse", "mended"]


def test_a_model_with_another_name_and_other_globalids_is_not_missing():
    """Nothing lies beside the file; that an issue of it is found at its place, in a model that is new, shows it."""
    plinth = fault(-14.0, parts=(4, 5), rule="plinth-level", what="plinth", points=((9.0, 2.0, 3.0),))
    file = lived([fault(), plinth], EMPTY, now("a"))[1]
    others = {f"1Other{k:016d}": (f"K{k}", "facade_rev_B") for k in range(9)}
    release = now("b", part=others, models=frozenset({"facade_rev_B"}), seen=lambda *_: "nothing")
    again = replace(fault(), parts=tuple(others)[:2], check_id="seam-width|panel|1Other0000000000000000")
    changes, _ = lived([again], file, release)
    assert sorted(change.life for change in changes.issues) == ["mended", "unchanged"]
    assert changes.notes == ()
    # A model of a name that was there before shows nothing of another one, nor does an issue elsewhere.
    named_so = {guid: (mark, "structure") for guid, (mark, _) in others.items()}
    structure = fault(30.0, parts=(7,), rule="plinth-level", points=((50.0, 2.0, 3.0),))
    of_old = now("a", part=now().part | {PARTS[7]: ("S1", "structure")})
    file = lived([fault(), plinth, structure], EMPTY, of_old)[1]
    release = replace(release, part=named_so, models=frozenset({"structure"}))
    changes, _ = lived([again], file, release)
    assert [change.life for change in changes.issues].count("no longer checkable") == 1
    assert "Models of the previous release that are not in this one: facade." in changes.notes
    moved = replace(again, points=((20.0, 2.0, 3.0),))
    changes, _ = lived([moved], lived([fault(), plinth], EMPTY, now("a"))[1], replace(release, part=others))
    assert [change.life for change in changes.issues].count("no longer checkable") == 2
