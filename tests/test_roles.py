"""Who is what: words, class, shape and place, on small bodies in code."""

import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.model import ROLES, Element, Meshes, Role
from checker.roles import assign, worth_reading

REAL_MODELS = Path(__file__).parents[2] / "shared" / "real_models"
CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float) - 0.5
FACES_OF_CORNERS = "013 032 467 475 045 051 237 276 026 064 157 173"
FACES = np.array([list(map(int, face)) for face in FACES_OF_CORNERS.split()])


def about(axis, degrees):
    """Rotation (3, 3) about a world axis 0, 1, 2."""
    angle = np.radians(degrees)
    a, b = [k for k in range(3) if k != axis]
    result = np.eye(3)
    result[a, a] = result[b, b] = np.cos(angle)
    result[a, b], result[b, a] = -np.sin(angle), np.sin(angle)
    return result


@dataclass(frozen=True)
class Thing:
    """An element with its body: ``points`` (8 k, 3) are the corners of k blocks."""

    element: Element
    points: np.ndarray

    def named(self, name="", **others):
        return replace(self, element=replace(self.element, name=name, **others))

    def moved(self, x=0.0, y=0.0, z=0.0):
        return replace(self, points=self.points + np.array([x, y, z]))

    def turned(self, axis, degrees):
        middle = 0.5 * (self.points.min(axis=0) + self.points.max(axis=0))
        return replace(self, points=(self.points - middle) @ about(axis, degrees).T + middle)


def thing(ifc_class, size, at=(0.0, 0.0, 0.0), name="", **others):
    """A block of ``size`` (x, y, z) with its lowest corner at ``at``."""
    points = (CORNERS + 0.5) * size + at
    return Thing(Element("", ifc_class, name=name, **others), points)


def channel(ifc_class, size, at=(0.0, 0.0, 0.0), name="", steel=0.003, **others):
    """A C profile of steel along x with a back of size z and flanges of size y."""
    length, flange, back = size
    blocks = [
        thing("", (length, steel, back), at),
        thing("", (length, flange - steel, steel), (at[0], at[1] + steel, at[2])),
        thing("", (length, flange - steel, steel), (at[0], at[1] + steel, at[2] + back - steel)),
    ]
    return Thing(Element("", ifc_class, name=name, **others), np.concatenate([block.points for block in blocks]))


def meshes_of(things, mirror=False):
    points = [t.points * ([-1, 1, 1] if mirror else [1, 1, 1]) for t in things]
    start = np.cumsum([0, *(len(p) for p in points)])
    faces = [
        np.concatenate([FACES + s + 8 * k for k in range(len(p) // 8)]) if len(p) else np.zeros((0, 3), int)
        for p, s in zip(points, start, strict=False)
    ]
    triangles = np.concatenate([*faces, np.zeros((0, 3), int)])
    return Meshes(
        points=np.concatenate([*points, np.zeros((0, 3))]),
        triangles=triangles[:, ::-1] if mirror else triangles,
        point_start=start,
        triangle_start=np.cumsum([0, *(len(f) for f in faces)]),
    )


def numbered(things):
    return [
        t if t.element.guid else replace(t, element=replace(t.element, guid=f"g{i:03}", shown=(f"g{i:03}",)))
        for i, t in enumerate(things)
    ]


def judged(things, queried=None, faults=None, mirror=False) -> tuple[Role, ...]:
    things = numbered(things)
    elements = [t.element for t in things]
    return assign(elements, meshes_of(things, mirror), faults or [""] * len(things), queried or {})


def role_of(one, *others):
    return judged([one, *others])[0].role


def panels(bays=2, rows=3, ifc_class="IfcPlate", name="Sandwich panel", thickness=0.1, low=0.4, **others):
    """Panels 5.97 m long and 1 m high, outside at y 0.2 and more; columns stand at x 0, 6, 12 ..."""
    return [
        thing(ifc_class, (5.97, thickness, 1.0), (6 * b + 0.015, 0.2, low + r), name, **others)
        for b in range(bays)
        for r in range(rows)
    ]


def plinths(bays=2, ifc_class="IfcWall", name="", top=0.4, thickness=0.2, **others):
    return [
        thing(ifc_class, (5.98, thickness, 0.9), (6 * b + 0.01, 0.2, top - 0.9), name, **others) for b in range(bays)
    ]


def columns(bays=2, name="Column", ifc_class="IfcColumn", height=4.0):
    return [thing(ifc_class, (0.2, 0.2, height), (6 * b - 0.1, 0.0, -0.5), name) for b in range(bays + 1)]


def hall():
    """A facade of two bays with all its layers; ``foot`` of the panels at 0.42 m."""
    strips = [
        thing("IfcDiscreteAccessory", (5.9, 0.04, 0.02), (6 * b + 0.05, 0.22, 0.4), "Plinth seal strip")
        for b in range(2)
    ]
    strips += [
        thing("IfcDiscreteAccessory", (0.04, 0.01, 3.0), (6 + x, 0.195, 0.42), "Column seal") for x in (-0.08, 0.04)
    ]
    foam = [thing("IfcBuildingElementProxy", (0.03, 0.05, 3.0), (5.985, 0.22, 0.42), "PU-Schaum")]
    sheets = [thing("IfcPlate", (0.2, 0.001, 3.0), (5.9, 0.301, 0.42), "Lisene")]
    rails = [channel("IfcMember", (5.8, 0.06, 0.2), (6 * b + 0.1, 0.12, 0.4), "Sockelriegel") for b in range(2)]
    return [
        *panels(low=0.42),
        *plinths(name="Sockel", materials=("C30/37 concrete",)),
        *columns(),
        *strips,
        *foam,
        *sheets,
        *rails,
    ]


HALL = ["panel"] * 6 + ["plinth"] * 2 + ["column"] * 3 + ["seal"] * 4 + ["foam", "flashing", "base-rail", "base-rail"]


def roles(result):
    return [role.role for role in result]


def test_a_hall_with_names():
    result = judged(hall())
    assert roles(result) == HALL
    assert all(role.confidence > 0.7 for role in result)


def test_a_hall_whose_panels_plinths_and_rails_have_no_names():
    bare = [
        t
        if t.element.ifc_class in ("IfcDiscreteAccessory", "IfcBuildingElementProxy") or "Lisene" in t.element.name
        else t.named("", materials=())
        for t in hall()
    ]
    result = judged(bare)
    assert roles(result) == HALL
    assert max(role.confidence for role in result[:8]) < 0.75


@settings(max_examples=40, deadline=None)
@given(
    turn=st.floats(0, 360),
    move=st.tuples(*[st.floats(-1e4, 1e4)] * 3),
    mirror=st.booleans(),
    named=st.booleans(),
    order=st.permutations(range(len(HALL))),
)
def test_turning_moving_mirroring_and_order_change_no_role(turn, move, mirror, named, order):
    things = numbered(hall() if named else [t.named("Strip" if "seal" in t.element.name else "") for t in hall()])
    before = judged(things)
    changed = [replace(t, points=t.points @ about(2, turn).T + move) for t in things]
    after = judged([changed[i] for i in order], mirror=mirror)
    assert [after[order.index(i)].role for i in range(len(order))] == roles(before)


# Values just inside, on and just outside each bound, thickness first.
@pytest.mark.parametrize(
    ("thickness", "expected"),
    [(0.010, ""), (0.024, ""), (0.025, "panel"), (0.030, "panel"), (0.2, "panel"), (0.35, "panel"), (0.51, "")],
)
def test_thickness_of_a_panel(thickness, expected):
    assert role_of(thing("IfcPlate", (5.0, thickness, 1.0), name="Panel")) == expected


def test_a_panel_of_odd_thickness_is_less_certain():
    sure, odd = judged([thing("IfcPlate", (5.0, t, 1.0), name="Panel") for t in (0.1, 0.4)])
    assert sure.role == odd.role == "panel"
    assert odd.confidence < sure.confidence


@pytest.mark.parametrize(
    ("lean", "expected"),
    [(0, "panel"), (29, "panel"), (31, "panel"), (44, "panel"), (46, "roof"), (60, "roof"), (90, "roof")],
)
def test_a_panel_that_lies_belongs_to_the_roof(lean, expected):
    assert role_of(thing("IfcSlab", (6.0, 0.1, 1.0), name="Sandwichpaneel").turned(0, lean)) == expected


def test_a_steep_panel_within_thirty_degrees_is_more_certain():
    inside, outside = judged([thing("IfcPlate", (6.0, 0.1, 1.0), name="Panel").turned(0, lean) for lean in (29, 31)])
    assert inside.confidence > outside.confidence


@pytest.mark.parametrize(
    "kind",
    [
        *("Wall", "WallStandardCase", "Plate", "Covering", "BuildingElementPart", "Beam", "Slab", "Member"),
        *("BuildingElementProxy", "Column"),
    ],
)
def test_a_panel_of_any_class(kind):
    assert role_of(thing(f"Ifc{kind}", (6.0, 0.12, 1.0), name="Wandpaneel PIR")) == "panel"


@pytest.mark.parametrize(
    ("size", "lean", "expected"),
    [
        ((0.2, 0.2, 6.0), 0, "column"),
        ((0.06, 0.06, 3.0), 0, "column"),
        ((0.059, 0.059, 3.0), 0, ""),
        ((1.5, 1.5, 6.0), 0, "column"),
        ((1.6, 1.6, 6.0), 0, ""),
        ((0.2, 0.2, 2.0), 0, "column"),
        ((0.2, 0.2, 1.2), 0, ""),  # a short post
        ((0.3, 0.01, 6.0), 0, ""),  # a sheet
        ((0.2, 0.02, 0.3), 0, ""),  # a gusset
        ((0.2, 0.2, 6.0), 14, "column"),
        ((0.2, 0.2, 6.0), 16, ""),  # a brace
        ((6.0, 0.2, 0.2), 0, ""),  # a beam
    ],
)
def test_shape_of_a_column(size, lean, expected):
    assert role_of(thing("IfcColumn", size).turned(0, lean)) == expected
    assert role_of(thing("IfcColumn", size, name="Stütze").turned(0, lean)) == expected


def test_upright_members_need_words_or_repetition_to_be_columns():
    alone = thing("IfcMember", (0.2, 0.2, 6.0))
    assert role_of(alone) == ""
    assert role_of(alone.named("Poteau")) == "column"
    row = judged([alone.moved(6.0 * i) for i in range(4)])
    assert roles(row) == ["column"] * 4
    assert all(role.confidence < 0.5 for role in row)


def test_short_pieces_of_a_stack_are_columns():
    long = thing("IfcColumn", (0.3, 0.3, 4.0), (0, 0, 0.4))
    short = thing("IfcColumn", (0.3, 0.3, 0.4))
    assert roles(judged([long, short])) == ["column", "column"]
    assert roles(judged([long, short.moved(x=0.1)])) == ["column", ""]
    assert roles(judged([long, thing("IfcColumn", (0.5, 0.5, 0.4), (-0.1, -0.1, 0))])) == ["column", ""]  # a pad
    assert roles(judged([long, short.named(ifc_class="IfcBeam")])) == ["column", ""]
    pieces = [thing("IfcColumn", (0.3, 0.3, 0.5), (0, 0, 0.5 * i)) for i in range(5)]
    assert roles(judged(pieces)) == ["column"] * 5
    assert roles(judged(pieces[:3])) == [""] * 3


def test_mullions_of_a_curtain_wall_are_no_columns():
    posts = [
        thing("IfcMember", (0.05, 0.1, 3.0), (1.5 * i, 0, 0), "Montante rectangular", parents=("Muro cortina",))
        for i in range(5)
    ]
    assert set(roles(judged(posts))) == {""}


@pytest.mark.parametrize(
    "name", ["column base plate", "Interior partition column", "Fußplatte Stütze", "Stützenkopfplatte"]
)
def test_parts_of_columns_are_no_columns(name):
    assert role_of(thing("IfcPlate", (0.3, 0.3, 0.02), name=name)) == ""


def test_nameless_walls_in_a_row_are_panels_with_less_confidence():
    result = judged(panels(ifc_class="IfcWall", name=""))
    assert roles(result) == ["panel"] * 6
    assert all(0.3 < role.confidence < 0.6 for role in result)
    assert role_of(thing("IfcWall", (5.0, 0.1, 1.0))) == ""


@pytest.mark.parametrize("material", ["Mauerwerk", "Brick", "Hormigón", "бетон"])
def test_nameless_masonry_and_concrete_walls_are_no_sandwich_panels(material):
    assert set(roles(judged(panels(ifc_class="IfcWall", name="", materials=(material,))))) == {""}


def test_precast_panels_are_panels_with_less_confidence():
    steel, precast = (judged(panels(materials=(m,)))[0] for m in ("steel", "concrete"))
    assert steel.role == precast.role == "panel"
    assert precast.confidence < steel.confidence


def test_layers_of_metal_and_insulation_make_a_panel():
    layers = ("Steel 0.6", "Mineral wool", "Steel 0.5")
    assert role_of(thing("IfcWall", (6.0, 0.1, 1.0), materials=layers)) == "panel"
    assert role_of(thing("IfcWall", (6.0, 0.1, 1.0), name="W1 100 mineral wool", materials=layers)) == "panel"


@pytest.mark.parametrize("ifc_class", ["IfcWall", "IfcFooting", "IfcBeam", "IfcBuildingElementProxy"])
def test_what_stands_lowest_below_panels_of_another_kind_is_a_plinth(ifc_class):
    result = judged([*panels(), *plinths(ifc_class=ifc_class)])
    assert roles(result) == ["panel"] * 6 + ["plinth"] * 2


def test_a_wall_of_the_same_kind_as_those_above_is_a_panel():
    upper = panels(ifc_class="IfcWall", name="", type_name="W1")
    lower = plinths(thickness=0.1, type_name="W1")
    assert roles(judged([*upper, *lower])) == ["panel"] * 8
    other = [t.named("", type_name="W2") for t in lower]
    assert roles(judged([*upper, *other])) == ["panel"] * 6 + ["plinth"] * 2


def test_thickness_alone_tells_a_plinth_from_its_panels():
    for thickness, expected in ((0.114, "panel"), (0.117, "plinth")):
        lower = plinths(thickness=thickness, ifc_class="IfcWall")
        assert roles(judged([*panels(ifc_class="IfcWall", name=""), *lower]))[-2:] == [expected] * 2


def test_what_hangs_above_panels_is_no_plinth():
    high = [t.moved(z=4.0) for t in plinths()]
    assert "plinth" not in roles(judged([*panels(), *high]))
    named = [t.named("Sockel") for t in high]
    assert roles(judged([*panels(), *named]))[-2:] == ["", ""]


def test_a_wall_that_stands_beside_the_facade_is_no_plinth():
    inside = [t.moved(y=-3.0) for t in plinths()]
    assert "plinth" not in roles(judged([*panels(), *inside]))


def test_a_plinth_panel_is_what_its_material_says():
    panel, concrete = (judged([*panels(), *plinths(name="Sockelpaneel", materials=m)])[-1] for m in ((), ("Beton",)))
    assert panel.role == "panel"
    assert panel.confidence < 0.5
    assert panel.reason.endswith("could also be plinth")
    assert concrete.role == "plinth"


RAIL = (5.8, 0.06, 0.2)


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        ((0.1, 0.13, 0.4), "base-rail"),  # on the plinth, behind the lowest panels
        ((0.1, 0.13, 0.3), "base-rail"),
        ((0.1, 0.13, 1.3), ""),  # a girt
        ((0.1, 0.13, 3.2), ""),  # at the eaves
        ((0.1, -4.0, 0.4), ""),  # between interior columns
    ],
)
def test_place_makes_a_base_rail(at, expected):
    around = [*panels(), *plinths(name="Plinth"), *columns()]
    assert role_of(channel("IfcMember", RAIL, at), *around) == expected
    assert role_of(channel("IfcBeam", RAIL, at), *around) == expected


def test_a_named_rail_at_the_eaves_is_no_base_rail():
    around = [*panels(rows=6), *plinths(name="Plinth")]
    assert role_of(channel("IfcMember", RAIL, (0.1, 0.13, 0.4), "Base rail"), *around) == "base-rail"
    assert role_of(channel("IfcMember", RAIL, (0.1, 0.13, 6.0), "Base rail"), *around) == ""


def test_the_head_of_a_door_carries_no_base_rail():
    """Above a door the lowest panel begins high up: the beam below it is a lintel."""
    above = thing("IfcPlate", (3.0, 0.1, 1.0), (1.5, 0.2, 3.0), "Wall panel")
    door = thing("IfcDoor", (3.0, 0.08, 3.0), (1.5, 0.2, 0.0))
    assert role_of(channel("IfcMember", (2.9, 0.06, 0.2), (1.55, 0.12, 2.9)), above, door) == ""


def test_a_concrete_beam_on_the_plinth_line_is_no_base_rail():
    beam = thing("IfcBeam", (5.8, 0.3, 0.4), (0.1, -0.11, 0.1), materials=("concrete",))
    assert role_of(beam, *panels(), *plinths(name="Plinth")) != "base-rail"


STRIPS = {
    "gap": ((0.03, 0.05, 2.8), (5.985, 0.22, 0.5), "foam"),
    "column": ((0.04, 0.01, 2.8), (6.04, 0.19, 0.5), "seal"),
    "plinth": ((5.8, 0.04, 0.02), (0.1, 0.22, 0.4), "seal"),
    "window": ((0.03, 0.03, 1.0), (2.96, 0.22, 1.5), "seal"),
    "nowhere": ((0.03, 0.03, 2.0), (3.0, -5.0, 0.0), ""),
}


@pytest.mark.parametrize("name", ["Strip", "filler", "joint", "Gasket", "bande"])
@pytest.mark.parametrize("place", STRIPS)
def test_place_makes_a_strip_what_it_is(name, place):
    size, at, expected = STRIPS[place]
    around = [*panels(low=0.42), *plinths(name="Plinth"), *columns()]
    around.append(thing("IfcWindow", (1.0, 0.08, 1.0), (3.0, 0.2, 1.5)))
    result = judged([thing("IfcDiscreteAccessory", size, at, name), *around])[0]
    if place == "nowhere" and name == "Gasket":
        expected = "seal"
    assert result.role == expected
    filler = thing("IfcDiscreteAccessory", size, at, predefined="FILLER")
    assert role_of(filler, *around) == STRIPS[place][2]


def test_words_go_before_place():
    size, at, _ = STRIPS["gap"]
    around = [*panels(low=0.42), *columns()]
    assert role_of(thing("IfcDiscreteAccessory", size, at, "Dichtband"), *around) == "seal"
    assert role_of(thing("IfcDiscreteAccessory", size, at, "mineral wool"), *around) == "insulation"


def test_foam_at_a_corner():
    one = panels(bays=1, low=0.42)
    other = [replace(t, points=t.points @ about(2, 90).T + [6.31, -5.685, 0]) for t in one]
    corner = thing("IfcDiscreteAccessory", (0.02, 0.05, 2.8), (5.988, 0.22, 0.5), "filler")
    result = judged([corner, *one, *other])[0]
    assert (result.role, "corner" in result.reason) == ("foam", True)


@pytest.mark.parametrize(
    ("ifc_class", "predefined", "expected"),
    [
        ("IfcDiscreteAccessory", "FLASHING", "flashing"),
        ("IfcCovering", "MEMBRANE", "membrane"),
        ("IfcCovering", "INSULATION", "insulation"),
        ("IfcCovering", "COPING", "eave-profile"),
        ("IfcBuildingElementPart", "INSULATION", "insulation"),
        ("IfcDiscreteAccessory", "Butyl strip", "seal"),
        ("IfcDiscreteAccessory", "BRACKET", ""),
        ("IfcMember", "BRACE", ""),
    ],
)
def test_the_predefined_type_speaks(ifc_class, predefined, expected):
    assert role_of(thing(ifc_class, (3.0, 0.1, 0.003), predefined=predefined)) == expected


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", "Sealing strip"),
        ("object_type", "Sealing strip"),
        ("type_name", "Sealing strip"),
        ("description", "Sealing strip"),
        ("materials", ("EPDM",)),
    ],
)
def test_every_field_is_heard(field, value):
    result = judged(
        [replace(strip := thing("IfcMember", (3.0, 0.04, 0.01)), element=replace(strip.element, **{field: value}))]
    )[0]
    assert result.role == "seal"
    assert f"{field.replace('_name', '').replace('_', ' ').removesuffix('s')} says" in result.reason


def test_a_name_goes_before_a_description():
    strip = thing("IfcMember", (3.0, 0.04, 0.01), name="Klebeband", description="Dichtung")
    assert role_of(strip) == "tape"


def test_a_seal_as_large_as_a_panel_is_none():
    assert role_of(thing("IfcPlate", (6.0, 0.1, 1.0), name="Seal")) == ""


def test_a_seal_round_a_window_is_long_and_wide():
    ring = [
        thing("", (1.2, 0.02, 0.02), (0, 0, 0)),
        thing("", (1.2, 0.02, 0.02), (0, 0, 1.0)),
        thing("", (0.02, 0.02, 0.98), (0, 0, 0.02)),
        thing("", (0.02, 0.02, 0.98), (1.18, 0, 0.02)),
    ]
    body = Thing(Element("", "IfcBuildingElementProxy", name="Window seal"), np.concatenate([r.points for r in ring]))
    assert role_of(body) == "seal"


def test_classes_that_say_all():
    things = [
        thing("IfcWindow", (1.0, 0.1, 1.0), name="Panel 1"),
        thing("IfcDoor", (4.0, 0.1, 4.0), name="Sectional"),
        thing("IfcOpeningElement", (4.0, 0.3, 4.0), name="Door"),
    ]
    result = judged(things)
    assert roles(result) == ["window", "door", "opening"]
    assert result[2].confidence == 1.0


def test_queries_win_always():
    things = hall()
    result = judged(things, queried={0: "plinth", 7: "", 8: "foam"})
    assert [(r.role, r.confidence, r.reason) for r in (result[0], result[7], result[8])] == [
        ("plinth", 1.0, "project query"),
        ("", 1.0, "project query"),
        ("foam", 1.0, "project query"),
    ]


def test_queried_panels_help_to_find_plinths_and_rails():
    odd = [t.named("X", ifc_class="IfcBeam") for t in panels(bays=1, thickness=0.6)]
    rail = channel("IfcMember", RAIL, (0.1, 0.13, 0.4))
    things = [*odd, *plinths(bays=1), rail]
    assert set(roles(judged(things))) == {""}
    result = judged(things, queried=dict.fromkeys(range(3), "panel"))
    assert roles(result) == ["panel"] * 3 + ["plinth", "base-rail"]


def panel_with_parts(side_by_side):
    whole = thing("IfcWall", (6.0, 0.1, 2.0), name="Sandwich panel")
    if side_by_side:
        parts = [thing("IfcBuildingElementPart", (2.0, 0.1, 2.0), (2.0 * i, 0, 0), "Panel") for i in range(3)]
    else:
        parts = [
            thing("IfcBuildingElementPart", (6.0, 0.001, 2.0), (0, 0, 0), "Outer sheet"),
            thing("IfcBuildingElementPart", (6.0, 0.098, 2.0), (0, 0.001, 0), "Mineral wool core"),
            thing("IfcBuildingElementPart", (6.0, 0.001, 2.0), (0, 0.099, 0), "Inner sheet"),
            thing("IfcBuildingElementPart", (6.0, 0.01, 0.01), (0, 0.05, 1.99), "Groove seal EPDM"),
        ]
    guids = tuple(f"p{i}" for i in range(len(parts)))
    parts = [
        t.named(t.element.name, guid=g, shown=(g,), parents=("Sandwich panel",))
        for t, g in zip(parts, guids, strict=True)
    ]
    return whole.named("Sandwich panel", guid="whole", shown=guids), parts


def test_layers_of_a_panel_have_no_role_but_its_seals_do():
    whole, parts = panel_with_parts(side_by_side=False)
    result = judged([whole, *parts])
    assert roles(result) == ["panel", "", "", "", "seal"]
    assert result[1].reason == "part of panel whole"


def test_layers_of_a_panel_with_a_body_of_its_own():
    whole, parts = panel_with_parts(side_by_side=False)
    whole = whole.named("Sandwich panel", shown=("whole",))
    assert roles(judged([whole, *parts])) == ["panel", "", "", "", "seal"]


def test_the_core_stands_for_a_panel_that_is_only_an_assembly():
    _, parts = panel_with_parts(side_by_side=False)
    assert roles(judged(parts)) == ["", "panel", "", "seal"]
    assert roles(judged([t.named(t.element.name, parents=()) for t in parts]))[1] == "insulation"


def test_panels_side_by_side_in_one_wall_are_the_panels():
    whole, parts = panel_with_parts(side_by_side=True)
    assert roles(judged([whole, *parts])) == ["", "panel", "panel", "panel"]


def test_without_a_body_words_decide_with_less_confidence():
    seen = thing("IfcColumn", (0.2, 0.2, 5.0), name="Column")
    unseen = replace(seen, points=np.zeros((0, 3)))
    result = judged([seen, unseen], faults=["", "has no body"])
    assert roles(result) == ["column", "column"]
    assert result[1].confidence < result[0].confidence
    assert "could not be measured" in result[1].reason


def test_an_open_body_counts_as_solid():
    panel = thing("IfcPlate", (5.97, 0.12, 1.0), name="Panel")
    meshes = meshes_of(numbered([panel]))
    torn = replace(meshes, triangles=meshes.triangles[:3], triangle_start=np.array([0, 3]))
    element = numbered([panel])[0].element
    assert assign([element], torn, ["the mesh is open"], {})[0].role == "panel"


def test_reasons_are_understood():
    panel, beam = judged(
        [thing("IfcPlate", (5.97, 0.12, 1.0), name="Sandwich 12"), thing("IfcBeam", (5.0, 0.2, 0.2), name="Column")]
    )
    assert panel.reason == "IfcPlate, name says 'Sandwich', flat and upright 5.97 x 1.00 x 0.12 m"
    assert beam.reason == (
        "IfcBeam, name says 'Column', but shape or place do not fit a column, slender and level 5.00 x 0.20 x 0.20 m"
    )


def test_a_doubtful_role_names_the_other():
    result = judged([thing("IfcDiscreteAccessory", (3.0, 0.05, 0.002), name="Butyl tape")])[0]
    assert (result.role, result.confidence < 0.5, "could also be tape" in result.reason) == ("seal", True, True)


def test_only_candidates_are_worth_reading():
    steel = [
        Element("a", "IfcMechanicalFastener", name="Bolt M16x40"),
        Element("b", "IfcReinforcingBar", name="R12"),
        Element("c", "IfcPlate", name="PLATE", object_type="PL10*200", materials=("S355J2",)),
        Element("d", "IfcPlate", name="Knotenblech"),
        Element("e", "IfcPlate", name="p(12)", materials=("S235JR",)),
        Element("f", "IfcMember", predefined="BRACE"),
        Element("g", "IfcFurnishingElement", name="Table"),
        Element("h", "IfcColumn", name="Fußplatte Stütze"),
        Element("i", "IfcSlab", name="Bodenplatte"),
    ]
    wanted = [
        Element("a", "IfcPlate", name="Sockelblech", object_type="PL1*200", materials=("S235",)),
        Element("b", "IfcPlate"),
        Element("c", "IfcWall", name="Wall 17"),
        Element("d", "IfcColumn"),
        Element("e", "IfcBeam", name="IPE 200"),
        Element("f", "IfcMechanicalFastener", name="Dichtband"),
        Element("g", "IfcOpeningElement"),
        Element("h", "IfcSlab", name="Sandwichpaneel"),
        Element("i", "IfcDiscreteAccessory", predefined="FILLER"),
        Element("j", "IfcFurnishingElement", name="Sealing strip"),
    ]
    assert worth_reading(steel[:7], {}).tolist() == [False] * 7
    assert worth_reading([steel[8]], {}).tolist() == [False]
    assert worth_reading(wanted, {}).tolist() == [True] * len(wanted)
    assert worth_reading(steel[:2], {1: "column"}).tolist() == [False, True]
    assert worth_reading([], {}).tolist() == []


def test_hostile_words_reach_no_reason():
    bad = "\x1b[31m<script>\u202e=cmd|'/C calc'!A0 ::error:: Panel\x00\n"
    everywhere = thing("IfcPlate", (6.0, 0.1, 1.0), name=bad, object_type=bad, type_name=bad, description=bad)
    everywhere = everywhere.named(bad, predefined=bad, materials=(bad, bad), parents=(bad,) * 40, tag=bad)
    result = judged([everywhere])[0]
    assert all(letter.isalnum() or letter in " ,.'" for letter in result.reason)
    assert len(result.reason) < 200


def test_no_elements():
    assert judged([]) == ()


def test_bodies_of_no_size_are_harmless():
    point = replace(thing("IfcWall", (1, 1, 1), name="Panel"), points=np.zeros((8, 3)))
    line = thing("IfcPlate", (3.0, 0.0, 0.0), name="Panel")
    for role in judged([point, line, *panels()])[:2]:
        assert role.role in ("", *ROLES)
        assert 0 <= role.confidence <= 1


def test_cost_grows_in_proportion():
    """A thousand elements cost the same, however many there are; the allowance is for slow machines."""
    one = panels(bays=40, rows=5) + plinths(bays=40) + columns(bays=40)
    many = [t.moved(y=20.0 * k) for k in range(8) for t in one]
    times = []
    for things in (one, many):
        things = numbered(things)
        elements, meshes = [t.element for t in things], meshes_of(things)
        start = time.process_time()
        assign(elements, meshes, [""] * len(elements), {})
        times.append(time.process_time() - start)
    assert times[1] < 8 * 4 * times[0] + 1.0


@pytest.mark.parametrize(
    ("file", "role", "count"),
    [
        ("curtain-only.ifc", "panel", 324),
        ("curtain-only.ifc", "column", 0),
        ("composite-parts.ifc", "column", 20),
        ("composite-parts.ifc", "panel", 16),  # the outer walls, also that of layers; inner ones and parapets are none
        ("tall-building.ifc", "window", 21),
        ("tall-building.ifc", "panel", 16),  # four outer walls on each of four storeys
        ("lab-mixed-ifc4.ifc", "column", 84),
    ],
)
def test_real_models(file, role, count):
    """What is in these files was told by who chose them (README there), not by this tool."""
    if not (REAL_MODELS / file).exists():
        pytest.skip("real models are not at hand")
    from checker.read import ModelFile, open_models

    reading = open_models([ModelFile(REAL_MODELS / file)])
    meshes, faults = reading.bodies(worth_reading(reading.elements, {}))
    result = assign(reading.elements, meshes, faults, {})
    assert roles(result).count(role) == count


@pytest.mark.parametrize("field", ["object_type", "type_name"])
@pytest.mark.parametrize(
    ("name", "kind", "role"),
    [
        ("PU foam strip", "Seal", "foam"),
        ("Klebeband", "Dichtung", "tape"),
        ("Mastic", "Joint d'étanchéité", "sealant"),
        ("Eave profile", "Flashing", "eave-profile"),
        ("Seal strip", "Seal", "seal"),
    ],
)
def test_a_type_that_names_the_kind_takes_nothing_from_a_name_of_its_own(name, kind, role, field):
    strip = thing("IfcDiscreteAccessory", (3.0, 0.04, 0.02), name=name, **{field: kind})
    assert role_of(strip) == role
