"""Writes the sample hall as IFC files. What is written is told by `checker.demo.hall`; how, by the options."""

import random
import re
import uuid
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, Final, Literal

import ifcopenshell
import ifcopenshell.guid

from checker.demo.bodies import DIGITS, MM, WAYS, Body, Pose, Schema, Sheet, Unit, shape
from checker.demo.hall import Hall, Part, Place
from checker.demo.kinds import KINDS, Kind

PROJECT: Final = "Cold store Vesterhavn"
OFFICE: Final = "Vesterhavn design office"
SAVED: Final = "2026-03-02T08:00:00"
SAVED_SECONDS: Final = 1772438400
_SPACE: Final = uuid.UUID("6f1a52d6-41f0-5d38-9c1e-0b6a7b1f3c55")

Conversion = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Options:
    """How the sample hall is written.

    ``turn_deg`` turns the whole building about the vertical, ``offset_m`` then moves it, ``site_offset_m`` moves the
    site it stands on. ``mirror`` builds the mirror image in plan. ``nested`` gives site, building, storey and assembly
    placements of their own, which leave the building where it is. ``map_conversion`` gives each file, in the order
    structure, facade, precast (or as many as there are), an (eastings, northings, height, rotation in degrees) or
    None; coordinates in the files differ so that all meet on the map. ``shuffle`` seeds another order of elements and
    numbers. ``body`` is how solids are described; "mixed" takes each way in turn. ``saved`` is the time stamp of the
    files; parts whose keys begin with one of ``reissued`` get other GlobalIds, as careless exports give them.
    """

    schema: Schema = "IFC4"
    unit: Unit = "mm"
    turn_deg: float = 0.0
    offset_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    mirror: bool = False
    body: Body = "extrusion"
    nested: bool = False
    site_offset_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    map_conversion: tuple[Conversion | None, ...] | None = None
    shuffle: int | None = None
    split: Literal["three", "one", "many"] = "three"
    zipped: bool = False
    names: Literal["plain", "codes", "german"] = "plain"
    saved: str = SAVED
    reissued: tuple[str, ...] = ()

    @property
    def tongues(self) -> bool:
        """Whether panel edges have tongue and groove."""
        return self.body in {"brep", "tessellation", "mixed"}


@dataclass(frozen=True, slots=True)
class Written:
    """The files, where the building stands in the coordinates of the first, and what they call each part."""

    files: tuple[Path, ...]
    building: Pose
    names: Mapping[str, str]


def guid(key: str) -> str:
    """The GlobalId of what has this stable name.

    >>> guid("A/panel/1/1") == guid("A/panel/1/1") != guid("A/panel/1/2")
    True
    """
    compressed: str = ifcopenshell.guid.compress(uuid.uuid5(_SPACE, key).hex)
    return compressed


def write_files(folder: Path, hall: Hall, options: Options) -> Written:
    """Writes the hall into ``folder``, one file for each trade or as the options say."""
    files = _files_of(hall, options.split)
    conversions = options.map_conversion or (None,) * len(files)
    if options.map_conversion and options.schema == "IFC2X3":
        raise ValueError("IFC2X3 has no map conversion.")
    if len(conversions) != len(files):
        raise ValueError(f"map_conversion needs {len(files)} entries, one for each of {', '.join(files)}.")
    x, y, z = (1000.0 * (a + b) for a, b in zip(options.offset_m, options.site_offset_m, strict=True))
    building = Pose.turned(options.turn_deg, x, y, z)
    folder.mkdir(parents=True, exist_ok=True)
    paths: list[Path] = []
    names: dict[str, str] = {}
    first = conversions[0]
    for (name, parts), conversion in zip(files.items(), conversions, strict=True):
        own = building
        if conversion is not None and first is not None:
            own = _on_map(conversion).inverse().after(_on_map(first)).after(building)
        writer = _Writer(hall, name, options, own, conversion)
        if not paths:
            writer.draw_grid()
        names |= {key: element.Name for key, element in writer.write(parts).items()}
        data = writer.text().encode("ascii")
        path = folder / f"{name}.{'ifczip' if options.zipped else 'ifc'}"
        path.write_bytes(zipped(f"{name}.ifc", data) if options.zipped else data)
        paths.append(path)
    return Written(tuple(paths), building, names)


def _files_of(hall: Hall, split: str) -> dict[str, list[Part]]:
    """Which parts go to which file; openings and what fills them stay with the panels they cut."""
    files: dict[str, list[Part]] = {} if split == "one" else {"structure": [], "facade": [], "precast": []}
    for part in hall.parts.values():
        name: str = "hall" if split == "one" else KINDS[part.kind].trade
        if split == "many" and name == "facade":
            with_panels = part.kind in {"panel", "opening", "window", "door"}
            name = f"panels-{part.frame.lower()}" if with_panels else "seals" if part.sealed is None else "flashings"
        files.setdefault(name, []).append(part)
    return {name: parts for name, parts in files.items() if parts}


def _on_map(conversion: Conversion) -> Pose:
    e, n, h, angle = conversion
    return Pose.turned(angle, 1000.0 * e, 1000.0 * n, 1000.0 * h)


class _Writer:
    """One IFC file in the making: its spatial structure, then its elements, then what relates them."""

    def __init__(self, hall: Hall, name: str, options: Options, building: Pose, conversion: Conversion | None) -> None:
        self.hall, self.name, self.options = hall, name, options
        self.german = options.names == "german"
        self.sheet = Sheet(options.schema, options.unit)
        self.schema = ifcopenshell.schema_by_name(self.sheet.file.schema_identifier)
        self.assemblies: dict[str, tuple[Any, Any, Pose]] = {}
        # Elements by what they have in common, until the relations are written.
        self.inside: dict[str, list[Any]] = {}
        self.materials: dict[str, list[Any]] = {}
        self.types: dict[str, list[Any]] = {}
        self.stated: dict[tuple[str, str, bool], list[Any]] = {}
        self.spatial_structure(building, conversion)

    def rooted(self, kind: str, key: str, *values: Any) -> Any:
        """An entity with a GlobalId from its key."""
        again = "/again" if key.startswith(self.options.reissued or "\n") else ""
        return self.sheet.new(kind, guid(key + again), self.owner, *values)

    def placement(self, above: Any, pose: Pose) -> Any:
        """A placement of its own, in the frame of the one above."""
        return self.sheet.new("IfcLocalPlacement", above, self.sheet.pose(pose))

    def spatial_structure(self, building: Pose, conversion: Conversion | None) -> None:
        """Owner, units, contexts, project, site, building and storey."""
        new, options = self.sheet.new, self.options
        office = new("IfcOrganization", None, OFFICE)
        person = new("IfcPersonAndOrganization", new("IfcPerson", None, "Coordinator"), office)
        tool = new("IfcApplication", office, "1", "seamtrace sample", "seamtrace-sample")
        self.owner = new("IfcOwnerHistory", person, tool, None, "NOCHANGE", None, None, None, SAVED_SECONDS)
        units = [
            self.length_unit(),
            new("IfcSIUnit", None, "AREAUNIT", None, "SQUARE_METRE"),
            new("IfcSIUnit", None, "VOLUMEUNIT", None, "CUBIC_METRE"),
            new("IfcSIUnit", None, "PLANEANGLEUNIT", None, "RADIAN"),
        ]
        world, precision = self.sheet.pose(Pose()), 10.0 ** -DIGITS[options.unit]
        model = new("IfcGeometricRepresentationContext", None, "Model", 3, precision, world, None)
        inherited = ("Model", None, None, None, None, model, None)
        self.body = new("IfcGeometricRepresentationSubContext", "Body", *inherited, "MODEL_VIEW", None)
        self.lines = new("IfcGeometricRepresentationSubContext", "FootPrint", *inherited, "PLAN_VIEW", None)
        assigned = new("IfcUnitAssignment", tuple(units))
        project = self.rooted("IfcProject", f"project/{self.name}", PROJECT, *(None,) * 4, (model,), assigned)
        if conversion is not None:
            turn = Pose.turned(conversion[3])
            metre = new("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
            crs = new("IfcProjectedCRS", "EPSG:25832", *(None,) * 5, metre)
            scale = MM[options.unit] / 1000.0
            new("IfcMapConversion", model, crs, *map(float, conversion[:3]), turn.cosine, turn.sine, scale)

        above, at = project, None
        for kind, name, pose in zip(
            ("IfcSite", "IfcBuilding", "IfcBuildingStorey"),
            ("Site", "Hall", "Ground floor"),
            self.poses(building),
            strict=True,
        ):
            at = self.placement(at, pose)
            entity = self.rooted(kind, kind, name, None, None, at, None, None, "ELEMENT")
            self.rooted("IfcRelAggregates", f"aggregates/{self.name}/{kind}", None, None, above, (entity,))
            above = entity
        above.Elevation = 0.0
        self.storey, self.storey_at = above, at

    def poses(self, building: Pose) -> tuple[Pose, Pose, Pose]:
        """Placements of site, building and storey, each in the one before; together they make ``building``."""
        x, y, z = (1000.0 * value for value in self.options.site_offset_m)
        if not self.options.nested:
            site = Pose(1.0, 0.0, x, y, z)
            return site, site.inverse().after(building), Pose()
        site = Pose.turned(30.0, x + 4000.0, y - 2500.0, z + 125.0)
        house = Pose.turned(-75.0, 1200.0, 3400.0, -250.0)
        return site, house, site.after(house).inverse().after(building)

    def length_unit(self) -> Any:
        unit, new = self.options.unit, self.sheet.new
        if unit in {"mm", "cm", "m"}:
            prefix = {"mm": "MILLI", "cm": "CENTI", "m": None}[unit]
            return new("IfcSIUnit", None, "LENGTHUNIT", prefix, "METRE")
        metre = new("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
        measure = new("IfcMeasureWithUnit", new("IfcRatioMeasure", MM[unit] / 1000.0), metre)
        powers = new("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
        return new("IfcConversionBasedUnit", powers, "LENGTHUNIT", unit.upper(), measure)

    def draw_grid(self) -> None:
        """Axes 1 to 5 and A to D."""
        new, point = self.sheet.new, self.sheet.point
        curves = {tag: new("IfcPolyline", (point(*a), point(*b))) for tag, a, b in self.hall.grid}
        axes = {tag: new("IfcGridAxis", tag, curve, True) for tag, curve in curves.items()}
        flat = new("IfcGeometricCurveSet", tuple(curves.values()))
        drawn = new("IfcShapeRepresentation", self.lines, "FootPrint", "GeometricCurveSet", (flat,))
        shape_of = new("IfcProductDefinitionShape", None, None, (drawn,))
        at = self.placement(self.storey_at, Pose())
        sets = [tuple(axis for tag, axis in axes.items() if tag.isdigit() == number) for number in (True, False)]
        grid = self.rooted("IfcGrid", f"grid/{self.name}", "Grid", None, None, at, shape_of, *sets, None)
        self.inside.setdefault("", []).append(grid)

    def write(self, parts: Iterable[Part]) -> dict[str, Any]:
        """Writes the parts and all that relates them; returns the elements by the keys of their parts."""
        made: dict[str, Any] = {}
        for turn, part in enumerate(parts):
            made[part.key] = self.element(part, turn, made)
        self.relations()
        return made

    def element(self, part: Part, turn: int, made: Mapping[str, Any]) -> Any:
        kind = KINDS[part.kind]
        ifc_class, use = kind.classed(self.german, self.options.schema == "IFC4X3")
        pose, origin = self.own_axes(part)
        above, at = self.above(part, made)
        placement = self.placement(above, at.inverse().after(pose))
        way = WAYS[turn % len(WAYS)] if self.options.body == "mixed" else self.options.body
        body = shape(self.sheet, self.body, part, origin, "extrusion" if part.kind == "opening" else way)
        name, object_type, tag = self.called(part, kind)
        entity = self.rooted(ifc_class, part.key, name, None, object_type, placement, body)
        self.predefined(entity, use)
        if hasattr(entity, "Tag"):
            entity.Tag = tag
        if part.kind in {"window", "door"}:
            low, high = part.bounds()
            entity.OverallHeight = self.sheet.length(high[1] - low[1])
            entity.OverallWidth = self.sheet.length(high[0] - low[0])
        if part.kind == "door" and hasattr(entity, "OperationType"):
            entity.OperationType = "ROLLINGUP"
        self.note(part, kind, entity, made)
        return entity

    def own_axes(self, part: Part) -> tuple[Pose, Place]:
        """Where a part's own axes (along, inwards, up) stand in the hall, and their origin (u, v, n)."""
        low, high = part.bounds()
        frame, origin = self.hall.frames[part.frame], (low[0], low[1], high[2])
        return Pose(*frame.along, *frame.world(origin)), origin

    def above(self, part: Part, made: Mapping[str, Any]) -> tuple[Any, Pose]:
        """The placement a part's own refers to, and where that is in the hall."""
        if part.host:
            # An opening stands in the frame of its panel, a window in that of its opening.
            return made[part.host].ObjectPlacement, self.own_axes(self.hall.parts[part.host])[0]
        if not self.options.nested or not part.frame:
            return self.storey_at, Pose()
        if part.frame not in self.assemblies:
            place = self.hall.frames[part.frame].world((1500.0, 750.0, -300.0))
            pose = Pose.turned(40.0 + 25.0 * len(self.assemblies), *place)
            at = self.placement(self.storey_at, pose)
            key, name = f"assembly/{self.name}/{part.frame}", f"Facade {part.frame}"
            more = (None, "SITE", "USERDEFINED")
            entity = self.rooted("IfcElementAssembly", key, name, None, "Facade package", at, None, *more)
            self.assemblies[part.frame] = entity, at, pose
            self.inside.setdefault("", []).append(entity)
        _, at, pose = self.assemblies[part.frame]
        return at, pose

    def predefined(self, entity: Any, use: str) -> None:
        """Sets the predefined type where this schema has one; older schemas know fewer."""
        declared: Any = self.schema.declaration_by_name(entity.is_a())
        for attribute in declared.all_attributes():
            if attribute.name() == "PredefinedType":
                known = attribute.type_of_attribute().declared_type().enumeration_items()
                entity.PredefinedType = use if use in known else "NOTDEFINED"

    def called(self, part: Part, kind: Kind) -> tuple[str, str | None, str]:
        """Name, object type and tag. Codes tell nothing but the schema's own terms for fillers and flashings."""
        tag = f"{kind.mark}{part.number:04d}"
        if self.options.names == "codes":
            return tag, kind.newer or None, tag
        name, _, object_type, _ = kind.words(self.german)
        where = str(part.number)
        if part.kind in {"column", "inner-column"}:
            where = part.axis if part.key.startswith("corner/") else part.frame + part.axis
        elif part.bay:
            where = f"{part.frame}{part.bay}" + (f".{part.row}" if part.row else "")
        return f"{name} {where}", object_type or None, tag

    def note(self, part: Part, kind: Kind, entity: Any, made: Mapping[str, Any]) -> None:
        """What the element has in common with others, and what it stands in."""
        if part.kind == "opening":
            self.rooted("IfcRelVoidsElement", f"voids/{part.key}", None, None, made[part.host], entity)
            return
        if part.host:
            self.rooted("IfcRelFillsElement", f"fills/{part.key}", None, None, made[part.host], entity)
        self.inside.setdefault(part.frame if self.options.nested else "", []).append(entity)
        if self.options.names != "codes":
            self.materials.setdefault(kind.words(self.german)[3], []).append(entity)
        self.types.setdefault(part.kind, []).append(entity)
        if part.sealed is not None:
            self.stated.setdefault(("Seamtrace_Seal", "LapSealed", part.sealed), []).append(entity)
        if part.kind in {"panel", "window", "door"}:
            pset = f"Pset_{entity.is_a()[3:]}Common"
            self.stated.setdefault((pset, "IsExternal", True), []).append(entity)

    def relations(self) -> None:
        new, rooted = self.sheet.new, self.rooted
        for material, elements in sorted(self.materials.items()):
            key, entity = f"material/{self.name}/{material}", new("IfcMaterial", material)
            rooted("IfcRelAssociatesMaterial", key, None, None, tuple(elements), entity)
        for part_kind, elements in sorted(self.types.items()):
            self.give_type(part_kind, elements)
        for (name, what, value), elements in sorted(self.stated.items()):
            said = new("IfcPropertySingleValue", what, None, new("IfcBoolean", value), None)
            key = f"{name}/{self.name}/{value}"
            pset = rooted("IfcPropertySet", key, name, None, (said,))
            rooted("IfcRelDefinesByProperties", f"states/{key}", None, None, tuple(elements), pset)
        for frame, elements in sorted(self.inside.items()):
            key = f"inside/{self.name}/{frame}"
            if frame:
                whole = self.assemblies[frame][0]
                rooted("IfcRelAggregates", key, None, None, whole, tuple(elements))
            else:
                rooted("IfcRelContainedInSpatialStructure", key, None, None, tuple(elements), self.storey)

    def give_type(self, part_kind: str, elements: Sequence[Any]) -> None:
        """One type for all parts of a kind, where the schema has such a type."""
        kind = KINDS[part_kind]
        ifc_class, use = kind.classed(self.german, self.options.schema == "IFC4X3")
        try:
            self.schema.declaration_by_name(f"{ifc_class}Type")
        except RuntimeError:
            return
        name, object_type = kind.words(self.german)[1:3]
        if self.options.names == "codes":
            name, object_type = f"{kind.mark}-{list(KINDS).index(part_kind):02d}", kind.newer
        entity = self.rooted(f"{ifc_class}Type", f"type/{self.name}/{part_kind}", name)
        entity.ElementType = object_type or None
        self.predefined(entity, use)
        if part_kind == "window":
            entity.PartitioningType = "SINGLE_PANEL"
        if part_kind == "door":
            entity.OperationType = "ROLLINGUP"
        self.rooted("IfcRelDefinesByType", f"typed/{self.name}/{part_kind}", None, None, tuple(elements), entity)

    def text(self) -> str:
        """The finished file; its header holds nothing of this machine or hour."""
        header = self.sheet.file.header
        header.file_description.description = ("ViewDefinition [CoordinationView]",)
        name = header.file_name
        name.name, name.time_stamp = f"{self.name}.ifc", self.options.saved
        name.author, name.organization, name.authorization = ("Coordinator",), (OFFICE,), "none"
        name.preprocessor_version = name.originating_system = "seamtrace sample"
        text: str = self.sheet.file.to_string()
        return text if self.options.shuffle is None else _shuffled(text, self.options.shuffle)


def _shuffled(text: str, seed: int) -> str:
    """The same file with its instances numbered and ordered anew."""
    head, rest = text.split("DATA;\n", 1)
    data, tail = rest.split("ENDSEC;", 1)
    lines = data.splitlines()
    numbers = [int(line[1 : line.index("=")]) for line in lines]
    pick = random.Random(seed)
    fresh = dict(zip(numbers, pick.sample(range(1, 4 * len(numbers)), len(numbers)), strict=True))
    # No text of the sample holds a number sign: each one is a reference.
    lines = [re.sub(r"#(\d+)", lambda found: f"#{fresh[int(found[1])]}", line) for line in lines]
    pick.shuffle(lines)
    return head + "DATA;\n" + "\n".join(lines) + "\nENDSEC;" + tail


def zipped(name: str, data: bytes) -> bytes:
    """A zip file of one entry that is the same whenever it is made."""
    whole = BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        entry = zipfile.ZipInfo(name, (2026, 3, 2, 8, 0, 0))
        entry.compress_type = zipfile.ZIP_DEFLATED
        archive.writestr(entry, data)
    return whole.getvalue()
