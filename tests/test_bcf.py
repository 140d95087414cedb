"""``issues.bcf`` against the published schemas, a second reader, a strict checker, and the models it speaks of."""

import dataclasses
import importlib.metadata
import importlib.util
import io
import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path
from uuid import UUID, uuid5

import numpy as np
import pytest
from bcf_kit import check_foreign_bytes, packed, parts, unpacked
from box_model import SAVED, Part, Place, cover, hall, issue_of, model_of, result_of, write_ifc
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from test_picture import only_mark, pixels

from checker import run
from checker.bcf.reading import container, markup, topic_in
from checker.bcf.records import BCF_VERSIONS, Comment, Edit, HeaderFile, Topic, View
from checker.bcf.splicing import update
from checker.bcf.writing import markup_file
from checker.bcf.xml import document, legal
from checker.demo import DEFECTS, Options, write_hall
from checker.errors import CannotCheck
from checker.model import Element
from checker.output import picture, views
from checker.output.bcf import CAUTION, issues_bcf, new_topics, new_views, write_bcf
from checker.output.picture import draw
from checker.output.update import updated_bcf
from checker.output.views import both_views, context_view, element_boxes, section_view
from checker.result import Change, Changes, Move, Remark, Result
from checker.rule import load_rules
from checker.settings import Settings, files_to_read

RUN = "2026-05-06T07:08:09Z"
CHECKER = Path(__file__).parents[2] / "shared" / "tools" / "check_bcf.py"
HERE = Place()
FAR = Place(33, (500_000.0, 5_900_000.0, 40.0))
NASTY = "A\x00\x1b[2J <b>&amp;\"' ]]> \ud800 \ufffe \u202egnp.exe %s {0} ::error::\r\n=1+1 𝄞 Größe"


def issues(model, place=HERE) -> list:
    """One of every sort: narrow seam, accepted roof edge, seal seen from inside, top view, corner, plinth."""
    south = ["Panel right 2", "Panel left 2", "Column 0"]
    move = Move("x", "end of the right panel", (0.008, 0.0, 0.0), 8.0, "to the right")
    return [
        issue_of(model, south, (-0.01, 0, 2.5), place=place, move=move),
        issue_of(model, ["Roof", "Panel left 3"], (-2, 0, 4.05), place=place, accepted="A wider strip is ordered."),
        issue_of(model, ["Seal 2"], (0, 0.14, 2.75), (0, -1, 0), place, worst_mm=499.0, severity="warning", owner=""),
        issue_of(model, ["Panel left 3", "Seal 3"], (0, 0.06, 3.99), (0, 0, -1), place, severity="note"),
        issue_of(model, ["Plinth", "Panel left 0"], (-3, 0, 0.0), place=place, worst_mm=None, facade="", axis=""),
        dataclasses.replace(
            issue_of(model, [], (1, 1, 1), place=place), elements=(), members=(), owner="", title="", description=""
        ),
    ]


def parts_of(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def markups(data: bytes) -> list:
    return [etree.fromstring(part) for name, part in parts_of(data).items() if name.endswith("markup.bcf")]


@pytest.fixture(scope="module")
def strict():
    if not CHECKER.is_file():
        pytest.skip("the strict checker lies outside the project and is not here")
    spec = importlib.util.spec_from_file_location("check_bcf", CHECKER)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


# The checker leaves closing its files to the interpreter.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("bcf_version", BCF_VERSIONS)
@pytest.mark.parametrize("place", [HERE, FAR], ids=["here", "far away"])
def test_a_strict_checker_that_knows_the_model_finds_nothing(tmp_path, strict, place, bcf_version):
    parts = [*hall(), cover(), Part("shim", "seal", (0, 0.1, 2.4), (0.004, 0.11, 2.43))]
    model = model_of(parts, place)
    some = [*issues(model, place), issue_of(model, ["shim"], (0.0, 0.1, 2.4), place=place)]
    write_bcf(result_of(model, some), tmp_path / "issues.bcf", RUN, bcf_version)
    write_ifc(parts, tmp_path / "facade.ifc", place)
    models = strict.Models([str(tmp_path / "facade.ifc")])
    found, count, version = strict.check(str(tmp_path / "issues.bcf"), models)
    assert found == []
    assert version == bcf_version
    assert (count["topics"], count["comments"], count["viewpoints"], count["snapshots"]) == (7, 14, 14, 14)
    assert count["components"] > 15


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_the_strict_checker_would_notice_a_camera_that_looks_away(tmp_path, strict, monkeypatch):
    parts = hall()
    model = model_of(parts)
    issue = issue_of(model, ["Panel left 2"], (0, 0, 2.5))
    view = context_view(issue, model)
    away = dataclasses.replace(view, direction=tuple(-np.array(view.direction)))
    monkeypatch.setattr("checker.output.bcf.both_views", lambda *_: (away, section_view(issue, model)))
    write_bcf(result_of(model, [issue]), tmp_path / "issues.bcf", RUN)
    write_ifc(parts, tmp_path / "facade.ifc")
    found, _, _ = strict.check(str(tmp_path / "issues.bcf"), strict.Models([str(tmp_path / "facade.ifc")]))
    assert [code for _, _, code, _ in found] == ["looks-away", "blank"], "the picture looks away too"


GUISES = {
    "turned, far away": Options(turn_deg=203.7, offset_m=(1.0e6, -2.5e5, 120.0)),
    "a mixture in feet": Options(body="mixed", unit="foot", turn_deg=24.2, schema="IFC2X3"),
    "each file on the map in its own way": Options(
        map_conversion=((5.0e5, 6.2e6, 10.0, 12.0), (5.0e5, 6.2e6, 10.0, 12.0), (5.0e5 + 40.0, 6.2e6 - 25.0, 8.0, 30.0))
    ),
}


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("guise", GUISES)
def test_the_strict_checker_finds_nothing_in_issues_of_the_sample(tmp_path, strict, guise):
    truth = write_hall(tmp_path / "models", tuple(DEFECTS), GUISES[guise])
    files = files_to_read(list(truth.files), Settings())
    result = run.check(files, Settings(), load_rules(), lambda what, share: None)
    models = strict.Models([str(path) for path in truth.files])
    for version in BCF_VERSIONS:
        run.write(result, tmp_path, ["bcf"], bcf_version=version)
        found, count, written = strict.check(str(tmp_path / "issues.bcf"), models)
        assert found == []
        assert written == version
        assert count["topics"] == len(result.issues) > 20
        assert count["viewpoints"] == count["snapshots"] == count["comments"] == 2 * count["topics"]


@pytest.fixture(scope="module")
def schemas() -> dict[str, dict[str, etree.XMLSchema]]:
    """The standard's own schemas by version: those of 2.1 are packaged unchanged in a distribution used for tests."""
    packaged = [Path(file.locate()) for file in importlib.metadata.files("bcf-api-xml") or [] if file.suffix == ".xsd"]
    places = {"2.1": packaged, "3.0": sorted((CHECKER.parents[1] / "standards" / "bcf" / "3.0").glob("*.xsd"))}
    return {v: {path.stem: etree.XMLSchema(etree.parse(path)) for path in paths} for v, paths in places.items()}


def every_sort() -> Result:
    model = model_of([*hall(), cover()])
    return result_of(model, issues(model))


def hostile() -> Result:
    model = model_of(hall())
    elements = [
        dataclasses.replace(e, name=NASTY, tag=NASTY, ifc_class=NASTY, shown=(e.guid, "<script>", e.guid[:-1] + "é"))
        for e in model.elements
    ]
    source = dataclasses.replace(
        model.sources[0], file=f"C:\\Users\\someone\\{NASTY}", project=NASTY, project_guid=NASTY, saved=NASTY
    )
    model = dataclasses.replace(model, elements=tuple(elements), sources=(source, source))
    plain = issue_of(dataclasses.replace(model, elements=tuple(model_of(hall()).elements)), ["Panel left 1"], (0, 0, 1))
    texts = ("title", "description", "owner", "rule", "facade", "axis", "remedy", "accepted", "check_id")
    nasty = dataclasses.replace(plain, **dict.fromkeys(texts, NASTY), move=Move(NASTY, NASTY, (1, 0, 0), 1.0, NASTY))
    result = result_of(model, [nasty])
    return dataclasses.replace(
        result, verdicts=(dataclasses.replace(result.verdicts[0], message=NASTY, facade=NASTY, axis=NASTY),)
    )


def with_dates() -> Result:
    return dataclasses.replace(every_sort(), due_days={"error": 7, "warning": 14}, stage="Shop drawings")


@pytest.mark.parametrize("version", BCF_VERSIONS)
@pytest.mark.parametrize("make", [every_sort, hostile, with_dates, lambda: result_of(model_of(hall()), [])])
def test_every_part_fits_the_published_schemas(schemas, make, version):
    if not schemas[version]:
        pytest.skip("the schemas of 3.0 lie outside the project and are not here")
    kinds = {"version": "version", "bcfp": "project", "bcf": "markup", "bcfv": "visinfo", "xml": "extensions"}
    result = make()
    seen = set()
    for name, part in parts_of(issues_bcf(result, RUN, version)).items():
        if kind := kinds.get(name.rsplit(".", 1)[-1]):
            schemas[version][kind].assertValid(etree.fromstring(part))
            seen.add(kind)
    assert seen == {
        *("version", "project"),
        *(("markup", "visinfo") if result.issues else ()),
        *(("extensions",) if version == "3.0" else ()),
    }


@pytest.mark.parametrize("version", BCF_VERSIONS)
def test_hostile_texts_stay_texts(version):
    data = issues_bcf(hostile(), RUN, version)
    (root,) = markups(data)
    title, text = root.findtext("Topic/Title"), root.findtext("Topic/Description")
    assert title == "A��[2J <b>&amp;\"' ]]> � � �gnp.exe %s {0} ::error:: =1+1 𝄞 Größe"
    assert text.splitlines()[-1].startswith("Check ID: A��[2J")
    names = {"2.1": title, "3.0": "facade.ifc"}[version]
    assert [file.findtext("Filename") for file in root.iter("File")] == [names] * 2
    assert not list(root.iterfind(".//File/Date"))
    view = next(part for name, part in parts_of(data).items() if name.endswith(".bcfv"))
    guids = {node.get("IfcGuid") for node in etree.fromstring(view).iter("Component")}
    assert guids == {Part("Panel left 1", "panel", (0, 0, 0), (1, 1, 1)).guid}
    for name, part in parts_of(data).items():
        assert b"someone" not in part, "the folders of a person's computer"
        assert re.fullmatch(r"[a-z.]+|[0-9a-f-]{36}/([a-z.]*|[0-9a-f-]{36}\.(bcfv|png))", name)


@pytest.mark.parametrize("version", BCF_VERSIONS)
def test_a_second_reader_sees_the_same_topics_comments_cameras_and_pictures(tmp_path, version):
    # bcf-client, which is used for tests only.
    bcf = pytest.importorskip("bcf.bcfxml")
    result = every_sort()
    write_bcf(result, tmp_path / "issues.bcf", RUN, version)
    with bcf.load(tmp_path / "issues.bcf") as read:
        assert read.project.name == "Hall"
        assert set(read.topics) == {issue.topic for issue in result.issues}
        for issue in result.issues:
            handler = read.topics[issue.topic]
            topic, (view, section) = handler.topic, both_views(issue, result.model, element_boxes(result.model))
            assert topic.title == (issue.title or issue.rule)
            assert topic.topic_status == ("Closed" if issue.accepted else "Open")
            assert topic.assigned_to == (issue.owner or None)
            assert topic.description.splitlines()[-1] == f"Check ID: {issue.check_id}"
            seen, cut = handler.viewpoints.values()
            assert [comment.viewpoint.guid for comment in handler.comments] == [seen.guid, cut.guid]
            camera = seen.visualization_info.perspective_camera
            assert (camera.camera_view_point.x, camera.camera_view_point.y, camera.camera_view_point.z) == view.eye
            assert (camera.camera_direction.x, camera.camera_direction.y, camera.camera_direction.z) == view.direction
            assert camera.field_of_view == 60
            assert getattr(camera, "aspect_ratio", None) == (320 / 240 if version == "3.0" else None)
            assert tuple(seen.get_selected_guids() or ()) == view.selected
            assert seen.snapshot == draw(view, result.model, 320, 240)
            camera, (plane,) = (
                cut.visualization_info.orthogonal_camera,
                cut.visualization_info.clipping_planes.clipping_plane,
            )
            assert (camera.camera_view_point.x, camera.camera_view_point.y, camera.camera_view_point.z) == section.eye
            assert camera.view_to_world_scale == section.height_m
            assert (plane.direction.x, plane.direction.y, plane.direction.z) == section.clips[0][1]
            assert cut.snapshot == draw(section, result.model, 320, 240)


def test_the_place_projected_through_the_written_camera_is_where_the_picture_marks_it(monkeypatch):
    monkeypatch.setattr(picture, "SIZES", ((10**9, (1000, 750)),))
    model = model_of(hall(), FAR)
    issue = issue_of(model, ["Seal 2"], (0.03, 0.14, 2.75), (0, -1, 0), FAR, worst_mm=499.0)
    parts = parts_of(issues_bcf(result_of(model, [issue]), RUN))
    view, image = (parts[f"{issue.topic}/{name}"] for name in ("viewpoint.bcfv", "snapshot.png"))
    camera = etree.fromstring(view).find("PerspectiveCamera")

    def vector(name):
        return np.array([float(camera.findtext(f"{name}/{axis}")) for axis in "XYZ"])

    look, up = vector("CameraDirection"), vector("CameraUpVector")
    away = np.array(issue.point_m) - vector("CameraViewPoint")
    scale = 375 / np.tan(np.radians(float(camera.findtext("FieldOfView"))) / 2) / (away @ look)
    x, y = 500 + away @ np.cross(look, up) * scale, 375 - away @ up * scale
    at = np.argwhere(only_mark(pixels(image))) + 0.5
    np.testing.assert_allclose((at.min(axis=0) + at.max(axis=0)) / 2, (y, x), atol=0.75)
    # The lines in the viewpoint cross at the same place.
    for line in etree.fromstring(view).iter("Line"):
        ends = [[float(line.findtext(f"{end}/{axis}")) for axis in "XYZ"] for end in ("StartPoint", "EndPoint")]
        np.testing.assert_allclose(np.mean(ends, axis=0), issue.point_m, atol=1e-8)


def test_the_view_of_the_parts_comes_first_and_the_section_second_each_with_picture_and_comment():
    for root in markups(issues_bcf(every_sort(), RUN)):
        entries = root.findall("Viewpoints")
        assert [entry.findtext("Index") for entry in entries] == ["0", "1"]
        first, second = ([entry.findtext("Viewpoint"), entry.findtext("Snapshot")] for entry in entries)
        # The standard wants one viewpoint and one snapshot of exactly these names.
        assert first == ["viewpoint.bcfv", "snapshot.png"]
        assert second == [f"{entries[1].get('Guid')}.bcfv", f"{entries[1].get('Guid')}.png"]
        pointed = [comment.find("Viewpoint").get("Guid") for comment in root.findall("Comment")]
        assert pointed == [entry.get("Guid") for entry in entries]
        said = [comment.findtext("Comment") for comment in root.findall("Comment")]
        assert said[0].startswith("The ring marks the worst place, x ")
        assert said[1].startswith(
            "Horizontal section through the worst place, seen from above: outside is at the bottom."
        )


def point(node, tag) -> np.ndarray:
    return np.array([float(node.findtext(f"{tag}/{axis}")) for axis in "XYZ"])


@pytest.mark.parametrize("frame", [Place(), Place(24.2, (30.0, -20.0, 1.5))], ids=["the world's", "its own"])
def test_planes_lines_and_cameras_stand_in_the_coordinates_of_the_file_whose_part_should_move(frame):
    # The file is the hall as drawn; its frame brings it into the world.
    place = frame
    model = model_of(hall(), place)
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = place.rotation(), place.offset
    source = dataclasses.replace(model.sources[0], frame=tuple(map(tuple, matrix.tolist())))
    vector = tuple((place.rotation() @ (0.008, 0, 0)).tolist())
    move = Move("x", "end of the right panel", vector, 8.0, "to the right")
    issue = issue_of(model, ["Panel right 2", "Panel left 2", "Column 0"], (-0.004, 0.1, 2.5), place=place, move=move)
    parts = parts_of(issues_bcf(result_of(dataclasses.replace(model, sources=(source,)), [issue]), RUN))
    views = [etree.fromstring(part) for name, part in parts.items() if name.endswith(".bcfv")]
    for view in views:
        start = next(line for line in view.iter("Line") if np.allclose(point(line, "StartPoint"), (-0.004, 0.1, 2.5)))
        np.testing.assert_allclose(point(start, "EndPoint"), (0.004, 0.1, 2.5), atol=2e-6)
    (section,) = (view for view in views if view.find("OrthogonalCamera") is not None)
    (plane,) = section.iter("ClippingPlane")
    np.testing.assert_allclose(point(plane, "Location"), (-0.004, 0.1, 2.5), atol=2e-6)
    np.testing.assert_allclose(point(plane, "Direction"), (0, 0, 1), atol=1e-9)
    camera = section.find("OrthogonalCamera")
    np.testing.assert_allclose(point(camera, "CameraDirection"), (0, 0, -1), atol=1e-9)
    np.testing.assert_allclose(point(camera, "CameraUpVector"), (0, 1, 0), atol=1e-9)
    assert 0.3 <= float(camera.findtext("ViewToWorldScale")) <= 0.6
    (selected,) = section.findall("Components/Selection/Component")
    assert selected.get("IfcGuid") == Part("Column 0", "column", (0, 0, 0), (1, 1, 1)).guid


def test_due_dates_and_stage_follow_the_settings_and_accepted_issues_are_never_due():
    result = dataclasses.replace(every_sort(), due_days={"error": 7, "note": 0}, stage="Shop <drawings>")
    first, accepted, warning, note, *_ = markups(issues_bcf(result, RUN))
    due = [root.findtext("Topic/DueDate") for root in (first, accepted, warning, note)]
    assert due == ["2026-05-13T12:00:00Z", None, None, "2026-05-06T12:00:00Z"]
    assert {root.findtext("Topic/Stage") for root in (first, accepted)} == {"Shop <drawings>"}
    names = [node.tag for node in first.find("Topic")]
    assert names[-5:] == ["CreationAuthor", "DueDate", "AssignedTo", "Stage", "Description"], "the schema's order"
    late = issues_bcf(result, "9999-12-30T00:00:00Z")
    assert not any(root.findall("Topic/DueDate") for root in markups(late)[:1])


def test_the_description_tells_everything_and_ends_with_the_check_id():
    model = model_of(hall())
    result = result_of(model, issues(model))
    verdict = result.verdicts[0]
    others = [dataclasses.replace(verdict, axis=f"C{n}", message=f"Seam is {n} mm wide.") for n in range(20)]
    issue = dataclasses.replace(
        result.issues[0],
        members=tuple(range(21)),
        accepted="Accepted until 2030-01-01 by the lead: foam is wide enough.",
    )
    result = dataclasses.replace(result, verdicts=(verdict, *others), issues=(issue,))
    (root,) = markups(issues_bcf(result, RUN))
    text = root.findtext("Topic/Description")
    for part in (
        issue.description,
        "Required: 25 to 35 mm.",
        "- facade south, axis C4: Seam is 22.0 mm wide, required 25 to 35 mm.",
        "- and 9 more",
        "- Panel right 2 (3PChLfXB5Nyh9DNEUpKG0g)",
        f"Remedy: {issue.remedy}",
        "Move: end of the right panel 8.0 mm to the right, seen from outside.",
        "Accepted until 2030-01-01 by the lead: foam is wide enough.",
        issue.title,
        CAUTION,
    ):
        assert part in text.replace(text.splitlines()[-1], "")
    assert text.splitlines()[-1] == f"Check ID: {issue.check_id}"


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(25.0, 35.0, "25 to 35 mm"), (100.0, None, "at least 100 mm"), (None, 5.0, "at most 5 mm")],
)
def test_required_range_in_words(low, high, said):
    model = model_of(hall())
    result = result_of(model, issues(model)[:1])
    verdict = dataclasses.replace(result.verdicts[0], minimum_mm=low, maximum_mm=high)
    (root,) = markups(issues_bcf(dataclasses.replace(result, verdicts=(verdict,)), RUN))
    assert f"Required: {said}." in root.findtext("Topic/Description").splitlines()


def test_topic_says_severity_owner_and_where():
    result = every_sort()
    first, accepted, warning, note, *_ = markups(issues_bcf(result, RUN))
    assert [r.find("Topic").get("TopicType") for r in (first, warning, note)] == ["Error", "Warning", "Note"]
    assert [r.findtext("Topic/Priority") for r in (first, warning, note)] == ["High", "Normal", "Low"]
    assert [r.find("Topic").get("TopicStatus") for r in (first, accepted)] == ["Open", "Closed"]
    assert [n.text for n in first.findall("Topic/Labels")] == ["seam-width", "panels", "facade south", "axis C4"]
    assert first.findtext("Topic/CreationDate") == first.findtext("Comment/Date") == RUN
    (file,) = first.findall("Header/File")
    assert dict(file.attrib) == {"isExternal": "true", "IfcProject": "0Prj000000000000000001"}
    assert (file.findtext("Filename"), file.findtext("Date")) == ("facade.ifc", SAVED)


def test_parts_of_an_assembly_are_listed_instead_of_it_and_no_more_than_the_standard_wants():
    model = model_of(hall())
    issue = issue_of(model, ["Panel left 2", "Panel right 2"], (0, 0, 2.5))
    many = tuple(f"0{n:021d}" for n in range(1500))
    elements = list(model.elements)
    for i, shown in zip(issue.elements, (many[:3], many), strict=True):
        elements[i] = dataclasses.replace(elements[i], shown=shown)
    parts = parts_of(issues_bcf(result_of(dataclasses.replace(model, elements=tuple(elements)), [issue]), RUN))
    view = etree.fromstring(parts[f"{issue.topic}/viewpoint.bcfv"])
    selected = [node.get("IfcGuid") for node in view.findall("Components/Selection/Component")]
    coloured = [node.get("IfcGuid") for node in view.findall("Components/Coloring/Color/Component")]
    assert selected == coloured == list(many[:1000])
    nobody = Element(guid=elements[0].guid, ifc_class="IfcWall", shown=())
    assert views._shown([0], dataclasses.replace(model, elements=(nobody,))) == (nobody.guid,)


def test_same_run_same_bytes(tmp_path):
    result = every_sort()
    data = issues_bcf(result, RUN)
    assert issues_bcf(result, RUN) == data
    script = (
        "import sys, test_bcf as t; t.picture.SIZES = t.picture.SIZES[-1:];"
        "t.write_bcf(t.every_sort(), t.Path(sys.argv[1]), t.RUN)"
    )
    for seed in ("1", "2"):
        there = os.pathsep.join([str(Path(__file__).parent), str(Path(__file__).parents[1])])
        subprocess.run(
            [sys.executable, "-c", script, str(tmp_path / seed)],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": there},
            check=True,
        )
        assert (tmp_path / seed).read_bytes() == data


def test_identifiers_follow_the_content_not_the_order():
    result = every_sort()
    turned = dataclasses.replace(result, issues=result.issues[::-1])
    assert parts_of(issues_bcf(result, RUN)) == parts_of(issues_bcf(turned, RUN))


def test_a_crash_in_the_middle_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "issues.bcf"
    path.write_bytes(b"old")

    def fails(*_):
        raise MemoryError

    monkeypatch.setattr(picture, "paint", fails)
    with pytest.raises(MemoryError):
        write_bcf(every_sort(), path, RUN)
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("issues.bcf", b"old")]


def test_a_place_that_cannot_be_written_is_the_users_matter(tmp_path):
    (tmp_path / "issues.bcf").mkdir()
    with pytest.raises(CannotCheck, match=r"issues\.bcf: cannot be written"):
        write_bcf(every_sort(), tmp_path / "issues.bcf", RUN)


def test_wrong_use_is_refused():
    result = every_sort()
    with pytest.raises(ValueError, match="no time stamp"):
        issues_bcf(result, "yesterday")
    with pytest.raises(ValueError, match="share one topic"):
        issues_bcf(dataclasses.replace(result, issues=result.issues[:1] * 2), RUN)


def test_what_is_written_is_what_is_read():
    result = every_sort()
    for version in BCF_VERSIONS:
        found = container("issues.bcf", issues_bcf(result, RUN, version))
        assert (found.version, found.notes) == (version, ())
        for issue, read in zip(result.issues, found.topics, strict=True):
            context, section = both_views(issue, result.model, element_boxes(result.model))
            assert (read.guid, read.folder, read.fault) == (issue.topic, issue.topic, "")
            assert (read.title, read.created, read.author) == (issue.title or issue.rule, RUN, "seamtrace")
            assert read.description.splitlines()[-1] == f"Check ID: {issue.check_id}"
            assert [comment.viewpoint for comment in read.comments] == [view.guid for view in read.views]
            assert [view.selected for view in read.views] == [context.selected, section.selected]
        if version == "3.0":
            assert {topic.type for topic in found.topics} <= set(found.types)
            assert {topic.status for topic in found.topics} <= set(found.statuses)
            assert {topic.priority for topic in found.topics} <= set(found.priorities)
            assert found.labels == found.users == found.stages == (), "of these every word is allowed"


def test_both_versions_say_the_same():
    result = every_sort()
    two, three = (container("issues.bcf", issues_bcf(result, RUN, version)).topics for version in BCF_VERSIONS)
    assert two == three


words = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=12).map(
    lambda t: " ".join(legal(t).split())
)
full = words.filter(bool)
guids = st.uuids(version=4).map(str)
seen_views = st.lists(st.builds(View, guids, st.just("a.bcfv"), st.just("a.png")), max_size=3).map(tuple)
comments = st.lists(st.builds(Comment, guids, st.just(RUN), full, full, st.one_of(st.just(""), guids)), max_size=3)
topics = st.builds(
    Topic,
    guid=guids,
    folder=st.just(""),
    title=full,
    type=full,
    status=full,
    priority=words,
    labels=st.lists(full, max_size=3).map(tuple),
    created=st.just(RUN),
    author=full,
    modified=st.sampled_from(["", RUN]),
    modified_by=words,
    assigned=words,
    due=st.sampled_from(["", RUN]),
    stage=words,
    description=words,
    comments=comments.map(tuple),
    views=seen_views,
)
models = st.lists(st.builds(HeaderFile, st.sampled_from(["", "0Prj000000000000000001"]), full, st.just("")), max_size=2)


@pytest.mark.parametrize("version", BCF_VERSIONS)
@given(made=topics, files=models)
def test_any_topic_is_read_as_it_was_written_and_fits_the_schema(schemas, version, made, files):
    data = markup_file(version, made, files)
    read = markup(document("x", data))
    assert topic_in(read) == dataclasses.replace(made, views=())
    assert [(v.get("Guid"), v.findtext("Viewpoint")) for v in other_views(data)] == [
        (v.guid, v.file) for v in made.views
    ]
    if schemas[version]:
        schemas[version]["markup"].assertValid(etree.fromstring(data))


def other_views(data):
    """The entries of viewpoints by another parser, in either version."""
    root = etree.fromstring(data)
    return [*root.iterfind("Viewpoints"), *root.iterfind("Topic/Viewpoints/ViewPoint")]


def test_a_new_file_lists_the_words_of_the_project_for_states():
    words = ("Offen", "Erledigt", "Wieder offen")
    found = container("issues.bcf", issues_bcf(dataclasses.replace(every_sort(), statuses=words), RUN, "3.0"))
    assert found.statuses == words
    assert container("issues.bcf", issues_bcf(every_sort(), RUN, "2.1")).statuses == ()


@pytest.mark.parametrize(("types", "type_"), [("ERROR", "ERROR"), ("Warning", "Warning"), ("Clash", "Clash")])
def test_new_topics_say_only_what_the_lists_of_a_file_allow_and_as_they_spell_it(types, type_):
    result = every_sort()
    issue = result.issues[0]
    lists = container(
        "theirs.bcf",
        packed(
            parts("3.0")
            | {
                "extensions.xml": f"<Extensions><TopicTypes><TopicType>{types}</TopicType></TopicTypes><Priorities/>"
                "<TopicLabels><TopicLabel>Seam-Width</TopicLabel></TopicLabels><Users><User>Panels</User></Users>"
                "<Stages><Stage>Design</Stage></Stages></Extensions>".encode()
            }
        ),
    )
    remark = Remark("0b8f3c52-9c1e-4f0b-8a56-2f6f0f0a1d11", "Found.", "Active")
    change = Change(issue.key, issue.topic, issue.rule, "new", "", issue=0, remark=remark)
    result = dataclasses.replace(result, changes=Changes("theirs.bcf", (change,)), stage="LP5")
    done = updated_bcf(result, RUN, lists)
    found = container("theirs.bcf", done.data)
    (ours,) = (each for each in found.topics if each.guid == issue.topic)
    assert (ours.type, ours.status, ours.assigned, ours.stage) == (type_, "Active", "Panels", "")
    assert (ours.comments[0].guid, ours.comments[0].text) == (remark.guid, "Found.")
    assert (ours.priority, ours.labels) == ("High", ("Seam-Width",))
    assert [note for note in done.notes if "types" not in note] == [
        "theirs.bcf allows no labels such as panels, facade south, axis C4: new topics go without.",
        "theirs.bcf allows no stages such as LP5: new topics go without.",
    ]
    assert any("allows no types such as Error: new topics have another one." in n for n in done.notes) == (
        types != "ERROR"
    )
    assert unpacked(done.data)["extensions.xml"] == unpacked(lists.data)["extensions.xml"]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("version", BCF_VERSIONS)
def test_a_file_that_was_added_to_passes_the_strict_checker(tmp_path, strict, version):
    parts = hall()
    model = model_of(parts)
    some = issues(model)
    first = container("issues.bcf", issues_bcf(result_of(model, some[:3]), RUN, version))
    result = result_of(model, some[3:])
    late = "2026-06-07T08:09:10Z"
    moved = [dataclasses.replace(issue, point_m=(issue.point_m[0] + 0.2, *issue.point_m[1:])) for issue in some[:2]]
    edits = [
        Edit(
            issue.topic,
            Comment(str(uuid5(UUID(issue.topic), "late")), late, "seamtrace", "Worse.", views[0].guid),
            "Closed",
            views,
        )
        for issue, views in zip(moved, new_views(model, moved, version), strict=True)
    ]
    added = list(new_topics(result, result.issues, late, first))
    done = update(first, edits, added, late)
    assert done.notes == ()
    (tmp_path / "issues.bcf").write_bytes(done.data)
    write_ifc(parts, tmp_path / "facade.ifc")
    found, count, written = strict.check(str(tmp_path / "issues.bcf"), strict.Models([str(tmp_path / "facade.ifc")]))
    assert found == []
    assert written == version
    # The section of the second is what it was, so it is not there twice.
    assert (count["topics"], count["comments"], count["viewpoints"]) == (6, 14, 15)
    bcf = pytest.importorskip("bcf.bcfxml")
    with bcf.load(tmp_path / "issues.bcf") as read:
        assert [len(read.topics[issue.topic].comments) for issue in some] == [3, 3, 2, 2, 2, 2]
        assert [len(read.topics[issue.topic].viewpoints) for issue in some] == [4, 3, 2, 2, 2, 2]


@pytest.fixture
def release(tmp_path):
    """A release of the sample hall with one defect, and a BCF file of others that is to be gone on with."""
    rules = load_rules()
    truth = write_hall(tmp_path / "models", tuple(DEFECTS)[:1])
    files = files_to_read(list(truth.files), Settings())
    path = tmp_path / "theirs.bcf"

    def run_after(version):
        path.write_bytes(packed(parts(version)))
        before = run.previous_release(path, Settings(), rules)
        return truth, path, before, run.check(files, Settings(), rules, lambda what, share: None, before)

    return run_after


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(("version", "asked"), [("2.1", "3.0"), ("3.0", "2.1"), ("3.0", None)])
def test_a_file_that_is_gone_on_with_keeps_its_version_and_all_that_is_in_it(tmp_path, strict, release, version, asked):
    truth, path, before, result = release(version)
    written = run.write(result, tmp_path / "out", ["bcf"], before, asked)
    data = (tmp_path / "out" / "issues.bcf").read_bytes()
    check_foreign_bytes(path.read_bytes(), data, {"extensions.xml"})
    found = container("issues.bcf", data)
    assert (found.version, len(found.topics)) == (version, 2 + len(result.issues))
    assert len(result.issues) > 0
    assert [f"stays BCF {version}" in note for note in written.notes] == ([True] if asked else [])
    faults, _, seen = strict.check(str(tmp_path / "out" / "issues.bcf"), strict.Models([str(p) for p in truth.files]))
    own = {issue.topic for issue in result.issues}
    assert seen == version
    assert [fault for fault in faults if fault[1][:36] in own] == []


def test_nothing_is_written_where_somebody_saves_while_a_run_goes_on(tmp_path, monkeypatch, release):
    _, path, before, result = release("2.1")
    theirs = packed(parts("2.1", ()))
    honest = run.updated_bcf

    def slow(*all_):
        done = honest(*all_)
        path.write_bytes(theirs)
        return done

    monkeypatch.setattr(run, "updated_bcf", slow)
    for out in (tmp_path, tmp_path / "out"):
        with pytest.raises(CannotCheck, match="changed by somebody else meanwhile"):
            run.write(result, out, ["bcf", "json"], before)
    assert path.read_bytes() == theirs
    assert sorted(each.name for each in tmp_path.iterdir() if not each.is_dir()) == ["theirs.bcf"]
    assert not list((tmp_path / "out").iterdir())
