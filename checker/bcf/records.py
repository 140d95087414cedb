"""What a BCF file holds, and what is to be changed in it. Nothing here knows the XML.

Every GUID read is in lower case with hyphens where it is a UUID in any spelling, else as it stands. Texts are without
blanks round them.
"""

from dataclasses import dataclass, field
from typing import Final, Literal

Point = tuple[float, float, float]
BcfVersion = Literal["2.1", "3.0"]
BCF_VERSIONS: Final[tuple[BcfVersion, ...]] = ("2.1", "3.0")


@dataclass(frozen=True, slots=True)
class Comment:
    """A comment as it stands in the file; ``date`` as written, ``viewpoint`` a GUID or ``""``."""

    guid: str
    date: str
    author: str
    text: str
    viewpoint: str = ""


@dataclass(frozen=True, slots=True)
class View:
    """A viewpoint of a topic: ``guid`` from the markup, names of its files, the GlobalIds that it selects."""

    guid: str
    file: str = ""
    snapshot: str = ""
    selected: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Topic:
    """A topic as it stands in the file. ``folder`` is where its entries lie in the zip, as a path with ``/``.

    ``guid`` is that of the markup; the folder may be called otherwise. ``fault`` says why the markup cannot be read, or
    is ``""``; then ``guid`` is the one that the folder is called by (``""`` for none), and everything else is blank.
    Dates are as written: see `moment`.
    """

    guid: str
    folder: str
    title: str = ""
    type: str = ""
    status: str = ""
    priority: str = ""
    labels: tuple[str, ...] = ()
    created: str = ""
    author: str = ""
    modified: str = ""
    modified_by: str = ""
    assigned: str = ""
    due: str = ""
    stage: str = ""
    description: str = ""
    comments: tuple[Comment, ...] = ()
    views: tuple[View, ...] = ()
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Container:
    """A BCF file: its version, topics, and the words its extension lists allow (``()`` for "no list, any word").

    ``others`` are the names of files in it that are no part of a topic and no list or version.
    ``notes`` are sentences on what is wrong in the file and was put up with; ``data`` is the file, byte for byte, and
    ``sha256`` tells whether somebody has saved it since.
    """

    file: str
    sha256: str
    version: BcfVersion
    topics: tuple[Topic, ...]
    statuses: tuple[str, ...] = ()
    types: tuple[str, ...] = ()
    priorities: tuple[str, ...] = ()
    labels: tuple[str, ...] = ()
    users: tuple[str, ...] = ()
    stages: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    data: bytes = field(default=b"", repr=False)


@dataclass(frozen=True, slots=True)
class HeaderFile:
    """A model that a topic is about: GlobalId of its project, its name and its date; each may be ``""``."""

    project: str
    name: str
    date: str


@dataclass(frozen=True, slots=True)
class Seen:
    """What the file of a viewpoint says. Metres, in the coordinates of the model that the topic is about.

    ``direction``, ``up`` and the second of each pair in ``clips`` are unit vectors; the latter points to what is cut
    away from the place that is the first. The camera is orthogonal and shows ``height_m`` where that is not zero, else
    it has ``field_of_view_deg``. ``selected`` are GlobalIds; ``coloured`` pairs a colour (``FFRRGGBB``) with some.
    """

    eye: Point
    direction: Point
    up: Point
    field_of_view_deg: float
    height_m: float
    selected: tuple[str, ...]
    coloured: tuple[tuple[str, tuple[str, ...]], ...]
    lines: tuple[tuple[Point, Point], ...]
    clips: tuple[tuple[Point, Point], ...]


@dataclass(frozen=True, slots=True)
class NewView:
    """A viewpoint to write: its GUID, the XML of its file for the version at hand, and its picture (PNG).

    ``caption`` is a sentence on what is to be seen, for the comment that points at it.
    """

    guid: str
    xml: bytes
    png: bytes
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Edit:
    """What to add to one topic: a comment, perhaps with viewpoints, perhaps a new status.

    All else of the topic stays as it is, byte for byte. ``status`` is ``""`` where it stays. ``views`` come with the
    comment, which points at the first of them. ``date`` (``YYYY-MM-DDThh:mm:ssZ``) and ``author`` become those of the
    comment and of the topic's last modification.
    """

    topic: str
    comment: Comment
    status: str = ""
    views: tuple[NewView, ...] = ()


@dataclass(frozen=True, slots=True)
class NewTopic:
    """A topic to add: its GUID and its entries (name inside its folder, content), in order; the first is the markup."""

    guid: str
    entries: tuple[tuple[str, bytes], ...]
