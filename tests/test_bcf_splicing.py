"""What is added to a BCF file is there, at its place, and every byte of others is where it was."""

import importlib.metadata
import io
import re
import struct
import subprocess
import sys
import time
import warnings
import zipfile
from dataclasses import replace
from difflib import SequenceMatcher
from pathlib import Path

import pytest
from bcf_kit import (
    EXTENSION_SCHEMA,
    PNG,
    SHAPES,
    VERSIONS,
    Said,
    Subject,
    check_foreign_bytes,
    markup,
    packed,
    parts,
    records,
    unpacked,
    uuid_of,
    viewpoint,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from checker.bcf import splicing
from checker.bcf.archive import joined, new
from checker.bcf.reading import check_unchanged, container, read_bcf
from checker.bcf.records import Comment, Edit, NewTopic, NewView
from checker.bcf.splicing import update
from checker.errors import BadBcf
from checker.output.safely import replace_many

SCHEMAS_3 = Path(__file__).parents[2] / "shared" / "standards" / "bcf" / "3.0"
RUN = "2026-05-06T07:08:10Z"
NASTY = "A\x00 <b>&amp;\"' ]]> \ud800 \u202egnp.exe\r\n--> =1+1 𝄞 Größe </Topic></Comment>"


def view_of(word: str, version: str = "2.1") -> NewView:
    return NewView(uuid_of(word), viewpoint(version, uuid_of(word)).encode(), PNG + word.encode())


def edit_of(topic: str = "a", word: str = "ours", status: str = "", views: tuple = (), text: str = "Mended.") -> Edit:
    comment = Comment(uuid_of(f"{topic}{word}"), RUN, "seamtrace", text, views[0].guid if views else "")
    return Edit(uuid_of(topic), comment, status, views)


def new_topic(version: str, name: str = "new", **more: object) -> NewTopic:
    made = parts(version, (Subject(name, **more),))
    folder = uuid_of(name)
    names = ("markup.bcf", "viewpoint.bcfv", "snapshot.png")
    return NewTopic(folder, tuple((each, made[f"{folder}/{each}"]) for each in names))


def read(data: bytes):
    return container("issues.bcf", data)


def updated(data: bytes, *edits: Edit, topics: tuple = ()) -> bytes:
    found = update(read(data), edits, topics, RUN)
    assert found.notes == ()
    return found.data


def markup_of(data: bytes, name: str = "a") -> bytes:
    return unpacked(data)[f"{uuid_of(name)}/markup.bcf"]


NOT_FOR_OTHERS = {
    "a prefix that is not declared",
    "unknown elements and attributes",
    "UTF-8 that says UTF-16",
    "UTF-16 without a mark",
}
"""Shapes that the other parser refuses."""
TOKENS = re.compile(r"<[^>]*>|[^<]+")
MAY_GO = re.compile(r"(\s*<(\w+:)?Topic [^>]*>|\s*</?(\w+:)?Modified(Date|Author)>|bob|2024-02-04T00:00:00Z)+")
"""The tag that holds the status, and who modified the topic before and when."""


def gone(before: str, after: str) -> list[str]:
    """The pieces of a markup that are not in the changed one, in order."""
    one, two = TOKENS.findall(before), TOKENS.findall(after)
    steps = SequenceMatcher(None, one, two, autojunk=False).get_opcodes()
    return ["".join(one[a:b]) for kind, a, b, *_ in steps if kind != "equal" and a < b]


def canonical(text: bytes, comments: set[str], views: set[str]) -> bytes:
    """A markup without the given comments and viewpoints, modification, status and blanks: by another parser."""
    root = etree.fromstring(text.lstrip(), etree.XMLParser(remove_blank_text=True))
    for node in list(root.iter("{*}Comment", "{*}Viewpoints", "{*}ViewPoint")):
        if node.get("Guid") in comments | views:
            node.getparent().remove(node)
    for node in list(root.iter("{*}ModifiedDate", "{*}ModifiedAuthor")):
        node.getparent().remove(node)
    for node in list(root.iter("{*}Comments", "{*}Viewpoints")):
        if not len(node) and not node.attrib:
            node.getparent().remove(node)
    for node in root.iter("{*}Topic"):
        node.attrib.pop("TopicStatus", None)
    for node in root.iter():
        if len(node):
            node.text = None
        node.tail = None
    return etree.tostring(root, method="c14n")


@pytest.fixture(scope="module")
def schemas() -> dict[str, etree.XMLSchema]:
    found = {}
    for file in importlib.metadata.files("bcf-api-xml") or []:
        if file.name == "markup.xsd":
            found["2.1"] = etree.XMLSchema(etree.parse(Path(file.locate())))
    if SCHEMAS_3.is_dir():
        for name in ("markup", "extensions"):
            found["3.0" if name == "markup" else name] = etree.XMLSchema(etree.parse(SCHEMAS_3 / f"{name}.xsd"))
    return found


more = {
    "Priority": "<Priority>High</Priority>",
    "ModifiedDate": "<ModifiedDate>2024-02-04T00:00:00Z</ModifiedDate>",
    "ModifiedAuthor": "<ModifiedAuthor>bob</ModifiedAuthor>",
    "AssignedTo": "<AssignedTo>cleo</AssignedTo>",
    "Description": "<Description><![CDATA[<Comment> </Topic>]]> One &amp; two\nCheck ID: x</Description>",
}
subjects = st.builds(
    lambda name, keys, attributes, comments, views, labels: Subject(
        name,
        attributes=attributes,
        more={key: more[key] for key in keys},
        comments=tuple(Said(f"c{n}", "Größe &lt;ok&gt;") for n in range(comments)),
        views=tuple(f"v{n}" for n in range(views)),
        labels=("steel", "axis 4")[:labels],
    ),
    st.just("a"),
    st.sets(st.sampled_from(sorted(more))),
    st.sampled_from(
        ['TopicType="Error" TopicStatus="Open"', "TopicStatus='Open' TopicType='Error'", 'TopicType="Error"']
    ),
    st.integers(0, 2),
    st.integers(0, 2),
    st.integers(0, 2),
)
edits = st.builds(
    lambda status, views, text: (status, views, text),
    st.sampled_from(["", "Closed", "Open"]),
    st.integers(0, 2),
    st.sampled_from(["Mended.", NASTY, "Two\nlines"]),
)


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("shape", [None, *SHAPES])
@settings(max_examples=6)  # sixty shapes and versions see some of each
@given(subject=subjects, wanted=edits)
def test_an_edit_is_there_and_no_byte_of_others_has_changed(version, shape, subject, wanted):
    made = parts(version, (subject, Subject("b")))
    sound = packed(made)
    before = packed(SHAPES[shape](made), folders=shape != "backslashes") if shape else sound
    status, views, text = wanted
    views = tuple(view_of(f"view {n}", version) for n in range(views))
    edit = edit_of(status=status, views=views, text=text)
    found = read(before)
    done = update(found, [edit], [], RUN)
    assert done.notes == ()
    after = done.data
    # The record is the old one and the edit.
    old, new = found.topics[0], read(after).topics[0]
    assert new.comments[: len(old.comments)] == old.comments
    (ours,) = new.comments[len(old.comments) :]
    assert (ours.guid, ours.date, ours.author, ours.viewpoint) == (
        edit.comment.guid,
        RUN,
        "seamtrace",
        edit.comment.viewpoint,
    )
    assert ours.text == (text if text != NASTY else ours.text)
    assert len(ours.text.splitlines()) == len(text.splitlines())
    assert new.views[: len(old.views)] == old.views
    assert [view.guid for view in new.views[len(old.views) :]] == [view.guid for view in views]
    assert replace(
        new,
        comments=old.comments,
        views=old.views,
        status=old.status,
        modified=old.modified,
        modified_by=old.modified_by,
    ) == replace(old)
    assert new.status == (status or old.status)
    assert (new.modified, new.modified_by) == (RUN, "seamtrace")
    assert read(after).topics[1:] == found.topics[1:]
    # The files of the viewpoints are there, the old ones under their old names.
    inside = {name.replace("\\", "/").removeprefix("./").lower(): part for name, part in unpacked(after).items()}
    for view, each in zip(new.views[len(old.views) :], views, strict=True):
        assert inside[f"{new.folder}/{view.file}".lower()] == each.xml
        assert inside[f"{new.folder}/{view.snapshot}".lower()] == each.png
    # Every byte of others is where it was.
    with zipfile.ZipFile(io.BytesIO(before)) as archive:
        names = [info.orig_filename for info in archive.infolist()]
    name = next(
        each
        for each in names
        if each.lower().replace("\\", "/").endswith("markup.bcf")
        and "MACOSX" not in each
        and uuid_of("b") not in each.lower()
    )
    check_foreign_bytes(before, after, {name})
    one, two = (unpacked(data)[name] for data in (before, after))
    codec = "utf-16" if one[:1] in (b"\xff", b"\xfe") else "utf-16-le" if one[1:2] == b"\0" else "utf-8"
    for piece in gone(one.decode(codec), two.decode(codec)):
        assert MAY_GO.fullmatch(piece), piece
    if shape not in NOT_FOR_OTHERS:
        guids = {view.guid for view in views}
        assert canonical(two, {edit.comment.guid}, guids) == canonical(one, set(), set())
    # Once is enough.
    assert update(read(after), [edit], [], RUN).data == after


@pytest.mark.parametrize("version", VERSIONS)
@settings(max_examples=50)
@given(subject=subjects, wanted=edits)
def test_valid_stays_valid(schemas, version, subject, wanted):
    if version not in schemas:
        pytest.skip("the schemas of 3.0 lie outside the project")
    if version == "3.0" and "TopicStatus" not in subject.attributes:
        subject = replace(subject, attributes='TopicType="Error" TopicStatus="Open"')
    status, views, text = wanted
    edit = edit_of(status=status, views=tuple(view_of(f"view {n}") for n in range(views)), text=text)
    before = packed(parts(version, (subject,)))
    schemas[version].assertValid(etree.fromstring(markup_of(before)))
    schemas[version].assertValid(etree.fromstring(markup_of(updated(before, edit))))


def test_nothing_to_do_gives_the_same_bytes():
    data = packed(parts("2.1"))
    assert updated(data) == data
    odd = b"stub before the zip" + data
    assert updated(odd) == odd


@pytest.mark.parametrize(
    ("version", "before", "after"),
    [
        (
            "2.1",
            "<Markup><Topic Guid='{a}'><Title>T</Title></Topic></Markup>",
            "<Markup><Topic Guid='{a}' TopicStatus=\"Closed\"><Title>T</Title>{modified}</Topic>{comment}</Markup>",
        ),
        (
            "2.1",
            "<Markup>\r\n\t<Topic Guid=\"{a}\" TopicStatus='Open' />\r\n\t<Viewpoints Guid='{v}'/>\r\n</Markup>",
            "<Markup>\r\n\t<Topic Guid=\"{a}\" TopicStatus='Closed' >\r\n\t\t{modified2}\r\n\t</Topic>\r\n\t{comment2}"
            "\r\n\t<Viewpoints Guid='{v}'/>\r\n</Markup>",
        ),
        (
            "3.0",
            "<Markup><Topic Guid='{a}'><Title>T</Title><Comments/><Viewpoints/></Topic></Markup>",
            "<Markup><Topic Guid='{a}' TopicStatus=\"Closed\"><Title>T</Title>{modified}<Comments>{comment}</Comments>"
            "<Viewpoints/></Topic></Markup>",
        ),
        (
            "3.0",
            "<Markup><Topic Guid='{a}'><Title>T</Title><Comments x='1' ></Comments ></Topic></Markup>",
            "<Markup><Topic Guid='{a}' TopicStatus=\"Closed\"><Title>T</Title>{modified}<Comments x='1' >{comment}"
            "</Comments ></Topic></Markup>",
        ),
        (
            "3.0",
            "<Markup><Topic Guid='{a}'><Title>T</Title><Viewpoints/></Topic></Markup>",
            "<Markup><Topic Guid='{a}' TopicStatus=\"Closed\"><Title>T</Title>{modified}<Comments>{comment}</Comments>"
            "<Viewpoints/></Topic></Markup>",
        ),
        (
            "3.0",
            "<b:Markup xmlns:b='urn:x'><b:Topic Guid='{a}'/></b:Markup>",
            "<b:Markup xmlns:b='urn:x'><b:Topic Guid='{a}' TopicStatus=\"Closed\">{modifiedb}<b:Comments>{commentb}"
            "</b:Comments></b:Topic></b:Markup>",
        ),
        (
            "2.1",
            "<Markup><Topic Guid='{a}'><!-- <ModifiedDate/> --><ModifiedDate nil='1'/><Title>T</Title></Topic>"
            "<Comment Guid='{v}'><Comment>x</Comment></Comment><!-- </Comment><Comment> --></Markup>",
            "<Markup><Topic Guid='{a}' TopicStatus=\"Closed\"><!-- <ModifiedDate/> -->{modified}<Title>T</Title>"
            "</Topic>"
            "<Comment Guid='{v}'><Comment>x</Comment></Comment>{comment}<!-- </Comment><Comment> --></Markup>",
        ),
    ],
    ids=["absent", "self-closed", "empty lists", "empty with blanks", "before viewpoints", "prefix", "decoys"],
)
def test_places(version, before, after):
    inside = f"<Date>{RUN}</Date><Author>seamtrace</Author><Comment>Mended.</Comment>"
    comment = f'<Comment Guid="{uuid_of("aours")}">{inside}</Comment>'
    modified = f"<ModifiedDate>{RUN}</ModifiedDate><ModifiedAuthor>seamtrace</ModifiedAuthor>"
    lines = {
        "comment2": comment.replace("><", ">\r\n\t\t<").replace("\t\t</Comment>", "\t</Comment>"),
        "modified2": modified.replace("><", ">\r\n\t\t<"),
    }
    prefixed = {f"{k}b": re.sub(r"<(/?)(\w)", r"<\1b:\2", v) for k, v in (("comment", comment), ("modified", modified))}
    names = {"a": uuid_of("a"), "v": uuid_of("v"), "comment": comment, "modified": modified, **lines, **prefixed}
    data = packed({"bcf.version": f'<Version VersionId="{version}"/>', "x/markup.bcf": before.format(**names)})
    done = update(read(data), [edit_of(status="Closed")], [], RUN)
    assert unpacked(done.data)["x/markup.bcf"].decode() == after.format(**names)


@pytest.mark.parametrize("encoding", ["windows-1252", "iso-8859-1", "koi8-r", "gb18030", "us-ascii"])
def test_encodings_stay_and_letters_they_lack_become_references(encoding):
    text = markup("2.1", Subject("a", "x")).replace("UTF-8", encoding)
    data = packed(parts("2.1", (Subject("a"),)) | {f"{uuid_of('a')}/markup.bcf": text.encode(encoding)})
    done = markup_of(updated(data, edit_of(text="Größe 𝄞 ж")))
    assert etree.fromstring(done).findall("Comment/Comment")[-1].text == "Größe 𝄞 ж"
    assert read(updated(data, edit_of(text="Größe 𝄞 ж"))).topics[0].comments[-1].text == "Größe 𝄞 ж"


def test_default_names_stay_with_the_oldest_viewpoint():
    views = (view_of("one"), view_of("two"))
    names = {}
    for count in (0, 1):
        subject = Subject("a", views=("first",)[:count])
        topic = read(updated(packed(parts("2.1", (subject,))), edit_of(views=views))).topics[0]
        names[count] = [(view.file, view.snapshot) for view in topic.views]
    plain = ("viewpoint.bcfv", "snapshot.png")
    by_guid = [(f"{view.guid}.bcfv", f"{view.guid}.png") for view in views]
    assert names == {0: [plain, by_guid[1]], 1: [plain, *by_guid]}
    # A picture of somebody else under the usual name is no picture of ours.
    lone = parts("2.1", (Subject("a", views=()),)) | {f"{uuid_of('a')}/snapshot.png": b"theirs"}
    done = updated(packed(lone), edit_of(views=views))
    assert unpacked(done)[f"{uuid_of('a')}/snapshot.png"] == b"theirs"
    assert [view.file for view in read(done).topics[0].views] == [by_guid[0][0], by_guid[1][0]]


def test_a_viewpoint_that_the_topic_has_is_pointed_at_and_not_added():
    view = view_of("one")
    once = updated(packed(parts("3.0", (Subject("a"),))), edit_of(word="may", views=(view,)))
    twice = updated(once, edit_of(word="june", views=(view,)))
    topic = read(twice).topics[0]
    assert [each.guid for each in topic.views] == [uuid_of("afirst"), view.guid]
    assert [each.viewpoint for each in topic.comments] == ["", view.guid, view.guid]
    assert set(unpacked(once)) == set(unpacked(twice))


def test_a_viewpoint_that_is_there_is_pointed_at_in_its_own_spelling():
    view = view_of("one")
    data = updated(packed(parts("2.1")), edit_of(word="may", views=(view,)))
    made = unpacked(data)
    name = f"{uuid_of('a')}/markup.bcf"
    made[name] = made[name].replace(view.guid.encode(), view.guid.upper().encode())
    after = markup_of(updated(packed(made), edit_of(word="june", views=(view,))))
    assert after.count(f'<Viewpoint Guid="{view.guid.upper()}"/>'.encode()) == 2
    assert view.guid.encode() not in after.replace(f"{view.guid}.bcfv".encode(), b"").replace(
        f"{view.guid}.png".encode(), b""
    )


def test_several_edits_of_one_topic_are_made_one_after_the_other():
    data = packed(parts("2.1"))
    both = updated(data, edit_of(word="may", status="Closed"), edit_of(word="june", status="ReOpened"), edit_of("b"))
    a, b = read(both).topics
    assert [each.guid for each in a.comments[1:]] == [uuid_of("amay"), uuid_of("ajune")]
    assert (a.status, len(b.comments)) == ("ReOpened", 2)
    assert both == updated(
        updated(data, edit_of(word="may", status="Closed")), edit_of(word="june", status="ReOpened"), edit_of("b")
    )


def test_an_edit_of_a_topic_that_is_not_there_is_our_own_fault():
    with pytest.raises(ValueError, match="no topic"):
        update(read(packed(parts("2.1"))), [edit_of("nobody")], [], RUN)


def test_a_topic_that_cannot_be_read_stays_and_is_reported():
    data = packed(parts("2.1") | {f"{uuid_of('a')}/markup.bcf": b"<Markup><Topic>"})
    done = update(read(data), [edit_of("a"), edit_of("b")], [], RUN)
    check_foreign_bytes(data, done.data, {f"{uuid_of('b')}/markup.bcf"})
    assert markup_of(done.data) == b"<Markup><Topic>"
    (note,) = done.notes
    assert "It stays as it is, without the new comment." in note


def test_what_would_not_hold_what_it_held_is_not_written(monkeypatch):
    data = packed(parts("2.1"))
    honest = splicing._with_edit
    for spoil in (
        lambda text: text.replace(b"Door hits beam", b"Door"),
        lambda text: text.replace(b"Please look.", b"Please."),
        lambda text: text.replace(b"Mended.", b"Broken."),
        lambda text: text.replace(b"viewpoint.bcfv", b"another.bcfv"),
        lambda text: text.replace(b"TopicType", b"Type"),
        lambda text: text.replace(b"<Markup>", b"<Markup><Header/>"),
    ):
        monkeypatch.setattr(splicing, "_with_edit", lambda *all_, spoil=spoil: spoil(honest(*all_)))
        done = update(read(data), [edit_of()], [], RUN)
        assert done.data == data
        assert "built in an unusual way" in done.notes[0]


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("shape", [None, "a parent folder", "backslashes", "no version"])
def test_new_topics_come_behind_the_others(version, shape):
    made = parts(version)
    before = packed(SHAPES[shape](made), folders=shape != "backslashes") if shape else packed(made)
    topic = new_topic(version)
    after = updated(before, topics=(topic,))
    check_foreign_bytes(before, after, set())
    found = read(after)
    assert found.topics[:2] == read(before).topics
    assert found.topics[2].guid == topic.guid
    base = "Issues of May/" if shape == "a parent folder" else ""
    assert found.topics[2].folder == base + topic.guid
    with zipfile.ZipFile(io.BytesIO(after)) as archive:
        names = archive.namelist()[-4:]
        assert [name.removeprefix(base) for name in names] == [
            f"{topic.guid}/",
            *(f"{topic.guid}/{name}" for name, _ in topic.entries),
        ]
        assert archive.getinfo(names[0]).external_attr >> 16 == 0o040755
        assert archive.getinfo(names[1]).date_time == (2026, 5, 6, 7, 8, 10)
        assert archive.testzip() is None
    assert update(read(after), [], [topic], RUN).data == after


def test_an_issue_whose_topic_cannot_be_read_is_told_and_not_added_beside_it():
    data = packed(parts("2.1") | {f"{uuid_of('new')}/markup.bcf": b"<Markup>"})
    done = update(read(data), [], [new_topic("2.1")], RUN)
    assert done.data == data
    assert done.notes[0].endswith("The issue of this topic was left out.")


def test_a_taken_folder_is_not_shared():
    data = packed(parts("2.1") | {f"{uuid_of('new')}/viewpoint.bcfv": b"theirs"})
    done = update(read(data), [], [new_topic("2.1")], RUN)
    assert done.data == data
    assert "is taken" in done.notes[0]


def test_lists_of_allowed_words_stay_as_they_are():
    project = b"<ProjectExtension><ExtensionSchema>extensions.xsd</ExtensionSchema></ProjectExtension>"
    for made in (
        parts("2.1") | {"project.bcfp": project, "extensions.xsd": EXTENSION_SCHEMA.encode()},
        parts("3.0"),
    ):
        version = "2.1" if "project.bcfp" in made else "3.0"
        clash = new_topic(version, attributes='TopicType="Clash &amp; more" TopicStatus="Mended"')
        after = updated(packed(made), edit_of(status="Mended"), topics=(clash,))
        check_foreign_bytes(packed(made), after, {f"{uuid_of('a')}/markup.bcf"})


def test_entries_packed_in_ways_that_are_not_read_pass_through():
    # A name in letters of an old code page, a method that few programs know, a comment, an extra field, a descriptor.
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, part in parts("2.1").items():
            archive.writestr(name, part)
        archive.writestr("drawing.dwg", b"x" * 1000, zipfile.ZIP_LZMA)
        odd = zipfile.ZipInfo("plan.txt", (1999, 12, 31, 23, 59, 58))
        odd.extra, odd.comment, odd.create_system, odd.external_attr = b"\xfe\xca\2\0ab", b"said", 0, 0x20
        archive.writestr(odd, b"plan", zipfile.ZIP_DEFLATED)
        archive.comment = b"of the whole"
    data = stream.getvalue().replace(b"plan.txt", b"pl\x84n.txt")

    class Pipe(io.RawIOBase):
        def writable(self):
            return True

        def write(self, piece):
            pieces.append(bytes(piece))
            return len(piece)

    pieces: list[bytes] = []
    with zipfile.ZipFile(Pipe(), "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts("2.1").items():
            archive.writestr(name, part)
    for each in (data, b"".join(pieces), b"#!stub\n" + data):
        after = updated(each, edit_of(views=(view_of("one"),)), topics=(new_topic("2.1"),))
        check_foreign_bytes(each, after, {f"{uuid_of('a')}/markup.bcf"})
        with zipfile.ZipFile(io.BytesIO(after)) as archive:
            assert archive.testzip() is None
            assert archive.comment == (b"of the whole" if b"of the whole" in each else b"")
        assert after.startswith(b"#!stub\n") == each.startswith(b"#!stub\n")


def test_a_folder_in_letters_of_an_old_code_page_keeps_its_name():
    made = {f"Falle/{name}": part for name, part in parts("2.1").items()}
    data = packed(made).replace(b"Falle/", b"F\xe4le//")
    after = updated(data, edit_of(views=(view_of("one"),)), topics=(new_topic("2.1"),))
    with zipfile.ZipFile(io.BytesIO(after)) as archive:
        assert {info.filename[:6] for info in archive.infolist()} == {"FΣle//"}
    assert [len(topic.comments) for topic in read(after).topics] == [2, 1, 1]


def test_offsets_of_large_files_are_put_right():
    # Some programs write every offset and size in the field for large files.
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts("2.1").items():
            archive.writestr(name, part)
    with zipfile.ZipFile(io.BytesIO(stream.getvalue())) as archive:
        infos, start = archive.infolist(), archive.start_dir
    directory, at = b"", start
    for info in infos:
        length = 46 + len(info.filename)
        record = bytearray(stream.getvalue()[at : at + length])
        at += length
        struct.pack_into("<II", record, 20, 0xFFFFFFFF, 0xFFFFFFFF)
        struct.pack_into("<H", record, 30, 34)
        struct.pack_into("<I", record, 42, 0xFFFFFFFF)
        other = struct.pack("<HHH", 0xCAFE, 2, 0)
        field = struct.pack("<HHQQQ", 1, 24, info.file_size, info.compress_size, info.header_offset)
        directory += bytes(record) + other + field
    count = len(infos)
    end = struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, count, count, len(directory), start, 0)
    data = stream.getvalue()[:start] + directory + end
    after = updated(data, edit_of(views=(view_of("one"),)))
    with zipfile.ZipFile(io.BytesIO(after)) as archive:
        assert archive.testzip() is None
        assert {info.filename for info in infos} < set(archive.namelist())


def test_more_entries_than_the_small_directory_counts():
    data = joined(
        [new("bcf.version", b"<Version VersionId='2.1'/>", RUN), *(new(f"{n}/", b"", RUN) for n in range(66_000))]
    )
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert len(archive.namelist()) == 66_001
        assert archive.namelist()[-1] == "65999/"
    after = updated(data, topics=(new_topic("2.1"),))
    assert len(records(after)) == 66_005


def test_a_file_too_large_for_its_directory_is_one_sentence(monkeypatch):
    monkeypatch.setattr("checker.bcf.archive._FULL", 2000)
    with pytest.raises(BadBcf, match="larger than 4 GiB"):
        updated(packed(parts("2.1")), edit_of())


def test_of_two_topics_with_one_guid_the_first_is_edited():
    made = parts("2.1", (Subject("a"),))
    made = {f"{uuid_of('a')}/old/markup.bcf": made[f"{uuid_of('a')}/markup.bcf"]} | made
    data = packed(made | {"copy/markup.bcf": made[f"{uuid_of('a')}/markup.bcf"]})
    after = updated(data, edit_of())
    check_foreign_bytes(data, after, {f"{uuid_of('a')}/markup.bcf"})


def test_of_two_entries_with_one_name_the_last_is_edited():
    stream = io.BytesIO(packed(parts("2.1", (Subject("a"),))))
    with zipfile.ZipFile(stream, "a") as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        archive.writestr(f"{uuid_of('a')}/markup.bcf", markup("2.1", Subject("a", "Later")))
    before = records(stream.getvalue())
    after = records(updated(stream.getvalue(), edit_of()))
    name = f"{uuid_of('a')}/markup.bcf"
    assert after[name][0] == before[name][0]
    assert after[name][1] != before[name][1]


def test_a_document_of_some_megabytes():
    # The parser takes it in pieces; places are counted over all of them.
    text = "Größe " * 400_000
    subject = Subject("a", more={"Description": f"<Description>{text}</Description>"})
    data = packed(parts("2.1", (subject,)))
    one, two = markup_of(data), markup_of(updated(data, edit_of(status="Closed")))
    assert two.count("Größe ".encode()) == 400_000
    assert etree.fromstring(two).find("Topic").get("TopicStatus") == "Closed"
    assert two.index(b"Mended.") > two.index(b"Please look.")
    assert len(two) - len(one) < 400


@pytest.mark.parametrize("version", VERSIONS)
def test_a_second_reader_sees_all_of_it(tmp_path, version):
    # bcf-client, which is used for tests only.
    bcf = pytest.importorskip("bcf.bcfxml")
    views = (view_of("one", version), view_of("two", version))
    data = packed(parts(version))
    after = updated(data, edit_of(status="Closed", views=views), topics=(new_topic(version),))
    (tmp_path / "issues.bcf").write_bytes(after)
    with bcf.load(tmp_path / "issues.bcf") as other:
        assert len(other.topics) == 3
        for topic in read(after).topics:
            theirs = other.topics[topic.guid]
            assert theirs.topic.topic_status == topic.status
            assert [each.guid for each in theirs.comments] == [each.guid for each in topic.comments]
            assert set(theirs.viewpoints) == {view.file for view in topic.views}
            for view in topic.views:
                assert theirs.viewpoints[view.file].visualization_info.guid == view.guid


def test_the_same_update_gives_the_same_bytes_in_another_process(tmp_path):
    script = (
        "import sys, test_bcf_splicing as t; "
        "done = t.updated(t.packed(t.parts('3.0')), t.edit_of(status='Mended', views=(t.view_of('one'),)),"
        " topics=(t.new_topic('3.0', attributes='TopicType=\"New\" TopicStatus=\"Open\"'),));"
        "sys.stdout.buffer.write(done)"
    )
    here = Path(__file__).parent
    results = {
        subprocess.run(
            [sys.executable, "-c", script],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": f"{here}:{here.parent}"},
            check=True,
            capture_output=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(results) == 1


def test_a_run_killed_at_any_moment_leaves_the_old_or_the_new_file(tmp_path):
    path = tmp_path / "issues.bcf"
    path.write_bytes(packed(parts("2.1", tuple(Subject(f"t{n}") for n in range(40)))))
    script = (
        "import sys, test_bcf_splicing as t; from checker.bcf.reading import read_bcf, check_unchanged;"
        "from checker.output.safely import replace_many; from pathlib import Path\n"
        "path = Path(sys.argv[1])\n"
        "for n in range(10_000):\n"
        "    found = read_bcf(path); edits = [t.edit_of(f't{k}', f'{sys.argv[2]} {n}') for k in range(40)]\n"
        "    replace_many({path: t.update(found, edits, [], t.RUN).data}, lambda: check_unchanged(found))\n"
        "    print(n, flush=True)"
    )
    here = Path(__file__).parent
    for kill in range(6):
        child = subprocess.Popen(
            [sys.executable, "-c", script, str(path), str(kill)],
            env={"PYTHONPATH": f"{here}:{here.parent}"},
            stdout=subprocess.PIPE,
        )
        child.stdout.readline()
        time.sleep(0.013 * kill)
        child.kill()
        child.communicate()
        topics = container("issues.bcf", path.read_bytes()).topics
        counts = {len(topic.comments) for topic in topics}
        assert len(topics) == 40
        assert len(counts) == 1, "all comments of a run, or none"
        assert counts.pop() > kill, "each process got at least one run done"


def test_what_somebody_saved_meanwhile_is_not_overwritten(tmp_path):
    path = tmp_path / "issues.bcf"
    path.write_bytes(packed(parts("2.1")))
    found = read_bcf(path)
    theirs = updated(found.data, edit_of(word="theirs"))
    path.write_bytes(theirs)
    with pytest.raises(BadBcf, match="changed by somebody else"):
        replace_many({path: update(found, [edit_of()], [], RUN).data}, lambda: check_unchanged(found))
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [("issues.bcf", theirs)]
