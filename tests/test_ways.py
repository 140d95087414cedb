"""Ways of building: what is recognised of facades that were drawn for it, and what rules then say of them."""

import csv
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import trimesh
from drawn import MIRROR, RULES, built, checked, failing, remade, to_world, turned, wall, with_part
from facades import (
    FAR,
    Piece,
    Site,
    Stretch,
    before_columns,
    between_columns,
    curtain,
    precast,
    round_a_hall,
    sandwich,
    steel_hall,
    write,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.facade import PanelEndSeams
from checker.model import ModelFile
from checker.output.findings import findings_schema
from checker.output.summary import summary
from checker.result import Result
from checker.run import check
from checker.run import write as write_results
from checker.settings import Settings
from checker.sketch import BAY, FOOT, ROW, Block, Part, Sketch, block
from checker.ways import (
    BEFORE_COLUMNS,
    BETWEEN_COLUMNS,
    BETWEEN_MULLIONS,
    BUTTING,
    ON_COLUMNS,
    WAYS,
    WITHOUT_COLUMNS,
    Run,
)

PANEL_SEAMS = ("seam-width", "panel-end-offset", "column-seal", "seam-foam")


DRAWN = Site()


def run(
    pieces: list[Piece], folder: Path, site: Site = DRAWN, rules: Sequence[str] = PANEL_SEAMS, **chosen: object
) -> Result:
    """What rules, if not said otherwise those about panel ends, say of a facade."""
    files = [ModelFile(path) for path in write(pieces, folder, site)]
    return check(files, Settings(**chosen), [RULES[name] for name in rules], lambda *_: None)


def told(sketch: Sketch, place: np.ndarray | None = None) -> Result:
    """The same of a sketch."""
    return checked(sketch, PANEL_SEAMS, place)


def ways(result: Result) -> dict[str, int]:
    """How many panels are built in each way."""
    return {way.way: way.panels for way in result.ways}


# ---- each kind of facade, from files --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "site",
    [Site(), FAR, Site(body="brep", unit="m"), Site(body="mapped", schema="IFC2X3")],
    ids=["drawn", "turned 24.2 at 1,500 km", "brep in metres", "mapped in IFC2X3"],
)
def test_panes_between_mullions_of_another_model_are_no_open_seams(tmp_path, site):
    result = run(curtain(), tmp_path, site)
    (way,) = result.ways
    assert way.says == (
        "18 panels between mullions: 15 upright gaps of 50.0 mm, all occupied; rules of panel seams do not apply"
    )
    assert way.length_m == pytest.approx(15 * 1.2)
    assert (result.verdicts, result.coverage) == ((), ())
    assert "18 panels between mullions" in result.unchecked
    assert result.unchecked.startswith("facade.ifc, profiles.ifc: no panels meeting on columns were found")
    columns = result.seams.columns
    ends = [i for i, kind in enumerate(columns["kind"]) if kind == "panel-end"]
    assert {columns["way"][i] for i in ends} == {BETWEEN_MULLIONS}
    assert {columns["occupied"][i] for i in ends} == {1.0}
    post = curtain()[1]
    assert f"{post.guid} IfcMember 'Post 1'" in {columns["occupied_by"][i] for i in ends}
    assert post.guid in {guid for seam in result.occupied for guid, _, _ in seam.elements}


def test_without_the_model_of_the_mullions_the_gaps_are_open(tmp_path):
    result = run([piece for piece in curtain() if piece.file == "facade"], tmp_path)
    (way,) = result.ways
    assert way.says == "18 panels without columns: 15 upright gaps of 50.0 mm; rules of panel seams do not apply"
    assert "no columns were recognised" in result.unchecked


@pytest.mark.parametrize(("wide", "share"), [(50, 1.0), (80, 1.0), (24, 0.5)])
def test_the_share_of_a_gap_that_is_filled(tmp_path, wide, share):
    """Posts as wide as the gap, holding the panes in rebates, or standing free in its middle; and no transoms."""
    pieces = [piece for piece in curtain(wide=wide) if piece.name != "Bar"]
    result = run(pieces, tmp_path)
    filled = {x for x, kind in zip(result.seams.columns["occupied"], result.seams.columns["kind"], strict=True)
              if kind == "panel-end"}  # fmt: skip
    assert filled == {share}
    assert ways(result) == {BETWEEN_MULLIONS if share > 0.5 else WITHOUT_COLUMNS: 18}


@pytest.mark.parametrize("width", [250.0, 400.0], ids=["slight columns", "columns wider than any seam"])
@pytest.mark.parametrize("site", [Site(), FAR], ids=["drawn", "far"])
def test_walls_that_stop_at_the_faces_of_columns(tmp_path, width, site):
    pieces = [
        piece
        for i, side in enumerate(round_a_hall(20_000, 20_000))
        for piece in between_columns(width, stretch=side, label=f"b{i}")
        if not (piece.cls == "IfcColumn" and i and ".c0." in piece.key)
    ]
    result = run(pieces, tmp_path, site)
    assert ways(result) == {BETWEEN_COLUMNS: 32}
    (way,) = result.ways
    seams = 24 if width < 300 else 0
    gaps = f"{seams} upright gaps of {width:.1f} mm, all occupied" if seams else "no upright gap between them"
    assert way.says == f"32 walls between columns: {gaps}; rules of panel seams do not apply"
    assert result.verdicts == ()
    assert "between columns" in result.unchecked


def test_walls_in_front_of_columns_without_their_rhythm(tmp_path):
    result = run(before_columns(), tmp_path)
    (way,) = result.ways
    assert way.says == (
        "6 walls in front of columns, out of their rhythm: 5 upright gaps of 15.0 mm; rules of panel seams do not apply"
    )
    assert result.verdicts == ()


def test_columns_of_a_model_that_lies_elsewhere_are_those_of_no_panel(tmp_path):
    """The structure 2.44 m and 5.48 m off: nothing is taken for an open seam, and it is said where to look."""
    far = Stretch(2440.0, 5480.0)
    pieces = [replace(p, stretch=far) if p.cls == "IfcColumn" else p for p in sandwich()]
    result = run(pieces, tmp_path)
    assert ways(result) == {WITHOUT_COLUMNS: 12}
    assert result.verdicts == ()
    assert "See whether all models lie in their place." in result.unchecked
    assert 'set without-columns = "checked" under [ways]' in result.unchecked


def test_walls_that_butt_on_columns_are_no_seams_to_fill(tmp_path):
    result = run(before_columns((0, 5000, 10000, 15000, 20000), joint=0.0), tmp_path)
    assert [way.says.split(";")[0] for way in result.ways] == ["4 walls butting: 3 upright gaps of 0.0 mm, all closed"]
    assert "butting" in result.unchecked


@pytest.mark.parametrize("site", [Site(), FAR], ids=["drawn", "far"])
def test_precast_panels_on_columns_are_panels_on_columns(tmp_path, site):
    pieces = [p for i, side in enumerate(round_a_hall(28_800, 28_800)) for p in precast(stretch=side, label=f"f{i}")]
    limits = {"seam-width": RULES["seam-width"].limits(target_mm=20.0, tolerance_mm=5.0),
              "panel-end-offset": RULES["panel-end-offset"].limits(target_mm=10.0, tolerance_mm=5.0)}  # fmt: skip
    result = run(pieces, tmp_path, site, limits=limits)
    assert [way.says for way in result.ways] == ["48 panels meeting on columns: 36 upright seams of 20.0 mm"]
    assert result.unchecked == ""
    counted = {line.rule: (line.subjects, line.passed) for line in result.coverage}
    assert counted["seam-width"] == counted["panel-end-offset"] == (36, 36)
    assert result.issues == ()


def test_a_steel_hall_without_panels(tmp_path):
    result = run(steel_hall(), tmp_path)
    assert (result.panels, result.columns, result.column_places) == (0, 10, 10)
    assert result.ways == ()
    assert "steel.ifc: no panels were recognised" in result.unchecked
    assert (result.verdicts, result.coverage) == ((), ())
    assert "1 model: 0 panels, 10 columns, 0 seams" in summary(result, [])


def mixed(**more: object) -> list[Piece]:
    """A hall with sandwich panels on three sides and a glass facade on the fourth."""
    south, east, north, west = round_a_hall(24_000, 24_000)
    sides = [sandwich(stretch=side, label=f"s{i}", **more) for i, side in enumerate((south, east, north))]
    return [*sides[0], *sides[1], *sides[2], *curtain(bays=15, stretch=west)]


def test_a_mixed_hall_is_checked_where_its_panels_meet_on_columns(tmp_path):
    result = run(mixed(widths={(2, 1): 46.0}), tmp_path, rules=tuple(RULES))
    assert ways(result) == {ON_COLUMNS: 36, BETWEEN_MULLIONS: 45}
    assert result.unchecked == ""
    counted = {line.rule: line.subjects for line in result.coverage}
    assert {counted[rule] for rule in PANEL_SEAMS} == {27}
    assert {rule for rule, _ in failing(result)} == {"seam-width", "panel-end-offset"}
    assert len([v for v in result.verdicts if v.rule == "seam-width" and v.state == "fail"]) == 3
    glass = {piece.guid for piece in mixed() if piece.cls in ("IfcPlate", "IfcMember")}
    assert not glass & {guid for verdict in result.verdicts for guid in verdict.elements}
    assert "45 panels between mullions: 42 upright gaps of 50.0 mm, all occupied" in summary(result, [])


def test_outputs_tell_ways_and_occupants_by_their_schema(tmp_path):
    result = run(curtain(), tmp_path / "in")
    written = write_results(result, tmp_path / "out", ("bcf", "json", "csv"))
    assert sorted(path.name for path in written.files) == ["findings.json", "seams.csv"]
    read = json.loads((tmp_path / "out" / "findings.json").read_text("utf-8"))
    jsonschema.validate(read, findings_schema())
    assert read["summary"]["unchecked"] == result.unchecked
    assert [(way["way"], way["gaps"], way["occupied"], way["checked"]) for way in read["ways"]] == [
        (BETWEEN_MULLIONS, 15, 15, False)
    ]
    assert len(read["occupied"]) == result.ways[0].gaps + 12  # and 12 lying ones between panes
    with (tmp_path / "out" / "seams.csv").open(newline="", encoding="utf-8") as sheet:
        rows = [row for row in csv.DictReader(sheet) if row["kind"] == "panel-end"]
    assert {(row["way"], row["occupied"]) for row in rows} == {(BETWEEN_MULLIONS, "1.0000")}


def test_a_project_may_have_rules_asked_of_another_way(tmp_path):
    result = run(curtain(), tmp_path, ways=(BETWEEN_MULLIONS,))
    (way,) = result.ways
    assert way.says == "18 panels between mullions: 15 upright seams of 50.0 mm, all occupied"
    assert result.unchecked == ""
    widths = {v.message for v in result.verdicts if v.rule == "seam-width"}
    assert widths == {
        f"Vertical seam widens to 50.0 mm, filled by 'Post {k}', required 25 to 35 mm, as nearly everywhere"
        for k in range(1, 6)
    }


# ---- faults of panels on columns stay faults ------------------------------------------------------------------------


def end_of(sketch: Sketch, bay: int, row: int, by: float) -> Sketch:
    """The right end of one panel moved."""
    return sketch.stretched(f"panel {bay}.{row}", "right", by)


def bare(bays: int = 6, rows: int = 2) -> Sketch:
    """Panels on columns, and nothing else."""
    whole = wall(bays, rows)
    return replace(whole, parts={k: p for k, p in whole.parts.items() if p.role in ("panel", "column")})


FAULTS = {
    "narrow": (end_of(bare(), 3, 1, 12.0), ("seam-width", "panel-end-offset")),
    "closed": (end_of(bare(), 3, 1, 30.0), ("seam-width", "panel-end-offset")),
    "overlapping": (end_of(bare(), 3, 1, 80.0), ("seam-width", "panel-end-offset")),
    "60 mm off the column": (
        end_of(end_of(bare(), 3, 1, 60.0), 3, 2, 60.0)
        .stretched("panel 4.1", "left", 60.0)
        .stretched("panel 4.2", "left", 60.0),
        ("panel-end-offset",),
    ),
    "column moved by 60 mm": (bare().moved("column 4", x=60.0), ("panel-end-offset",)),
    "column into the panels": (bare().moved("column 4", z=100.0), ()),
    "no column": (bare().without("column 4"), ()),
    "a post in the seam": (
        with_part(bare(), "post", block("", (3 * BAY - 15, 3 * BAY + 15), (FOOT, FOOT + 2 * ROW), (-100, 200))),
        (),
    ),
}


@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("bays", [2, 6], ids=["one seam line", "five seam lines"])
def test_a_fault_of_one_seam_is_no_other_way(name, bays):
    sketch, rules = FAULTS[name]
    if bays == 2:  # the same around one column: what is left of bays 3 and 4
        keep = {f"column {k}" for k in (3, 4, 5)} | {f"panel {k}.{row}" for k in (3, 4) for row in (1, 2)} | {"post"}
        sketch = replace(sketch, parts={k: p for k, p in sketch.parts.items() if k in keep})
    result = told(sketch)
    assert ways(result) == {ON_COLUMNS: 2 * bays}
    assert result.unchecked == ""
    assert {rule for rule, _ in failing(result)} == set(rules)
    undecided = {v.message for v in result.verdicts if v.state == "undecided"}
    assert undecided == ({"no column stands behind this seam"} if name == "no column" else set())


@pytest.mark.parametrize("bay", [1, 2, 3])
def test_all_panels_of_a_side_set_off_from_their_columns_keep_the_rhythm(bay):
    """A side whose frame was moved by 200 mm: no end lies on a column any more, and each is told."""
    sketch = bare(4)
    for k in range(1, 6):
        sketch = sketch.moved(f"column {k}", x=200.0)
    result = told(sketch)
    assert ways(result) == {ON_COLUMNS: 8}
    assert len([v for v in result.verdicts if v.rule == "panel-end-offset" and v.state == "fail"]) == 6


def test_a_side_of_one_bay_is_built_as_its_columns_say():
    alone = bare(1)
    assert ways(told(alone)) == {ON_COLUMNS: 2}
    assert ways(told(alone.without("column 1", "column 2"))) == {WITHOUT_COLUMNS: 2}


def test_facets_of_a_bend_are_one_run(tmp_path):
    """Panels over a bend of 4 degrees at each column: no side has a seam of its own, all of them have."""
    pieces, x, y = [], 0.0, 0.0
    for k in range(6):
        facet = Stretch(x, y, 4.0 * k)
        made = sandwich(1, 2, stretch=facet, label=f"s{k}")
        pieces += [piece for piece in made if piece.cls != "IfcColumn" or piece.key.endswith("c1")]
        x, y, *_ = (facet.matrix() @ [6000.0, 0.0, 0.0, 1.0]).tolist()
    result = run(pieces, tmp_path)
    assert [(way.way, way.panels, way.gaps) for way in result.ways] == [(ON_COLUMNS, 12, 10)]


# ---- laws -----------------------------------------------------------------------------------------------------------


def glazed(bays: int = 4) -> Sketch:
    """Panes between posts, before columns that stand behind every post."""
    parts = {}
    for k in range(bays + 1):
        parts[f"post {k}"] = block("", (k * 1500 - 25, k * 1500 + 25), (0, 2500), (0, 150))
        parts[f"column {k}"] = block("column", (k * 1500 - 60, k * 1500 + 60), (0, 2500), (-130, -10))
    for k in range(bays):
        for row in range(2):
            z = (1250.0 * row + 25, 1250.0 * (row + 1) - 25)
            parts[f"pane {k}.{row}"] = block("panel", (k * 1500 + 25, (k + 1) * 1500 - 25), z, (100, 130))
    return Sketch(parts, "")


@pytest.mark.parametrize("sketch", [bare(), glazed(), FAULTS["a post in the seam"][0]], ids=["bare", "glazed", "post"])
@settings(max_examples=10)
@given(degrees=st.floats(-180, 180), x=st.floats(-1e6, 1e6), mirrored=st.booleans())
def test_turning_moving_and_mirroring_change_no_way(sketch, degrees, x, mirrored):
    place = turned(degrees, x, -x, 12.0) @ (MIRROR if mirrored else turned(0.0))
    one, two = (told(sketch, place=place).ways for place in (None, place))
    for a, b in zip(one, two, strict=True):
        rounded = [replace(w, length_m=0.0, width_min_mm=None, width_max_mm=None, facades=()) for w in (a, b)]
        assert rounded[0] == rounded[1]
        assert a.width_max_mm == pytest.approx(b.width_max_mm, abs=1e-4)


@settings(max_examples=10)
@given(st.permutations(range(len(glazed().parts))))
def test_the_order_of_elements_changes_no_way(order):
    assert checked(glazed().model(order=order), PANEL_SEAMS).ways == told(glazed()).ways


def test_columns_behind_every_post_make_no_panel_seams_of_a_glass_wall():
    assert ways(told(glazed())) == {BETWEEN_MULLIONS: 8}
    posts = {name: part for name, part in glazed().parts.items() if name.startswith("post")}
    assert ways(told(glazed().without(*posts))) == {ON_COLUMNS: 8}


# ---- the judgement itself, at its limits ----------------------------------------------------------------------------


def judged(**metres: float) -> str:
    facts: dict[str, object] = {"total": 10.0, "axis": 0.0, "rhythm": 0.0, "member": 0.0, "column": 0.0, "butt": 0.0}
    facts |= {"places": 5, "columns": 5, "backed": True, "framed": ""}
    return Run(**(facts | metres)).way()


@pytest.mark.parametrize(
    ("metres", "way"),
    [
        ({"axis": 5.0}, ON_COLUMNS),
        ({"axis": 4.99}, BEFORE_COLUMNS),
        ({"axis": 10.0, "columns": 1}, BEFORE_COLUMNS),
        ({"rhythm": 8.0}, ON_COLUMNS),
        ({"rhythm": 7.99}, BEFORE_COLUMNS),
        ({"rhythm": 10.0, "places": 2}, ""),
        ({"member": 5.0, "axis": 4.99}, BETWEEN_MULLIONS),
        ({"member": 5.0, "axis": 5.0}, ON_COLUMNS),
        ({"column": 5.0}, BETWEEN_COLUMNS),
        ({"column": 5.0, "axis": 5.0}, ON_COLUMNS),
        ({"column": 4.99, "backed": False}, WITHOUT_COLUMNS),
        ({"butt": 5.0, "axis": 10.0}, BUTTING),
        ({"butt": 4.99, "axis": 10.0}, ON_COLUMNS),
        ({"butt": 10.0, "axis": 10.0, "places": 2}, ON_COLUMNS),
        ({"butt": 10.0, "places": 2}, ""),
        ({"backed": False}, WITHOUT_COLUMNS),
        ({"total": 0.0, "places": 0}, ""),
    ],
)
def test_most_of_a_runs_metres_decide(metres, way):
    assert judged(**metres) == way


@pytest.mark.parametrize(("gap", "way"), [(0.9, BUTTING), (1.1, WITHOUT_COLUMNS)])
def test_ends_butt_when_they_are_nowhere_a_millimetre_apart(gap, way):
    sketch = replace(bare(), parts={k: p for k, p in bare().parts.items() if p.role == "panel"})
    for bay in range(1, 6):
        for row in (1, 2):
            sketch = sketch.stretched(f"panel {bay}.{row}", "right", 30.0 - gap)
    assert ways(told(sketch)) == {way: 12}


# ---- what lies in a gap ---------------------------------------------------------------------------------------------


def in_seam(role: str, x: tuple[float, float], z: tuple[float, float] = (0, 120)) -> Sketch:
    """A bar in the third seam line, over both rows, in the upper of which the seam is 46 mm wide."""
    sketch = end_of(bare(), 3, 2, -16.0)
    return with_part(sketch, "flat 40x5", block(role, x, (FOOT, FOOT + 2 * ROW), z))


def test_a_seam_says_what_fills_it():
    result = told(in_seam("", (3 * BAY - 40, 3 * BAY + 20)))
    (verdict,) = [v for v in result.verdicts if v.rule == "seam-width"]
    assert verdict.message == "Vertical seam widens to 46.0 mm, filled by 'flat 40x5', required 25 to 35 mm"
    assert Counter(seam.share for seam in result.occupied) == {1.0: 2}
    result = told(in_seam("", (3 * BAY - 5, 3 * BAY + 20)))
    (verdict,) = [v for v in result.verdicts if v.rule == "seam-width"]
    assert ", filled to 44% by 'flat 40x5', required" in verdict.message


THINGS = {
    "ball": (trimesh.creation.icosphere(subdivisions=4, radius=0.058), np.pi * 0.058**2),
    "upright rod": (trimesh.creation.cylinder(radius=0.03, height=8.0, sections=64), 0.06 * 1.0),
    "rod leaning by 45 degrees": (
        trimesh.creation.cylinder(radius=0.05, height=8.0, sections=64).apply_transform(
            trimesh.transformations.rotation_matrix(np.pi / 4, [0, 1, 0])
        ),
        0.1 * 0.28 * np.sqrt(2),
    ),
}


@pytest.mark.parametrize("name", THINGS)
def test_the_share_of_a_gap_is_the_area_seen_in_it(name):
    """Round bodies of trimesh in a gap of 280 by 1,000 mm; areas by the formulas of circle and band."""
    body, area = THINGS[name]
    sketch = with_part(bare(2, 1).stretched("panel 2.1", "left", 250.0), "thing", block("", (0, 9), (0, 9), (0, 9)))
    vertices = np.asarray(body.vertices) + to_world(BAY - 15 + 140, FOOT + 500, 68)
    facade = built(remade(sketch.model(), {"thing": (vertices, np.asarray(body.faces))}))
    assert facade.seams[PanelEndSeams].filled[0] == pytest.approx(area / 0.28, abs=1 / 16)


def test_a_hollow_post_fills_the_gap_as_a_solid_one_does():
    """Its walls lie before, behind and beside the panes: nothing of it but air is between them."""
    walls = (
        Block((-28, 0, -60), (28, 2500, -57)),
        Block((-28, 0, 177), (28, 2500, 180)),
        Block((-28, 0, -57), (-25, 2500, 177)),
        Block((25, 0, -57), (28, 2500, 177)),
    )

    def at(x: float, one: Block) -> Block:
        return Block((one.low[0] + x, *one.low[1:]), (one.high[0] + x, *one.high[1:]))

    posts = {f"post {k}": Part("", tuple(at(k * 1500, each) for each in walls)) for k in range(5)}
    result = told(replace(glazed(), parts={**glazed().parts, **posts}))
    assert ways(result) == {BETWEEN_MULLIONS: 8}
    assert {seam.share for seam in result.occupied if seam.subject.startswith("panel-end")} == {1.0}
    half = {name: replace(part, blocks=part.blocks[:1] + part.blocks[2:]) for name, part in posts.items()}
    assert told(replace(glazed(), parts={**glazed().parts, **half})).occupied == ()


def test_what_lies_behind_or_before_the_panels_or_seals_is_no_occupant():
    for sketch in (
        in_seam("", (3 * BAY - 40, 3 * BAY + 20), (128, 140)),
        in_seam("", (3 * BAY - 40, 3 * BAY + 20), (-5, 8)),
        in_seam("foam", (3 * BAY - 40, 3 * BAY + 20)),
        in_seam("opening", (3 * BAY - 40, 3 * BAY + 20)),
    ):
        assert told(sketch).occupied == ()


@pytest.mark.parametrize("site", [Site(), replace(FAR, body="brep")], ids=["extruded", "brep far away"])
def test_steel_in_a_seam_is_read_though_no_role_could_need_it(tmp_path, site):
    """A steel flat is the kind of thing of which a frame has tens of thousands; the others are left unread."""
    flat = Piece("flat", "IfcPlate", "PL5*40", (11_980, 12_020), (20, 60), (400, 2400), "", "structure")
    inside = replace(flat, key="elsewhere", u=(14_000, 14_040), d=(-900, -860))
    result = run([*sandwich(widths={(2, 0): 46.0}), flat, inside], tmp_path, site)
    assert len(result.occupied) == 2
    assert {element for seam in result.occupied for element in seam.elements} == {(flat.guid, "IfcPlate", "PL5*40")}
    assert any("widens to 46.0 mm, filled to 88% by 'PL5*40'" in v.message for v in result.verdicts)
    read = {e.name for i, e in enumerate(result.model.elements) if result.model.meshes.triangle_start[i + 1]
            > result.model.meshes.triangle_start[i] and e.guid == inside.guid}  # fmt: skip
    assert read == set()


def test_a_missing_layer_names_what_lies_there_without_a_role():
    whole = wall(4)
    other = replace(whole.parts["foam 3.1"], role="")
    sketch = with_part(whole.without("foam 3.1"), "Strip 12", other)
    (verdict,) = told(sketch).verdicts
    assert verdict.message == (
        "Foam strip in the seam is missing over the whole seam (1000 mm); something without a role lies there: "
        "Strip 12 (give it a role in [roles])"
    )


def test_a_layer_that_is_nowhere_but_for_things_without_a_role_is_told_once():
    whole = wall(4)
    parts = {name: replace(part, role="") if part.role == "foam" else part for name, part in whole.parts.items()}
    result = told(replace(whole, parts=parts))
    assert result.verdicts == ()
    (note,) = result.notes
    assert note.startswith("seam-foam is in no model, but in its place lie elements without a role: 6, such as 'foam")
    assert note.endswith("Give them a role in [roles] of seamtrace.toml.")


def test_a_wall_that_crosses_between_two_panels_leaves_no_seam_between_them():
    sketch = with_part(
        bare(2), "cross wall", block("panel", (BAY - 40, BAY + 40), (FOOT, FOOT + 2 * ROW), (-3000, 128))
    )
    for row in (1, 2):
        sketch = sketch.stretched(f"panel 1.{row}", "right", -25.0).stretched(f"panel 2.{row}", "left", 25.0)
    names = [element.name for element in sketch.model().elements]
    seams = built(sketch).seams[PanelEndSeams]
    assert not [pair for pair in zip(seams.left, seams.right, strict=True)
                if {names[pair[0]], names[pair[1]]} == {"panel 1.1", "panel 2.1"}]  # fmt: skip


def test_every_way_has_words():
    assert len(set(WAYS.values())) == len(WAYS) == 6
