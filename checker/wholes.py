"""Wholes and their parts: walls of layers, panels that are assemblies, walls in pieces. One of them has the role.

Names stand at the whole and bodies at its parts, or the other way round; what a viewer shows are the parts
(`Element.shown`). The whole has the role where its parts are its layers or pieces that touch; its parts have it where
each is named so or seams lie between them.
"""

from collections import Counter
from collections.abc import Collection, Sequence
from typing import Final

import numpy as np

from checker.evidence import AT, LAYERS, Evidence
from checker.geometry import gathered
from checker.model import Element, Ints, Meshes, Role
from checker.shapes import Neighbours, Plan, Shapes

_WHOLES: Final = frozenset({"panel", "plinth", "column", "roof"})
"""Roles of which the parts have none."""
_JOINED: Final = 0.002
"""Pieces nearer to each other than this are one wall; beyond it there is a seam between them."""


class Wholes:
    """Which of some elements are parts of which. ``parts`` are for each the numbers of those it is made of."""

    def __init__(self, elements: Sequence[Element], evidence: Sequence[Evidence], shapes: Shapes, plan: Plan) -> None:
        self.elements, self.evidence, self.shapes, self.plan = elements, evidence, shapes, plan
        times = Counter((element.source, element.guid) for element in elements)
        number = {(element.source, element.guid): i for i, element in enumerate(elements)}
        self.parts: list[list[int]] = [
            [
                number[element.source, guid]
                for guid in element.shown
                if guid != element.guid and times.get((element.source, guid)) == 1
            ]
            for element in elements
        ]

    def settled(self, roles: list[Role], queried: Collection[int]) -> tuple[Role, ...]:
        """The roles where each thing has one: layers of an element with a role have none but that of a seal.

        What the project's own queries name (``queried``) stays as it is.
        """
        s = self.shapes
        parts = [list(found) for found in self.parts]
        known = {p for found in parts for p in found}
        for p, i in self._inside(roles):
            if p not in known:
                parts[i].append(p)
        for i, element in enumerate(self.elements):
            if not parts[i] or roles[i].role not in _WHOLES:
                continue
            # Parts as thick as the whole stand side by side in it; thinner ones are its layers.
            thick = [p for p in parts[i] if s.measured[p] and s.size[p, 2] >= 0.9 * s.size[i, 2]]
            alike = [p for p in thick if roles[p].role == roles[i].role]
            cover = [p for p in parts[i] if bool((s.size[p, :2] >= 0.8 * s.size[i, :2]).all())]
            if i not in queried and self._are_the_thing(i, AT[roles[i].role], alike, cover):
                said = f"{len(alike)} parts of it are each a" if len(alike) > 1 else "a part of it is the"
                roles[i] = Role("", roles[i].confidence, f"{element.ifc_class}, {said} {roles[i].role}")
                continue
            for p in parts[i]:
                if p not in queried and (p in cover or roles[p].role not in LAYERS):
                    told = f"part of {roles[i].role} {_shown(element.guid)}".rstrip()
                    roles[p] = Role("", roles[i].confidence, told, element.guid)
        return tuple(roles)

    def _are_the_thing(self, whole: int, at: int, alike: list[int], cover: list[int]) -> bool:
        """Whether parts that are ``alike`` to a whole in role and thickness are what is meant, and not the whole.

        Several are where each is named so by itself or a seam parts them, one of an assembly unless it is one of the
        layers that ``cover`` the whole.
        """
        if len(alike) < 2:
            return bool(alike) and len(cover) < 2 and self.elements[whole].ifc_class == "IfcElementAssembly"
        named = all(self.evidence[p].said.get(at, ("assembly",))[0] != "assembly" for p in alike)
        return named or self._seamed(np.array(alike))

    def _seamed(self, pieces: Ints) -> bool:
        """Whether there is a gap as wide as a seam between some pieces of one plane."""
        s = self.shapes
        i, j = (pair.ravel() for pair in np.meshgrid(pieces, pieces))
        beside = Neighbours(s, i, j).along
        above = np.maximum(s.low[i], s.low[j]) - np.minimum(s.high[i], s.high[j])
        gap = np.where(above < 0, beside, np.where(beside < 0, above, 0.0))
        return bool(((gap > _JOINED) & (gap <= 0.15)).any())

    def _inside(self, roles: Sequence[Role]) -> list[tuple[int, int]]:
        """Parts with the element they lie in, or whose face they cover, where words say that they belong together."""
        s = self.shapes
        kinds = ("IfcBuildingElementPart", "IfcPlate", "IfcPlateStandardCase")
        part = np.array([bool(e.parents) and e.ifc_class in kinds for e in self.elements], bool)
        whole = np.array([role.role in _WHOLES for role in roles], bool)
        i, j = self.plan.pairs(np.flatnonzero(part), np.flatnonzero(whole), 0.02)
        near = Neighbours(s, i, j)
        inside = (near.along <= 0.01 - 2 * s.half[i, 0]) & (near.across <= 0.01 - 2 * s.half[i, 1])
        covers = (near.across <= 0.01) & (near.along <= -1.6 * s.half[j, 0])
        covers &= (s.size[i, :2] >= 0.8 * s.size[j, :2]).all(axis=1)
        within = (s.low[i] >= s.low[j] - 0.01) & (s.high[i] <= s.high[j] + 0.01)
        found = near.parallel & within & (inside | covers) & (s.size[i, 2] < s.size[j, 2] - 1e-4)
        pairs = zip(i[found].tolist(), j[found].tolist(), strict=True)
        return [(p, w) for p, w in pairs if _related(self.elements[p], self.elements[w])]


def bodies_without_seals(elements: Sequence[Element], roles: Sequence[Role], meshes: Meshes) -> Meshes:
    """The meshes, those of elements that consist of their parts without the sealing layers among these.

    A strip that is drawn as a part of a panel must not make the panel longer.
    """
    number = {(element.source, element.guid): i for i, element in enumerate(elements)}
    filled = np.diff(meshes.point_start) > 0
    made_of = [[i] for i in range(len(elements))]
    for i, element in enumerate(elements):
        parts = [number.get((element.source, guid), i) for guid in element.shown]
        if roles[i].role not in _WHOLES or i in parts or not filled[parts].all():
            continue
        kept = [p for p in parts if roles[p].role not in LAYERS]
        if kept and len(kept) < len(parts):
            made_of[i] = kept
    return gathered(meshes, made_of)


def _related(part: Element, whole: Element) -> bool:
    """Whether a part may belong to an element: that is its parent, or both have the same parents."""
    named = whole.name != "" and whole.name in part.parents
    return part.source == whole.source and (named or part.parents == whole.parents)


def _shown(guid: str) -> str:
    """A GlobalId as a person may see it; one that is none stays out of sight."""
    return guid if len(guid) <= 22 and guid.replace("_", "").replace("$", "").isalnum() else ""
