"""Records of what was read: sources, elements, bodies. Nothing here knows the file format.

Frame: *world* is the engineering frame of the first model in metres (placements resolved up to and including the
site, no map conversion). ``Model.origin`` was subtracted from all coordinates inside; add it for results.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

ROLES: Final = (
    "panel",
    "column",
    "plinth",
    "base-rail",
    "seal",
    "sealant",
    "foam",
    "insulation",
    "tape",
    "flashing",
    "membrane",
    "roof",
    "eave-profile",
    "window",
    "door",
    "opening",
)
"""What an element may be. ``""`` stands for none of these."""

NO_BODY: Final = "it has no body"
NO_VOLUME: Final = "its body has no volume"
"""Faults of elements that were never drawn, as assemblies are, and of those that were drawn and are nothing."""

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True, slots=True)
class ModelFile:
    """A model file to read: where it is, what the project calls it, whose it is, how far to move it (x, y, z) in mm.

    ``shift_mm`` is None where the project says nothing: then the file may be told to lie wrong.
    """

    path: Path
    name: str = ""
    owner: str = ""
    shift_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Remark:
    """A sentence on a file that names it, and how grave it is: an error makes any result doubtful."""

    severity: Severity
    text: str


@dataclass(frozen=True, slots=True)
class Georeference:
    """Where a file says it lies on earth: by a ``map`` conversion, ``name`` the map, or by the ``site``.

    ``place`` is (east, north, height) on the map in metres, or (latitude, longitude) in degrees and height in metres.
    """

    kind: Literal["map", "site"]
    name: str
    place: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Source:
    """One model file.

    ``length_unit`` is a word such as ``mm``, ``m`` or ``foot``; ``project_guid`` the GlobalId of the IfcProject;
    ``saved`` the time stamp of the file header as ``YYYY-MM-DDThh:mm:ssZ`` or ``""``; ``header_name`` the name
    the header gives the file. ``frame`` are the rows (4, 4) of the matrix that brought the file's own coordinates into
    the world, () where they are the same. ``products`` counts everything with a place in the file, ``remarks`` are what
    was odd in reading it, ``shift_mm`` is what the project said of it.
    """

    file: str
    sha256: str
    schema: str
    length_unit: str
    project: str
    project_guid: str
    saved: str
    header_name: str
    name: str
    owner: str
    frame: tuple[tuple[float, ...], ...] = ()
    products: int = 0
    georeference: Georeference | None = None
    remarks: tuple[Remark, ...] = ()
    shift_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Element:
    """One element of a model, by its words alone.

    ``parents`` are the names and object types of the assemblies it belongs to, innermost first. ``shown`` are the
    GlobalIds a viewer can show for it: its own, or those of its parts where it has no body of its own. So walls of
    layers and assemblies that are one panel stand for their parts, which are listed as well.
    ``stated`` holds its property values as text, keyed by lower-case property name; those of its assemblies where it
    states nothing of that name. ``hosts`` are the elements (GlobalIds) that an opening voids or a window or door fills.
    """

    guid: str
    ifc_class: str
    predefined: str = ""
    name: str = ""
    object_type: str = ""
    type_name: str = ""
    tag: str = ""
    description: str = ""
    materials: tuple[str, ...] = ()
    parents: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    stated: Mapping[str, str] = field(default_factory=dict)
    hosts: tuple[str, ...] = ()
    source: int = 0


@dataclass(frozen=True, slots=True)
class Role:
    """What an element was recognised as: ``role`` from `ROLES` or ``""``, ``confidence`` 0 to 1, the ``reason``.

    ``part_of`` is the GlobalId of the element with a role whose layer or piece it is, or ``""``.
    """

    role: str
    confidence: float
    reason: str
    part_of: str = ""


@dataclass(frozen=True, slots=True)
class Meshes:
    """Triangulated bodies of n elements, one after another.

    ``points`` (p, 3) in metres, world less origin. ``triangles`` (t, 3) index into ``points``, anticlockwise seen from
    outside. Element i owns ``points[point_start[i]:point_start[i + 1]]`` and
    ``triangles[triangle_start[i]:triangle_start[i + 1]]``; both starts have n + 1 entries.
    """

    points: Floats
    triangles: Ints
    point_start: Ints
    triangle_start: Ints

    def __len__(self) -> int:
        return len(self.point_start) - 1


@dataclass(frozen=True, slots=True)
class GridAxis:
    """One axis of a grid: ``tag`` and two points (2, 3) on it, in metres, world less origin."""

    tag: str
    ends: Floats


@dataclass(frozen=True, slots=True)
class Fit:
    """How a model lies to the others of its release.

    ``alone`` where there is no other, ``meets``, ``off``, ``turned`` by ``turn_deg``, ``unknown`` where nothing tells.
    ``met`` joints of walls meet columns of other files (or columns joints) as the files lie, ``best`` would after the
    shift ``shift_m`` of this file. ``exact`` is false where that is known to centimetres only, ``alike`` true where
    another shift does as well; ``by_grid`` says that axes of grids told it. ``against`` are the sources it was held
    against, ``joints`` the wall joints it has that need a column of another file. ``whole`` tells that it and those of
    its building hold both walls and the columns behind them.
    """

    state: Literal["alone", "meets", "off", "turned", "unknown"]
    met: int = 0
    best: int = 0
    shift_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    exact: bool = True
    alike: bool = False
    by_grid: bool = False
    turn_deg: float = 0.0
    against: tuple[int, ...] = ()
    joints: int = 0
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Intake:
    """What arrived in one file, as far as it was read for a check.

    ``size_m`` is length, width and height of all bodies, None where there are none; ``distance_m`` how far their middle
    lies from the origin. ``roles`` counts elements by role, most frequent first, those without a role left out.
    """

    elements: int = 0
    bodies: int = 0
    size_m: tuple[float, float, float] | None = None
    distance_m: float = 0.0
    doubles: int = 0
    roles: Mapping[str, int] = field(default_factory=dict)
    fit: Fit = Fit("alone")
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True, slots=True)
class Model:
    """All models of one release in one frame.

    ``faults[i]`` says in words why element i cannot be measured (no body, broken body, open mesh), or is ``""``.
    Elements stand in the order of their GlobalIds, whatever the order of files was. ``intake`` tells of each source.
    """

    sources: tuple[Source, ...]
    elements: tuple[Element, ...]
    roles: tuple[Role, ...]
    meshes: Meshes
    faults: tuple[str, ...]
    grid: tuple[GridAxis, ...]
    origin: Floats
    notes: tuple[str, ...] = ()
    intake: tuple[Intake, ...] = ()


def is_global_id(text: str) -> bool:
    """Whether a text is a well-formed IFC GlobalId: 22 base-64 digits, the first of which holds two bits.

    >>> is_global_id("0Hl5ruT3P0lP$dF8GI_xQ2"), is_global_id("4Hl5ruT3P0lP$dF8GI_xQ2"), is_global_id("<script>")
    (True, False, False)
    """
    return len(text) == 22 and text[0] in "0123" and text.isascii() and text.replace("_", "").replace("$", "").isalnum()
