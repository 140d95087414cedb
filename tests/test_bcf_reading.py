"""BCF files of anyone are read without losing a topic; what is no BCF file is one sentence."""

import io
import os
import re
import warnings
import zipfile
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest
from bcf_kit import (
    ELEMENTS,
    EXTENSION_SCHEMA,
    PNG,
    SHAPES,
    VERSIONS,
    Said,
    Subject,
    markup,
    packed,
    parts,
    unpacked,
    uuid_of,
    viewpoint,
)
from hypothesis import given
from hypothesis import strategies as st

from checker.bcf import archive as archive_module
from checker.bcf.reading import check_unchanged, container, moment, read_bcf
from checker.bcf.records import Comment, Topic, View
from checker.errors import BadBcf, CannotCheck

GOOD = (
    Subject(
        "a",
        more={
            "Priority": "<Priority>High</Priority>",
            "ModifiedDate": "<ModifiedDate>2024-02-04T00:00:00Z</ModifiedDate>",
            "ModifiedAuthor": "<ModifiedAuthor>bob</ModifiedAuthor>",
            "DueDate": "<DueDate>2024-03-01T12:00:00Z</DueDate>",
            "AssignedTo": "<AssignedTo>cleo</AssignedTo>",
            "Stage": "<Stage>Planning</Stage>",
            "Description": "<Description>One &amp; two\nCheck ID: x</Description>",
        },
        labels=("steel", "axis 4"),
        comments=(Said("one", view="first"), Said("two", "Größe 𝄞 &lt;ok&gt;", "bob")),
        views=("first", "second"),
    ),
    Subject("b", comments=(), views=(), labels=()),
)


def read(data, file="issues.bcf"):
    return container(file, data)


@pytest.mark.parametrize("version", VERSIONS)
def test_a_sound_file_is_read_in_full_and_nothing_is_noted(tmp_path, version):
    path = tmp_path / "issues.bcf"
    path.write_bytes(packed(parts(version, GOOD)))
    found = read_bcf(path)
    assert (found.version, found.notes, found.data) == (version, (), path.read_bytes())
    assert found.topics == (
        Topic(
            guid=uuid_of("a"),
            folder=uuid_of("a"),
            title="Door hits beam",
            type="Error",
            status="Open",
            priority="High",
            labels=("steel", "axis 4"),
            created="2024-02-01T00:00:00Z",
            author="ann@example.org",
            modified="2024-02-04T00:00:00Z",
            modified_by="bob",
            assigned="cleo",
            due="2024-03-01T12:00:00Z",
            stage="Planning",
            description="One & two\nCheck ID: x",
            comments=(
                Comment(uuid_of("aone"), "2024-02-03T04:05:06Z", "ann@example.org", "Please look.", uuid_of("afirst")),
                Comment(uuid_of("atwo"), "2024-02-03T04:05:06Z", "bob", "Größe 𝄞 <ok>"),
            ),
            views=(
                View(uuid_of("afirst"), "viewpoint.bcfv", "snapshot.png", ELEMENTS),
                View(uuid_of("asecond"), "viewpoint1.bcfv", "snapshot1.png", ELEMENTS),
            ),
        ),
        Topic(
            uuid_of("b"),
            uuid_of("b"),
            "Door hits beam",
            "Error",
            "Open",
            created="2024-02-01T00:00:00Z",
            author="ann@example.org",
        ),
    )
    allowed = {"3.0": (("Error", "Request"), ("Open", "Closed"), ()), "2.1": ((), (), ())}[version]
    assert (found.types, found.statuses, found.users) == allowed


def test_lists_of_the_extension_schema_of_2_1():
    made = parts("2.1") | {
        "project.bcfp": b"<ProjectExtension><ExtensionSchema>.\\extensions.xsd</ExtensionSchema></ProjectExtension>",
        "extensions.xsd": EXTENSION_SCHEMA.encode(),
    }
    found = read(packed(made))
    assert (found.types, found.users, found.statuses) == (("Clash",), ("ann@example.org", "bob@example.org"), ())


def test_a_file_without_topics_is_one():
    assert read(packed({"bcf.version": '<Version VersionId="2.1"/>'})).topics == ()


def said_by_people(topics):
    """What a reader must have of each topic, whatever shape its file has."""
    return [
        (t.guid, t.title, t.status, t.labels, t.comments, tuple((v.guid, v.selected) for v in t.views)) for t in topics
    ]


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("folders", [True, False], ids=["folders", "no folder records"])
@pytest.mark.parametrize("shape", SHAPES)
def test_odd_shapes_lose_nothing(version, folders, shape):
    sound = parts(version, GOOD)
    odd = packed(SHAPES[shape](dict(sound)), folders and shape != "backslashes")
    found = read(odd)
    assert said_by_people(found.topics) == said_by_people(read(packed(sound)).topics)
    assert found.version == version
    for note in found.notes:
        assert note.startswith("issues.bcf")
        assert note.endswith(".")
        assert "\n" not in note


def test_what_is_put_up_with_is_noted_once_for_all_topics():
    many = tuple(Subject(f"t{n}") for n in range(30))
    made = {re.sub(r"^.{36}", lambda m: f"folder {m[0][:8]}", n): d for n, d in parts("2.1", many).items()}
    del made["bcf.version"]
    (version, folders) = read(packed(made)).notes
    assert version == "issues.bcf does not say its version, and was read as 2.1."
    assert re.fullmatch(r"issues\.bcf: folders .* GUID of their topic: 30, such as 'folder [0-9a-f]{8}'\.", folders)


def test_elements_of_bcf_2_0():
    # From memory of version 2.0: words of status in the comment, visibility and selection on each component.
    comment = (
        f'<Comment Guid="{uuid_of("c")}"><VerbalStatus>Open</VerbalStatus><Status>Error</Status>'
        f"<Date>2013-05-15T00:00:00+02:00</Date><Author>ann</Author><Comment>Old.</Comment>"
        f'<Topic Guid="{uuid_of("a")}"/><ReplyToComment Guid="{uuid_of("a")}"/></Comment>'
    )
    entry = f'<Viewpoints Guid="{uuid_of("v")}"><Viewpoint>viewpoint.bcfv</Viewpoint></Viewpoints>'
    text = f'<Markup><Header/><Topic Guid="{uuid_of("a")}"><Title>T</Title></Topic>{comment}{entry}</Markup>'
    view = (
        f'<VisualizationInfo><Components><Component IfcGuid="{ELEMENTS[0]}" Selected="true" Visible="true"/>'
        f'<Component IfcGuid="{ELEMENTS[1]}" Selected="false"/></Components></VisualizationInfo>'
    )
    folder = uuid_of("a")
    data = packed(
        {"bcf.version": '<Version VersionId="2.0"/>', f"{folder}/markup.bcf": text, f"{folder}/viewpoint.bcfv": view}
    )
    found = read(data, "old.bcfzip")
    (topic,) = found.topics
    assert topic.comments == (Comment(uuid_of("c"), "2013-05-15T00:00:00+02:00", "ann", "Old."),)
    assert topic.views == (View(uuid_of("v"), "viewpoint.bcfv", "", ELEMENTS[:1]),)
    assert found.notes == ("old.bcfzip says that it is written in BCF '2.0', and was read as 2.1.",)


def test_a_topic_that_cannot_be_read_is_kept_and_reported_and_others_are_read():
    made = parts("2.1", (*GOOD, Subject("c"), Subject("d"), Subject("e"), Subject("f")))
    made[f"{uuid_of('a')}/markup.bcf"] = b"<Markup><Topic></Markup>"
    made[f"{uuid_of('c')}/markup.bcf"] = b"<Markup/>"
    made[f"{uuid_of('d')}/markup.bcf"] = b""
    bomb = b'<!DOCTYPE m [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]><Markup>&b;</Markup>'
    made[f"{uuid_of('e')}/markup.bcf"] = bomb
    made[f"{uuid_of('f')}/markup.bcf"] = b"<?xml version='1.0' encoding='rot13'?><Markup/>"
    found = read(packed(made))
    reasons = {topic.guid: topic.fault for topic in found.topics if topic.fault}
    words = {"a": "no sound XML", "c": "holds no topic", "d": "no sound XML", "e": "document type", "f": "encoding"}
    assert set(reasons) == {uuid_of(each) for each in words}
    for name, word in words.items():
        assert word in reasons[uuid_of(name)]
        assert f"issues.bcf: '{uuid_of(name)}/markup.bcf' " in reasons[uuid_of(name)]
    assert [topic.title for topic in found.topics if not topic.fault] == ["Door hits beam"]
    assert len(found.notes) == 1
    assert "stay as they are: 5, such as" in found.notes[0]


@pytest.mark.parametrize(
    "text",
    [
        "<Markup>" + "<a>" * 300 + "</a>" * 300 + "<Topic/></Markup>",
        "<Markup><Topic/>" + "<a/>" * 2000 + "</Markup>",
    ],
    ids=["deep", "many"],
)
def test_documents_made_to_exhaust_are_not_followed(monkeypatch, text):
    monkeypatch.setattr("checker.bcf.xml.MOST_ELEMENTS", 1000)
    (topic,) = read(packed({"bcf.version": '<Version VersionId="2.1"/>', "a/markup.bcf": text})).topics
    assert "more elements than a sound file has" in topic.fault


def test_an_entity_from_a_file_is_never_fetched(tmp_path):
    (tmp_path / "secret").write_text("secret")
    text = f'<!DOCTYPE m [<!ENTITY s SYSTEM "file://{tmp_path}/secret">]><Markup><Topic><Title>&s;</Title></Topic></Markup>'
    (topic,) = read(packed({"bcf.version": '<Version VersionId="2.1"/>', "a/markup.bcf": text})).topics
    assert "secret" not in topic.title + topic.fault
    assert topic.fault


@pytest.mark.parametrize(
    ("said", "version"),
    [("2.0", "2.1"), ("2.1.0", "2.1"), ("3", "3.0"), ("3.1", "3.0"), ("1.0", "2.1"), ("", "3.0"), ("x.y", "3.0")],
)
def test_versions_that_are_not_the_two(said, version):
    made = parts("3.0", GOOD) | {"bcf.version": f'<Version VersionId="{said}"/>'.encode()}
    found = read(packed(made))
    assert found.version == version
    assert len(found.topics[0].comments) == 2
    assert any(f"was read as {version}" in note for note in found.notes)


def test_a_version_to_come_is_refused():
    with pytest.raises(BadBcf, match=r"issues\.bcf is written in BCF 4\.0; this tool reads 2\.1 and 3\.0\."):
        read(packed({"bcf.version": '<Version VersionId="4.0"/>'}))


def test_without_a_version_the_shape_of_the_topics_tells():
    made = {n: d for n, d in parts("3.0", GOOD).items() if n not in ("bcf.version", "extensions.xml")}
    assert read(packed(made)).version == "3.0"


def test_faults_round_viewpoints_and_names_are_noted():
    a, b = Subject("a"), Subject("b")
    made = parts("2.1", (a, b))
    del made[f"{a.guid}/viewpoint.bcfv"], made[f"{a.guid}/snapshot.png"]
    made[f"{b.guid}/viewpoint.bcfv"] = b"<VisualizationInfo>"
    made["copy/markup.bcf"] = made[f"{a.guid}/markup.bcf"]
    found = read(packed(made))
    assert [topic.views[0].selected for topic in found.topics] == [(), (), ()]
    assert [note.split(": ")[1] for note in found.notes] == [
        "files of viewpoints that are missing",
        "parts other than topics that cannot be read",
        "folders that are not called by the GUID of their topic",
        "GUIDs that several topics share",
    ]


def test_of_two_entries_with_one_name_the_last_counts():
    stream = io.BytesIO(packed(parts("2.1", (Subject("a"),))))
    with zipfile.ZipFile(stream, "a") as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        archive.writestr(f"{uuid_of('a')}/markup.bcf", markup("2.1", Subject("a", "Later")))
    found = read(stream.getvalue())
    assert [topic.title for topic in found.topics] == ["Later"]
    assert "names that several files inside share" in found.notes[0]


def test_suffix_does_not_matter_and_messages_name_the_file(tmp_path):
    (tmp_path / "old.bcfzip").write_bytes(packed(parts("2.1")))
    assert len(read_bcf(tmp_path / "old.bcfzip").topics) == 2


def refusal(path: Path) -> str:
    with pytest.raises(CannotCheck) as caught:
        read_bcf(path)
    said = str(caught.value)
    assert path.name in said
    assert "\n" not in said
    assert said.endswith(".")
    return said


def test_what_is_no_bcf_file_is_one_sentence(tmp_path):
    assert "is a folder" in refusal(tmp_path)
    assert "does not exist" in refusal(tmp_path / "issues.bcf")
    path = tmp_path / "issues.bcf"
    whole = packed(parts("2.1"))
    for data, word in {
        b"": "is empty",
        b"hello": "cannot be unpacked",
        whole[: len(whole) // 2]: "cannot be unpacked",
        packed({}): "is no BCF file",
        packed({"a.txt": b"x"}): "is no BCF file",
        packed({"../bcf.version": b"x"}, folders=False): "outside",
        packed({"/bcf.version": b"x"}, folders=False): "outside",
        packed({"C:\\bcf.version": b"x"}, folders=False): "outside",
    }.items():
        path.write_bytes(data)
        assert word in refusal(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "issues.bcf")
    assert "not a file" in refusal(tmp_path / "issues.bcf")


def test_limits(tmp_path, monkeypatch):
    path = tmp_path / "issues.bcf"
    path.write_bytes(packed(parts("2.1")))
    monkeypatch.setattr("checker.bcf.reading.LARGEST_FILE_BYTES", 100)
    assert "the limit is" in refusal(path)
    monkeypatch.undo()
    monkeypatch.setattr(archive_module, "MOST_ENTRIES", 3)
    assert "the limit is 3" in refusal(path)
    monkeypatch.undo()
    monkeypatch.setattr(archive_module, "LARGEST_TOTAL_BYTES", 1500)
    assert "of text" in refusal(path)


@pytest.mark.parametrize(("limit", "value"), [("LARGEST_PART_BYTES", 4_000_000), ("LARGEST_RATIO", 4)])
def test_a_part_that_grows_too_much_is_not_unpacked(monkeypatch, limit, value):
    monkeypatch.setattr(archive_module, limit, value)
    big = markup("2.1", Subject("a")).replace("<Title>", "<Title>" + " " * 5_000_000)
    made = parts("2.1", (Subject("a"), Subject("b"))) | {f"{uuid_of('a')}/markup.bcf": big.encode()}
    found = read(packed(made))
    assert "would unpack to more than 4 MiB" in found.topics[0].fault
    assert not found.topics[1].fault


def test_locked_and_damaged_parts_are_faults_of_their_topic():
    data = packed(parts("2.1", (Subject("a"), Subject("b"))), method=zipfile.ZIP_STORED)
    damaged = data.replace(b"Door hits", b"Door bits", 1)
    assert ["cannot be unpacked" in topic.fault for topic in read(damaged).topics] == [True, False]
    directory = data.index(b"PK\1\2")
    at = data.index(f"{uuid_of('b')}/markup.bcf".encode(), directory) - 46
    locked = data[: at + 8] + b"\1" + data[at + 9 :]
    assert ["protected by a password" in topic.fault for topic in read(locked).topics] == [False, True]


def test_entries_that_share_their_bytes_are_refused():
    # The trick that makes a small file unpack to a huge one.
    data = packed({"bcf.version": b"x" * 100, "a/markup.bcf": b"y" * 100}, folders=False)
    second = data.rindex(b"PK\1\2")
    shared = data[: second + 42] + b"\0\0\0\0" + data[second + 46 :]
    with pytest.raises(BadBcf, match="share one place"):
        read(shared)


@given(st.data())
def test_random_damage_is_one_sentence_or_is_read(data):
    whole = bytearray(packed(parts("3.0", (Subject("a"),))))
    for _ in range(data.draw(st.integers(1, 6))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    with suppress(BadBcf):
        read(bytes(whole))


def test_somebody_who_saves_meanwhile_is_noticed(tmp_path):
    path = tmp_path / "issues.bcf"
    path.write_bytes(packed(parts("2.1")))
    found = read_bcf(path)
    check_unchanged(found)
    path.write_bytes(packed(parts("2.1", GOOD)))
    with pytest.raises(BadBcf, match="changed by somebody else meanwhile"):
        check_unchanged(found)
    path.unlink()
    with pytest.raises(BadBcf, match="changed by somebody else meanwhile"):
        check_unchanged(found)


@pytest.mark.parametrize(
    ("text", "hour"),
    [
        ("2024-02-03T04:05:06Z", 4),
        ("2024-02-03T04:05:06", 4),
        ("2024-02-03t04:05:06z", 4),
        (" 2024-02-03T06:05:06+02:00\n", 4),
        ("2024-02-03T06:05:06+0200", 4),
        ("2024-02-03T04:05:06.1234567Z", 4),
        ("2024-02-03T04:05:06,5Z", 4),
        ("2024-02-03 04:05:06", 4),
    ],
)
def test_dates_in_any_form(text, hour):
    assert moment(text).replace(microsecond=0) == datetime(2024, 2, 3, hour, 5, 6, tzinfo=UTC)


@pytest.mark.parametrize("text", ["", "soon", "2024-13-01T00:00:00Z", "0001-01-01T00:00:00+05:00", "9" * 5000])
def test_dates_that_are_none(text):
    assert moment(text) is None


def test_a_second_reader_sees_the_same(tmp_path):
    # bcf-client, which is used for tests only; it holds sound files of the kit for sound, too.
    bcf = pytest.importorskip("bcf.bcfxml")
    for version in VERSIONS:
        path = tmp_path / f"{version}.bcf"
        path.write_bytes(packed(parts(version, GOOD)))
        with bcf.load(path) as other:
            for topic in read_bcf(path).topics:
                theirs = other.topics[topic.guid]
                assert theirs.topic.title == topic.title
                assert [each.guid for each in theirs.comments] == [each.guid for each in topic.comments]
                assert set(theirs.viewpoints) == {view.file for view in topic.views}


def test_the_kit_packs_what_it_says():
    made = parts("2.1")
    assert unpacked(packed(made)) == made
    assert made[f"{uuid_of('a')}/snapshot.png"] == PNG
    assert viewpoint("2.1", "g").count("Component ") == 2
