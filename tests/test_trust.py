"""Roles in buildings whose classes, names and placements say little or lie; each is written as IFC and read again.

What is right is known from how the building was drawn. Dimensions are common practice, no source.
"""

import random
import tomllib
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from read_kit import Kit

from checker import run
from checker.model import ModelFile
from checker.nameless import nameless_at_facade
from checker.output.explain import proposed_roles
from checker.rule import load_rules
from checker.settings import Settings, files_to_read, load_settings
from checker.wholes import bodies_without_seals

HERE = Path(__file__).resolve().parent
REAL_MODELS = HERE.parents[1] / "shared" / "real_models"
SAMPLES = HERE.parent / "sample_models"


def quiet(*_):
    """Nobody watches."""


class Site(Kit):
    """Blocks by size (x, y, z) and lowest corner in metres, all turned about the origin."""

    def __init__(self, schema="IFC4", unit="mm", turn=24.2, astray=0.0):
        """``astray`` is how far from its body the placement of each element lies."""
        super().__init__(schema, unit)
        self.turn, self.astray, self.count = np.radians(turn), astray, 0

    def put(self, ifc_class, size, at, name="", material="", section=None, **more):
        self.count += 1
        x, y = at[0] + size[0] / 2, at[1] + size[1] / 2
        cos, sin = np.cos(self.turn), np.sin(self.turn)
        away = self.astray * np.array([np.cos(self.count), np.sin(self.count), 0.5])
        place = (x * cos - y * sin - away[0], x * sin + y * cos - away[1], at[2] - away[2])
        inside = (away[0] * cos + away[1] * sin, -away[0] * sin + away[1] * cos, away[2])
        profile = section or self.rectangle(
            size[0], size[1], self.axes((0, 0)) if self.file.schema == "IFC2X3" else None
        )
        body = self.extrusion(profile, size[2], self.axes(inside))
        made = self.product(
            ifc_class, body, title=name.format(n=self.count) or None,
            placement=self.place(self.axes(place, z=(0, 0, 1), x=(cos, sin, 0))), **more,
        )  # fmt: skip
        if material:
            self.relate("IfcRelAssociatesMaterial", [made], self.make("IfcMaterial", material))
        return made

    def wide_flange(self, height=0.3, width=0.3):
        at = self.axes((0, 0)) if self.file.schema == "IFC2X3" else None
        sizes = (self.length(width), self.length(height), self.length(0.011), self.length(0.019))
        return self.make("IfcIShapeProfileDef", "AREA", None, at, *sizes, None)

    def recognised(self, folder, config=None, everything=False):
        files = [ModelFile(self.save(folder / "model.ifc"))]
        return run.recognise(files, config or Settings(), quiet, everything=everything)


def told(model):
    """How many elements have each role, by the part of their name before the first blank."""
    return Counter(
        (element.name.partition(" ")[0], role.role) for element, role in zip(model.elements, model.roles, strict=True)
    )


def confidences(model, role):
    return [found.confidence for found in model.roles if found.role == role]


# ---- a precast facade on columns ------------------------------------------------------------------------------------

BAYS, DEEP = 4, 2
RUNS = [
    *(((6 * b, -0.42), 0) for b in range(BAYS)),
    *(((6 * b, 6 * DEEP + 0.22), 0) for b in range(BAYS)),
    *(((-0.42, 6 * b), 1) for b in range(DEEP)),
    *(((6 * BAYS + 0.22, 6 * b), 1) for b in range(DEEP)),
]
"""Where bays of the facade begin, and along which axis they run."""


def precast(site, ifc_class="IfcBeam", name="W {n}", material="C45/55", rows=3, slabs=True):
    """Panels 5.98 x 2.38 x 0.20 m outside columns 0.40 x 0.40 m, with edge beams between the columns and binders."""
    for x in range(BAYS + 1):
        for y in range(DEEP + 1):
            if x in (0, BAYS) or y in (0, DEEP):
                site.put("IfcColumn", (0.4, 0.4, 8.0), (6 * x - 0.2, 6 * y - 0.2, -0.5), "C {n}", material)
    for (x, y), along in RUNS:
        for row in range(rows):
            size, at = ((0.2, 5.98), (x, y + 0.01)) if along else ((5.98, 0.2), (x + 0.01, y))
            site.put(ifc_class, (*size, 2.38), (*at, 2.4 * row + 0.01), name, material)
    for b in range(BAYS):
        for y in (0, 6 * DEEP):
            site.put("IfcBeam", (5.6, 0.3, 0.6), (6 * b + 0.2, y - 0.15, 6.5), "E {n}", material)
    for b in range(BAYS + 1):
        site.put("IfcBeam", (0.3, 6 * DEEP - 0.4, 0.9), (6 * b - 0.15, 0.2, 6.6), "T {n}", material)
    if slabs:
        site.put("IfcSlab", (6 * BAYS, 6 * DEEP, 0.2), (0, 0, -0.2), "S {n}", material, PredefinedType="FLOOR")
        site.put("IfcSlab", (6 * BAYS, 6 * DEEP, 0.2), (0, 0, 7.5), "R {n}", material, PredefinedType="ROOF")
    return site


PRECAST = {("C", "column"): 12, ("W", "panel"): 36, ("E", ""): 8, ("T", ""): 5, ("S", ""): 1, ("R", "roof"): 1}


@pytest.mark.parametrize(
    ("site", "more"),
    [
        (Site(), {}),
        (Site("IFC2X3", "m", 0.0), {"material": ""}),
        (Site("IFC4X3_ADD2", "foot", 90.0), {"slabs": False}),
        (Site(), {"ifc_class": "IfcWall"}),
        (Site(), {"ifc_class": "IfcBuildingElementProxy"}),
        (Site(), {"ifc_class": "IfcMember", "slabs": False}),
        (Site(), {"name": "W Precast wall panel {n}"}),
        (Site(), {"name": "W Стеновая панель {n}"}),
        (Site(), {"rows": 2}),
    ],
)
def test_a_precast_facade_on_columns(tmp_path, site, more):
    model = precast(site, **more).recognised(tmp_path)
    expected = dict(PRECAST) | {("W", "panel"): 12 * more.get("rows", 3)}
    assert told(model) == {
        kind: count for kind, count in expected.items() if more.get("slabs", True) or kind[0] not in "SR"
    }
    assert all(0.5 <= sure <= 0.8 for sure in confidences(model, "panel"))
    assert all(sure >= 0.75 for sure in confidences(model, "column"))


def test_a_placement_far_from_its_body_changes_no_role(tmp_path):
    near, far = (precast(Site(astray=away)).recognised(tmp_path) for away in (0.0, 60.0))
    assert [(r.role, r.confidence) for r in near.roles] == [(r.role, r.confidence) for r in far.roles]


# ---- a steel hall: real columns among what is merely called so ------------------------------------------------------

AXES = [(6.0 * b, y) for b in range(13) for y in (0.0, 24.0)]


def steel_hall(site, upstand=True):
    """26 columns with rafters, rails and a concrete upstand round the foot, and not one panel."""
    for x, y in AXES:
        site.put("IfcColumn", (0.3, 0.3, 8.0), (x - 0.15, y - 0.15, 0.0), "K {n}", section=site.wide_flange())
    for b in range(13):
        site.put("IfcBeam", (0.2, 24.0, 0.4), (6 * b - 0.1, 0, 8.0), "T {n}")
    for b in range(12):
        for y in (-0.25, 24.18):
            for z in (1.5, 3.0, 4.5, 6.0, 7.5):
                site.put("IfcMember", (5.98, 0.07, 0.2), (6 * b + 0.01, y, z), "G {n}")
        for y in (-0.45, 24.25):
            if upstand:
                site.put("IfcWall", (5.98, 0.2, 0.9), (6 * b + 0.01, y, -0.5), "U {n}", "C30/37")
    return site


def not_columns(site, count):
    """What detailers draw as IfcColumn: gussets, strips, posts, stiffeners, angles, stubs, base plates."""
    chance = random.Random(7)
    for k in range(count):
        x, y = chance.choice(AXES)
        x, y, z = x + chance.uniform(-0.4, 0.4), y + chance.uniform(-0.4, 0.4), chance.uniform(0.0, 7.0)
        size, at = (
            ((0.25, 0.012, 0.25), (x, y, z)),
            ((0.08, 0.008, 6.0), (x, y, 0.5)),
            ((0.06, 0.06, 1.1), (x + 3, y, 4.0)),
            ((0.08, 0.08, 2.2), (x + 2, y, 0.0)),
            ((0.30, 0.30, 0.02), (round(x / 6) * 6 - 0.15, round(y / 24) * 24 - 0.15, z)),
            ((0.05, 0.05, 2.8), (x, y, 0.0)),
            ((0.1, 0.1, 1.7), (x + 2.5, y, 1.0)),
            ((0.4, 0.4, 0.03), (round(x / 6) * 6 - 0.2, round(y / 24) * 24 - 0.2, -0.03)),
        )[k % 8]
        site.put("IfcColumn", size, at, "N {n}")


def test_real_columns_among_gussets_strips_and_posts(tmp_path):
    site = steel_hall(Site())
    not_columns(site, 943)
    assert len(site.file.by_type("IfcColumn")) == 969
    model = site.recognised(tmp_path)
    assert {kind: count for kind, count in told(model).items() if kind[1]} == {("K", "column"): 26}


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4"])
def test_a_steel_hall_without_panels_cannot_be_checked(tmp_path, schema):
    site = steel_hall(Site(schema))
    result = run.check([ModelFile(site.save(tmp_path / "steel.ifc"))], Settings(), load_rules(), quiet)
    assert "no panels were recognised among 183 elements" in result.unchecked
    assert (result.panels, result.columns, result.verdicts, result.issues) == (0, 26, (), ())
    model = site.recognised(tmp_path)
    assert {kind: count for kind, count in told(model).items() if kind[1]} == {("K", "column"): 26}


def test_columns_of_storey_pieces_are_chained(tmp_path):
    """Pieces from slab to slab, too short alone, and one that overlaps its neighbour."""
    site = Site()
    for x in (0, 6, 12):
        for low, high in ((0.0, 3.2), (3.2, 3.5), (3.5, 6.7), (6.6, 7.1), (7.1, 7.25)):
            site.put("IfcColumn", (0.25, 0.25, high - low), (x, 0, low), "C {n}")
        site.put("IfcColumn", (0.25, 0.25, 0.03), (x, 0, 7.25), "P {n}")  # a head plate
    assert told(site.recognised(tmp_path)) == {("C", "column"): 15, ("P", ""): 3}


def test_mullions_between_panes_are_no_columns(tmp_path):
    """Without a curtain wall, a name or a predefined type: posts 60 x 150 mm in the plane of the panes."""
    site = Site()
    for b in range(8):
        site.put("IfcPlate", (1.44, 0.1, 3.0), (1.5 * b + 0.03, 0.0, 0.0), "Panel {n}")
        site.put("IfcMember", (0.06, 0.15, 3.0), (1.5 * b - 0.03, -0.025, 0.0), "M {n}")
    site.put("IfcMember", (0.06, 0.15, 3.0), (1.5 * 8 - 0.03, -0.025, 0.0), "M {n}")
    found = told(site.recognised(tmp_path))
    assert found["Panel", "panel"] == 8
    assert found["M", ""] >= 7  # those at the two ends have a pane at one side only


# ---- names ----------------------------------------------------------------------------------------------------------


def sandwich_hall(site, panel, column, plinth, classes=("IfcBuildingElementProxy",) * 3, upstand=0.12, **more):
    for x in range(BAYS + 1):
        for y in range(DEEP + 1):
            if x in (0, BAYS) or y in (0, DEEP):
                site.put(classes[1], (0.3, 0.3, 7.0), (6 * x - 0.15, 6 * y - 0.15, -0.5), column)
    for (x, y), along in RUNS:
        x, y = (x + 0.17 if x < 0 else x - 0.02, y) if along else (x, y + 0.17 if y < 0 else y - 0.02)
        for row in range(6):
            size, at = ((0.08, 5.97), (x, y + 0.015)) if along else ((5.97, 0.08), (x + 0.015, y))
            site.put(classes[0], (*size, 1.0), (*at, 0.4 + row), panel, **more)
        size = (upstand, 5.97) if along else (5.97, upstand)
        site.put(classes[2], (*size, 0.9), (*at, -0.5), plinth)
    site.put("IfcSlab", (6 * BAYS, 6 * DEEP, 0.2), (0, 0, -0.2), "S", PredefinedType="FLOOR")
    site.put("IfcSlab", (6 * BAYS + 0.6, 6 * DEEP + 0.6, 0.2), (-0.3, -0.3, 6.6), "R", PredefinedType="ROOF")
    return site


@pytest.mark.parametrize(
    ("panel", "column", "plinth"),
    [
        ("Сэндвич-панель {n}", "Колонна {n}", "Цоколь {n}"),
        ("Стінова-панель {n}", "Колона {n}", "Цоколь {n}"),
        ("夹芯板 {n}", "柱 {n}", "勒脚 {n}"),
        ("サンドイッチパネル {n}", "柱 {n}", "腰壁 {n}"),
        ("샌드위치판넬 {n}", "기둥 {n}", "P {n}"),
        ("لوح {n}", "عمود {n}", "وزرة {n}"),
        ("Sandviç-panel {n}", "Kolon {n}", "Subasman {n}"),
        ("Płyta-warstwowa {n}", "Słup {n}", "Cokół {n}"),
        ("P {n}", "C {n}", "Q {n}"),
    ],
)
def test_names_in_any_script_and_none(tmp_path, panel, column, plinth):
    model = sandwich_hall(Site(), panel, column, plinth).recognised(tmp_path)
    first = [name.partition(" ")[0] for name in (panel, column, plinth)]
    assert told(model) == {
        (first[0], "panel"): 72, (first[1], "column"): 12, (first[2], "plinth"): 12, ("S", ""): 1, ("R", "roof"): 1,
    }  # fmt: skip


def test_facade_panels_as_windows(tmp_path):
    classes = ("IfcWindow", "IfcColumn", "IfcWall")
    found = told(sandwich_hall(Site(), "Fassadenpaneel {n}", "C {n}", "Sockel {n}", classes).recognised(tmp_path))
    assert found["Fassadenpaneel", "panel"] == 72
    found = told(sandwich_hall(Site(), "W {n}", "C {n}", "Sockel {n}", classes).recognised(tmp_path))
    assert found["W", "panel"] == 72


LIES = {
    "Eiche": ("IfcCovering", (0.04, 11.0, 2.6), (10.1, 0.4, 0.1), "Wandpaneel", ""),
    "Trennwand": ("IfcWall", (6.0, 0.1, 3.0), (16.0, 4.0, 0.0), "Sandwichpaneel", "panel"),
    "on the wall": ("IfcBuildingElementProxy", (0.8, 0.25, 0.6), (12.0, 6.2, 1.2), "Panel", ""),
    "cabinet": ("IfcBuildingElementProxy", (0.8, 0.3, 2.0), (14.0, 6.2, 0.0), "Panel", ""),
    "400 W": ("IfcBuildingElementProxy", (1.7, 0.04, 1.0), (3.0, -0.4, 3.0), "Solar panel", ""),
    "charging": ("IfcBuildingElementProxy", (0.4, 0.3, 2.2), (6.0, -3.0, 0.0), "Ladesäule", ""),
    "of a table": ("IfcBuildingElementProxy", (0.5, 0.02, 2.4), (15.0, 6.25, 0.0), "Column", ""),
    "of text": ("IfcBuildingElementProxy", (0.3, 2.0, 0.005), (30.0, 6.0, 0.0), "Column", ""),
    "north": ("IfcBuildingElementProxy", (10.0, 0.05, 2.0), (2.0, -8.0, 0.0), "Zaunpaneel", ""),
    "7": ("IfcBuildingElementProxy", (2.5, 0.05, 2.0), (14.0, -8.0, 0.0), "Panel", "panel"),
    "leaf": ("IfcDoor", (1.0, 0.1, 2.0), (12.0, 5.9, 0.0), "Door panel", "door"),
}
"""Words that promise what the things are not: class, size, place, first words of the name, role."""


def test_names_that_lie(tmp_path):
    classes = ("IfcPlate", "IfcColumn", "IfcWall")
    site = sandwich_hall(Site(), "Sandwichpaneel {n}", "Stütze {n}", "Sockel {n}", classes)
    for name, (ifc_class, size, at, words, _) in LIES.items():
        site.put(ifc_class, size, at, f"{words} {name}")
    model = site.recognised(tmp_path)
    found = {element.name: role for element, role in zip(model.elements, model.roles, strict=True)}
    right = {f"{words} {name}": role for name, (_, _, _, words, role) in LIES.items()}
    assert {name: found[name].role for name in right} == right
    # What may be a panel and stands inside or free says so.
    for name, why in (("Sandwichpaneel Trennwand", "stands inside"), ("Panel 7", "stands free")):
        assert found[name].confidence < 0.5
        assert found[name].reason.endswith(why)
    facade = [r for e, r in zip(model.elements, model.roles, strict=True) if e.ifc_class == "IfcPlate"]
    assert all(role.role == "panel" and role.confidence > 0.8 for role in facade)


# ---- wholes and parts -----------------------------------------------------------------------------------------------

SHEETS = (("IfcPlate", 0.0, 0.001), ("IfcBuildingElementPart", 0.001, 0.119), ("IfcPlate", 0.119, 0.12))


def assembly(site, at, name="Sandwich panel {n}", ifc_class="IfcElementAssembly", names=("", "", ""), seal=False):
    """A panel of two sheets and a core, 5.97 x 1.0 m, without a body of its own."""
    parts = [
        site.put(kind, (5.97, high - low, 1.0), (at[0], at[1] + low, at[2]), words)
        for (kind, low, high), words in zip(SHEETS, names, strict=True)
    ]
    if seal:
        parts.append(site.put("IfcDiscreteAccessory", (0.04, 0.01, 1.0), (at[0] - 0.03, at[1] + 0.12, at[2]), "Seal"))
    whole = site.product(ifc_class, title=name.format(n=site.count))
    site.relate("IfcRelAggregates", whole, parts)
    return whole, parts


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3_ADD2"])
@pytest.mark.parametrize("ifc_class", ["IfcElementAssembly", "IfcWall"])
@pytest.mark.parametrize("names", [("", "", ""), ("Outer sheet", "Mineral wool", "Inner sheet")])
def test_an_assembly_of_layers_is_one_panel(tmp_path, schema, ifc_class, names):
    site = Site(schema)
    made = [assembly(site, (6.0 * b, 0.0, z), ifc_class=ifc_class, names=names) for b in range(2) for z in (0.0, 1.0)]
    model = site.recognised(tmp_path, everything=True)
    roles = {element.guid: role for element, role in zip(model.elements, model.roles, strict=True)}
    shown = {element.guid: element.shown for element in model.elements}
    assert sorted(guid for guid, role in roles.items() if role.role) == sorted(whole.GlobalId for whole, _ in made)
    for whole, parts in made:
        assert roles[whole.GlobalId].role == "panel"
        assert shown[whole.GlobalId] == tuple(part.GlobalId for part in parts)
        assert {roles[part.GlobalId].part_of for part in parts} == {whole.GlobalId}
    assert len(nameless_at_facade(model)) == 0


def test_a_seal_among_the_layers_keeps_its_role_and_does_not_lengthen_the_panel(tmp_path):
    site = Site(turn=0.0)
    whole, _ = assembly(site, (0.0, 0.0, 0.0), seal=True)
    model = site.recognised(tmp_path)
    roles = [
        (element.name.partition(" ")[0], role.role) for element, role in zip(model.elements, model.roles, strict=True)
    ]
    assert sorted(roles) == [("", ""), ("", ""), ("", ""), ("Sandwich", "panel"), ("Seal", "seal")]
    (i,) = (i for i, element in enumerate(model.elements) if element.guid == whole.GlobalId)
    points = model.meshes.points[model.meshes.point_start[i] : model.meshes.point_start[i + 1]]
    assert np.ptp(points, axis=0) == pytest.approx([5.97, 0.12, 1.0])
    again = bodies_without_seals(model.elements, model.roles, model.meshes)
    assert np.array_equal(again.points, model.meshes.points)


def test_an_assembly_that_gathers_many_things_is_none_of_them(tmp_path):
    site = Site()
    panels = [site.put("IfcPlate", (5.97, 0.12, 1.0), (0.0, 0.0, z), "Panel {n}") for z in range(4)]
    site.relate("IfcRelAggregates", site.product("IfcElementAssembly", title="Sandwich panels axis A"), panels)
    frame = [site.put("IfcColumn", (0.3, 0.3, 6.0), (x, 1.0, 0.0), "K {n}") for x in (0.0, 6.0)]
    frame.append(site.put("IfcPlate", (0.4, 0.4, 0.03), (0.0, 1.0, 0.0), "Base plate"))
    site.relate("IfcRelAggregates", site.product("IfcElementAssembly", title="Column frame"), frame)
    assert {kind: count for kind, count in told(site.recognised(tmp_path)).items() if kind[1]} == {
        ("Panel", "panel"): 4,
        ("K", "column"): 2,
    }


@pytest.mark.parametrize(
    ("gap", "name", "expected"),
    [
        (0.0, "", {("Wall", "panel"): 1, ("", ""): 3}),  # pieces of one wall
        (0.001, "", {("Wall", "panel"): 1, ("", ""): 3}),
        (0.02, "", {("Wall", ""): 1, ("", "panel"): 3}),  # seams between panels
        (0.0, "Panel {n}", {("Wall", ""): 1, ("Panel", "panel"): 3}),
    ],
)
def test_pieces_of_a_wall_without_a_body(tmp_path, gap, name, expected):
    site = Site()
    parts = [site.put("IfcBuildingElementPart", (2.0 - gap, 0.2, 3.0), (2.0 * k, 0.0, 0.0), name) for k in range(3)]
    site.relate("IfcRelAggregates", site.product("IfcWall", title="Wall panel"), parts)
    assert told(site.recognised(tmp_path)) == expected


def test_a_wall_of_studs_and_boards_is_one_panel(tmp_path):
    site = Site()
    parts = [site.put("IfcMember", (0.06, 0.16, 2.8), (0.6 * k, 0.015, 0.0), "Stud {n}") for k in range(6)]
    parts += [site.put("IfcPlate", (3.06, 0.015, 2.8), (0.0, y, 0.0), "Board {n}") for y in (0.0, 0.175)]
    wall = site.product("IfcWall", title="Wall element")
    site.relate("IfcRelAggregates", wall, parts)
    model = site.recognised(tmp_path, everything=True)
    assert {kind: n for kind, n in told(model).items() if kind[1]} == {("Wall", "panel"): 1}
    assert len(nameless_at_facade(model)) == 0


# ---- seamtrace roles ------------------------------------------------------------------------------------------------


def proposal(paths, folder):
    """What was recognised, and once more with the proposed section as the project file."""
    files = files_to_read(paths, Settings())
    model = run.recognise(files, Settings(), quiet, everything=True)
    written = folder / "proposed.toml"
    written.write_text(proposed_roles(model, nameless_at_facade(model)), encoding="utf-8")
    again = run.recognise(files, load_settings(written, load_rules()), quiet, everything=True)
    return model, again, written.read_text(encoding="utf-8")


def trips():
    yield pytest.param(sorted((SAMPLES / "clean").glob("*.ifc")), id="sample hall")
    for path in sorted(REAL_MODELS.glob("*.ifc")):
        yield pytest.param([path], id=path.stem)


@pytest.mark.parametrize("paths", list(trips()))
def test_a_proposal_loads_and_gives_the_same_roles(tmp_path, paths):
    model, again, text = proposal(paths, tmp_path)
    assert [role.role for role in again.roles] == [role.role for role in model.roles]
    assert again.notes == model.notes  # no query names nothing
    for before, after in zip(model.roles, again.roles, strict=True):
        sure = bool(before.role) and before.confidence >= 0.5
        assert (after.reason == "project query") == sure
    doubtful = {role.role for role in model.roles if role.role and role.confidence < 0.5}
    certain = {role.role for role in model.roles if role.confidence >= 0.5} - {""}
    assert set(tomllib.loads(text)["roles"]) == certain
    assert text.count("# Doubtful, so left to be recognised") == len(doubtful)


def test_reading_everything_changes_no_role(tmp_path):
    """``seamtrace roles`` reads bodies that a check does not: both must see the same."""
    for path in (*REAL_MODELS.glob("curtain-only.ifc"), precast(Site()).save(tmp_path / "precast.ifc")):
        files = files_to_read([path], Settings())
        some, all_of_it = (run.recognise(files, Settings(), quiet, everything=e) for e in (False, True))
        assert some.roles == all_of_it.roles


@pytest.mark.parametrize(
    ("file", "expected"),
    [
        ("curtain-only", {"panel": 324, "nameless": 613}),  # 611 mullions and transoms, and two floors behind them
        ("aac-plot01-old", {"panel": 20, "nameless": 10}),  # walls; the rest fills narrow gaps between them
        ("aac-plot01-new", {"panel": 21, "nameless": 10}),
        ("composite-parts", {"panel": 16, "column": 20}),
        ("tall-building", {"panel": 16, "column": 0, "window": 21}),
        ("lab-mixed-ifc4", {"panel": 42, "column": 84, "window": 24, "base-rail": 0}),
    ],
)
def test_roles_of_real_models(file, expected):
    """As a person sees them; walls of buildings are the facade's panels with a doubt."""
    path = REAL_MODELS / f"{file}.ifc"
    if not path.exists():
        pytest.skip("real models are not at hand")
    model = run.recognise(files_to_read([path], Settings()), Settings(), quiet, everything=True)
    found = Counter(role.role for role in model.roles) | Counter(nameless=len(nameless_at_facade(model)))
    assert {role: found[role] for role in expected} == expected
    if file != "curtain-only" and not file.startswith("aac"):
        assert np.mean(confidences(model, "panel")) < 0.5
