"""The sample hall: its files say what was drawn, and its truth is what they say.

Outside the project: ifcopenshell's validator (schema and where rules), its kernel (bodies become triangles), its map
conversion, and shapely (silhouettes). None of the project's own reading or measuring is used.
"""

import itertools
import zipfile
from collections import Counter
from pathlib import Path

import ifcopenshell
import ifcopenshell.geom
import ifcopenshell.util.element
import ifcopenshell.util.geolocation
import ifcopenshell.util.placement
import ifcopenshell.util.unit
import ifcopenshell.validate
import numpy as np
import pytest
import shapely
from thorough import some_of

from checker.demo import DEFECTS, LIMITS, Options, Truth, expected_text, seams_table, write_hall
from checker.demo.author import Pose, guid
from checker.demo.hall import DOOR, GAP_MM, ROWS, WINDOWS, Hall, Prism, clean_parts, finished
from checker.demo.sketched import families
from checker.errors import BadSettings
from checker.rule import load_rules
from sample_models.build import build

GUISES = {
    "plain": Options(),
    "one file, codes": Options(split="one", names="codes", body="mapped", unit="cm", shuffle=5),
    "many files, German": Options(split="many", names="german", mirror=True, unit="foot", site_offset_m=(500, 600, 7)),
    "IFC2X3, mixed": Options(schema="IFC2X3", unit="inch", turn_deg=33.0, body="mixed", names="german", nested=True),
    "IFC2X3, codes": Options(schema="IFC2X3", names="codes", body="tessellation"),
    "IFC4X3, far away": Options(
        schema="IFC4X3", unit="m", turn_deg=123.4, offset_m=(1e6, -1e6, 50.0), body="mixed", nested=True
    ),
    "brep, mirrored": Options(body="brep", mirror=True, nested=True),
    "tessellation": Options(body="tessellation", turn_deg=90.0),
    "clipped": Options(body="clipped", shuffle=1, zipped=True, turn_deg=-12.0),
    "boolean": Options(body="boolean", unit="m", mirror=True),
}
ALL = tuple(DEFECTS)


def hall_of(options: Options, defects: tuple[str, ...] = ()) -> Hall:
    frames, parts = clean_parts()
    for name in defects:
        DEFECTS[name].edit(parts)
    return finished(frames, parts, options.tongues, options.mirror)


def opened(path: Path) -> ifcopenshell.file:
    if path.suffix == ".ifc":
        return ifcopenshell.open(str(path))
    with zipfile.ZipFile(path) as archive:
        [name] = archive.namelist()
        return ifcopenshell.file.from_string(archive.read(name).decode())


def meshes_of(truth: Truth) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Points in mm of the model and triangles, by GlobalId, as ifcopenshell's kernel makes them."""
    meshes = {}
    for path in truth.files:
        file = opened(path)
        settings = ifcopenshell.geom.settings()
        without = file.by_type("IfcOpeningElement") + file.by_type("IfcGrid")
        shapes = ifcopenshell.geom.iterator(settings, file, 1, exclude=without)
        assert shapes.initialize()
        while True:
            shape = shapes.get()
            matrix = np.array(shape.transformation.matrix).reshape(4, 4).T
            points = np.array(shape.geometry.verts).reshape(-1, 3) @ matrix[:3, :3].T + matrix[:3, 3]
            meshes[shape.guid] = points * 1000, np.array(shape.geometry.faces).reshape(-1, 3)
            if not shapes.next():
                break
    return meshes


def local_meshes(truth: Truth, hall: Hall, options: Options) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """By key: points (u, v, n) in mm in the frame of the part's facade, and triangles."""
    x, y, z = (1000 * (a + b) for a, b in zip(options.offset_m, options.site_offset_m, strict=True))
    building = Pose.turned(options.turn_deg, x, y, z)
    meshes, found = meshes_of(truth), {}
    for part in hall.parts.values():
        if part.kind == "opening":
            continue
        points, triangles = meshes.pop(guid(part.key))
        frame = hall.frames[part.frame]
        zero = np.array(building.apply(frame.world((0, 0, 0))))
        (c, s), turned = frame.along, Pose(building.cosine, building.sine)
        turn = np.array([turned.apply(axis) for axis in ((c, s, 0.0), (0.0, 0.0, 1.0), (s, -c, 0.0))])
        found[part.key] = (points - zero) @ turn.T, triangles
    assert not meshes, "bodies that nobody drew"
    return found


def drawn_volume(prism: Prism) -> float:
    return shapely.Polygon(prism.outline, [prism.hole] if prism.hole else []).area * prism.depth


def mesh_volume(points: np.ndarray, triangles: np.ndarray) -> float:
    a, b, c = (points - points.mean(axis=0))[triangles].transpose(1, 0, 2)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


# Files


@pytest.mark.parametrize("options", some_of(GUISES.values()), ids=some_of(GUISES))
def test_files_are_valid(options: Options, tmp_path: Path) -> None:
    for path in write_hall(tmp_path, ALL, options).files:
        log = ifcopenshell.validate.json_logger()
        ifcopenshell.validate.validate(opened(path), log)
        assert log.statements == []


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # the validator leaves a file open
@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3"])
def test_files_keep_the_rules_of_the_schema(schema: str, tmp_path: Path) -> None:
    [path] = write_hall(tmp_path, (), Options(schema=schema, split="one")).files
    log = ifcopenshell.validate.json_logger()
    ifcopenshell.validate.validate(opened(path), log, express_rules=True)
    assert log.statements == []


def test_same_options_same_bytes(tmp_path: Path) -> None:
    for number, options in enumerate((Options(), Options(shuffle=3, zipped=True, body="mixed"))):
        one, two = (write_hall(tmp_path / f"{name}{number}", ALL, options).files for name in "ab")
        assert [path.name for path in one] == [path.name for path in two]
        assert [path.read_bytes() for path in one] == [path.read_bytes() for path in two]


def test_committed_samples_are_what_the_script_writes(tmp_path: Path) -> None:
    build(tmp_path)
    committed = Path(__file__).parent.parent / "sample_models"
    written = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*.*"))
    halls, releases, yard, small = 10, 8, len(families(load_rules())), 2 * len(load_rules()) + 1
    assert len(written) == halls + releases + yard + small
    for path in written:
        assert (tmp_path / path).read_bytes() == (committed / path).read_bytes(), path
        assert (committed / path).stat().st_size < 700_000


def test_shuffling_changes_the_order_and_nothing_else(tmp_path: Path) -> None:
    plain, shuffled = (
        opened(write_hall(tmp_path / str(seed), (), Options(shuffle=seed, split="one")).files[0]) for seed in (None, 7)
    )
    assert [e.GlobalId for e in plain.by_type("IfcPlate")] != [e.GlobalId for e in shuffled.by_type("IfcPlate")]
    assert Counter(e.is_a() for e in plain) == Counter(e.is_a() for e in shuffled)
    assert {(e.GlobalId, e.Name) for e in plain.by_type("IfcRoot")} == {
        (e.GlobalId, e.Name) for e in shuffled.by_type("IfcRoot")
    }


@pytest.mark.parametrize("options", some_of(GUISES.values()), ids=some_of(GUISES))
def test_every_part_is_written_once_and_windows_fill_openings_in_panels(options: Options, tmp_path: Path) -> None:
    hall = hall_of(options)
    files = [opened(path) for path in write_hall(tmp_path, (), options).files]
    elements = [e for file in files for e in file.by_type("IfcElement") if not e.is_a("IfcElementAssembly")]
    assert Counter(e.GlobalId for e in elements) == Counter(guid(key) for key in hall.parts)
    filled = {e.GlobalId for file in files for e in file.by_type("IfcWindow") + file.by_type("IfcDoor") if e.FillsVoids}
    assert filled == {guid(key) for key, part in hall.parts.items() if part.kind in {"window", "door"}}
    voided = {rel.RelatingBuildingElement.GlobalId for file in files for rel in file.by_type("IfcRelVoidsElement")}
    assert voided == {guid(part.host) for part in hall.parts.values() if part.kind == "opening"}
    for element in elements:
        if not element.is_a("IfcOpeningElement"):
            assert ifcopenshell.util.element.get_container(element).Name == "Ground floor"


def test_codes_tell_no_trade_words(tmp_path: Path) -> None:
    for schema in ("IFC2X3", "IFC4", "IFC4X3"):
        [path] = write_hall(tmp_path / schema, (), Options(schema=schema, names="codes", split="one")).files
        file = opened(path)
        names = [e.Name for e in file.by_type("IfcElement")]
        assert all(len(name) == 5 and name[1:].isdigit() for name in names)
        assert {e.ObjectType for e in file.by_type("IfcDiscreteAccessory")} == {"FILLER", "FLASHING"}
        assert all(len(e.Name) == 4 and e.Name[2:].isdigit() for e in file.by_type("IfcTypeObject"))
        assert not file.by_type("IfcMaterial")


def test_files_with_their_own_map_conversions_meet_on_the_map(tmp_path: Path) -> None:
    conversions = ((500000.0, 6200000.0, 10.0, 15.0), (499000.0, 6200100.0, 0.0, -20.0), (0.0, 0.0, 0.0, 0.0))
    options = Options(map_conversion=conversions, unit="m")
    there = []
    for path in write_hall(tmp_path, (), options).files:
        file = opened(path)
        at = ifcopenshell.util.placement.get_local_placement(file.by_type("IfcBuildingStorey")[0].ObjectPlacement)
        there.append(
            [ifcopenshell.util.geolocation.auto_xyz2enh(file, *(at @ p)[:3]) for p in ([0, 0, 0, 1], [24, 0, 0, 1])]
        )
        if path.name != "structure.ifc":
            assert np.abs(at[:2, 3]).max() > 900, "files differ in their own coordinates"
    assert np.ptp(np.array(there), axis=0).max() < 1e-6
    assert there[0][0] == pytest.approx((500000.0, 6200000.0, 10.0))


def test_what_cannot_be_written_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadSettings, match="Did you mean 'short-panel'"):
        write_hall(tmp_path, ["short-panal"])
    with pytest.raises(ValueError, match="IFC2X3"):
        write_hall(tmp_path, (), Options(schema="IFC2X3", map_conversion=(None,) * 3))
    with pytest.raises(ValueError, match="structure, facade, precast"):
        write_hall(tmp_path, (), Options(map_conversion=(None,)))
    assert list(tmp_path.iterdir()) == []


# Geometry


@pytest.mark.parametrize("options", some_of(GUISES.values()), ids=some_of(GUISES))
def test_bodies_are_what_was_drawn(options: Options, tmp_path: Path) -> None:
    """Whatever the schema, unit, place and kind of body: same extents, same volume, closed and facing outwards."""
    hall = hall_of(options, ALL)
    meshes = local_meshes(write_hall(tmp_path, ALL, options), hall, options)
    cut = {part.host for part in hall.parts.values() if part.kind == "opening"}
    for part in hall.parts.values():
        if part.kind == "opening":
            continue
        points, triangles = meshes[part.key]
        volume = sum(drawn_volume(body) for body in part.bodies)
        if part.kind == "bolt":
            # Round bodies are cut into flats by the kernel.
            assert mesh_volume(points, triangles) == pytest.approx(volume, rel=0.1)
            continue
        low, high = part.bounds()
        assert np.abs(points.min(axis=0) - low).max() < 1e-4, part.key
        assert np.abs(points.max(axis=0) - high).max() < 1e-4, part.key
        if part.key not in cut:
            assert mesh_volume(points, triangles) == pytest.approx(volume, rel=1e-6), part.key


def test_openings_are_cut_out(tmp_path: Path) -> None:
    meshes = local_meshes(write_hall(tmp_path), hall_of(Options()), Options())
    for hole in (*WINDOWS, DOOR):
        clear = shapely.box(hole.u0, hole.v0, hole.u1, hole.v1).buffer(GAP_MM, join_style="mitre")
        for row in hole.rows[-2:]:
            key = f"{hole.facade}/panel/{hole.bay}/{row}"
            if key in meshes:
                outline = silhouette(meshes[key])
                assert outline.intersection(clear).area < 1e-3
                assert outline.exterior.distance(clear) < 1e-4 or outline.interiors[0].distance(clear) < 1e-4


def convex_pieces(prism: Prism) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Corners, face normals and edge directions (u, v, n) of convex prisms that make up this one."""
    outline = shapely.Polygon(prism.outline, [prism.hole] if prism.hole else [])
    rings = [np.array(prism.outline)]
    if prism.hole or outline.convex_hull.area - outline.area > 1e-6:
        rings = [np.array(t.exterior.coords)[:3] for t in shapely.constrained_delaunay_triangles(outline).geoms]
    order = {"uv": [0, 1, 2], "un": [0, 2, 1], "nv": [2, 1, 0]}[prism.plane]

    def placed(flat: np.ndarray, along: float) -> np.ndarray:
        return np.column_stack([flat, np.full(len(flat), along)])[:, order]

    pieces = []
    depth = placed(np.zeros((1, 2)), 1.0)
    for ring in rings:
        edges = np.roll(ring, -1, axis=0) - ring
        edges /= np.linalg.norm(edges, axis=1)[:, None]
        normals = placed(np.column_stack([edges[:, 1], -edges[:, 0]]), 0.0)
        corners = np.vstack([placed(ring, prism.start), placed(ring, prism.start + prism.depth)])
        pieces.append((corners, np.vstack([normals, depth]), np.vstack([placed(edges, 0.0), depth])))
    return pieces


def overlaps(hall: Hall) -> set[tuple[str, str]]:
    """Pairs of parts whose bodies share more than a hundredth of a millimetre, by separating axes."""
    items = []
    for part in hall.parts.values():
        if part.kind == "opening":
            continue
        frame = hall.frames[part.frame]
        zero = np.array(frame.world((0, 0, 0)))
        turn = np.array([frame.world((1, 0, 0)), frame.world((0, 1, 0)), frame.world((0, 0, 1))]) - zero
        for body in part.bodies:
            items += [(part.key, c @ turn + zero, n @ turn, e @ turn) for c, n, e in convex_pieces(body)]
    low = np.array([corners.min(axis=0) for _, corners, _, _ in items]) + 0.01
    high = np.array([corners.max(axis=0) for _, corners, _, _ in items])
    found = set()
    for i, (key, corners, normals, edges) in enumerate(items):
        near = np.nonzero((low[i + 1 :] < high[i]).all(axis=1) & (high[i + 1 :] > low[i]).all(axis=1))[0] + i + 1
        for other, others, other_normals, other_edges in (items[j] for j in near):
            crossed = np.cross(edges[:, None], other_edges[None]).reshape(-1, 3)
            sizes = np.linalg.norm(crossed, axis=1)
            axes = np.vstack([normals, other_normals, crossed[sizes > 1e-6] / sizes[sizes > 1e-6, None]])
            a, b = corners @ axes.T, others @ axes.T
            apart = np.maximum(a.min(axis=0) - b.max(axis=0), b.min(axis=0) - a.max(axis=0)).max()
            if key != other and apart < -0.01:
                found.add((key, other))
    return found


@pytest.mark.parametrize("options", [Options(), Options(body="brep", mirror=True)], ids=["plain", "tongues, mirrored"])
def test_no_two_bodies_of_the_clean_hall_overlap(options: Options) -> None:
    hall = hall_of(options)
    hosts = {part.host for part in hall.parts.values() if part.kind == "opening"}
    # Frames and their seals stand in the openings of these panels, which the drawing does not cut.
    left = {
        pair for pair in overlaps(hall) if not (set(pair) & hosts and any("/window" in k or "/door" in k for k in pair))
    }
    assert left == set()


def test_defects_make_only_the_overlaps_they_mean_to() -> None:
    clean = overlaps(hall_of(Options()))
    parts = {part for pair in overlaps(hall_of(Options(), ALL)) - clean for part in pair}
    kinds = {part.split("/")[1] for part in parts}
    assert kinds == {"panel", "foam", "column-seal"}
    assert ("5/panel/1/3", "5/panel/2/3") in overlaps(hall_of(Options(), ("overlap-panels",)))


def silhouette(mesh: tuple[np.ndarray, np.ndarray]) -> shapely.Polygon:
    """Outline (u, v) of a body seen from outside."""
    flat = mesh[0][:, :2][mesh[1]]
    return shapely.union_all([t for t in shapely.polygons(flat) if t.area > 1e-6], grid_size=1e-6)


@pytest.mark.parametrize(
    ("options", "defects"),
    [
        (Options(), ()),
        (Options(mirror=True, turn_deg=71.0, body="mixed", unit="m", offset_m=(1e6, 2e6, 0.0)), ALL),
    ],
    ids=["clean", "defects, mirrored, turned, far away"],
)
def test_seams_are_what_the_bodies_show(options: Options, defects: tuple[str, ...], tmp_path: Path) -> None:
    """Ends of the panels' silhouettes at foot and top, against each other and the middle of the column."""
    hall = hall_of(options, defects)
    truth = write_hall(tmp_path, defects, options)
    meshes = local_meshes(truth, hall, options)
    by_guid = {guid(key): key for key in meshes}
    assert len(truth.seams) == sum(ROWS[key] * len(hall.frames[key].axes) for key in ROWS) == 64
    for seam in truth.seams:
        left, right, column = (by_guid[g] for g in (seam.left, seam.right, seam.column))
        outlines = silhouette(meshes[left]), silhouette(meshes[right])
        foot = max(outline.bounds[1] for outline in outlines)
        lines = []
        # Just inside, where a tongue is not, and where both still have an end.
        for height in (foot + 20.0, foot + seam.length_mm - 1e-3):
            ends = [
                outline.intersection(shapely.LineString([(-1e6, height), (1e6, height)])).bounds for outline in outlines
            ]
            centre = (meshes[column][0][:, 0].min() + meshes[column][0][:, 0].max()) / 2
            lines.append((ends[1][0] - ends[0][2], centre - ends[0][2], ends[1][0] - centre))
        narrow = min(lines)
        assert narrow[0] == pytest.approx(seam.width_min_mm, abs=1e-2)
        assert narrow[1:] == pytest.approx((seam.offset_left_mm, seam.offset_right_mm), abs=1e-2)
        assert max(line[0] for line in lines) == pytest.approx(seam.width_max_mm, abs=0.2)
        assert seam.width_min_mm == pytest.approx(seam.offset_left_mm + seam.offset_right_mm)


# What a check has to find


def clean_gaps(pieces: list[tuple[float, float]], start: float, end: float) -> list[tuple[float, float]]:
    """Stretches of start..end longer than 1 mm without a piece; overlaps of two pieces run backwards."""
    found, reached = [], start
    for low, high in sorted(pieces):
        if abs(low - reached) > 1.0 and reached > start:
            found.append((reached, low))
        elif low - start > 1.0 and reached == start:
            found.append((start, low))
        reached = max(reached, high)
    return found + ([(reached, end)] if end - reached > 1.0 else [])


def measured(truth: Truth, options: Options, defects: tuple[str, ...]) -> Counter[tuple[str, str, float]]:
    """(rule, facade, value) of all that breaks the limits, from the triangulated bodies by a plain second way."""
    hall = hall_of(options, defects)
    meshes = local_meshes(truth, hall, options)
    boxes = {key: (points.min(axis=0), points.max(axis=0)) for key, (points, _) in meshes.items()}
    found: Counter[tuple[str, str, float]] = Counter()

    def say(rule: str, facade: str, value: float) -> None:
        found[rule, facade, round(float(value), 1) + 0.0] += 1

    def of(kind: str, facade: str) -> list[tuple[str, np.ndarray, np.ndarray]]:
        picked = [
            (key, *boxes[key]) for key in boxes if (hall.parts[key].kind, hall.parts[key].frame) == (kind, facade)
        ]
        return sorted(picked, key=lambda item: item[1][0])

    for seam in truth.seams:
        low, high = LIMITS["seam-width"]
        for value in {seam.width_min_mm, seam.width_max_mm}:
            if not low <= value <= high:
                say("seam-width", seam.facade, value)
        low, high = LIMITS["panel-end-offset"]
        for value in (seam.offset_left_mm, seam.offset_right_mm):
            if not low <= value <= high:
                say("panel-end-offset", seam.facade, value)
    for facade in ROWS:
        plinths, rails = of("plinth", facade), of("base-rail", facade)
        tops = [high[1] for _, low, high in plinths for _ in range(round((high[0] - low[0]) / 10))]
        for _, _, high in plinths:
            if abs(high[1] - np.median(tops)) > 10.0:
                say("plinth-level", facade, high[1] - np.median(tops))
        for one, two in itertools.pairwise(plinths):
            if two[1][0] - one[2][0] < 50.0 and abs(one[2][1] - two[2][1]) > 7.0:
                say("plinth-step", facade, abs(one[2][1] - two[2][1]))
        for (_, low, high), (_, left, right) in itertools.product(rails, of("column", facade)):
            if left[0] < high[0] and low[0] < right[0] and not 7.0 <= low[2] - right[2] <= 9.0:
                say("base-rail-offset", facade, low[2] - right[2])
        strips = [(low[0], high[0]) for _, low, high in of("plinth-seal", facade) if high[2] < 60.0]
        if facade == DOOR.facade:
            u0, u1 = DOOR.u0 - GAP_MM, DOOR.u1 + GAP_MM
            strips.append(
                tuple(sorted((hall.frames["A"].length - u for u in (u0, u1)) if options.mirror else (u0, u1)))
            )
        for low, high in clean_gaps(strips, 0.0, hall.frames[facade].length):
            say("plinth-seal", facade, high - low)
        for axis, u in hall.frames[facade].axes:
            lanes = [("column-seal", -40.0, 4.0), ("column-seal", 40.0, 4.0), ("seam-foam", 0.0, 33.0)]
            for rule, across, out in lanes:
                kind = "foam" if rule == "seam-foam" else rule
                pieces = [
                    (low[1], high[1])
                    for _, low, high in of(kind, facade)
                    if low[0] < u + across < high[0] and low[2] < out < high[2]
                ]
                seams = [s for s in truth.seams if (s.facade, s.axis) == (facade, axis)]
                feet = [370.0 + 1000.0 * (seam.row - 1) for seam in seams]
                heights = [(foot, foot + seam.length_mm) for foot, seam in zip(feet, seams, strict=True)]
                for low, high in clean_gaps(pieces, heights[0][0], heights[-1][1]):
                    for foot, top in heights:
                        if max(low, high) > foot and min(low, high) < top:
                            say(rule, facade, high - low if high < low else min(high, top) - max(low, foot))
        runs: dict[tuple[str, str], list[tuple[float, float, bool]]] = {}
        for kind, axis in (("plinth-flashing", 0), ("seam-flashing", 1), ("corner-flashing", 1)):
            for key, low, high in of(kind, facade):
                part = hall.parts[key]
                runs.setdefault((kind, part.axis), []).append((low[axis], high[axis], bool(part.sealed)))
        for pieces in runs.values():
            for one, two in itertools.pairwise(sorted(pieces)):
                lap = one[1] - two[0]
                if -1000.0 < lap < (100.0 if one[2] and two[2] else 150.0) - 1e-3:
                    say("flashing-lap", facade, lap)
    for hole in (*WINDOWS, DOOR):
        frame = boxes[f"{hole.key}/{'door' if hole is DOOR else 'window'}"]
        inner = shapely.box(*frame[0][:2], *frame[1][:2])
        gap = inner.buffer(GAP_MM, join_style="mitre") - inner
        strips = [silhouette(meshes[key]) for key in meshes if key.startswith(f"{hole.key}/seal/")]
        bare = (gap - shapely.union_all(strips)).buffer(-0.01).buffer(0.01)
        for piece in getattr(bare, "geoms", [bare]):
            if piece.is_empty:
                continue
            (u0, v0), (u1, v1) = np.clip(np.reshape(piece.bounds, (2, 2)), *np.reshape(inner.bounds, (2, 2)))
            upright = u1 - u0 < 1.0
            threshold = hole is DOOR and not upright and v0 < inner.bounds[1] + 1.0
            rule = "door-threshold-seal" if threshold else "opening-seal"
            say(rule, hole.facade, v1 - v0 if upright else u1 - u0)
    return found


@pytest.mark.parametrize(
    ("options", "defects"),
    [(Options(), ()), (Options(), ALL), (Options(mirror=True, body="brep"), ALL)],
    ids=["clean", "defects", "defects, mirrored"],
)
def test_the_bodies_break_the_limits_exactly_where_the_truth_says(
    options: Options, defects: tuple[str, ...], tmp_path: Path
) -> None:
    truth = write_hall(tmp_path, defects, options)
    told = Counter((e.rule, e.facade, round(e.value_mm, 1)) for e in truth.expected)
    assert measured(truth, options, defects) == told


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Truth]:
    """The hall with each defect alone."""
    return {name: write_hall(tmp_path_factory.mktemp(name), [name]) for name in ALL}


@pytest.mark.parametrize("name", some_of(ALL))
def test_each_defect_does_what_its_record_says(name: str, alone: dict[str, Truth]) -> None:
    defect, truth = DEFECTS[name], alone[name]
    assert len(truth.expected) == defect.verdicts >= defect.issues >= 1
    assert {e.rule for e in truth.expected} == set(defect.rules) == set(defect.value_mm)
    for rule, value in defect.value_mm.items():
        assert value in [e.value_mm for e in truth.expected if e.rule == rule]
    known = {e.GlobalId: e.Name for path in truth.files for e in opened(path).by_type("IfcElement")}
    for e in truth.expected:
        assert [known[g] for g in e.elements] == list(e.names)
        low, high = e.minimum_mm, e.maximum_mm
        assert not ((low is None or e.value_mm >= low) and (high is None or e.value_mm <= high))


def test_defects_do_not_touch_each_other(alone: dict[str, Truth], tmp_path: Path) -> None:
    """Together they are found as each is alone."""
    assert write_hall(tmp_path, ALL).expected == tuple(e for name in ALL for e in alone[name].expected)


def test_places_follow_the_building(tmp_path: Path) -> None:
    here = write_hall(tmp_path, ALL).expected
    moved = write_hall(tmp_path, ALL, Options(turn_deg=90.0, offset_m=(1000.0, -500.0, 3.0), unit="foot")).expected
    for one, two in zip(here, moved, strict=True):
        x, y, z = one.place
        assert two.place == pytest.approx((1000.0 - y, x - 500.0, z + 3.0), abs=1e-6)
        assert (one.rule, one.value_mm, one.elements) == (two.rule, two.value_mm, two.elements)


def test_the_mirror_image_has_left_and_right_changed(tmp_path: Path) -> None:
    plain, mirrored = (write_hall(tmp_path, ALL, Options(mirror=mirror)) for mirror in (False, True))
    for one, two in zip(plain.seams, mirrored.seams, strict=True):
        assert (one.left, one.right, one.offset_left_mm) == (two.right, two.left, two.offset_right_mm)
        assert two.place == pytest.approx((-one.place[0], *one.place[1:]), abs=1e-6)
    turned = {"left": "right", "right": "left", "": ""}
    assert Counter((e.defect, e.rule, e.value_mm, turned[e.side]) for e in plain.expected) == Counter(
        (e.defect, e.rule, e.value_mm, e.side) for e in mirrored.expected
    )


def test_the_truth_can_be_read(tmp_path: Path) -> None:
    truth = write_hall(tmp_path, ["short-panel"])
    assert expected_text(truth).split("\n\n")[1].splitlines()[:4] == [
        "panel-end-offset (error)",
        "  place     facade A, axis 2, row 2, left side, at 5.994 -0.068 1.869 m",
        "  value     27 mm: end of the left panel 27 mm from the column's centre line",
        "  required  10 to 20 mm",
    ]
    rows = [line.split(",") for line in seams_table(truth).splitlines()]
    assert len(rows) == 65
    assert rows[2][:9] == ["panel-end", "A", "2", "2", "999", "42", "42", "27", "15"]
