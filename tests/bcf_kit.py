"""BCF files of many makes, in both versions, and in every odd shape that programs give them."""

import io
import re
import zipfile
from dataclasses import dataclass, field
from itertools import pairwise
from uuid import NAMESPACE_URL, uuid5

VERSIONS = ("2.1", "3.0")
ELEMENTS = ("0Hl5ruT3P0lP$dF8GI_xQ2", "1Hl5ruT3P0lP$dF8GI_xQ2")
PNG = b"\x89PNG\r\n\x1a\n not a picture"


def uuid_of(word: str) -> str:
    return str(uuid5(NAMESPACE_URL, word))


def packed(parts: dict[str, bytes | str], folders: bool = True, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip of some parts, with the folder records that the standard asks for."""
    stream = io.BytesIO()
    made = set()
    with zipfile.ZipFile(stream, "w", method) as archive:
        for name, data in parts.items():
            folder = name.rpartition("/")[0]
            if folders and folder and folder not in made:
                made.add(folder)
                archive.writestr(zipfile.ZipInfo(f"{folder}/", (2024, 1, 2, 3, 4, 6)), b"")
            info = zipfile.ZipInfo(name, (2024, 1, 2, 3, 4, 6))
            info.compress_type = method
            archive.writestr(info, data)
    return stream.getvalue()


def unpacked(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist() if not name.endswith("/")}


def records(data: bytes) -> dict[str, list[bytes]]:
    """Each entry's local record up to the next, by an independent walk over the directory, and its facts there."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        infos = archive.infolist()
        starts = sorted([*(info.header_offset for info in infos), archive.start_dir])
        ends = dict(pairwise(starts))
        found: dict[str, list] = {}
        for info in infos:
            facts = (
                info.date_time,
                info.compress_type,
                info.external_attr,
                info.create_system,
                info.extra,
                info.comment,
            )
            found.setdefault(info.orig_filename, []).append(
                (data[info.header_offset : ends[info.header_offset]], facts)
            )
        return found


def check_foreign_bytes(before: bytes, after: bytes, touched: set[str]) -> None:
    old, new = records(before), records(after)
    assert [name for name in new if name in old] == list(old), "every entry is there, in its order"
    for name, record in old.items():
        if name not in touched:
            assert new[name] == record, name
        else:
            facts, kept = new[name][0][1], record[0][1]
            assert facts[1:4] == kept[1:4], "packing and attributes stay"


@dataclass
class Said:
    """A comment."""

    name: str
    text: str = "Please look."
    author: str = "ann@example.org"
    date: str = "2024-02-03T04:05:06Z"
    view: str = ""


@dataclass
class Subject:
    """A topic; ``more`` are elements of the topic as text, by name."""

    name: str
    title: str = "Door hits beam"
    attributes: str = 'TopicType="Error" TopicStatus="Open"'
    labels: tuple[str, ...] = ("steel",)
    more: dict[str, str] = field(default_factory=dict)
    comments: tuple[Said, ...] = (Said("one"),)
    views: tuple[str, ...] = ("first",)

    @property
    def guid(self) -> str:
        return uuid_of(self.name)


ORDER = {
    "2.1": "ReferenceLink Title Priority Index Labels CreationDate CreationAuthor ModifiedDate ModifiedAuthor DueDate "
    "AssignedTo Stage Description BimSnippet DocumentReference RelatedTopic",
    "3.0": "ReferenceLinks Title Priority Index Labels CreationDate CreationAuthor ModifiedDate ModifiedAuthor DueDate "
    "AssignedTo Stage Description BimSnippet DocumentReferences RelatedTopics Comments Viewpoints",
}


def markup(version: str, topic: Subject) -> str:
    """A markup in the order of the schema, indented by two blanks."""
    comments = [_comment(topic, each) for each in topic.comments]
    entry = "Viewpoints" if version == "2.1" else "ViewPoint"
    views = [
        f'<{entry} Guid="{uuid_of(topic.name + view)}"><Viewpoint>{view_file(n)}</Viewpoint>'
        f"<Snapshot>{view_file(n, 'snapshot', 'png')}</Snapshot></{entry}>"
        for n, view in enumerate(topic.views)
    ]
    labels = [f"<Labels>{each}</Labels>" if version == "2.1" else f"<Label>{each}</Label>" for each in topic.labels]
    parts = {
        "Title": f"<Title>{topic.title}</Title>",
        "Labels": labels if version == "2.1" else _wrapped("Labels", labels),
        "CreationDate": "<CreationDate>2024-02-01T00:00:00Z</CreationDate>",
        "CreationAuthor": "<CreationAuthor>ann@example.org</CreationAuthor>",
    } | topic.more
    if version == "3.0":
        parts = {"Comments": _wrapped("Comments", comments), "Viewpoints": _wrapped("Viewpoints", views)} | parts
    inside = [line for name in ORDER[version].split() if name in parts for line in _lines(parts[name])]
    known = f'Guid="{topic.guid}" {topic.attributes}'.strip()
    after = [] if version == "3.0" else [*comments, *views]
    lines = [f"<Topic {known}>", *(f"  {line}" for line in inside), "</Topic>", *after]
    return "\n".join(
        ['<?xml version="1.0" encoding="UTF-8"?>', "<Markup>", *(f"  {line}" for line in lines), "</Markup>"]
    )


def _lines(part: str | list[str]) -> list[str]:
    return [part] if isinstance(part, str) else part


def _wrapped(name: str, items: list[str]) -> list[str]:
    return [f"<{name}>", *(f"  {item}" for item in items), f"</{name}>"] if items else []


def _comment(topic: Subject, said: Said) -> str:
    view = f'<Viewpoint Guid="{uuid_of(topic.name + said.view)}"/>' if said.view else ""
    return (
        f'<Comment Guid="{uuid_of(topic.name + said.name)}"><Date>{said.date}</Date><Author>{said.author}</Author>'
        f"<Comment>{said.text}</Comment>{view}</Comment>"
    )


def view_file(number: int, stem: str = "viewpoint", suffix: str = "bcfv") -> str:
    return f"{stem}{number or ''}.{suffix}"


def viewpoint(version: str, guid: str, selected: tuple[str, ...] = ELEMENTS) -> str:
    items = "".join(f'<Component IfcGuid="{each}"/>' for each in selected)
    ratio = "<AspectRatio>1.5</AspectRatio>" if version == "3.0" else ""
    vectors = "".join(
        f"<Camera{name}><X>{x}</X><Y>{y}</Y><Z>{z}</Z></Camera{name}>"
        for name, (x, y, z) in {"ViewPoint": (0, -9, 1), "Direction": (0, 1, 0), "UpVector": (0, 0, 1)}.items()
    )
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><VisualizationInfo Guid="{guid}"><Components>'
        f'<Selection>{items}</Selection><Visibility DefaultVisibility="true"/></Components><PerspectiveCamera>{vectors}'
        f"<FieldOfView>60</FieldOfView>{ratio}</PerspectiveCamera></VisualizationInfo>"
    )


def parts(version: str, topics: tuple[Subject, ...] = (Subject("a"), Subject("b"))) -> dict[str, bytes]:
    """The parts of a sound file."""
    made = {"bcf.version": f'<?xml version="1.0"?><Version VersionId="{version}"/>'}
    if version == "3.0":
        made["extensions.xml"] = EXTENSIONS
    for topic in topics:
        made[f"{topic.guid}/markup.bcf"] = markup(version, topic)
        for n, view in enumerate(topic.views):
            made[f"{topic.guid}/{view_file(n)}"] = viewpoint(version, uuid_of(topic.name + view))
            made[f"{topic.guid}/{view_file(n, 'snapshot', 'png')}"] = PNG
    return {name: data if isinstance(data, bytes) else data.encode("utf-8") for name, data in made.items()}


EXTENSIONS = """<?xml version="1.0" encoding="UTF-8"?>
<Extensions>
  <TopicTypes>
    <TopicType>Error</TopicType>
    <TopicType>Request</TopicType>
  </TopicTypes>
  <TopicStatuses><TopicStatus>Open</TopicStatus><TopicStatus>Closed</TopicStatus></TopicStatuses>
  <Users/>
</Extensions>"""

# In the form of the standard's own example, with words of our own.
EXTENSION_SCHEMA = """<?xml version="1.0" encoding="UTF-8"?>
<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema">
  <xs:redefine schemaLocation="markup.xsd">
    <xs:simpleType name="TopicType">
      <xs:restriction base="TopicType">
        <xs:enumeration value="Clash"/>
      </xs:restriction>
    </xs:simpleType>
    <xs:simpleType name="UserIdType"><xs:restriction base="UserIdType">
      <xs:enumeration value="ann@example.org"/><xs:enumeration value="bob@example.org"/>
    </xs:restriction></xs:simpleType>
  </xs:redefine>
</xs:schema>"""


def bom(text):
    return b"\xef\xbb\xbf" + text


def wide(codec, mark):
    return lambda text: mark + text.decode().replace('encoding="UTF-8"', 'encoding="utf-16"').encode(codec)


def spoil_markup(change):
    return lambda made: {n: change(d) if n.endswith("markup.bcf") else d for n, d in made.items()}


def swapped(text):
    """The children of the topic in the order of their names."""
    head, inside, tail = re.fullmatch(rb"(?s)(.*?<Topic[^>]*>\n)(.*?)(  </Topic>.*)", text).groups()
    blocks = [found[0] for found in re.finditer(rb"(?s)    <(\w+)(?:/>|.*?</\1>)\n(?=    <|$)", inside)]
    return head + b"".join(sorted(blocks, key=lambda block: block[: block.index(b">")])) + tail


def upper_guids(text):
    return re.sub(rb'Guid="([^"]*)"', lambda m: b'Guid="' + m[1].upper() + b'"', text)


SHAPES = {
    "byte order mark": spoil_markup(bom),
    "UTF-16 little end first": spoil_markup(wide("utf-16-le", b"\xff\xfe")),
    "UTF-16 big end first": spoil_markup(wide("utf-16-be", b"\xfe\xff")),
    "UTF-16 without a mark": spoil_markup(wide("utf-16-le", b"")),
    "UTF-8 that says UTF-16": spoil_markup(lambda t: t.replace(b'"UTF-8"', b'"utf-16"')),
    "no declaration": spoil_markup(lambda t: t.partition(b"\n")[2]),
    "blanks before the declaration": spoil_markup(lambda t: b"\n \t" + t),
    "lines of another system": spoil_markup(lambda t: t.replace(b"\n", b"\r\n")),
    "upper-case GUIDs": spoil_markup(upper_guids),
    "GUIDs in braces": spoil_markup(lambda t: re.sub(rb'Guid="([^"]*)"', rb'Guid=" {\1} "', t)),
    "wrong order": spoil_markup(swapped),
    "a namespace": spoil_markup(lambda t: t.replace(b"<Markup>", b'<Markup xmlns="urn:x" xmlns:y="urn:y">')),
    "a prefix": spoil_markup(
        lambda t: re.sub(rb"<(/?)(\w)", rb"<\1b:\2", t).replace(b"<b:Markup", b'<b:Markup xmlns:b="urn:x"')
    ),
    "a prefix that is not declared": spoil_markup(lambda t: re.sub(rb"<(/?)(\w)", rb"<\1b:\2", t)),
    "unknown elements and attributes": spoil_markup(
        lambda t: (
            t.replace(b"<Title>", b'<Title mine="1" x:yours="2">')
            .replace(
                b"    <Title",
                b'    <Own><Title>No</Title><Guid/></Own><v:Title xmlns:v="urn:v">No</v:Title>\n    <Title',
            )
            .replace(b"  <Topic", b"  <Extra><Topic Guid='x'/></Extra>\n  <Topic")
        )
    ),
    "comments that look like elements": spoil_markup(
        lambda t: t.replace(
            b"    <Title", b"    <!-- <Title>No</Title></Topic> --><?pi <Title>No</Title>?>\n    <Title"
        )
    ),
    "empty lists": spoil_markup(
        lambda t: t.replace(b"<Markup>", b"<Markup>\n  <Header/>").replace(
            b"  </Topic>", b"    <RelatedTopics/>\n  </Topic>"
        )
    ),
    "an external schema": spoil_markup(
        lambda t: t.replace(
            b"<Markup>",
            b'<Markup xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation="markup.xsd">',
        )
    ),
    "folders named otherwise": lambda made: {n.replace(uuid_of("a"), "Topic 1"): d for n, d in made.items()},
    "folders in upper case": lambda made: {n.upper() if "/" in n else n: d for n, d in made.items()},
    "a parent folder": lambda made: {f"Issues of May/{n}": d for n, d in made.items()},
    "backslashes": lambda made: {n.replace("/", "\\"): d for n, d in made.items()},
    "paths that begin here": lambda made: {f"./{n}": d for n, d in made.items()},
    "no version": lambda made: {n: d for n, d in made.items() if n != "bcf.version"},
    "a version in upper case": lambda made: {n.replace("bcf.version", "BCF.VERSION"): d for n, d in made.items()},
    "files of others": lambda made: (
        made | {"vendor/state.bin": b"\0\1", "notes.txt": b"x", f"{uuid_of('a')}/x.dwg": b""}
    ),
    "a folder of another system": lambda made: {"__MACOSX/a/markup.bcf": b"\0", **made},
    "viewpoints without a GUID": lambda made: {
        n: re.sub(rb' Guid="[^"]*"', b"", d) if n.endswith(".bcfv") else d for n, d in made.items()
    },
    "viewpoints with another GUID": lambda made: {
        n: re.sub(rb' Guid="[^"]*"', b' Guid="1"', d) if n.endswith(".bcfv") else d for n, d in made.items()
    },
}
"""Whole files in shapes that real ones have: from the parts of a sound file to those of the odd one."""
