"""The intake gate: broken and odd files in plain words, files of a federation that do not meet, and no false alarm."""

import bz2
import csv
import gzip
import io
import json
import lzma
import re
import time
import zipfile
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import ifcopenshell
import ifcopenshell.geom
import jsonschema
import numpy as np
import pytest
import shapely
from foreign import Hall
from foreign_halls import RECIPES, WRONGS
from lxml import etree
from read_kit import Kit, everything

import checker.read.bodies as bodies_module
import checker.read.files as files_module
import checker.read.kernel as kernel_module
from checker import run
from checker.demo import DEFECTS, Options, write_hall
from checker.errors import BadModel
from checker.intake import examine
from checker.model import ModelFile
from checker.output.findings import findings, findings_schema
from checker.output.summary import WIDTH, arrivals
from checker.read import open_models
from checker.roles import worth_reading
from checker.rule import load_rules
from checker.settings import Settings, files_to_read

REAL = Path(__file__).resolve().parents[2] / "shared" / "real_models"
AGAIN = "Export the model again, or fetch a fresh copy of the file."
READABLE = "IFC2X3, IFC4, IFC4X3_ADD2"


def read(files):
    """Some files and the bodies a check reads of them."""
    reading = open_models([file if isinstance(file, ModelFile) else ModelFile(file) for file in files])
    meshes, _ = reading.bodies(worth_reading(reading.elements, {}))
    return reading, meshes


def arrived(files):
    """What the gate says of some files."""
    return gate(*read(files))


def gate(reading, meshes):
    return examine(reading.sources, reading.elements, meshes, reading.origin, reading.grids)


def said(intake, *severities):
    return [remark.text for one in intake for remark in one.remarks if not severities or remark.severity in severities]


# ---- files that are no model, or half of one ------------------------------------------------------------------------


def sound(schema="IFC4", **options):
    kit = Kit(schema, **options)
    kit.product("IfcWall", kit.box(6, 0.2, 1), title="wall")
    return kit


TEXT = sound().text().encode("ascii")
HEADER = TEXT[: TEXT.index(b"DATA;")]


def zipped(**members):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name.replace("__", "/").replace("_", "."), data)
    return packed.getvalue()


def projects(unit):
    kit = sound(salt="two")
    other = kit.make("IfcUnitAssignment", kit._units(unit))
    kit.root("IfcProject", "Second", None, None, None, None, [kit.context], other)
    return kit.text().encode("ascii")


def schema(name):
    return TEXT.replace(b"('IFC4')", f"('{name}')".encode())


UNPACK = "Unpack it first, or pack the .ifc file as .ifcZIP."
ODD = {
    "empty": (b"", f"is empty. {AGAIN}"),
    "blanks": (b" \r\n\t\n", f"holds nothing but blanks. {AGAIN}"),
    "zeros": (b"\0" * 5000, f"holds nothing but zero bytes. {AGAIN}"),
    "rubbish": (bytes(range(256)) * 9, "is no IFC file but binary data. Export the model as .ifc."),
    "web page": (
        b"\n<!DOCTYPE html>\n<html><body>Sign in</body></html>",
        "is no IFC file but a web page (HTML), perhaps a sign-in page saved in its place. Download the model again "
        "after signing in.",
    ),
    "letter": (
        b"Dear all, the model follows tomorrow.",
        "is no IFC file: its text does not begin with ISO-10303-21. Export the model as .ifc.",
    ),
    "JSON": (
        b'{"type": "ifcJSON"}',
        "is no IFC file but JSON, which this tool does not read. Export it as .ifc or .ifcZIP.",
    ),
    "ifcXML": (
        b'<?xml version="1.0"?><ifcXML xmlns="http://example.org/IFC4"/>',
        "is written as ifcXML, which this tool does not read. Export it as .ifc or .ifcZIP.",
    ),
    "other XML": (b'<?xml version="1.0"?><gml/>', "is no IFC file but XML of another kind. Export the model as .ifc."),
    "pointer": (
        b"version https://git-lfs.github.com/spec/v1\noid sha256:00\nsize 7\n",
        "is no IFC file but a pointer of Git LFS: the model itself was not fetched. Run 'git lfs pull'; in CI, check "
        "out with LFS.",
    ),
    "UTF-16": (
        TEXT.decode().encode("utf-16"),
        "is saved as UTF-16. Save it as plain text (ASCII or UTF-8), or export the model again.",
    ),
    "UTF-16 without mark": (
        TEXT.decode().encode("utf-16-be"),
        "is saved as UTF-16. Save it as plain text (ASCII or UTF-8), or export the model again.",
    ),
    "gzip": (gzip.compress(TEXT), f"is no IFC file but packed with gzip. {UNPACK}"),
    "bzip2": (bz2.compress(TEXT), f"is no IFC file but packed with bzip2. {UNPACK}"),
    "xz": (lzma.compress(TEXT), f"is no IFC file but packed with xz. {UNPACK}"),
    "document": (b"%PDF-1.7\n", "is no IFC file but a PDF document. Export the model as .ifc."),
    "office file": (zipped(word__document_xml=b"<w/>"), "holds no .ifc files. Pack exactly one into each .ifcZIP."),
    "issues": (
        zipped(bcf_version=b"<v/>"),
        "holds issues (BCF) and no model. Name the .ifc files they are about.",
    ),
    "cut in half": (
        TEXT[: len(TEXT) // 2],
        f"is cut short: its end marker END-ISO-10303-21 is missing. {AGAIN}",
    ),
    "cut in half and closed": (
        TEXT[: TEXT.rindex(b"IFCWALL(")] + b"\nENDSEC;\nEND-ISO-10303-21;\n",
        f"is cut short: its last record does not end. {AGAIN}",
    ),
    "two in one": (TEXT + TEXT, "holds 2 models one behind the other. Export each into a file of its own."),
    "zeros in the middle": (
        TEXT.replace(b"IFCWALL(", b"\0" * 30),
        f"is damaged: it holds bytes that are no text. {AGAIN}",
    ),
    "header only": (
        HEADER + b"DATA;\nENDSEC;\nEND-ISO-10303-21;\n",
        "has a header and nothing else: the export failed. Export the model again.",
    ),
    "header cut off": (HEADER, f"is cut short: its end marker END-ISO-10303-21 is missing. {AGAIN}"),
    "no project": (
        TEXT.replace(b"IFCPROJECT(", b"IFCPERSON("),
        "holds no IfcProject, so its units are unknown. Export the whole model.",
    ),
    "no unit": (
        TEXT.replace(b"LENGTHUNIT", b"AREAUNIT"),
        "does not say in which unit its lengths are. Set the length unit in the export settings.",
    ),
    "projects of two units": (
        projects("m"),
        "holds 2 projects with different length units (m, mm). Export each project into a file of its own.",
    ),
    "no schema": (TEXT.replace(b"FILE_SCHEMA(('IFC4'));", b""), f"names no schema in its header. {AGAIN}"),
    **{
        name: (schema(name), f"is written in schema '{name}'; this tool reads {READABLE}. Export it in one of these.")
        for name in ("IFC1.5.1", "IFC20_LONGFORM", "IFC2X_FINAL", "IFC2X2_FINAL", "IFC4X1", "IFC4X4_DEV", "IFC5")
    },
    "a car": (
        schema("AUTOMOTIVE_DESIGN"),
        "is a STEP file of another kind (schema 'AUTOMOTIVE_DESIGN'), no building model. Export the model as .ifc.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
def test_a_file_that_cannot_be_checked_is_one_sentence_and_exit_2(call, tmp_path, name):
    data, sentence = ODD[name]
    (tmp_path / "odd.ifc").write_bytes(data)
    end = call("check", "odd.ifc")
    assert (end.code, end.out, end.err) == (2, "", f"Error: odd.ifc {sentence}\n")
    assert not Path("seamtrace-out").exists()


def test_missing_files_folders_and_repetitions_are_one_sentence(call, tmp_path):
    (tmp_path / "a.ifc").write_bytes(TEXT)
    (tmp_path / "b.ifc").write_bytes(TEXT)
    (tmp_path / "folder").mkdir()
    for names, sentence in {
        ("c.ifc",): "c.ifc does not exist. Check the name and the folder.",
        ("folder",): "folder is a folder. Name the .ifc or .ifcZIP files in it.",
        ("a.ifc", "b.ifc"): "b.ifc and a.ifc are the same model. Name it only once.",
        (
            "a.ifc",
            "folder/../a.ifc",
        ): f"The command line names the file '{tmp_path / 'a.ifc'}' twice. Remove one of them.",
    }.items():
        end = call("check", *names)
        assert (end.code, end.out, end.err) == (2, "", f"Error: {sentence}\n")


@pytest.mark.parametrize("cut", [0.03, 0.3, 0.5, 0.9, 0.999])
def test_no_half_of_a_model_passes_even_with_an_end_marker(tmp_path, cut):
    """The kernel opens such files without a word."""
    kit = sound()
    for k in range(20):
        kit.product("IfcWall", kit.box(1, 1, 1), title=f"wall {k}")
    text = kit.text()
    (tmp_path / "m.ifc").write_text(text[: int(cut * len(text))].rstrip(";\n") + "\nENDSEC;\nEND-ISO-10303-21;\n")
    with pytest.raises(BadModel, match=r"cut short|damaged|names no schema"):
        open_models([ModelFile(tmp_path / "m.ifc")])


def test_comments_and_crlf_at_the_end_are_no_fault(tmp_path):
    for end in (b"ENDSEC; /* the\nend */ END-ISO-10303-21; /* really */\n\n", b"ENDSEC;\r\nEND-ISO-10303-21;\r\n"):
        (tmp_path / "m.ifc").write_bytes(TEXT[: TEXT.rindex(b"ENDSEC;")] + end)
        assert arrived([tmp_path / "m.ifc"])[0].remarks == ()


# ---- odd files that can be checked ----------------------------------------------------------------------------------


def written(folder, text, name="m.ifc"):
    (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode("ascii"))
    return folder / name


@pytest.mark.parametrize(
    ("letters", "name", "told"),
    [
        ("utf-8", "Stütze aus \U0001f600Stahl", "UTF-8"),
        ("utf-8-sig", "Stütze aus \U0001f600Stahl", "UTF-8"),
        ("latin-1", "Stütze", "Latin-1"),
    ],
)
def test_letters_written_as_plain_bytes_are_read(tmp_path, letters, name, told):
    """The kernel drops them without a word, and with them what a wall is."""
    path = written(tmp_path, TEXT.decode().replace("'wall'", f"'{name}'").encode(letters))
    reading = open_models([ModelFile(path)])
    assert reading.elements[0].name == name
    meshes, faults = reading.bodies(everything(reading))
    assert (len(meshes.triangles), faults) == (12, ("",))
    guess = ", as Western European ones; others will read wrongly" if told == "Latin-1" else ""
    assert said(arrived([path]), "note") == [
        f"m.ifc: letters are written as plain {told} bytes, which the format does not allow; they were read all the "
        f"same{guess}."
    ]


def test_letters_are_whole_across_chunks(tmp_path, monkeypatch):
    monkeypatch.setattr(files_module, "_CHUNK", 7)
    path = written(tmp_path, TEXT.decode().replace("'wall'", "'äöü€ß'").encode("utf-8"))
    assert open_models([ModelFile(path)]).elements[0].name == "äöü€ß"


def test_two_projects_of_one_unit_are_read_and_told(tmp_path):
    assert said(arrived([written(tmp_path, projects("mm"))]), "warning") == [
        "m.ifc holds 2 projects instead of one; all were read."
    ]


def test_double_and_missing_identities_are_told(tmp_path):
    files = []
    for name in ("a", "b"):
        kit = Kit(salt=name)
        kit.product("IfcWall", kit.box(1, 1, 1), title=name, guid="1shared000000000000000")
        files.append(kit.save(tmp_path / f"{name}.ifc"))
    kit = Kit()
    for title in ("c", "d"):
        kit.product("IfcWall", kit.box(1, 1, 1), title=title, guid="2shared000000000000000")
    kit.product("IfcWall", kit.box(1, 1, 1), title="lost", guid="3lost00000000000000000")
    files.append(written(tmp_path, kit.text().replace("'3lost00000000000000000'", "$"), "c.ifc"))
    intake = arrived(files)
    assert [one.doubles for one in intake] == [0, 0, 1]
    assert said(intake) == [
        "b.ifc shares 1 GlobalId, such as 1shared000000000000000, with a.ifc. Every occurrence was kept.",
        "c.ifc: 1 element has no GlobalId. Nobody can be pointed to them.",
        "c.ifc: 1 GlobalId stands for more than one element, such as 2shared000000000000000. Every occurrence was "
        "kept.",
    ]


def test_two_states_of_one_model_make_any_result_doubtful(tmp_path):
    for name in ("old", "new"):
        kit = Kit()
        for k in range(20):
            kit.product("IfcWall", kit.box(1, 1, 1), title=f"{name} {k}", at=(2 * k, 0, 0))
        kit.save(tmp_path / f"{name}.ifc")
    assert said(arrived([tmp_path / "old.ifc", tmp_path / "new.ifc"]), "error") == [
        "new.ifc and old.ifc share 20 of 20 GlobalIds: they are two states of one model. Name only one of them."
    ]


def test_map_conversions_in_the_wrong_unit(tmp_path):
    """Alone a file can be checked; files that lie on the map each in its own way cannot."""
    files = []
    for name, factor in (("a", 1.0), ("b", 1000.0)):
        kit = sound(salt=name)
        kit.map_conversion(463_000.0 * factor, 6_100_000.0 * factor, 12.0, scale=0.001)
        files.append(kit.save(tmp_path / f"{name}.ifc"))
    wrong = (
        "a map conversion that puts it 463000 km east and 6100000 km north, farther than any map reaches, so its "
        "numbers are probably in another unit than it says"
    )
    alone = arrived(files[1:])
    assert said(alone, "warning") == [f"b.ifc has {wrong}. It was left aside; correct or remove it."]
    with pytest.raises(BadModel) as caught:
        open_models([ModelFile(path) for path in files])
    assert str(caught.value) == f"{files[1]} has {wrong}. Correct it or remove it."
    here = open_models([ModelFile(files[0])]).sources[0].georeference
    assert (here.kind, here.name, here.place) == ("map", "EPSG:25832", (463_000.0, 6_100_000.0, 12.0))


@pytest.mark.parametrize("factor", [1000.0, 0.001])
def test_one_map_conversion_a_thousand_times_the_other(tmp_path, factor):
    files = []
    for name, more in (("a", 1.0), ("b", factor)):
        kit = sound(salt=name)
        kit.map_conversion(10_000.0 * more, 20_000.0 * more, 12.0, scale=0.001)
        files.append(ModelFile(kit.save(tmp_path / f"{name}.ifc")))
    with pytest.raises(BadModel, match="a thousand times as far east and north on the map as"):
        open_models(files)


def test_the_place_of_the_site(tmp_path):
    kit = sound()
    site = kit.root(
        "IfcSite", "Site", None, None, None, None, None, "ELEMENT", [56, 9, 30], [-10, -12, 0, -500_000], 4000.0
    )
    told = arrived([kit.save(tmp_path / "m.ifc")])[0]
    assert told.remarks == ()
    place = open_models([ModelFile(tmp_path / "m.ifc")]).sources[0].georeference
    assert place.kind == "site"
    assert place.place == pytest.approx((56.158333, -10.200139, 4.0), abs=1e-6)
    site.RefLatitude = [156, 9, 30]
    assert said(arrived([kit.save(tmp_path / "m.ifc")]), "note") == [
        "m.ifc states latitude 156.158 and longitude -10.200 for its site, which no place has. Nothing here depends "
        "on it."
    ]


@pytest.mark.parametrize("away", [9_900.0, 10_100.0])
def test_far_from_the_origin_is_told_and_stray_bodies_are_left_out(tmp_path, away):
    kit = Kit()
    for k in range(3):
        kit.product("IfcWall", kit.box(6, 0.2, 1), at=(away + 7 * k, 0, 0))
    near = arrived([kit.save(tmp_path / "m.ifc")])[0]
    assert near.size_m == pytest.approx((20.0, 0.2, 1.0))
    assert near.distance_m == pytest.approx(away + 7)
    far = [] if away < 10_000 else [
        "m.ifc lies 10 km from the origin of its coordinates. Nothing is lost here; other programs may round."
    ]  # fmt: skip
    assert said([near]) == far
    kit.product("IfcWall", kit.box(6, 0.2, 1), at=(1.5e6, 0, 0))
    stray = arrived([kit.save(tmp_path / "m.ifc")])[0]
    assert stray.size_m == pytest.approx((20.0, 0.2, 1.0))
    assert said([stray], "warning") == [
        "m.ifc: 1 body lies more than 10 km from the rest; see what was exported with the building."
    ]


def test_size_does_not_depend_on_how_a_building_is_turned(tmp_path):
    sizes = []
    for turn in (0.0, 24.2, 101.0):
        truth = write_hall(tmp_path / str(turn), (), Options(turn_deg=turn, split="one"))
        sizes.append(arrived(truth.files)[0].size_m)
    assert sizes[1] == pytest.approx(sizes[0], abs=1e-6)
    assert sizes[2] == pytest.approx(sizes[0], abs=1e-6)
    assert sizes[0] == pytest.approx((24.3, 18.3, 7.8), abs=0.3)  # the hall is drawn 24 m by 18 m


# ---- units ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "other", "by_unit"),
    [
        ("mm", "m", "24283 m long and 7800 m high by its unit (m), larger than any building; in mm"),
        ("m", "mm", "0.0243 m long and 0.0078 m high by its unit (mm), smaller than any building; in m"),
    ],
)
def test_a_unit_that_cannot_be_right_is_refused_with_both_sizes(call, tmp_path, unit, other, by_unit):
    prefixes = {"mm": ".MILLI.", "m": "$"}
    truth = write_hall(tmp_path / "made", (), Options(unit=unit, split="one"))
    text = truth.files[0].read_text()
    stated = f".LENGTHUNIT.,{prefixes[unit]},"
    assert stated in text
    (tmp_path / "hall.ifc").write_text(text.replace(stated, f".LENGTHUNIT.,{prefixes[other]},"))
    end = call("check", "hall.ifc")
    assert (end.code, end.out) == (2, "")
    meant = "it would be 24.3 m long and 7.8 m high. Export it with the right length unit."
    assert end.err == f"Error: hall.ifc is {by_unit} {meant}\n"


# ---- files that do not meet -----------------------------------------------------------------------------------------


def federation(folder, moved, offset, options=Options(), defects=tuple(DEFECTS)):  # noqa: B008 - frozen
    """The sample hall in one file for each trade, those named in ``moved`` drawn elsewhere by ``offset``."""
    there = tuple(a + b for a, b in zip(options.offset_m, offset, strict=True))
    sound_set = write_hall(folder / "sound", defects, options).files
    moved_set = write_hall(folder / "moved", defects, replace(options, offset_m=there)).files
    return [there if there.stem in moved else here for here, there in zip(sound_set, moved_set, strict=True)]


def settings_of(files, shifts):
    models = tuple(ModelFile(path, path.stem, path.stem, shifts.get(path.stem)) for path in files)
    return Settings(models=models)


def shift_told(text):
    return [float(number) for number in re.search(r"shift_mm = \[([^]]*)\] under", text)[1].split(",")]


def checked(files, shifts=None):
    settings = settings_of(files, shifts or {})
    return run.check(files_to_read([], settings), settings, load_rules(), lambda *_: None)


OFF = {"real": (8.44, 10.48, 0.0), "a little": (0.3, 0.0, 0.0), "aside": (-0.25, 0.3, 0.0)}
SETS = {"as drawn": Options(), "turned, far away": Options(turn_deg=24.2, offset_m=(4.0e5, -6.1e6, 30.0))}


@pytest.fixture(scope="module", params=SETS)
def hall_set(request, tmp_path_factory):
    """The sample hall in one file for each trade, with its defects, read once."""
    folder = tmp_path_factory.mktemp("set")
    return read(write_hall(folder, tuple(DEFECTS), SETS[request.param]).files)


def moved(reading, meshes, name, offset):
    """The same bodies, those of one file elsewhere."""
    number = [source.name for source in reading.sources].index(name)
    points = meshes.points.copy()
    for k, element in enumerate(reading.elements):
        if element.source == number:
            points[meshes.point_start[k] : meshes.point_start[k + 1]] += offset
    return replace(meshes, points=points)


@pytest.mark.parametrize("off", OFF)
@pytest.mark.parametrize("name", ["facade", "structure", "precast"])
def test_a_file_that_lies_off_is_told_to_the_millimetre(hall_set, name, off):
    """As one model of a real federation did, by 8.44 m and 10.48 m, and nothing in it said so."""
    with pytest.raises(BadModel) as caught:
        gate(hall_set[0], moved(*hall_set, name, OFF[off]))
    text = str(caught.value)
    assert text.startswith(f"{name}.ifc lies ")
    assert text.endswith("shift_mm = [0, 0, 0] has it checked as it lies.")
    assert shift_told(text) == pytest.approx([-1000.0 * value for value in OFF[off]], abs=1.0)
    assert "about" not in text.split(":")[0]
    assert "Where bays repeat" not in text


@pytest.mark.parametrize("up", [3.0, 0.4, -0.3])
@pytest.mark.parametrize("name", ["facade", "structure", "precast"])
def test_a_file_at_another_height_is_told(hall_set, name, up):
    try:
        (text,) = said(gate(hall_set[0], moved(*hall_set, name, (0.0, 0.0, up))), "error")
    except BadModel as error:
        text = str(error)
    assert text.startswith(f"{name}.ifc lies about {abs(up):.3f} m {'above' if up > 0 else 'below'} ")
    assert shift_told(text) == pytest.approx([0.0, 0.0, -1000.0 * up], abs=1.0)


def test_a_file_off_in_plan_and_height(hall_set):
    with pytest.raises(BadModel) as caught:
        gate(hall_set[0], moved(*hall_set, "facade", (8.44, -10.48, 2.5)))
    assert "facade.ifc lies 8.440 m east, 10.480 m south and about 2.500 m above precast.ifc" in str(caught.value)
    assert shift_told(str(caught.value)) == pytest.approx([-8440.0, 10480.0, -2500.0], abs=1.0)


def test_models_far_apart_are_told_the_shift_as_well(hall_set):
    with pytest.raises(BadModel) as caught:
        gate(hall_set[0], moved(*hall_set, "structure", (5.0e5, 6.1e6, 0.0)))
    text = str(caught.value)
    assert text.startswith("Models do not meet: ")
    assert "shift_mm = [-500000000, -6100000000, 0] for structure.ifc, which would make walls and columns meet." in text


def test_the_sentence_and_that_the_shift_told_mends_it(call, tmp_path):
    files = federation(tmp_path, {"facade"}, OFF["real"])
    end = call("check", *files)
    assert (end.code, end.out) == (2, "")
    assert end.err == (
        "Error: facade.ifc lies 8.440 m east and 10.480 m north of precast.ifc and structure.ifc: 0 of its 10 wall "
        "joints and columns meet those of the others; shift_mm = [-8440, -10480, 0] under [models] would make 10 "
        "meet. Nothing was checked: export it about the base point of the others, or set that shift; shift_mm = "
        "[0, 0, 0] has it checked as it lies.\n"
    )
    as_drawn = federation(tmp_path, set(), OFF["real"])
    mended = checked(files, {"facade": (-8440.0, -10480.0, 0.0)})
    assert said(mended.model.intake) == []
    told, expected = (json.loads(findings(result)) for result in (mended, checked(as_drawn)))
    assert (told["summary"], told["coverage"]) == (expected["summary"], expected["coverage"])
    for part in ("verdicts", "issues"):
        # Which parts are shown with a seam may hang on the last digit of a coordinate.
        for one, other in zip(told[part], expected[part], strict=True):
            assert one | {"elements": []} == other | {"elements": []}


def test_a_facade_off_by_one_bay_is_told_first_and_fails_the_check(call, tmp_path):
    """Part of its joints meet columns: it is checked, and nobody takes the result for sound."""
    end = call("check", *federation(tmp_path, {"facade"}, (6.0, 0.0, 0.0), defects=()))
    sentence = "facade.ifc lies 6.000 m east of precast.ifc and structure.ifc: 4 of its 10 wall joints and columns meet"
    assert end.code == 1
    assert end.err.startswith(f"Warning: {sentence}")
    first = " ".join(end.out.split("\n\n")[1].split())
    assert first.startswith(f"Error: {sentence}")
    told = json.loads(Path("seamtrace-out/findings.json").read_text("utf-8"))
    jsonschema.validate(told, findings_schema())
    (facade,) = (one for one in told["intake"] if one["file"] == "facade.ifc")
    assert facade["meets"]["state"] == "off"
    assert facade["meets"]["shift_mm"] == [-6000.0, 0.0, 0.0]
    assert [told["models"][k]["file"] for k in facade["meets"]["against"]] == ["precast.ifc", "structure.ifc"]
    assert facade["remarks"][0]["severity"] == "error"


def test_a_project_may_have_a_file_checked_as_it_lies(tmp_path):
    files = federation(tmp_path, {"precast"}, OFF["real"], defects=())
    with pytest.raises(BadModel, match=r"precast\.ifc lies"):
        checked(files)
    result = checked(files, {"precast": (0.0, 0.0, 0.0)})
    (text,) = said(result.model.intake, "warning")
    assert text.startswith("precast.ifc lies 8.440 m east")
    result = checked(files, {"precast": (-8000.0, 0.0, 0.0)})
    assert "shift_mm = [-8440, -10480, 0]" in said(result.model.intake, "warning")[0]


def test_a_turned_file_is_told_and_that_no_shift_mends_it(tmp_path):
    made = {turn: write_hall(tmp_path / str(turn), (), Options(turn_deg=turn)).files for turn in (0.0, 11.5)}
    files = [made[11.5 if path.stem == "facade" else 0.0][k] for k, path in enumerate(made[0.0])]
    (text,) = said(arrived(files), "error")
    assert text == (
        "facade.ifc is turned by 11.50 degrees against precast.ifc and structure.ifc, and no wall ends at a column. No "
        "shift mends that: export it in the directions of the others."
    )


def test_a_single_row_says_what_it_cannot_know(tmp_path):
    """Along a straight row the joints tell the shift; across it only that walls and columns touch."""
    recipe = replace(RECIPES["marks"], files=({}, {}), spread={"column": 1})
    files = Hall(recipe).write(tmp_path)
    reading, meshes = read(files)
    with pytest.raises(BadModel) as caught:
        gate(reading, moved(reading, meshes, "marks-0", (0.3, 0.0, 0.0)))
    assert "lies about 0.300 m east" in str(caught.value)
    assert "Where bays repeat another shift does as well: look at the ends of the rows." in str(caught.value)
    assert shift_told(str(caught.value))[0] == pytest.approx(-300.0, abs=1.0)


# ---- no false alarm -------------------------------------------------------------------------------------------------


GUISES = {
    "many files": Options(split="many"),
    "IFC2X3 in feet, many files": Options(schema="IFC2X3", unit="foot", split="many", turn_deg=-64.2),
    "mirrored": Options(mirror=True),
    "nested": Options(nested=True, turn_deg=33.0),
    "far away": Options(turn_deg=203.7, offset_m=(1.0e6, -2.5e5, 120.0)),
    "map conversions": Options(
        map_conversion=((5.0e5, 6.2e6, 10.0, 12.0), (5.0e5, 6.2e6, 10.0, 12.0), (5.0e5 + 40.0, 6.2e6 - 25.0, 8.0, 30.0))
    ),
}


@pytest.mark.parametrize("guise", GUISES)
@pytest.mark.parametrize("defects", [(), tuple(DEFECTS)], ids=["clean", "defects"])
def test_no_false_alarm_on_the_sample_hall(tmp_path, guise, defects):
    intake = arrived(write_hall(tmp_path, defects, GUISES[guise]).files)
    assert said(intake, "error", "warning") == []
    assert {one.fit.state for one in intake} <= {"meets", "unknown"}
    assert sum(one.fit.state == "meets" for one in intake) >= 3


@pytest.mark.parametrize("name", RECIPES)
@pytest.mark.parametrize("wrong", [False, True], ids=["clean", "wrong"])
def test_no_false_alarm_on_halls_of_other_makes_in_three_files(tmp_path, name, wrong):
    recipe = RECIPES[name]
    made = Hall(
        recipe if recipe.files else replace(recipe, files=({}, {}, {}), spread={"column": 1, "rail": 1, "plinth": 2})
    )
    if wrong:
        WRONGS[name](made)
    intake = arrived(made.write(tmp_path))
    assert said(intake, "error", "warning") == []
    assert [one.fit.state for one in intake[:2]] == ["meets", "meets"]


def test_two_halls_with_columns_of_their_own_are_not_laid_upon_each_other(tmp_path):
    one = write_hall(tmp_path / "one", (), Options(split="one")).files[0]
    two = write_hall(tmp_path / "two", (), Options(split="one", offset_m=(30.0, 2.0, 0.0))).files[0]
    text = re.sub(r"(IFC[A-Z]+\(')(.)", r"\g<1>3", two.read_text())  # other GlobalIds
    intake = arrived([one, written(tmp_path, text, "other.ifc")])
    assert said(intake, "error") == []
    assert {one.fit.state for one in intake} == {"unknown"}


def ring(folder, joints, moved=(0.0, 0.0), gables=True):
    """A hall of 48 m by 18 m, columns every 6 m in one file, panels with joints at given places in the other.

    Places run along each side to the right seen from outside; without ``gables`` only the long sides are there.
    """
    structure, facade = Kit(salt="structure"), Kit(salt="facade")
    sides = [
        ((0.0, 0.0), (1, 0), 48.0),
        ((48.0, 0.0), (0, 1), 18.0),
        ((48.0, 18.0), (-1, 0), 48.0),
        ((0.0, 18.0), (0, -1), 18.0),
    ]
    for (x, y), (u, v), length in sides if gables else sides[::2]:
        for along in np.arange(0.0, length, 6.0):
            step = along or 0.1
            at = (x + u * step - v * 0.1, y + v * step + u * 0.1, 0.0)
            structure.product("IfcColumn", structure.box(0.2, 0.2, 6.0), at=at)
        marks = [0.0, *(place for place in joints if 0.0 < place < length), length]
        for left, right in pairwise(marks):
            middle = 0.5 * (left + right)
            place = (x + u * middle + v * 0.068 + moved[0], y + v * middle - u * 0.068 + moved[1], 0.3)
            panel = facade.box(right - left - 0.03, 0.12, 5.5)
            placement = facade.place(facade.axes(place, x=(u, v, 0)))
            facade.product("IfcWall", panel, placement=placement, title="Sandwich panel")
    return [structure.save(folder / "structure.ifc"), facade.save(folder / "facade.ifc")]


AT_COLUMNS = np.arange(6.0, 48.0, 6.0)


def test_a_ring_of_panels_on_its_columns_meets_and_off_them_does_not(tmp_path):
    intake = arrived(ring(tmp_path, AT_COLUMNS))
    assert (said(intake), [one.fit.state for one in intake]) == ([], ["meets", "meets"])
    # By so little the corners still stand at their columns.
    (text,) = said(arrived(ring(tmp_path, AT_COLUMNS, moved=(0.06, -0.06))), "error")
    assert text.startswith("facade.ifc lies 0.060 m east and 0.060 m south of structure.ifc: 4 of its 22 wall joints")
    assert shift_told(text) == pytest.approx([-60.0, 60.0, 0.0], abs=1.0)


@pytest.mark.parametrize("gables", [True, False], ids=["ring", "long sides"])
@pytest.mark.parametrize(
    "joints",
    [np.arange(0.5, 48.0, 1.0), np.arange(0.35, 48.0, 1.2), AT_COLUMNS + 0.06, AT_COLUMNS - 0.06],
    ids=["upright panels", "upright panels to no rhythm", "all to one hand", "all to the other"],
)
def test_joints_that_stand_aside_of_columns_on_purpose_are_no_misfit(tmp_path, joints, gables):
    """A shift exists that makes some of them meet, on one side even all: it must not be believed."""
    intake = arrived(ring(tmp_path, joints, gables=gables))
    assert said(intake, "error") == []


def two_models(folder, away, **options):
    files = []
    for name, at in (("facade", (0, 0, 0)), ("structure", away)):
        kit = Kit(salt=name)
        kit.site = kit.place(kit.axes((1000, 2000, 0)), on=kit.site)
        kit.product("IfcWall", kit.box(6, 0.2, 4), at=at)
        files.append(ModelFile(kit.save(folder / f"{name}.ifc"), **(options if name == "structure" else {})))
    return files


@pytest.mark.parametrize("away", [(0, 0, 0), (15.9, 0, 0), (0, 10.1, 0), (0, 0, 13.9), (-5, 3, 2)])
def test_models_that_meet(tmp_path, away):
    assert said(arrived(two_models(tmp_path, away))) == []


def test_models_that_do_not_meet(tmp_path):
    with pytest.raises(BadModel) as caught:
        arrived(two_models(tmp_path, (5000, -7000, 0)))
    assert str(caught.value) == (
        "Models do not meet: facade lies at x 1000.0 m, y 2000.0 m, height 2.0 m, structure lies at x 6000.0 m, "
        "y -5000.0 m, height 2.0 m, 8598.7 m apart. Export both about the same base point, or set shift_mm for one "
        "of them."
    )


@pytest.mark.parametrize("away", [(16.1, 0, 0), (0, 10.3, 0), (0, 0, -14.1), (0, 0, 400)])
def test_models_just_apart_and_at_another_height(tmp_path, away):
    with pytest.raises(BadModel, match="Models do not meet"):
        arrived(two_models(tmp_path, away))
    arrived(two_models(tmp_path, away, shift_mm=tuple(-1000.0 * value for value in away)))


def test_the_gate_looks_at_what_was_read(tmp_path):
    reading = open_models(two_models(tmp_path, (5000, 0, 0)))
    for wanted in ([False, False], [True, False]):
        meshes, _ = reading.bodies(np.array(wanted))
        told = gate(reading, meshes)
        assert [one.bodies for one in told] == [sum(wanted), 0]
        assert told[1].size_m is None


def with_grid(folder, name, at=(0.0, 0.0), tags="AB12"):
    """A model of one wall and a grid of two axes each way."""
    kit = Kit(salt=name)
    kit.product("IfcWall", kit.box(6, 0.2, 1), at=(*at, 0.0), title=name)
    ends = {"A": ((0, 0), (20, 0)), "B": ((0, 9), (20, 9)), "1": ((0, 0), (0, 9)), "2": ((20, 0), (20, 9))}
    axes = [
        kit.make(
            "IfcGridAxis", tag, kit.make("IfcPolyline", [kit.point(x + at[0], y + at[1]) for x, y in ends[key]]), True
        )
        for tag, key in zip(tags, "AB12", strict=True)
    ]
    kit.root("IfcGrid", "Grid", None, None, kit.place(), None, axes[:2], axes[2:], None)
    return kit.save(folder / f"{name}.ifc")


def test_grids_tell_where_walls_and_columns_do_not(tmp_path):
    files = [with_grid(tmp_path, "facade"), with_grid(tmp_path, "structure", at=(0.25, -1.5))]
    (text,) = said(arrived(files), "error")
    assert text == (
        "structure.ifc lies 0.250 m east and 1.500 m south of facade.ifc, to judge by grid axes of the same name; "
        "shift_mm = [-250, 1500, 0] under [models] would bring those together."
    )
    same = arrived([files[0], with_grid(tmp_path, "structure", at=(0.01, 0.0))])
    assert (said(same), {one.fit.state for one in same}) == ([], {"meets"})
    other = arrived([files[0], with_grid(tmp_path, "structure", at=(0.25, -1.5), tags="CD34")])
    assert (said(other), {one.fit.state for one in other}) == ([], {"unknown"})


# ---- what comes out -------------------------------------------------------------------------------------------------


SLOW_WORKER = """
import json, os, sys, time
sys.path.insert(0, {folder!r})
import kernel_worker

whole = kernel_worker.Kernel.body

def body(self, entity, representation):
    if entity == {entity}:
        time.sleep(600)
    return whole(self, entity, representation)

kernel_worker.Kernel.body = body
answers = os.fdopen(os.dup(1), "wb")
for line in sys.stdin.buffer:
    kernel_worker.answer(json.loads(line)["jobs"], answers)
"""


def test_an_element_that_makes_the_kernel_hang_does_not_stop_the_run(tmp_path, monkeypatch):
    truth = write_hall(tmp_path, (), Options(split="one", body="clipped"))
    asked = []

    def limited(jobs, _):
        panel = next(job for job in jobs if job.representation == 0)
        worker = tmp_path / "worker.py"
        worker.write_text(SLOW_WORKER.format(folder=str(Path(kernel_module.__file__).parent), entity=panel.entity))
        monkeypatch.setattr(kernel_module, "_WORKER", worker)
        asked.append(len(jobs))
        return kernel_module.tessellated(jobs, kernel_module.Patience(2.0))

    monkeypatch.setattr(bodies_module, "tessellated", limited)
    result = run.check([ModelFile(truth.files[0])], Settings(), load_rules(), lambda *_: None)
    assert sum(asked) > 1
    assert result.model.faults.count("the geometry kernel did not finish it within 2 s") >= 1
    assert result.seam_length_m > 500


HOSTILE = "\\X\\07\\X\\1B[2J\\X2\\FFFF\\X0\\\\X2\\202E\\X0\\<b>&"


def test_names_with_characters_that_xml_forbids_break_no_output(call, tmp_path):
    truth = write_hall(tmp_path / "made", tuple(DEFECTS)[:3], Options(split="one"))
    text = truth.files[0].read_text()
    text = re.sub(
        r"(IFC(?:PLATE|WALL|COLUMN|DISCRETEACCESSORY)\('[^']*',#\d+,')", lambda found: found[1] + HOSTILE, text
    )
    written(tmp_path, text, "hall.ifc")
    end = call("check", "hall.ifc")
    assert end.code == 1
    assert all(line.isprintable() for line in end.out.splitlines())
    assert re.search(r"Note: hall.ifc: \d+ elements have names with characters that no XML file may hold", end.out)
    told = json.loads(Path("seamtrace-out/findings.json").read_text("utf-8"))
    jsonschema.validate(told, findings_schema())
    with zipfile.ZipFile("seamtrace-out/issues.bcf") as archive:
        for name in archive.namelist():
            if name.endswith((".bcf", ".bcfv", ".bcfp", ".version")):
                etree.fromstring(archive.read(name))
    with Path("seamtrace-out/seams.csv").open(encoding="utf-8", newline="") as sheet:
        assert len(list(csv.DictReader(sheet))) == told["summary"]["seams"]


def test_the_table_is_told_even_where_nothing_can_be_checked(call, tmp_path):
    written(tmp_path, TEXT.replace(b"'wall'", b"'Sandwich panel'"))
    end = call("check", "m.ifc")
    assert end.code == 2
    assert end.out.splitlines()[1:3] == [
        "  file   schema  unit  size in m    products  panels  columns  other  map  meets",
        "  m.ifc  IFC4    mm    6.0x0.2x1.0         1       1        0      0  no   -",
    ]
    assert end.err.startswith("Error: m.ifc: ")
    (told,) = json.loads(Path("seamtrace-out/findings.json").read_text("utf-8"))["intake"]
    assert (told["products"], told["roles"]) == (1, {"panel": 1})


def extents(path):
    """Length, width and height of all elements but openings and furniture, as the geometry kernel alone has them."""
    model, options = ifcopenshell.open(str(path)), ifcopenshell.geom.settings()
    options.set("use-world-coords", True)
    # Furniture stands inside, and is most of the triangles.
    left_out = ("IfcOpeningElement", "IfcFurnishingElement")
    wanted = [e for e in model.by_type("IfcElement") if not any(e.is_a(name) for name in left_out)]
    iterator = ifcopenshell.geom.iterator(options, model, 1, include=wanted)
    points, more = [], iterator.initialize()
    while more:
        points.append(np.array(iterator.get().geometry.verts).reshape(-1, 3))
        more = iterator.next()
    every = np.concatenate(points)
    outline = shapely.oriented_envelope(shapely.convex_hull(shapely.multipoints(every[:, :2])))
    sides = np.linalg.norm(np.diff(shapely.get_coordinates(outline)[:3], axis=0), axis=1)
    return (max(sides), min(sides), np.ptp(every[:, 2]))


@pytest.mark.skipif(not REAL.is_dir(), reason="the real models are not here")
@pytest.mark.parametrize(
    ("name", "schema", "unit"),
    [
        ("aac-plot01-old", "IFC2X3", "mm"),
        ("aac-plot01-new", "IFC2X3", "mm"),
        ("composite-parts", "IFC2X3", "mm"),
        ("curtain-only", "IFC2X3", "m"),
        ("lab-mixed-ifc4", "IFC4", "mm"),
        ("tall-building", "IFC2X3", "mm"),
    ],
)
def test_every_real_model_gets_its_row_within_seconds(name, schema, unit):
    before = time.monotonic()
    model = run.recognise([ModelFile(REAL / f"{name}.ifc")], Settings(), lambda *_: None)
    assert time.monotonic() - before < 60
    lines = arrivals(model)
    assert len(lines) == 2, "a table of one file and nothing to remark"
    assert lines[1].split()[:3] == [f"{name}.ifc", schema, unit]
    assert all(len(line) <= WIDTH for line in lines)
    # Envelopes reach nearly as far as all there is; furniture and stairs are not read.
    assert model.intake[0].size_m == pytest.approx(extents(REAL / f"{name}.ifc"), abs=0.2)
