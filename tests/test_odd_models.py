"""Models as other programs leave them: ribbed precast panels, parts that come to nothing, files cut or turned."""

import math
import os
import re
import time
from pathlib import Path

import pytest
from read_kit import Kit

from checker import run
from checker.errors import BadModel
from checker.model import ModelFile
from checker.nameless import nameless_at_facade
from checker.output.explain import recognised
from checker.read import open_models
from checker.rule import load_rules
from checker.settings import Settings, files_to_read

BAY, HIGH, THICK, COLUMN = 6.0, 2.4, 0.24, 0.4
RULES = load_rules()


def turned(x, y, turn_deg, moved=(0.0, 0.0)):
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return c * x - s * y + moved[0], s * x + c * y + moved[1]


class Precast:
    """A ring of panels before columns, 3 bays by 2 of 6 m, two rows; ``kit`` holds panels, ``other`` columns."""

    def __init__(
        self, one=True, gap=0.03, joint=0.0, ribs=False, turn=0.0, moved=(0.0, 0.0), columns_out=0.0, size=(3, 2),
        salt="", at=(0.0, 0.0), kind="IfcWall", **kit
    ):  # fmt: skip
        self.kind = "IfcBeam" if ribs else kind
        self.kit = Kit(salt=salt, **kit)
        self.other = self.kit if one else Kit(salt=f"columns{salt}", **kit)
        for one in {self.kit, self.other}:
            one.site = one.place(one.axes((*at, 0.0)))
        self.panels, self.columns = [], []
        long, wide = (BAY * n for n in size)
        for x in range(size[0] + 1):
            for y in range(size[1] + 1):
                if x in (0, size[0]) or y in (0, size[1]):
                    self._column(x * BAY, y * BAY + (-columns_out if y == 0 else 0.0))
        starts = ((0, 0), (long, 0), (long, wide), (0, wide))
        for side, (x0, y0) in enumerate(starts):
            bays = size[side % 2]
            along = (math.cos(side * math.pi / 2), math.sin(side * math.pi / 2))
            for bay in range(bays):
                # The panels of the long sides cover the ends of those of the short ones.
                over = COLUMN / 2 + (THICK if side % 2 == 0 else -0.02)
                a = bay * BAY + (gap / 2 if bay else -over)
                b = (bay + 1) * BAY - (gap / 2 if bay < bays - 1 else -over)
                for row in range(2):
                    self._panel(x0, y0, along, a, b, row * (HIGH + joint), ribs, turn, moved)

    def _column(self, x, y):
        kit = self.other
        self.columns.append(kit.product("IfcColumn", kit.box(COLUMN, COLUMN, 5.2), at=(x, y, 0.0), title="C"))

    def _panel(self, x0, y0, along, a, b, low, ribs, turn, moved):
        kit, (c, s) = self.kit, along
        out = COLUMN / 2
        x, y = turned(x0 + c * a + s * out, y0 + s * a - c * out, turn, moved)
        outline = [(0, -THICK), (b - a, -THICK), (b - a, 0), (0, 0)]
        if ribs:  # two of them, 0.2 m wide, 0.12 m deep, half a metre from the ends
            right = [(b - a - 0.5, 0), (b - a - 0.5, 0.12), (b - a - 0.7, 0.12), (b - a - 0.7, 0)]
            outline[3:3] = [*right, (0.7, 0), (0.7, 0.12), (0.5, 0.12), (0.5, 0)]
        way = turned(c, s, turn)
        place = kit.place(kit.axes((x, y, low), (0, 0, 1), (*way, 0.0)))
        body = kit.extrusion(kit.polygon(outline), HIGH)
        title = None if self.kind == "IfcWindow" else f"W-{len(self.panels)}"
        self.panels.append(kit.product(self.kind, body, placement=place, title=title))

    def save(self, folder, name="panels.ifc", other="columns.ifc"):
        files = [self.kit.save(folder / name)]
        return files if self.other is self.kit else [*files, self.other.save(folder / other)]


def checked(files, settings=None):
    return run.check([ModelFile(Path(file)) for file in files], settings or Settings(), RULES, lambda *_: None)


def remarks(result, *severities):
    told = [remark for one in result.model.intake for remark in one.remarks]
    return [remark.text for remark in told if not severities or remark.severity in severities]


def refusal(*files):
    with pytest.raises(BadModel) as caught:
        open_models([ModelFile(file) for file in files])
    return str(caught.value)


# ---- precast panels -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ribs", [False, True])
def test_ribs_change_nothing_about_where_panels_meet(tmp_path, ribs):
    result = checked(Precast(ribs=ribs).save(tmp_path))
    assert [(way.way, way.panels, way.gaps) for way in result.ways] == [("on-columns", 20, 12)]
    assert not result.issues
    assert result.panels == 20
    assert len(result.seams.columns["id"]) == 50


def test_a_facade_drawn_as_windows_without_a_name_is_one_of_panels_with_a_doubt(tmp_path):
    hall = Precast(kind="IfcWindow")
    result = checked(hall.save(tmp_path))
    assert [(way.way, way.panels, way.gaps) for way in result.ways] == [("on-columns", 20, 12)]
    sure = {role.confidence for role in result.model.roles if role.role == "panel"}
    assert max(sure) < 0.5
    # Between panels that are drawn as such they are what their class says.
    walls = Precast()
    for panel in walls.panels[::3]:
        window = walls.kit.make("IfcWindow", panel.GlobalId, None, None, None, None, *list(panel)[5:7], None)
        walls.kit.file.remove(panel)
        assert window.is_a("IfcWindow")
    found = [role.role for role in checked(walls.save(tmp_path, "mixed.ifc")).model.roles]
    assert (found.count("window"), found.count("panel")) == (7, 13)


def test_without_panels_nothing_is_said_of_the_facade(tmp_path):
    Precast(one=False).save(tmp_path)
    model = run.recognise([ModelFile(tmp_path / "columns.ifc")], Settings(), lambda *_: None, everything=True)
    assert "No panels were recognised, so nothing can be told" in recognised(model, nameless_at_facade(model))


def test_ribbed_panels_are_held_against_columns_by_their_faces(tmp_path):
    result = checked(Precast(one=False, ribs=True).save(tmp_path))
    assert {one.fit.state for one in result.model.intake} == {"meets"}


def test_panels_that_run_a_little_into_columns_are_still_before_them(tmp_path):
    ways = [
        [each.way for each in checked(Precast(columns_out=out).save(tmp_path, f"{out}.ifc")).ways]
        for out in (0.0, 0.03, 0.11)
    ]
    assert ways == [["on-columns"]] * 3


# ---- what fails alike everywhere ------------------------------------------------------------------------------------


def test_what_fails_alike_everywhere_is_one_issue_without_a_move(tmp_path):
    result = checked(Precast(gap=0.020, joint=0.015).save(tmp_path))
    alike = "as nearly everywhere ({} places)"
    assert not any(issue.move for issue in result.issues)
    assert [(issue.rule, issue.title, len(issue.members)) for issue in result.issues] == [
        ("panel-edge-gap", "Joint between the rows is open by 15.0 mm, required -25 to 5 mm, " + alike.format(10), 10),
        ("seam-width", "Vertical seam narrows to 20.0 mm, required 25 to 35 mm, " + alike.format(12), 12),
    ]  # fmt: skip
    assert result.issues[1].remedy.startswith(
        "Drawn so nearly everywhere: where that is meant, set it under [limits.seam-width]. Else: "
    )


def test_what_differs_stays_an_issue_of_its_own_and_keys_do_not_hang_on_names(tmp_path):
    result = checked(Precast(gap=0.020).save(tmp_path))
    other = Precast(gap=0.020, salt="another export")
    panel = other.panels[2]  # the middle of the first side
    corner = panel.Representation.Representations[0].Items[0].SweptArea.OuterCurve.Points[1]
    for point in (corner, panel.Representation.Representations[0].Items[0].SweptArea.OuterCurve.Points[2]):
        point.Coordinates = (point.Coordinates[0] - 30.0, point.Coordinates[1])
    again = checked(other.save(tmp_path, "again.ifc"))
    widths = [issue for issue in again.issues if issue.rule == "seam-width"]
    assert [(len(issue.members), round(issue.worst_mm, 6)) for issue in widths] == [(11, 20.0), (1, 50.0)]
    assert widths[0].key == next(issue.key for issue in result.issues if issue.rule == "seam-width")
    assert widths[1].move is not None


def test_few_places_are_not_everywhere(tmp_path):
    result = checked(Precast(gap=0.020, size=(2, 1)).save(tmp_path))
    assert all(issue.move for issue in result.issues if issue.rule == "seam-width")
    assert not any("everywhere" in issue.title for issue in result.issues)


# ---- bodies that come to nothing ------------------------------------------------------------------------------------


def test_a_body_that_comes_to_nothing_is_told(tmp_path):
    hall = Precast()
    loop = hall.panels[3].ObjectPlacement
    loop.PlacementRelTo = loop
    hall.columns[4].Representation.Representations[0].Items[0].ExtrudedDirection.DirectionRatios = (1.0, 0.0, 0.0)
    assert remarks(checked(hall.save(tmp_path)), "warning") == [
        "panels.ifc: 2 bodies could not be read and counted as nothing, such as that of "
        f"{told(sorted((hall.panels[3], hall.columns[4]), key=lambda e: e.GlobalId)[0])}."
    ]


def told(element):
    why = "its placement cannot be followed" if element.is_a("IfcWall") else "its body has no volume"
    return f"'{element.Name}' ({element.is_a()} {element.GlobalId}): {why}"


def test_where_no_body_is_left_the_sentence_says_so(tmp_path):
    hall = Precast()
    for element in (*hall.panels, *hall.columns):
        element.Representation = None
    assert checked(hall.save(tmp_path)).unchecked == (
        "panels.ifc: none of the 30 elements that could be part of a facade has a body, so nothing can be checked. "
        "Export them with geometry."
    )
    nothing = checked([Kit().save(tmp_path / "nothing.ifc")]).unchecked
    assert nothing.startswith("nothing.ifc: no parts of a building were found, so nothing can be checked.")


def test_columns_without_panels_ask_for_the_other_model(tmp_path):
    hall = Precast(one=False)
    hall.save(tmp_path)
    assert checked([tmp_path / "columns.ifc"]).unchecked == (
        "columns.ifc: no panels were recognised among 10 elements (10 columns were), so nothing can be checked. Name "
        "the model that holds them too, or see 'seamtrace roles' and name them under [roles] in seamtrace.toml."
    )


def test_an_outline_that_crosses_itself_a_thousand_times_takes_no_time(tmp_path, monkeypatch):
    """An outline put right edge by edge takes minutes for 300 edges of a zigzag."""
    kit = Kit()
    zigzag = [(k % 2 + 0.001 * k, 0.01 * k * (k % 3 - 1)) for k in range(300)]
    kit.product("IfcWall", kit.extrusion(kit.polygon(zigzag), 1.0))
    monkeypatch.setattr("checker.read.bodies.tessellated", lambda jobs, _: ["left to the kernel"] * len(jobs))
    began = time.monotonic()
    reading = kit.read(tmp_path)
    assert reading.bodies([True])[1] == ("left to the kernel",)
    assert time.monotonic() - began < 2.0


# ---- files cut, merged, in another unit -----------------------------------------------------------------------------


def test_two_records_of_one_number_are_refused(tmp_path):
    text = Precast().kit.text()
    cut = text.rindex("ENDSEC;")
    for name, records, says in (
        ("one.ifc", "#30=IFCCARTESIANPOINT((0.,0.,0.));", "two records have the same number, #30,"),
        ("two.ifc", "#30 = IFCDIRECTION((0.,1.));\n#31= IFCDIRECTION((0.,1.));", "2 numbers stand for more than one"),
    ):
        (tmp_path / name).write_text(f"{text[:cut]}{records}\n{text[cut:]}")
        assert f"{tmp_path / name} is damaged: {says}" in refusal(tmp_path / name)
    # What looks like a record in a name is none.
    (tmp_path / "name.ifc").write_text(text.replace("'W-3'", "'#30=IFCWALL(#31= IFCWALL('", 1))
    assert len(open_models([ModelFile(tmp_path / "name.ifc")]).elements) == 30


def test_buildings_that_hold_nothing_are_told_as_half_a_file(tmp_path):
    hall = Precast()
    kit = hall.kit
    storey = kit.root("IfcBuildingStorey", "EG", None, None, kit.place(), None, None, "ELEMENT", 0.0)
    result = checked(hall.save(tmp_path))
    assert remarks(result, "error") == [
        "panels.ifc: none of its 30 elements stands in its site, building or storeys, as in a file cut in half. See "
        "whether it is whole, or export the model again."
    ]
    kit.relate("IfcRelContainedInSpatialStructure", [*hall.panels, *hall.columns], storey)
    assert remarks(checked(hall.save(tmp_path))) == []


@pytest.mark.parametrize(("lost", "severity"), [(20, "warning"), (21, "error")])
def test_many_references_that_lead_nowhere_are_an_error(tmp_path, lost, severity):
    text = Precast().kit.text()
    placed = re.findall(r"^#\d+=IFC(?:WALL|COLUMN)\(.*$", text, re.MULTILINE)[:lost]
    for k, record in enumerate(placed):
        text = text.replace(record, re.sub(r"\$,#\d+,", f"$,#{900_000 + k},", record, count=1))
    (tmp_path / "m.ifc").write_text(text)
    reading = open_models([ModelFile(tmp_path / "m.ifc")])
    reading.bodies([True] * len(reading.elements))
    (remark,) = reading.sources[0].remarks
    assert remark.severity == severity
    assert f"faulty records or references that were left out: {lost}," in remark.text


def test_a_hall_of_two_metres_makes_the_unit_doubtful(tmp_path):
    text = Precast(unit="cm").kit.text()
    (tmp_path / "m.ifc").write_text(text.replace(".CENTI.", ".MILLI."))
    assert remarks(checked([tmp_path / "m.ifc"])) == [
        "m.ifc is 1.89 m long and 0.52 m high by its unit (mm), its parts mostly 0.636 m long. See whether the length "
        "unit is right."
    ]


# ---- files of one building that do not lie together -----------------------------------------------------------------


@pytest.mark.parametrize(("turn", "told"), [(0.0, ""), (1.0, "1.00"), (24.2, "24.20"), (90.0, "90.00")])
def test_a_file_that_is_turned_is_told_whatever_the_angle(tmp_path, turn, told):
    found = remarks(checked(Precast(one=False, turn=turn).save(tmp_path)), "error")
    assert bool(found) == bool(told)
    assert all(f" is turned by {told} degrees against " in text for text in found)


@pytest.mark.parametrize("off", [(0.03, 0.0), (BAY, 0.0), (0.25, 0.0), (0.0, -BAY)])
def test_a_file_off_along_one_wall_meets_by_chance_and_is_told(tmp_path, off):
    """Joints along that wall meet columns as before, or those of the next bay."""
    found = remarks(checked(Precast(one=False, moved=off, size=(5, 3)).save(tmp_path)), "error")
    shift = ", ".join(f"{-1000.0 * value + 0.0:.10g}" for value in off)
    assert any(f"shift_mm = [{shift}, 0] under [models] would make 16 meet" in text for text in found)


@pytest.mark.parametrize("away", [5.0, 40.0])
@pytest.mark.parametrize("one", [False, True])
def test_two_whole_buildings_may_stand_side_by_side(tmp_path, away, one):
    files = Precast(one=one).save(tmp_path)
    files += Precast(one=one, size=(2, 2), salt="b", at=(18.88 + away, 3.0)).save(
        tmp_path, "panels_b.ifc", "columns_b.ifc"
    )
    result = checked(files)
    assert [(way.way, way.panels, way.gaps) for way in result.ways] == [("on-columns", 36, 20)]
    apart = re.compile(r"\S+ stands \d+\.\d m from \S+ and was taken for a part of another building\.")
    assert [bool(apart.search(text)) for text in remarks(result)] == [True] * (away > 10.0)
    assert not result.issues


@pytest.mark.parametrize("away", [301.0, 1000.0])
def test_whole_buildings_further_apart_do_not_meet(tmp_path, away):
    files = [*Precast().save(tmp_path), *Precast(salt="b", at=(18.88 + away, 0.0)).save(tmp_path, "b.ifc", "b2.ifc")]
    with pytest.raises(BadModel, match="Models do not meet"):
        checked(files)


def test_half_a_building_may_not_stand_aside(tmp_path):
    files = Precast(one=False).save(tmp_path)
    lone, _ = Precast(one=False, salt="b", size=(4, 1), at=(60.0, 0.0)).save(tmp_path, "panels_b.ifc", "left_out.ifc")
    with pytest.raises(BadModel, match=r"Models do not meet: .* panels_b lies at"):
        checked([*files, lone])


def test_two_states_without_a_common_identity_are_known_by_their_bodies(tmp_path):
    files = Precast().save(tmp_path, "old.ifc") + Precast(salt="new", gap=0.032).save(tmp_path, "new.ifc")
    assert remarks(checked(files), "error") == [
        "new.ifc and old.ifc have 30 of 30 bodies in the same place: they are two states of one model. Name only one "
        "of them."
    ]


# ---- names of files -------------------------------------------------------------------------------------------------


def test_names_of_files_that_lead_nowhere(tmp_path):
    loop, odd = tmp_path / "loop.ifc", tmp_path / os.fsdecode(b"odd\xff.ifc")
    loop.symlink_to(loop.name)
    for path, says in (
        (loop, f"{loop} does not exist. Check the name and the folder."),
        (odd, f"{str(odd)!a} is a name whose bytes are no text (UTF-8). Rename the file."),
        (
            tmp_path / ("y" * 300),
            f"{tmp_path / ('y' * 300)} cannot be read (File name too long). Check its permissions",
        ),
    ):
        (file,) = files_to_read([path], Settings())
        assert refusal(file.path).startswith(says)
