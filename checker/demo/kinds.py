"""What the parts of the sample hall are called and how they are classed."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Trade = Literal["structure", "facade", "precast"]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of part: the trade that models it, the letter of its marks, its class and predefined type.

    ``english`` and ``german`` hold name, type name, object type and material. ``newer`` is the predefined type that
    IFC4X3 has for it, ``german_class`` how German models of the sample class it.
    """

    trade: Trade
    mark: str
    ifc: str
    english: str
    german: str
    newer: str = ""
    german_ifc: str = ""

    def words(self, german: bool) -> list[str]:
        """Name, type name, object type, material; blank where there is none."""
        return (self.german if german else self.english).split("|")

    def classed(self, german: bool, new: bool) -> tuple[str, str]:
        """Class and predefined type."""
        ifc_class, use = ((german and self.german_ifc) or self.ifc).split(".")
        return ifc_class, (new and self.newer) or use


_ACCESSORY = "IfcDiscreteAccessory.USERDEFINED"
_EPDM = "EPDM cellular rubber", "EPDM Zellkautschuk"
_SHEET = "Coated steel sheet", "Stahlblech beschichtet"


def _sealing(mark: str, english: str, german: str, material: tuple[str, str], newer: str = "FILLER") -> Kind:
    return Kind("facade", mark, _ACCESSORY, f"{english}|{material[0]}", f"{german}|{material[1]}", newer)


def _steel(mark: str, ifc: str, english: str, german: str) -> Kind:
    return Kind("structure", mark, ifc, f"{english}|Steel S355", f"{german}|Stahl S355")


KINDS: Final[Mapping[str, Kind]] = {
    "panel": Kind(
        "facade",
        "K",
        "IfcPlate.CURTAIN_PANEL",
        "Sandwich panel|Sandwich panel 120|Wall panel|Sandwich panel, steel faces, PIR core",
        "Sandwichpaneel|Sandwichpaneel 120|Wandpaneel|Sandwichelement Stahl/PIR",
        german_ifc="IfcWall.ELEMENTEDWALL",
    ),
    "plinth": Kind(
        "precast",
        "Q",
        "IfcFooting.FOOTING_BEAM",
        "Precast plinth|Precast plinth 110x900|Plinth|Concrete C35/45",
        "Betonsockel|Fertigteilsockel 110x900|Sockel|Beton C35/45",
        german_ifc="IfcWall.SOLIDWALL",
    ),
    "slab": Kind(
        "precast",
        "N",
        "IfcSlab.BASESLAB",
        "Ground slab|Ground slab 200|Slab|Concrete C30/37",
        "Bodenplatte|Bodenplatte 200|Platte|Beton C30/37",
    ),
    "column": _steel(
        "C", "IfcColumn.COLUMN", "Column|Wide flange 190x200|Column", "Stütze|Breitflansch 190x200|Stütze"
    ),
    "inner-column": _steel(
        "C", "IfcColumn.COLUMN", "Inner column|Wide flange 190x200|Column", "Innenstütze|Breitflansch 190x200|Stütze"
    ),
    "base-rail": _steel(
        "R", "IfcMember.PURLIN", "Base rail|Box 100x60|Base rail", "Sockelriegel|Rohr 100x60|Sockelriegel"
    ),
    "beam": _steel("G", "IfcBeam.BEAM", "Roof beam|I section 300x150|Beam", "Dachträger|I-Profil 300x150|Träger"),
    "bracing": _steel("V", "IfcMember.BRACE", "Bracing|Flat bar 60x10|Bracing", "Verband|Flachstahl 60x10|Verband"),
    "bolt": _steel("M", "IfcMechanicalFastener.BOLT", "Bolt|Bolt M16|Bolt", "Schraube|Schraube M16|Schraube"),
    "roof": _steel("D", "IfcSlab.ROOF", "Roof deck|Roof deck 80|Roof", "Dachscheibe|Dachscheibe 80|Dach"),
    "plinth-seal": _sealing(
        "S", "Plinth seal strip|Seal strip 40x10|Seal strip", "Dichtband Sockel|Dichtband 40x10|Dichtband", _EPDM
    ),
    "column-seal": _sealing(
        "S", "Column seal strip|Seal strip 40x8|Seal strip", "Dichtband Stütze|Dichtband 40x8|Dichtband", _EPDM
    ),
    "opening-seal": _sealing(
        "S", "Opening seal strip|Seal strip 40x10|Seal strip", "Dichtband Öffnung|Dichtband 40x10|Dichtband", _EPDM
    ),
    "foam": _sealing(
        "F",
        "Seam foam|Foam strip 30x50|Foam strip",
        "Fugenschaum|Schaumstreifen 30x50|Schaumstreifen",
        ("Polyurethane foam", "PU-Schaum"),
    ),
    "seam-flashing": _sealing(
        "B", "Seam flashing|Flashing 160x1|Flashing", "Fugenblech|Kantteil 160x1|Kantteil", _SHEET, "FLASHING"
    ),
    "corner-flashing": _sealing(
        "B", "Corner flashing|Flashing 100x100x1|Flashing", "Eckblech|Kantteil 100x100x1|Kantteil", _SHEET, "FLASHING"
    ),
    "plinth-flashing": _sealing(
        "B", "Plinth flashing|Flashing 110x1|Flashing", "Sockelblech|Kantteil 110x1|Kantteil", _SHEET, "FLASHING"
    ),
    "window": Kind(
        "facade",
        "W",
        "IfcWindow.WINDOW",
        "Window|Fixed window|Window|Aluminium and glass",
        "Fenster|Festverglasung|Fenster|Aluminium und Glas",
    ),
    "door": Kind(
        "facade",
        "T",
        "IfcDoor.GATE",
        "Lifting door|Lifting door 4000x4000|Lifting door|Insulated steel leaf",
        "Hubtor|Hubtor 4000x4000|Hubtor|Stahl gedämmt",
    ),
    "opening": Kind("facade", "O", "IfcOpeningElement.OPENING", "Opening|||", "Öffnung|||"),
}
"""By kind of part. Materials and marks of one kind may be another's too, as in real models."""
