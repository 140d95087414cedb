"""Halls by as many modellers, and what each did wrong: the recipes for `foreign`."""

from collections.abc import Callable
from dataclasses import replace

from foreign import Hall, Opening, Prism, Recipe, Style, U, Z, block

Square = tuple[tuple[float, float], ...]


def plan(x: float, y: float) -> Square:
    return ((0.0, 0.0), (x, 0.0), (x, y), (0.0, y))


def inside(x: float, y: float) -> list[tuple[str, str, str, Prism]]:
    """What else stands in a hall; (x, y) is its size. Frame: u east, z up, d south."""
    return [
        ("IfcSlab", "FLOOR", "Bodenplatte", block(0.3, x - 0.3, -0.2, 0.0, -y + 0.3, -0.3, axis=Z)),
        ("IfcColumn", "COLUMN", "Int. col 300x300", block(x / 2, x / 2 + 0.3, 0, 3, -y / 2, -y / 2 + 0.3, axis=Z)),
        ("IfcBeam", "BEAM", "Roof beam IPE 300", block(0.3, x - 0.3, 2.9, 3.2, -y / 2 - 0.1, -y / 2, axis=U)),
        ("IfcMember", "PURLIN", "Pfette Z200", block(0.3, x - 0.3, 3.2, 3.4, -2.1, -2.0, axis=U)),
        ("IfcMember", "BRACE", "Verband", block(0.4, 1.9, 0.6, 0.66, -0.3, -0.24, axis=U)),
        ("IfcWall", "PARTITIONING", "Innenwand 100", block(2.0, 2.1, 0.0, 2.5, -y + 1.0, -1.0, axis=Z)),
        ("IfcDoor", "DOOR", "Innentür T30", block(2.02, 2.08, 0.0, 2.1, -2.4, -1.5, axis=Z)),
        ("IfcFurnishingElement", "", "Table", block(1.0, 1.8, 0.7, 0.75, -1.6, -1.0, axis=Z)),
        ("IfcBuildingElementProxy", "", "Rack 12", block(3.0, 4.0, 0.0, 2.0, -2.0, -1.5, axis=Z)),
        ("IfcFlowSegment", "", "Pipe DN50", block(0.4, x - 0.4, 2.0, 2.05, -0.45, -0.40, axis=U)),
        ("IfcMechanicalFastener", "", "M16x120", block(0.5, 0.52, 0.4, 0.42, -0.1, 0.0, axis=U)),
        ("IfcReinforcingBar", "", "d12", block(0.1, 3.0, 0.1, 0.112, 0.05, 0.062, axis=U)),
        ("IfcCovering", "CEILING", "Decke abgehängt", block(0.5, 2.0, 2.5, 2.52, -3.0, -1.0, axis=Z)),
        ("IfcMember", "", "Wandriegel U140", block(0.35, x - 0.35, 1.9, 2.04, -0.30, -0.24, axis=U)),
        ("IfcPlate", "", "PL10*200 S355", block(x / 2 - 0.1, x / 2 + 0.1, 2.6, 2.8, -0.30, -0.29, axis=Z)),
    ]


STRIP = Style("IfcDiscreteAccessory", "EPDM 40x10", "FILLER")
HOLE = Style("IfcOpeningElement", "Opening {n}", "OPENING", body="box2", frame="run")

GERMAN = Recipe(
    "waende",
    {
        "panel": Style(
            "IfcWall",
            "AW-ext 120 Mineralwolle",
            "ELEMENTEDWALL",
            layers=(("Stahlblech", 0.0005), ("Mineralwolle", 0.119), ("Stahlblech", 0.0005)),
            body="box1",
        ),
        "column": Style("IfcColumn", "HEA 200", "COLUMN", material=("S235JR",), body="section"),
        "plinth": Style(
            "IfcFooting", "Frostschürze {n}", "STRIP_FOOTING", material=("Stahlbeton C30/37",), frame="prism"
        ),
        "rail": Style("IfcMember", "UPE 100", "PURLIN", object_type="Fußriegel", material=("S235JR",), frame="prism"),
        "plinth_seal": Style("IfcDiscreteAccessory", "Dichtband 40x10", "FILLER"),
        "column_seal": Style("IfcDiscreteAccessory", "Dichtband 40x8", "FILLER"),
        "foam": Style("IfcDiscreteAccessory", "PU-Schaumstreifen", "FILLER", body="box0"),
        "flashing": Style("IfcPlate", "Sockelblech t=1,5", "SHEET", material=("Stahl verzinkt",)),
        "cover": Style("IfcPlate", "Fugenabdeckblech", "SHEET", body="box1"),
        "window": Style("IfcWindow", "F{n:02d} 150/60"),
        "frame_seal": Style("IfcDiscreteAccessory", "Fensterdichtband", "FILLER"),
        "hole": HOLE,
    },
    plan(12.0, 6.0),
    ((6.0, 6.0), (6.0,), (4.0, 4.0, 4.0), (6.0,)),
    plinth_shape="chamfer",
    openings=(Opening("void", 0, 0, 1, 2.0, 3.5, 0.2, 0.8, seal="four"),),
    turn=24.2,
    offset=(-120.0, -45.0, 3.2),
    noise=inside(12.0, 6.0),
    grid=True,
)

MARKS = Recipe(
    "marks",
    {
        "panel": Style("IfcPlate", "PA-{n:04d}", body="brep", gather="IfcCurtainWall", gather_name="CW-1"),
        "column": Style("IfcColumn", "C-{n}", object_type="SHS200x10", body="section", frame="grid"),
        "plinth": Style("IfcWall", "PL-{n}", material=("Concrete C35/45",), frame="prism"),
        "rail": Style("IfcBeam", "BR-{n}", object_type="Z100x3", material=("S350GD",), frame="prism"),
        "plinth_seal": Style("IfcBuildingElementProxy", "{n}", object_type="EPDM 40x10"),
        "column_seal": Style("IfcBuildingElementProxy", "{n}", object_type="EPDM 40x8", body="brep"),
        "foam": Style("IfcBuildingElementProxy", "{n}", object_type="PU foam 34x80"),
        "flashing": Style("IfcCovering", "FL-{n}", object_type="Drip flashing"),
        "cover": Style("IfcCovering", "FL-{n}", object_type="Cover flashing"),
    },
    ((0.0, 0.0), (64.0, 0.0)),
    ((4.0,) * 16,),
    closed=False,
    column=("box", 0.2, 0.2, 0.01, 0.02),
    rail="zed",
    squeeze=0.002,
    column_seal="rows",
    foam="rows",
    flashing="drip",
    schema="IFC2X3",
    offset=(4500000.0, 500000.0, 12.0),
    carry="element",
)

DANISH = Recipe(
    "beklaedning",
    {
        "panel": Style("IfcCovering", "Facadeelement sandwich 200", "CLADDING", body="faceset", frame="prism"),
        "column": Style("IfcColumn", "Betonsøjle 400x400", material=("Beton C45",), body="box1", frame="top"),
        "plinth": Style("IfcBeam", "Sokkelelement {n}", "EDGEBEAM", material=("Beton C40",), frame="prism"),
        "plinth_seal": Style("IfcCovering", "Fugebånd 50x10"),
        "column_seal": Style("IfcCovering", "Fugebånd 150x20", body="triangles"),
        "foam": Style("IfcCovering", "Skumstrimmel i fuge"),
        "flashing": Style("IfcCovering", "Sokkelinddækning"),
        "cover": Style("IfcCovering", "Dækliste"),
        "window": Style("IfcWindow", "Vindue {n}"),
        "frame_seal": Style("IfcCovering", "Tætningsbånd vindue", body="faceset"),
        "hole": HOLE,
    },
    ((0.0, 0.0), (10.0, 0.0), (10.0, 5.0), (5.0, 5.0), (5.0, 10.0), (0.0, 10.0)),
    ((5.0, 5.0), (5.0,), (5.0,), (5.0,), (5.0,), (5.0, 5.0)),
    thick=0.20,
    plinth=(0.0, 0.22),
    column=("rect", 0.4, 0.4),
    rail="none",
    stand=0.020,
    column_seal="wide",
    plinth_joints="between",
    plinth_seal=(0.01, 0.06, 0.010),
    flashing="ell",
    openings=(Opening("row", 0, 0, 1, 1.5, 3.0, gap=0.009, seal="mitred"),),
    schema="IFC4X3_ADD2",
    unit="m",
    turn=217.0,
    offset=(-30.0, 88.0, 0.0),
    carry="building",
)

FRENCH = Recipe(
    "panneaux",
    {
        "panel": Style(
            "IfcBuildingElementProxy", "P{n}", object_type="Panneau sandwich 150", body="box0", frame="prism"
        ),
        "column": Style("IfcMember", "Poteau rond 193.7x10", "POST", body="section"),
        "plinth": Style("IfcBuildingElementProxy", "Longrine {n}", object_type="Soubassement béton", frame="prism"),
        "rail": Style("IfcMember", "Lisse basse {n}", frame="prism"),
        "plinth_seal": Style("IfcBuildingElementProxy", "Bande d'étanchéité {n}"),
        "column_seal": Style("IfcBuildingElementProxy", "Joint d'étanchéité {n}"),
        "foam": Style("IfcBuildingElementProxy", "Joint mousse {n}"),
        "flashing": Style("IfcBuildingElementProxy", "Bavette {n}"),
        "cover": Style("IfcBuildingElementProxy", "Couvre-joint {n}"),
    },
    tuple((8 * c, 8 * s) for c, s in ((1, 0), (0.5, 0.8660254037844386), (-0.5, 0.8660254037844386), (-1, 0),
                                      (-0.5, -0.8660254037844386), (0.5, -0.8660254037844386))),
    ((4.0, 4.0),) * 6,
    rows=(0.9, 0.9),
    thick=0.15,
    plinth=(0.0, 0.17),
    column=("tube", 0.1937, 0.010),
    rail="box",
    unit="foot",
    turn=33.3,
    offset=(210.0, -75.0, -4.0),
    carry="element",
)  # fmt: skip

POLISH = Recipe(
    "zestawy",
    {
        "panel": Style(
            "IfcElementAssembly",
            "Płyta warstwowa PW-{n}",
            "USERDEFINED",
            object_type="Płyta ścienna 120",
            split=(
                ("IfcBuildingElementPart", "", "Blacha wewnętrzna", 0.0005),
                ("IfcBuildingElementPart", "", "Rdzeń PIR", 0.0),
                ("IfcBuildingElementPart", "", "Blacha zewnętrzna", 0.0005),
            ),
            gather="IfcElementAssembly",
            gather_name="Ściana",
        ),
        "column": Style("IfcColumn", "Słup HEB 180", body="prism"),
        "plinth": Style("IfcFooting", "Podwalina żelbetowa {n}", "FOOTING_BEAM", frame="prism"),
        "rail": Style("IfcBeam", "Kątownik cokołowy {n}", frame="prism"),
        "plinth_seal": Style("IfcDiscreteAccessory", "Uszczelka EPDM {n}"),
        "column_seal": Style("IfcBuildingElementPart", "Uszczelka {n}", gather="panel"),
        "foam": Style("IfcDiscreteAccessory", "Pianka PUR {n}"),
        "flashing": Style("IfcPlate", "Obróbka blacharska {n}", "SHEET"),
        "cover": Style("IfcPlate", "Maskownica {n}", "SHEET"),
    },
    ((0.0, 0.0), (9.0, 0.0), (8.0, 5.67128181961771), (1.0, 5.67128181961771 * 1.0)),
    ((4.5, 4.5), (), (3.5, 3.5), ()),
    column=("I", 0.18, 0.18, 0.0085, 0.014, 0.015),
    pieces=2,
    column_seal="rows",
    rail="angle",
    stand=0.012,
    plinth=(0.0, 0.16),
    unit="mm",
    turn=101.0,
    offset=(15.0, 15.0, 100.0),
)

SPANISH = Recipe(
    "muros",
    {
        "panel": Style(
            "IfcWall",
            "Cerramiento panel sándwich {n}",
            split=(
                ("IfcBuildingElementPart", "", "Chapa interior", 0.0006),
                ("IfcBuildingElementPart", "INSULATION", "Lana mineral", 0.0),
                ("IfcBuildingElementPart", "", "Chapa exterior", 0.0006),
            ),
        ),
        "column": Style("IfcColumn", "Pilar HEA 200", "COLUMN", body="section"),
        "plinth": Style("IfcWall", "Zócalo de hormigón {n}", "SOLIDWALL", frame="prism"),
        "rail": Style("IfcMember", "Perfil de arranque U {n}", frame="prism"),
        "plinth_seal": Style("IfcCovering", "Banda de estanqueidad {n}"),
        "column_seal": Style("IfcCovering", "Junta EPDM {n}"),
        "foam": Style("IfcCovering", "Junta de espuma {n}"),
        "flashing": Style("IfcCovering", "Vierteaguas {n}"),
        "cover": Style("IfcCovering", "Tapajuntas {n}"),
        "gate": Style("IfcDoor", "Puerta seccional {n}", "GATE"),
        "frame_seal": Style("IfcCovering", "Burlete puerta {n}"),
    },
    plan(10.0, 8.0),
    ((5.0, 5.0), (4.0, 4.0), (5.0, 5.0), (4.0, 4.0)),
    rows=(0.8, 0.8, 0.8),
    tops={1: ((0.0, 0.0), (4.0, 0.4), (8.0, 0.0)), 3: ((0.0, 0.0), (4.0, 0.4), (8.0, 0.0))},
    base_plate=True,
    corner="lap",
    openings=(Opening("gate", 0, 0, 1, 1.2, 3.8, gap=0.009),),
    turn=-71.5,
    offset=(0.0, 0.0, 0.0),
    noise=inside(10.0, 8.0),
)

CZECH = Recipe(
    "pruty",
    {
        "panel": Style("IfcMember", "Sendvičový panel {n}", body="mapped", frame="prism"),
        "column": Style("IfcColumn", "Sloup HEB {n}", body="faceset", frame="grid"),
        "plinth": Style("IfcBeam", "Soklový prefabrikát {n}", body="advanced", frame="prism"),
        "rail": Style("IfcPlate", "Zakládací plech {n}", object_type="Základová lišta", frame="prism"),
        "plinth_seal": Style("IfcFastener", "Těsnicí páska {n}"),
        "column_seal": Style("IfcFastener", "Těsnění EPDM {n}"),
        "foam": Style("IfcFastener", "PU pěna {n}"),
        "flashing": Style("IfcPlate", "Oplechování soklu {n}"),
        "cover": Style("IfcPlate", "Krycí lišta spáry {n}"),
    },
    plan(8.0, 8.0),
    ((4.0, 4.0), (4.0, 4.0), (4.0, 4.0), (4.0, 4.0)),
    plinth=(-0.26, 0.13),
    plinth_shape="rebate",
    plinth_seal=(0.0, 0.05, 0.010),
    column_foot=0.30,
    column=("I", 0.18, 0.18, 0.0085, 0.014),
    rail="plate",
    unit="inch",
    turn=-33.3,
    offset=(-8000.0, -9000.0, -20.0),
)

ENGLISH = Recipe(
    "frontage",
    {
        "panel": Style(
            "IfcPlate", "PNL-{row}-{n:03d}", "CURTAIN_PANEL", type_name="Composite panel 100", body="advanced"
        ),
        "column": Style("IfcColumn", "UC 203x203x46", material=("S355",), body="section", frame="top"),
        "plinth": Style("IfcWall", "Upstand {n}", "PARAPET", material=("Concrete",), frame="prism"),
        "rail": Style("IfcMember", "Base rail {n}", "PURLIN", frame="prism"),
        "plinth_seal": replace(STRIP, name="Compressible joint strip"),
        "column_seal": replace(STRIP, name="Strip {n}"),
        "foam": replace(STRIP, name="Filler {n}"),
        "flashing": Style("IfcDiscreteAccessory", "Drip trim {n}", "FLASHING", stated={"Site": {"Sealed": False}}),
        "cover": Style("IfcDiscreteAccessory", "Cover strip {n}", "FLASHING"),
        "window": Style("IfcWindow", "W{n}"),
        "frame_seal": replace(STRIP, name="Window gasket {n}"),
        "hole": HOLE,
    },
    plan(9.0, 5.0),
    ((4.5, 4.5), (5.0,), (3.0, 3.0, 3.0), (5.0,)),
    thick=0.10,
    plinth=(0.0, 0.12),
    tongue=True,
    lap=0.160,
    rail="between",
    column=("I", 0.2032, 0.2032, 0.0072, 0.011, 0.0102),
    openings=(Opening("void", 2, 1, 0, 0.8, 2.0, 0.3, 0.8, seal="ring"),),
    schema="IFC4X3_ADD2",
    unit="mm",
    carry="bodies",
    turn=12.7,
    offset=(1200.0, -800.0, 35.0),
)

FEDERATED = Recipe(
    "trades",
    {
        "panel": Style("IfcWallStandardCase", "W-ext 120 mineral", type_name="Sandwichwand 120",
                       layers=(("Steel", 0.0006), ("Mineral wool", 0.1188), ("Steel", 0.0006)), body="box0"),
        "column": Style("IfcColumn", "HEA200", body="section", frame="prism"),
        "plinth": Style("IfcBuildingElementProxy", "PRE-{n}", object_type="Precast plinth", body="faceset"),
        "rail": Style("IfcBeam", "L80x120x4", object_type="Plinth angle", frame="prism"),
        "plinth_seal": Style("IfcDiscreteAccessory", "Kompriband", "USERDEFINED", object_type="Fugendichtung"),
        "column_seal": Style("IfcDiscreteAccessory", "Kompriband", "USERDEFINED", object_type="Fugendichtung"),
        "foam": Style("IfcDiscreteAccessory", "Schaum", "USERDEFINED", object_type="Fugenschaum"),
        "flashing": Style("IfcPlate", "Kantteil {n}"),
        "cover": Style("IfcPlate", "Lisene {n}"),
    },
    plan(8.0, 4.0),
    ((4.0, 4.0), (4.0,), (4.0, 4.0), (4.0,)),
    rail="angle",
    stand=0.012,
    turn=60.0,
    offset=(455000.0, 6100000.0, 45.0),
    files=({"schema": "IFC4", "unit": "mm", "carry": "site"}, {"schema": "IFC2X3", "unit": "m", "carry": "building"},
           {"schema": "IFC4X3_ADD2", "unit": "m", "carry": "element"}),
    spread={"column": 1, "rail": 1, "plinth": 2},
)  # fmt: skip

SWEDISH = Recipe(
    "kylhus",
    {
        "panel": Style("IfcBuildingElementProxy", "Väggelement {n}", object_type="Sandwichpanel 150", body="sheets"),
        "column": Style("IfcColumn", "Stålpelare VKR 150", body="section", frame="prism"),
        "plinth": Style("IfcBeam", "Sockelelement {n}", material=("Betong C35/45",), body="triangles"),
        "rail": Style("IfcMember", "Sockelskena {n}", body="box0"),
        "plinth_seal": Style("IfcBuildingElementProxy", "Tätningsband {n}", frame="world"),
        "column_seal": Style("IfcBuildingElementProxy", "Tätningslist {n}", frame="top"),
        "foam": Style("IfcBuildingElementProxy", "Bottningslist {n}", object_type="Fogskum", body="rod"),
        "flashing": Style("IfcCovering", "Sockelplåt {n}", body="box1"),
        "cover": Style("IfcCovering", "Täckplåt {n}", body="mapped"),
        "gate": Style("IfcDoor", "Port {n}"),
        "hole": HOLE,
        "frame_seal": Style("IfcBuildingElementProxy", "Tätningslist port {n}"),
    },
    plan(12.0, 7.0),
    ((4.0, 4.0, 4.0), (3.5, 3.5), (6.0, 6.0), (3.5, 3.5)),
    rows=(1.1, 1.1),
    thick=0.15,
    joint=0.003,
    column=("box", 0.15, 0.15, 0.008, 0.016),
    column_head=-0.1,
    rail="box",
    openings=(Opening("gate", 0, 1, 0, 0.0, 4.0, gap=0.013), Opening("door", 2, 1, 0, 0.6, 1.6, z1=1.75)),
    unit="cm",
    turn=142.0,
    offset=(-64000.0, 6580000.0, 3.0),
    carry="building",
    noise=[
        *inside(12.0, 7.0),
        *(
            ("IfcWall", "", "Kylrumspanel", block(3.0 + 1.2 * i, 4.2 + 1.2 * i, 0.0, 3.0, -2.1, -2.0, axis=Z))
            for i in range(3)
        ),
        *(
            ("IfcWall", "", "Kylrumspanel", block(3.0, 3.1, 0.0, 3.0, -3.3 - 1.2 * i, -2.1 - 1.2 * i, axis=Z))
            for i in range(2)
        ),
    ],
)

BARE = Recipe(
    "bare",
    {
        "panel": Style("IfcWall", "Exterior panel", material=("Sandwich panel",), body="mirrored"),
        "column": Style("IfcColumn", "Column", body="prism"),
        "plinth": Style("IfcWall", "Precast wall", material=("Concrete",)),
        "column_seal": Style("IfcBuildingElementPart", "Sealing strip"),
    },
    plan(8.0, 5.0),
    ((4.0, 4.0), (5.0,), (4.0, 4.0), (5.0,)),
    rail="none",
    plinth_seal=(0.005, 0.045, 0.0),
    turn=5.0,
)

RECIPES: dict[str, Recipe] = {
    r.name: r for r in (GERMAN, MARKS, DANISH, FRENCH, POLISH, SPANISH, CZECH, ENGLISH, FEDERATED, SWEDISH, BARE)
}


def _german(h: Hall) -> None:
    h.short_panel(0, 0, 0, 8.0)
    h.drop_plinth(2, 1, 14.0)
    h.push_rail(2, 0, 5.0)
    h.stretch("column_seal.2.0.0.0", "z+", -60.0)
    h.expect("column-seal", "panel.2.1.0", "panel.2.1.1", value=60.0)
    h.stretch("plinth_seal.0.0", "u+", -5.0)
    h.expect("plinth-seal", "panel.0.0.0", value=5.0)
    h.stretch("frame_seal.0.left", "z-", -6.0)
    h.expect("opening-seal", "window.0", value=6.0)
    h.stretch("cover.0.0.1", "z-", -30.0)
    h.expect("flashing-lap", "cover.0.0.0", "cover.0.0.1", value=70.0)
    h.remove("foam.2.1.0")
    for row in (0, 1):
        h.expect("seam-foam", f"panel.2.{row}.1", f"panel.2.{row}.2")


def _marks(h: Hall) -> None:
    h.short_panel(0, 2, 1, 7.0)
    h.raked_panel(0, 5, 0, 9.0)
    h.move_column(0, 8, 12.0)
    h.drop_plinth(0, 12, 8.0)
    h.push_rail(0, 3, 3.0)
    h.remove("foam.0.10.1")
    h.expect("seam-foam", "panel.0.1.10", "panel.0.1.11", value=1000.0)
    h.shift("column_seal.0.1.0.0", d=140.0)
    h.expect("column-seal", "panel.0.0.1", "panel.0.0.2", value=1000.0)
    h.stretch("plinth_seal.0.4", "u+", 6.0)
    h.expect("plinth-seal", "panel.0.0.4", value=-6.0)
    h.stretch("flashing.0.7", "u+", -45.0)
    h.expect("flashing-lap", "flashing.0.7", "flashing.0.8", value=55.0)


def _danish(h: Hall) -> None:
    h.raked_panel(0, 0, 0, 9.0)
    h.move_column(5, 0, -11.0)
    h.drop_plinth(0, 1, 12.0)
    h.stretch("column_seal.5.0.0.0", "z-", -25.0)
    h.expect("column-seal", "panel.5.0.0", "panel.5.0.1", value=25.0)
    h.stretch("plinth_seal.5.0", "u+", -4.0)
    h.expect("plinth-seal", "panel.5.0.0", value=4.0)
    h.remove("frame_seal.0.sill")
    h.expect("opening-seal", "window.0")
    h.stretch("flashing.0.0", "u+", -20.0)
    h.expect("flashing-lap", "flashing.0.0", "flashing.0.1", value=80.0)


def _french(h: Hall) -> None:
    h.short_panel(1, 0, 1, 6.0)
    h.move_column(2, 0, 7.0)
    h.drop_plinth(3, 0, 11.0)
    h.push_rail(4, 1, -4.0)
    h.remove("column_seal.0.0.1.0")
    for row in (0, 1):
        h.expect("column-seal", f"panel.0.{row}.0", f"panel.0.{row}.1")
    h.shift("plinth_seal.5.1", d=100.0)
    for bay in (0, 1):
        h.expect("plinth-seal", f"panel.5.0.{bay}")
    h.shift("plinth_seal.2.0", u=3.0)
    h.expect("plinth-seal", "panel.2.0.0", value=-3.0)


def _polish(h: Hall) -> None:
    h.short_panel(0, 0, 1, -7.0)
    h.drop_plinth(2, 0, 9.0)
    h.push_rail(0, 0, 4.0)
    h.stretch("column_seal.0.0.1.1", "z+", -500.0)
    h.expect("column-seal", "panel.0.1.0", "panel.0.1.1", value=500.0)
    h.stretch("foam.2.0.0", "z-", -30.0)
    h.expect("seam-foam", "panel.2.0.0", "panel.2.0.1", value=30.0)
    h.shift("flashing.0.1", u=15.0)
    h.expect("flashing-lap", "flashing.0.0", "flashing.0.1", value=85.0)


def _spanish(h: Hall) -> None:
    h.raked_panel(1, 0, 2, 8.0)
    h.short_panel(2, 0, 0, 10.0)
    h.drop_plinth(2, 1, 15.0)
    h.stretch("plinth_seal.2.0", "u+", -30.0)
    h.expect("plinth-seal", "panel.2.0.0", value=30.0)
    h.stretch("foam.3.0.0", "z+", -400.0)
    h.expect("seam-foam", "panel.3.2.0", "panel.3.2.1")
    h.stretch("frame_seal.0.right", "z+", -5.0)
    h.expect("opening-seal", "gate.0", value=5.0)


def _czech(h: Hall) -> None:
    h.short_panel(0, 0, 0, 5.5)
    h.move_column(1, 0, 9.0)
    h.drop_plinth(2, 0, 10.5)
    h.push_rail(3, 0, 2.0)
    h.stretch("column_seal.0.0.0.0", "z-", -50.0)
    h.expect("column-seal", "panel.0.0.0", "panel.0.0.1", value=50.0)
    h.stretch("plinth_seal.3.0", "u+", -3.0)
    h.expect("plinth-seal", "panel.3.0.0", value=3.0)
    h.stretch("cover.2.0.0", "z+", -40.0)
    h.expect("flashing-lap", "cover.2.0.0", "cover.2.0.1", value=60.0)
    h.stretch("cover.3.0.1", "u-", -20.0)
    for row in (0, 1):
        h.expect("seam-flashing", "cover.3.0.1", f"panel.3.{row}.0", f"panel.3.{row}.1", value=45.0)


def _english(h: Hall) -> None:
    h.raked_panel(2, 0, 1, -7.0)
    h.move_column(0, 0, 6.0)
    h.drop_plinth(2, 2, 7.5)
    h.stretch("rail.2.1", "u-", -4.0)
    h.expect("base-rail-offset", "rail.2.1", "column.2.0", value=12.0)
    h.stretch("column_seal.2.1.0.0", "z+", -15.0)
    h.expect("column-seal", "panel.2.1.1", "panel.2.1.2", value=15.0)
    h.remove("foam.2.0.0")
    for row in (0, 1):
        h.expect("seam-foam", f"panel.2.{row}.0", f"panel.2.{row}.1")


def _federated(h: Hall) -> None:
    h.short_panel(0, 0, 1, 6.0)
    h.drop_plinth(2, 1, 20.0)
    h.push_rail(2, 1, 3.0)
    h.move_column(0, 0, 0.0)
    h.shift("column_seal.2.0.1.0", d=140.0)
    for row in (0, 1):
        h.expect("column-seal", f"panel.2.{row}.0", f"panel.2.{row}.1")


def _swedish(h: Hall) -> None:
    h.short_panel(2, 0, 1, -9.0)
    h.raked_panel(3, 0, 0, 6.0)
    h.drop_plinth(3, 0, 12.0)
    h.push_rail(2, 0, -3.0)
    h.stretch("foam.2.0.0", "z+", -70.0)
    h.expect("seam-foam", "panel.2.1.0", "panel.2.1.1", value=70.0)
    h.remove("frame_seal.0.head")
    h.expect("opening-seal", "gate.0")
    h.remove("column_seal.1.0.1.0")
    for row in (0, 1):
        h.expect("column-seal", f"panel.1.{row}.0", f"panel.1.{row}.1")
    h.stretch("plinth_seal.2.0", "u+", -8.0)
    h.expect("plinth-seal", "panel.2.0.0", value=8.0)


def _bare(h: Hall) -> None:
    h.short_panel(0, 0, 0, 15.0)
    h.drop_plinth(2, 1, 11.0)
    h.remove("column_seal.2.0.0.0")
    for row in (0, 1):
        h.expect("column-seal", f"panel.2.{row}.0", f"panel.2.{row}.1")


def second(kind: str, z: float = 0.0, d: float = 0.0) -> Callable[[Hall], None]:
    """The strips of a kind twice, the second one elsewhere (mm)."""

    def change(h: Hall) -> None:
        for part in h.of(kind):
            h.add(replace(part, key=f"second.{part.key}", bodies=[replace(body) for body in part.bodies]))
            h.shift(f"second.{part.key}", z=z, d=d)

    return change


def _halved(kind: str, at: float) -> Callable[[Hall], None]:
    """Upright strips cut into an inner and an outer one."""

    def change(h: Hall) -> None:
        for part in h.of(kind):
            (body,) = part.bodies
            outer = replace(body, ring=[(max(d, at), u) for d, u in body.ring])
            body.ring = [(min(d, at), u) for d, u in body.ring]
            h.add(replace(part, key=f"second.{part.key}", bodies=[outer]))

    return change


def _lapping(h: Hall) -> None:
    """The frame of a window is larger than its opening and lies on the panel."""
    for part in h.of("window"):
        low, high = part.bodies[0].box()
        part.bodies = [block(low[U] - 0.06, high[U] + 0.06, low[Z] - 0.06, high[Z] + 0.06, 0.12, 0.16, axis=2)]
    for part in h.of("frame_seal"):
        part.bodies[0].low, part.bodies[0].high = 0.105, 0.12


def _in_two_planes(h: Hall) -> None:
    """Every second flashing lies upon its neighbours."""
    for part in [*h.of("flashing"), *h.of("cover")]:
        h.shift(part.key, d=1.5 * (int(part.key[-1]) % 2))


VARIANTS: dict[str, tuple[Recipe, Callable[[Hall], None]]] = {
    "strips on the rail as well": (GERMAN, second("plinth_seal", z=90.0)),
    "strips at both edges of the plinth": (GERMAN, second("plinth_seal", d=70.0)),
    "strips on columns and on panels": (GERMAN, _halved("column_seal", -0.004)),
    "foam in two layers": (GERMAN, _halved("foam", 0.06)),
    "windows without openings": (
        replace(GERMAN, styles={kind: style for kind, style in GERMAN.styles.items() if kind != "hole"}),
        lambda h: None,
    ),
    "frames lapping onto panels": (GERMAN, _lapping),
    "flashings in two planes": (GERMAN, _in_two_planes),
    "columns in two models": (
        replace(GERMAN, files=({}, {"schema": "IFC2X3", "unit": "m"}), spread={"twin": 1},
                styles={**GERMAN.styles, "twin": GERMAN.styles["column"]}),
        lambda h: [h.add(replace(p, key=f"twin.{p.key}", kind="twin")) for p in h.of("column")] and None,
    ),
    "panels up to the gable": (replace(GERMAN, tops={1: ((0.0, 0.0), (6.0, 0.5))}), lambda h: None),
}  # fmt: skip
"""Clean halls of other makes: a recipe, and what its modeller does differently."""


WRONGS: dict[str, Callable[[Hall], None]] = {
    "waende": _german,
    "marks": _marks,
    "beklaedning": _danish,
    "panneaux": _french,
    "zestawy": _polish,
    "muros": _spanish,
    "pruty": _czech,
    "frontage": _english,
    "trades": _federated,
    "kylhus": _swedish,
    "bare": _bare,
}


def hall(name: str, wrong: bool) -> Hall:
    """A hall as its modeller meant it, or with what was made wrong."""
    made = Hall(RECIPES[name])
    if wrong:
        WRONGS[name](made)
    return made
