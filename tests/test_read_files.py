import os
import zipfile
from contextlib import suppress
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from read_kit import Kit, everything
from thorough import some

import checker.read.bodies as bodies_module
import checker.read.files as files_module
from checker.errors import BadModel
from checker.read import ModelFile, open_models


def hall(schema="IFC4", **options):
    kit = Kit(schema, **options)
    kit.product("IfcWall", kit.box(6, 0.2, 1), title="wall")
    return kit


@pytest.fixture
def text():
    return hall().text().encode("ascii")


def packed(path, members, method=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(path, "w", method) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return path


def refusal(path):
    with pytest.raises(BadModel) as caught:
        open_models([ModelFile(path)])
    said = str(caught.value)
    assert path.name in said
    assert "\n" not in said
    assert said.endswith(".")
    assert said.count(". ") >= 1 or said.count(": ") >= 1, "what is wrong, and what to do"
    return said


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3_ADD2"])
def test_every_schema_that_can_be_read(tmp_path, schema):
    reading = hall(schema).read(tmp_path)
    assert reading.sources[0].schema == schema
    assert [element.name for element in reading.elements] == ["wall"]


@pytest.mark.parametrize(("schema", "read_as"), files_module.READ_AS.items())
@pytest.mark.parametrize("zipped", [False, True])
def test_earlier_issues_of_a_schema_are_read_like_the_last(tmp_path, schema, read_as, zipped):
    text = hall(read_as).text().encode("ascii").replace(f"'{read_as}'".encode(), f"'{schema}'".encode())
    path = tmp_path / ("hall.ifczip" if zipped else "hall.ifc")
    if zipped:
        packed(path, {"hall.ifc": text})
    else:
        path.write_bytes(text)
    reading = open_models([ModelFile(path)])
    meshes, faults = reading.bodies(everything(reading))
    assert len(meshes.triangles) == 12
    assert faults == ("",)
    assert reading.sources[0].schema == read_as
    assert reading.notes == (f"{path.name}: written in schema {schema}, read as {read_as}.",)


@pytest.mark.parametrize(
    ("spoil", "word"),
    [
        (lambda text: b"", "empty"),
        (lambda text: b"<!doctype html><html><body>Sign in</body></html>", "no IFC file"),
        (lambda text: b"Dear all, the model follows tomorrow.\n", "no IFC file"),
        (lambda text: b'<?xml version="1.0"?><ifc:ifcXML xmlns:ifc="x"/>', "ifcXML"),
        (lambda text: bytes(range(256)) * 8, "no IFC file"),
        (lambda text: text[: len(text) // 2], "cut short"),
        (lambda text: text[:200], "cut short"),
        (lambda text: text.replace(b"END-ISO-10303-21;", b""), "cut short"),
        (lambda text: text.replace(b"('IFC4')", b"('IFC4X1')"), "IFC4X1"),
        (lambda text: text.replace(b"('IFC4')", b"('AP214')"), "AP214"),
        (lambda text: text.replace(b"FILE_SCHEMA(('IFC4'));", b""), "schema"),
        (lambda text: text.replace(b"IFCPROJECT(", b"IFCPERSON("), "IfcProject"),
        (lambda text: text.replace(b"LENGTHUNIT", b"AREAUNIT"), "unit"),
        (lambda text: text.replace(b"IFCWALL(", b"\0" * 30), "damaged"),
    ],
)
def test_a_file_that_is_no_model_is_one_sentence(tmp_path, text, spoil, word):
    path = tmp_path / "odd.ifc"
    path.write_bytes(spoil(text))
    assert word in refusal(path)


def test_a_lost_bracket_does_not_lose_the_rest_of_the_model(tmp_path):
    kit = hall()
    for i in range(20):
        kit.product("IfcWall", kit.box(1, 1, 1), title=f"wall {i}")
    text = kit.text()
    for at in range(len(text) // 4, len(text) // 2, 97):
        place = text.index(")", at)
        path = tmp_path / "m.ifc"
        path.write_text(text[:place] + text[place + 1 :])
        try:
            reading = open_models([ModelFile(path)])
        except BadModel:
            continue
        # The parser could go on: then it went on to the end, and says what it left out.
        assert len(reading.elements) >= 20
        assert len(reading.elements) == 21 or reading.notes


def test_what_the_parser_leaves_out_is_noted(tmp_path):
    kit = hall()
    kit.product("IfcSlab", kit.box(6, 6, 0.2), title="floor")
    path = tmp_path / "m.ifc"
    path.write_text(kit.text().replace("IFCSLAB(", "IFCFLOORBOARD("))
    reading = open_models([ModelFile(path)])
    assert [element.name for element in reading.elements] == ["wall"]
    assert len(reading.notes) == 1
    assert reading.notes[0].startswith("m.ifc: faulty records or references that were left out: 1, such as: ")
    assert "IFCFLOORBOARD" in reading.notes[0]


def test_nothing_is_printed(tmp_path, text, capfd):
    (tmp_path / "m.ifc").write_bytes(text.replace(b"IFCWALL(", b"IFCNOTHING("))
    reading = open_models([ModelFile(tmp_path / "m.ifc")])
    kit = hall()
    kit.product("IfcWall", kit.extrusion(kit.rectangle(1, 0.0), 1), title="no width")
    reading = kit.read(tmp_path, "n.ifc")
    reading.bodies(everything(reading))
    captured = capfd.readouterr()
    assert captured.out == captured.err == ""


def test_folders_and_missing_files(tmp_path):
    assert "folder" in refusal(tmp_path)
    assert "does not exist" in refusal(tmp_path / "hall.ifc")
    with pytest.raises(BadModel, match="No model"):
        open_models([])


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "hall.ifc")
    assert "not a file" in refusal(tmp_path / "hall.ifc")


@pytest.mark.parametrize("name", ["hall.ifczip", "hall.ifcZIP", "HALL.IFCZIP", "hall.zip"])
@pytest.mark.parametrize("inside", ["hall.ifc", "Folder/HALL.IFC"])
def test_zipped_models(tmp_path, text, name, inside):
    path = packed(tmp_path / name, {inside: text, "photo.jpg": b"x" * 100})
    zipped = open_models([ModelFile(path)])
    (tmp_path / "plain.ifc").write_bytes(text)
    plain = open_models([ModelFile(tmp_path / "plain.ifc")])
    assert zipped.elements == plain.elements
    meshes = [reading.bodies(everything(reading))[0] for reading in (zipped, plain)]
    assert np.array_equal(meshes[0].points, meshes[1].points)
    assert zipped.sources[0].file == name


def test_a_zipped_model_feeds_the_kernel_and_leaves_nothing_behind(tmp_path, monkeypatch):
    monkeypatch.setenv("TMPDIR", str(tmp_path / "scratch"))
    (tmp_path / "scratch").mkdir()
    monkeypatch.setattr("tempfile.tempdir", None)
    kit = hall()
    host = kit.product("IfcWall", kit.box(4, 0.2, 3), title="host")
    kit.cut(host, kit.product("IfcOpeningElement", kit.box(1, 1, 1)))
    reading = open_models([ModelFile(packed(tmp_path / "m.ifcZIP", {"m.ifc": kit.text()}))])
    assert list((tmp_path / "scratch").iterdir())
    _, faults = reading.bodies(everything(reading))
    assert set(faults) == {""}
    del reading
    assert not list((tmp_path / "scratch").iterdir())
    packed(tmp_path / "bad.ifcZIP", {"m.ifc": kit.text()[:500]})
    refusal(tmp_path / "bad.ifcZIP")
    assert not list((tmp_path / "scratch").iterdir())


@pytest.mark.parametrize(
    ("members", "word"),
    [
        ({}, "no .ifc"),
        ({"readme.txt": b"x"}, "no .ifc"),
        ({"a.ifcxml": b"<ifcXML/>"}, "ifcXML"),
        ({"a.ifc": b"x", "b.ifc": b"x"}, "2 .ifc"),
        ({"../a.ifc": b"x"}, "outside"),
        ({"/tmp/a.ifc": b"x"}, "outside"),
        ({"..\\a.ifc": b"x"}, "outside"),
        ({"C:\\a.ifc": b"x"}, "outside"),
        ({"a.ifc": b"hello"}, "no IFC file"),
        ({"a.ifc": b""}, "empty"),
        ({"a.ifc": b"x"} | {f"{i}.txt": b"" for i in range(100)}, "101 files"),
    ],
)
def test_zips_that_are_no_model(tmp_path, members, word):
    assert word in refusal(packed(tmp_path / "odd.ifcZIP", members))


def test_a_zip_with_names_from_a_hostile_hand_stays_one_line(tmp_path):
    refusal(packed(tmp_path / "odd.ifcZIP", {"../\x1b[31m\n::error::a.ifc": b"x"}))


def test_a_zip_bomb_is_not_unpacked(tmp_path, monkeypatch):
    path = packed(tmp_path / "bomb.ifcZIP", {"a.ifc": b" " * 5_000_000})
    monkeypatch.setattr(files_module, "LARGEST_MODEL_BYTES", 4_000_000)
    assert "would unpack to more than" in refusal(path)


def test_a_zip_that_grows_too_much_is_not_unpacked(tmp_path, monkeypatch):
    path = packed(tmp_path / "bomb.ifcZIP", {"a.ifc": b" " * 5_000_000})
    monkeypatch.setattr(files_module, "LARGEST_ZIP_RATIO", 4)
    assert "would unpack to more than 4 MiB" in refusal(path)


def test_a_zip_that_lies_about_its_size_is_not_unpacked(tmp_path):
    path = packed(tmp_path / "lie.ifcZIP", {"a.ifc": b" " * 5_000_000})
    data = path.read_bytes()
    path.write_bytes(data.replace((5_000_000).to_bytes(4, "little"), (5_000).to_bytes(4, "little")))
    assert "cannot be unpacked" in refusal(path)


def test_damaged_and_locked_zips(tmp_path, text):
    whole = packed(tmp_path / "whole.ifcZIP", {"a.ifc": text}).read_bytes()
    for name, data in {
        "cut.ifcZIP": whole[: len(whole) // 2],
        "head.ifcZIP": whole[:4],
        "flipped.ifcZIP": whole[:80] + bytes(b ^ 255 for b in whole[80:120]) + whole[120:],
        "plain.ifcZIP": b"hello",
        "locked.ifcZIP": whole.replace(b"PK\x01\x02\x14\x03\x14\x00\x00", b"PK\x01\x02\x14\x03\x14\x00\x01"),
    }.items():
        (tmp_path / name).write_bytes(data)
        refusal(tmp_path / name)
    assert "unusual way" in refusal(packed(tmp_path / "odd.ifcZIP", {"a.ifc": text}, zipfile.ZIP_LZMA))


def test_too_large_a_file(tmp_path, text, monkeypatch):
    path = tmp_path / "m.ifc"
    path.write_bytes(text)
    monkeypatch.setattr(files_module, "LARGEST_MODEL_BYTES", len(text) - 1)
    assert "limit" in refusal(path)
    monkeypatch.setattr(files_module, "LARGEST_MODEL_BYTES", len(text))
    open_models([ModelFile(path)])


def test_the_same_file_twice(tmp_path, text):
    (tmp_path / "a.ifc").write_bytes(text)
    (tmp_path / "copy.ifc").write_bytes(text)
    for other in ("a.ifc", "copy.ifc"):
        with pytest.raises(BadModel, match="same model"):
            open_models([ModelFile(tmp_path / "a.ifc"), ModelFile(tmp_path / other)])


def test_sources_say_what_they_are(tmp_path):
    kit = hall("IFC2X3", unit="foot")
    header = kit.file.header.file_name
    header.time_stamp, header.name = "2024-02-29T23:30:00+01:00", "hall_final.ifc"
    kit.save(tmp_path / "m.ifc")
    source = open_models([ModelFile(tmp_path / "m.ifc", name="facade", owner="panels")]).sources[0]
    assert (source.file, source.name, source.owner) == ("m.ifc", "facade", "panels")
    assert (source.schema, source.length_unit, source.project) == ("IFC2X3", "foot", "Hall")
    assert source.saved == "2024-02-29T22:30:00Z"
    assert source.header_name == "hall_final.ifc"
    assert source.project_guid == kit.project.GlobalId
    assert len(source.sha256) == 64


@pytest.mark.parametrize(
    ("stamp", "saved"),
    [
        ("2024-05-01T10:00:00", "2024-05-01T10:00:00Z"),
        ("2024-05-01T10:00:00Z", "2024-05-01T10:00:00Z"),
        ("2024-05-01", "2024-05-01T00:00:00Z"),
        ("yesterday", ""),
        ("", ""),
        ("0001-01-01T00:00:00+23:00", ""),
    ],
)
def test_time_stamps(tmp_path, stamp, saved):
    kit = hall()
    kit.file.header.file_name.time_stamp = stamp
    assert kit.read(tmp_path).sources[0].saved == saved
    if saved:
        assert datetime.strptime(saved, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)


def test_the_order_on_the_command_line_changes_nothing(tmp_path):
    files = []
    for name, east in (("b", 3.0), ("a", 0.0), ("c", 7.0)):
        kit = Kit(salt=name)
        for i in range(3):
            kit.product("IfcWall", kit.box(1, 1, 1), title=f"{name}{i}", at=(east, i, 0))
        files.append(ModelFile(kit.save(tmp_path / f"{name}.ifc")))
    one, other = open_models(files), open_models(files[::-1])
    assert [source.name for source in one.sources] == ["a", "b", "c"]
    assert one.sources == other.sources
    assert one.elements == other.elements
    assert np.array_equal(one.origin, other.origin)
    meshes = [reading.bodies(everything(reading))[0] for reading in (one, other)]
    assert np.array_equal(meshes[0].points, meshes[1].points)
    assert [element.guid for element in one.elements] == sorted(element.guid for element in one.elements)


def test_a_damaged_record_is_named_and_not_a_traceback(tmp_path):
    kit = hall()
    text = kit.text()
    project = text.index("IFCPROJECT(")
    end = text.index(";", project)
    (tmp_path / "m.ifc").write_text(text[:project] + "IFCPROJECT(1,2,3,4,5,6,7,8,9)" + text[end:])
    assert "m.ifc" in refusal(tmp_path / "m.ifc")


@given(
    spots=st.lists(st.tuples(st.integers(0, 2**20), st.sampled_from(list(b"#$*(),.;'09AZ=/ \n\\-E"))), min_size=1),
    cut=st.booleans(),
)
@settings(max_examples=some(150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_stands_in_a_file_it_is_read_or_refused(tmp_path, monkeypatch, spots, cut):
    monkeypatch.setattr(bodies_module, "tessellated", lambda jobs, _: ["left to the kernel"] * len(jobs))
    kit = hall()
    wall = kit.product("IfcWall", kit.mapped(kit.extrusion(kit.polygon([(0, 0), (1, 0), (0, 1)]), 2)))
    kit.properties([wall], "Pset", Maker="A", Weight=1.5)
    kit.relate("IfcRelAssociatesMaterial", [wall], kit.make("IfcMaterial", "Steel"))
    kit.cut(wall, kit.product("IfcOpeningElement", kit.box(1, 1, 1)))
    data = bytearray(kit.text().encode("ascii"))
    for place, byte in spots:
        if cut:
            del data[place % len(data)]
        else:
            data[place % len(data)] = byte
    (tmp_path / "m.ifc").write_bytes(data)
    with suppress(BadModel):
        reading = open_models([ModelFile(tmp_path / "m.ifc")])
        for element in reading.elements:
            len(element.stated)
        meshes, faults = reading.bodies(everything(reading))
        assert len(meshes) == len(faults) == len(reading.elements)
