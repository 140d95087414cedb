"""Which element is what: class, words, shape and place weighed against each other.

Evidence of each kind is a number from 0 to 1 per role. Kinds add up as independent witnesses do (`1 - (1 - a)(1 - b)`),
then the shape decides: what a body cannot be is scaled down, whatever its name says. The best role wins; where another
comes near, confidence stays below one half and the reason names it. `""` (none of the roles) is weighed like a role.

1. Words and class (`checker.evidence`, `checker.words`).
2. Shape (`checker.shapes`): flat and upright for panels, slender and upright for columns, long and level for rails ...
3. Place: flat parts at the outside of the building (`checker.outdoors`), before columns or in a row of their kind are
   panels, what stands behind panel ends is a column, what stands lowest below panels of another kind is a plinth, steel
   along the foot of the panels is a base rail, a nameless strip is what its place makes it.

Place also takes back what words promise: small things that stand alone, linings of inner walls and posts among larger
columns have no role, and panels that stand inside have it with a doubt.
"""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from checker.evidence import AT, CERTAIN, COVERS, ENUMERATED, NONE, Evidence, Evidences, family
from checker.geometry import boxes
from checker.model import ROLES, Bools, Element, Floats, Ints, Meshes, Role
from checker.outdoors import boards, covers, outdoors
from checker.shapes import Neighbours, Plan, Shapes, allowed_roles, figures, shapes_of
from checker.wholes import Wholes

CANDIDATE: Final = 0.1
"""Words and class that support a role this much make a body worth reading."""
NEAR: Final = 0.8
"""A second role with this share of the best one's support makes the role doubtful."""
DOUBTFUL: Final = 0.49
"""Highest confidence of a doubtful role."""
UNMEASURED: Final = 0.8
"""Confidence is scaled by this where the body could not be measured."""

_WIDEST_PANEL: Final = 1.6
"""Sandwich panels are not wider than this; a nameless wall that is may be one all the same."""
_WIDEST_BAR: Final = 0.16
"""A bar on the plinth below the panels that is no wider than this is a base rail, whatever it is made of."""
_MOST_PIECES: Final = 12
"""Pieces of one column that are followed from each."""
_FOLDED_SHEET: Final = 0.0025
"""Nothing stands that is of thinner metal: it is a flashing."""
_THIN_PIECE: Final = 0.0599
"""A piece of a column is no plate."""
_TALL: Final = 1.2
"""What rises less than this with all that stands on it is an upstand and no facade..."""
_SURELY_TALL: Final = 2.0
"""... unless it is this tall, not even where columns are..."""
_SHARE_OF_COLUMN: Final = 0.35
"""... so many times taller."""
_ALIKE: Final = 0.015
"""Boards whose thickness differs by more are of different kinds."""
_WEAK: Final = 0.7
"""Words that support a role less than this leave room for a place that does."""
_LARGE: Final = 0.5
"""What is not this wide is no part of a facade by its place alone."""
_DEEP_BAR: Final = 0.6
"""A beam or member that is no wider than this is none of the facade's boards, wherever it lies."""
_BEHIND: Final = 0.5
"""A column stands no further behind the panels that it carries, and no further beside their ends."""
_SMALL: Final = 0.75
"""A panel with less face than this (square metres) has neighbours."""
_SQUAT: Final = 2.5
"""So has one with less face than this that is less than `_FLAT` times as wide as thick: it may be a cabinet."""
_FLAT: Final = 4.0
_LINING: Final = 0.05
"""A board that lies this near to an inner wall is its lining."""
_THIN_INSIDE: Final = 0.05
"""Panels inside that are thinner than this line a wall; partitions of panels are thicker."""
_NARROW_POST: Final = 0.15
"""What fills the gap between two boards in their own plane and is no wider than this is a mullion."""
_SLIGHT: Final = 0.4
"""A post is less wide than this share of the columns around..."""
_SHORT: Final = 0.6
"""... and less tall than this share of them."""


def worth_reading(elements: Sequence[Element], queried: Mapping[int, str]) -> Bools:
    """Which elements (n,) could play a role, judged by words and class alone."""
    known = Evidences()
    result = np.zeros(len(elements), bool)
    for i, element in enumerate(elements):
        evidence = known.of(element)
        support = 1 - (1 - evidence.words) * (1 - evidence.by_class)
        result[i] = evidence.filler or support[:NONE].max() >= max(CANDIDATE, 0.75 * support[NONE])
        result[i] |= (family(element.ifc_class), element.predefined) in COVERS
    result[[i for i, role in queried.items() if role]] = True
    return result


def assign(
    elements: Sequence[Element], meshes: Meshes, faults: Sequence[str], queried: Mapping[int, str]
) -> tuple[Role, ...]:
    """The role of each element, with confidence and reason.

    ``queried`` maps elements to the role that the project's own queries give them (``""`` for none): that always holds.
    """
    known = Evidences()
    evidence = [known.of(element) for element in elements]
    shapes = shapes_of(boxes(meshes), np.array([fault == "" for fault in faults], bool))
    weigh = _Weighing(elements, evidence, shapes, queried)
    weigh.sides(meshes)
    weigh.uprights()
    weigh.stacks()
    weigh.skin()
    weigh.lies()
    weigh.bearers()
    weigh.feet()
    weigh.rails()
    weigh.fillers()
    return weigh.roles(faults)


class _Weighing:
    """Scores (n, `NONE` + 1) of all elements while evidence comes in.

    ``words``, ``by_class``, ``place`` and ``allowed`` are what words, class and place support and the shape allows.
    """

    def __init__(
        self, elements: Sequence[Element], evidence: Sequence[Evidence], shapes: Shapes, queried: Mapping[int, str]
    ) -> None:
        self.elements, self.evidence, self.shapes, self.queried = elements, evidence, shapes, queried
        # Elements with the same words share their evidence: each kind is looked at once.
        self._kinds = list(dict.fromkeys(evidence))
        number = {kind: i for i, kind in enumerate(self._kinds)}
        self._kind: Ints = np.array([number[e] for e in evidence], np.int64)
        self.words: Floats = np.array([k.words for k in self._kinds]).reshape(-1, NONE + 1)[self._kind]
        self.by_class: Floats = np.array([k.by_class for k in self._kinds]).reshape(-1, NONE + 1)[self._kind]
        self.place: Floats = np.zeros((len(elements), NONE + 1))
        self.nameless: Bools = np.array([k.nameless for k in self._kinds], bool)[self._kind]
        self.family = np.array([family(e.ifc_class) for e in elements], dtype=np.str_)
        self.notes: dict[tuple[int, int], str] = {}
        self.doubts: dict[tuple[int, int], str] = {}
        self.plan = Plan(shapes)
        self.wholes = Wholes(elements, evidence, shapes, self.plan)
        self.outer: Bools = np.zeros(len(elements), bool)
        self.inner: Bools = np.zeros(len(elements), bool)
        self.free: Bools = np.zeros(len(elements), bool)
        self.reach: Floats = np.stack([shapes.low, shapes.high], axis=1)
        lying = shapes.flat & (shapes.tilt[:, 2] >= 0.7071) & (shapes.size[:, 1] >= 0.3)
        roof, panel = AT["roof"], AT["panel"]
        self.words[lying, roof] = np.maximum(self.words[lying, roof], 0.9 * self.words[lying, panel])
        self.allowed: Floats = allowed_roles(shapes, self.has("concrete"), self.has("curtain"))
        # What fills the face of a panel or wall is its core, whatever it is of; narrower pieces are layers of seams.
        inner = np.array([k.said.get(panel, ("",))[0] == "assembly" for k in self._kinds], bool)[self._kind]
        core = (inner | self.is_a("IfcWall", "IfcSlab", "IfcRoof")) & shapes.flat & (shapes.size[:, 1] >= 0.5)
        for role in ("insulation", "foam"):
            self.words[core, AT[role]] *= 0.4

    def has(self, *senses: str) -> Bools:
        """Which elements have a word of one of these senses."""
        result: Bools = np.array([not k.senses.isdisjoint(senses) for k in self._kinds], bool)[self._kind]
        return result

    def is_a(self, *families: str) -> Bools:
        """Which elements are of one of these classes."""
        result: Bools = np.isin(self.family, families)
        return result

    def scores(self) -> Floats:
        """Support of every role, queries included."""
        score: Floats = (1 - (1 - self.words) * (1 - self.by_class) * (1 - self.place)) * self.allowed
        for i, role in self.queried.items():
            score[i] = 0.0
            score[i, AT[role]] = 1.0
        return score

    def among(self, role: str) -> Ints:
        """Elements that are most of all of this role."""
        score = self.scores()
        best = score.argmax(axis=1)
        result: Ints = np.flatnonzero((best == AT[role]) & (score.max(axis=1, initial=0.0) >= CERTAIN))
        return result

    def _fitness(self, skin: Ints) -> Floats:
        """How far the material of a flat part fits a panel.

        Masonry and concrete abound, but not in the skin of the building: ``skin`` (n,) counts what places a part there.
        """
        fit = np.ones(len(self.elements))
        fit[self.has("glass")] = 0.9
        solid = self.has("concrete", "masonry", "timber")
        places = np.where(self.has("masonry"), np.minimum(skin, 1), skin)
        fit[solid] = np.where(self.nameless[solid], np.array([0.5, 0.75, 0.9])[places[solid]], 0.8)
        fit[self.nameless & self.has("interior")] = 0.3
        return fit

    def support(self, which: Ints, role: str, value: float, note: str) -> None:
        """Says what its place tells of some elements, where nothing said more."""
        at = AT[role]
        self.place[which, at] = np.maximum(self.place[which, at], value)
        for i in which.tolist():
            self.notes[i, at] = note

    def witness(self, which: Ints, role: str, value: float, note: str) -> None:
        """Adds what its place tells of some elements to what else was told of it."""
        at = AT[role]
        self.place[which, at] = 1 - (1 - self.place[which, at]) * (1 - value)
        for i in which.tolist():
            self.notes[i, at] = f"{self.notes[i, at]}, {note}" if (i, at) in self.notes else note

    def sides(self, meshes: Meshes) -> None:
        """Finds out which boards have one face outdoors and one indoors, and which have both faces in or out."""
        part = np.zeros(len(self.elements), bool)
        part[[p for parts in self.wholes.parts for p in parts]] = True
        # What fills an opening hides nothing that its wall does not hide.
        part |= np.array([bool(element.hosts) for element in self.elements], bool) | self.is_a("IfcOpeningElement")
        board = boards(self.shapes, ~part)
        looks = outdoors(self.shapes, meshes, board, covers(self.shapes, ~part)).sum(axis=1)
        self.outer[board[looks == 1]] = True
        self.free[board[looks == 2]] = True
        if self.outer.any():
            self.inner[board[looks == 0]] = True

    def skin(self) -> None:
        """Flat parts of which words say nothing are panels by their place, as are those of a curtain wall."""
        s, panel = self.shapes, AT["panel"]
        boardlike = self.is_a("IfcWall", "IfcPlate", "IfcCovering", "IfcBuildingElementProxy", "IfcBuiltElement")
        boardlike |= self.is_a("IfcBuildingElementPart")
        panes = self._panes(boardlike)
        boardlike |= panes
        bars = self.is_a("IfcBeam", "IfcMember") & (s.size[:, 1] >= np.maximum(_DEEP_BAR, 3 * s.size[:, 2]))
        # A core of foam is named after it, and far too large to be a strip.
        claimed = (self.words * self.allowed).max(axis=1, initial=0.0) >= CERTAIN
        free = (self.nameless | ~claimed) & (self.allowed[:, panel] >= 0.25) & (s.fill >= 0.3) & (s.size[:, 1] >= 0.3)
        row = self._rows(np.flatnonzero(free & (boardlike | bars)))
        tall = self._tall()
        large = tall & (s.size[:, 1] >= _LARGE)
        before = np.zeros(len(s.low), bool)
        board, _ = self._bearing(np.flatnonzero(free & (boardlike | bars) & large & ~self.inner), self.among("column"))
        before[board] = True
        outer = self.outer & large
        free &= boardlike | (bars & before)
        self.allowed[:, panel] *= self._fitness(outer.astype(np.int64) + before)
        # Words that promise little and nothing else are borne out by the place.
        weak = self.words[:, panel] < _WEAK
        weak &= (self.words[:, panel] >= CERTAIN) & (np.sort(self.words, axis=1)[:, -2] < CERTAIN)
        free = (free | weak) & (self.allowed[:, panel] >= 0.25)
        row &= tall
        self.support(np.flatnonzero(free & row), "panel", 0.2, "stands in a row of its kind")
        narrow = s.size[:, 1] <= _WIDEST_PANEL
        self.support(np.flatnonzero(free & row & narrow), "panel", 0.35, "stands in a row of its kind")
        curtain = free & self.is_a("IfcPlate") & self.has("curtain")
        self.support(np.flatnonzero(curtain), "panel", 0.35, "part of a curtain wall")
        for which, tell in ((narrow, self.witness), (~narrow, self.support)):
            tell(np.flatnonzero(free & outer & which), "panel", 0.35, "at the outside of the building")
        self.witness(np.flatnonzero(free & before), "panel", 0.35, "ends before columns")
        self.allowed[panes & free & before, AT["window"]] *= 0.3
        self.doubts |= {(p, panel): "drawn as a window" for p in np.flatnonzero(panes & free & before).tolist()}

    def _panes(self, boards: Bools) -> Bools:
        """Windows (n,) of which nothing is said and that no wall holds, where they outweigh all ``boards`` (n,)."""
        lone = np.array([not element.hosts for element in self.elements], bool)
        panes: Bools = self.is_a("IfcWindow") & self.nameless & lone & self.shapes.wall_like
        face = self.shapes.size[:, 0] * self.shapes.size[:, 1]
        if face[panes].sum() <= face[boards & self.shapes.wall_like & ~self.inner].sum():
            panes[:] = False
        return panes

    def _rows(self, which: Ints) -> Bools:
        """Those (n,) of some flat parts that stand in a row of their kind; joins those that stand on each other."""
        s = self.shapes
        i, j = self.plan.pairs(which, which, 0.15)
        near = Neighbours(s, i, j)
        level = np.maximum(s.low[i], s.low[j]) <= np.minimum(s.high[i], s.high[j]) + 0.15
        plane = near.parallel & level & (near.offset <= 0.03) & (i != j)
        plane &= self.family[i] == self.family[j]
        unlike = np.abs(s.size[i, 2] - s.size[j, 2])
        stacked = plane & (unlike <= _ALIKE) & (near.along < -0.1)
        self._join(i[stacked], j[stacked])
        result = np.zeros(len(s.low), bool)
        result[i[plane & (unlike <= 0.01) & (near.along <= 0.15)]] = True
        return result

    def _join(self, i: Ints, j: Ints) -> None:
        """Pieces that stand on each other come to know how far all of them reach, one neighbour further a round."""
        for _ in range(_MOST_PIECES):
            np.minimum.at(self.reach[:, 0], i, self.reach[j, 0])
            np.maximum.at(self.reach[:, 1], i, self.reach[j, 1])

    def _tall(self) -> Bools:
        """What rises high enough (n,), with all that stands on it, to be part of a facade."""
        rise = self.reach[:, 1] - self.reach[:, 0]
        column = self.among("column")
        usual = np.median(rise[column]) if len(column) else 0.0
        tall: Bools = (rise >= _SURELY_TALL) | ((rise >= _TALL) & (rise >= _SHARE_OF_COLUMN * usual))
        return tall

    def _bearing(self, boards: Ints, uprights: Ints) -> tuple[Ints, Ints]:
        """Pairs of a board and an upright that stands behind its end.

        Boards with uprights on both of their sides have none: they stand between them.
        """
        s = self.shapes
        i, j = self.plan.pairs(boards, uprights, _BEHIND)
        near = Neighbours(s, i, j)
        step = s.centre[j, :2] - s.centre[i, :2]
        end = np.abs(np.abs(np.einsum("pd,pd->p", step, s.along[i])) - s.half[i, 0])
        shared = np.minimum(s.high[i], s.high[j]) - np.maximum(s.low[i], s.low[j])
        # Ribs and corbels reach into each other's boxes: no further than these are empty.
        empty = 2 * ((1 - s.fill) * s.half.min(axis=1))
        behind = (near.across >= -0.03 - empty[i] - empty[j]) & (near.across <= _BEHIND)
        behind &= (end <= _BEHIND) & (shared >= 0.3)
        i, j, step = i[behind], j[behind], step[behind]
        side = np.einsum("pd,pd->p", step, s.across[i]) > 0
        sides = np.zeros((len(s.low), 2), bool)
        sides[i, side.astype(np.int64)] = True
        once = ~sides[i].all(axis=1)
        return i[once], j[once]

    def lies(self) -> None:
        """Takes back what words promise of panels, and the class of windows, that are none by their place."""
        s, at = self.shapes, AT["panel"]
        glazed = self.is_a("IfcWindow", "IfcDoor") & (self.words[:, at] >= _WEAK) & (self.allowed[:, at] >= 0.5)
        glazed &= np.array([not element.hosts for element in self.elements], bool)
        posing = self._rows(np.flatnonzero(glazed))
        for role in ("window", "door"):
            self.allowed[posing, AT[role]] *= 0.7

        panel = np.setdiff1d(self.among("panel"), [*self.queried])
        face = s.size[:, 0] * s.size[:, 1]
        little = (face < _SMALL) | ((face < _SQUAT) & (s.size[:, 1] < _FLAT * s.size[:, 2]))
        free = self.free & (self.free[panel].sum() < self.outer[panel].sum())
        alone = panel[(little | free)[panel]]
        i, j = self.plan.pairs(alone, self.among("panel"), 0.15)
        near = Neighbours(s, i, j)
        level = np.maximum(s.low[i], s.low[j]) <= np.minimum(s.high[i], s.high[j]) + 0.15
        beside = near.parallel & level & (near.offset <= s.half[i, 1] + s.half[j, 1]) & (i != j)
        alone = np.setdiff1d(alone, i[beside])
        self.allowed[alone[little[alone]], at] *= 0.3

        inner = panel[self.inner[panel]]
        i, j = self.plan.pairs(inner, np.flatnonzero(self.inner & self.is_a("IfcWall")), _LINING)
        near = Neighbours(s, i, j)
        lines = near.parallel & (near.across >= -0.01) & (near.along <= -s.half[i, 0]) & (i != j)
        lines &= (s.size[i, 2] <= 0.67 * s.size[j, 2]) & (s.low[i] >= s.low[j] - 0.1) & (s.high[i] <= s.high[j] + 0.1)
        thin = inner[(s.size[inner, 2] < _THIN_INSIDE) & ~self.has("curtain")[inner]]
        self.allowed[np.union1d(i[lines], thin), at] *= 0.3
        self.doubts |= {(p, at): "stands inside" for p in inner.tolist()}
        self.doubts |= {(p, at): "stands free" for p in alone[free[alone]].tolist()}

    def bearers(self) -> None:
        """What stands behind panel ends is a column the more, a mullion between them or a slight post the less."""
        s, column = self.shapes, AT["column"]
        panel, upright = self.among("panel"), np.setdiff1d(self.among("column"), [*self.queried])
        bearer = np.unique(self._bearing(panel, upright)[1])
        self.witness(bearer, "column", 0.35, "stands behind panel ends")
        i, j = self.plan.pairs(upright, panel, 0.05)
        near = Neighbours(s, j, i)
        half = s.half[i]
        thin = 2 * half.min(axis=1) <= _NARROW_POST
        shared = np.minimum(s.high[i], s.high[j]) - np.maximum(s.low[i], s.low[j])
        between = thin & (near.offset <= s.half[j, 1]) & (np.abs(near.along) <= 0.05) & (shared >= 0.5)
        sign = np.einsum("pd,pd->p", s.centre[i, :2] - s.centre[j, :2], s.along[j])
        ends = np.zeros((len(s.low), 2), bool)
        ends[i[between], (sign[between] > 0).astype(np.int64)] = True
        mullion = np.setdiff1d(np.flatnonzero(ends.all(axis=1)), bearer)
        self.allowed[mullion, column] *= np.where(self.is_a("IfcColumn"), 0.5, 0.3)[mullion]

        every = self.among("column")
        if not len(every):
            return
        width, rise = s.size[:, 1], self.reach[:, 1] - self.reach[:, 0]
        bulk = s.size[every].prod(axis=1)
        slight = (width < _SLIGHT * _middle(width[every], bulk)) & (rise < _SHORT * _middle(rise[every], bulk))
        post = np.setdiff1d(upright[slight[upright]], bearer)
        self.allowed[post, column] *= 0.35

    def uprights(self) -> None:
        """Nameless upright beams, members and proxies of one section that repeat are columns."""
        s = self.shapes
        kinds = self.is_a("IfcBeam", "IfcMember", "IfcBuildingElementProxy", "IfcBuiltElement")
        which = np.flatnonzero(self.nameless & kinds & (self.allowed[:, AT["column"]] == 1.0) & (s.size[:, 2] >= 0.1))
        which = which[s.gauge[which] >= _FOLDED_SHEET]
        which = which[~self.has("curtain")[which]]
        section = np.round(s.size[which, 1:] / 0.005).astype(np.int64)
        _, group, count = np.unique(section, axis=0, return_inverse=True, return_counts=True)
        self.support(which[count[group.ravel()] >= 3], "column", 0.35, "repeats")

    def stacks(self) -> None:
        """Short pieces of one section that stand on each other are columns where all together are long enough."""
        s, column = self.shapes, AT["column"]
        told = (self.words[:, column] + self.by_class[:, column] >= 0.5) & (self.words[:, NONE] < CERTAIN)
        upright = np.arange(3) == s.tilt.argmax(axis=1)[:, None]
        section = np.sort(np.where(upright, 0.0, s.size), axis=1)
        fits = (section[:, 1] >= 0.0599) & (section[:, 2] <= np.minimum(1.5, 5 * section[:, 1]))
        fits &= s.size[:, 2] >= _THIN_PIECE
        pieces = np.flatnonzero(told & fits & (s.tilt.max(axis=1) >= 0.9659))
        i, j = self.plan.pairs(pieces, pieces, 0.0)
        joins = np.maximum(s.low[i], s.low[j]) <= np.minimum(s.high[i], s.high[j]) + 0.05
        joins &= np.linalg.norm(s.centre[i, :2] - s.centre[j, :2], axis=1) <= 0.05
        joins &= np.abs(section[i] - section[j]).max(axis=1, initial=0.0) <= 0.02
        joins &= i != j
        i, j = i[joins], j[joins]
        self._join(i, j)
        rise = self.reach[:, 1] - self.reach[:, 0]
        which = np.unique(i[rise[i] >= np.maximum(2.0, 3 * section[i, 2])])
        self.support(which[self.allowed[which, column] < 1.0], "column", 0.1, "continues a column")
        self.allowed[which, column] = 1.0

    def feet(self) -> None:
        """What stands lowest, below panels and of another kind, is a plinth."""
        s, plinth = self.shapes, AT["plinth"]
        panels = self.among("panel")
        kinds = ~self.is_a(
            "IfcPlate", "IfcCovering", "IfcMember", "IfcColumn", "IfcWindow", "IfcDoor", "IfcDiscreteAccessory"
        )
        told = self.words[:, plinth] >= 0.2
        able = (self.allowed[:, plinth] >= 0.5) & (told | (self.nameless & kinds & ~self.has("interior", "steel")))
        able[list(self.queried)] = False
        able &= self.words[:, NONE] < CERTAIN
        i, j = self.plan.pairs(np.flatnonzero(able), panels, 0.35)
        near = Neighbours(s, i, j)
        stacked = near.parallel & (near.along <= -0.3 * np.minimum(1.0, 2 * np.minimum(s.half[i, 0], s.half[j, 0])))
        stacked &= (near.across <= 0.3) & (i != j)
        i, j = i[stacked], j[stacked]
        above = (s.low[j] >= s.high[i] - 0.3) & (s.low[j] <= s.high[i] + 0.5) & (s.centre[j, 2] > s.high[i])
        below = s.high[j] <= s.low[i] + 0.1
        carries, hangs = np.zeros(len(s.low), bool), np.zeros(len(s.low), bool)
        concrete = self.has("concrete")
        unlike = (np.abs(s.size[i, 2] - s.size[j, 2]) > _ALIKE) | (concrete[i] & ~concrete[j])
        for k in np.flatnonzero(above & ~unlike).tolist():
            unlike[k] = _unlike(self.elements[i[k]], self.elements[j[k]])
        carries[i[above & unlike]] = True
        hangs[i[below]] = True
        foot = carries & ~hangs
        sure = np.zeros(len(s.low))
        on = above & unlike
        np.maximum.at(sure, i[on], self.scores()[j[on], AT["panel"]])
        # A bar on such a foot is a rail.
        bar = foot & (s.size[:, 1] <= _WIDEST_BAR) & ~self.has("concrete") & ~told
        i, j = self._in_line(np.flatnonzero(bar), np.flatnonzero(foot & ~bar))
        foot[i[np.abs(s.low[i] - s.high[j]) <= 0.1]] = False
        self.place[foot, AT["panel"]] = 0.0
        self.support(np.flatnonzero(foot), "plinth", 0.5, "stands lowest, below panels of another kind")
        self.support(
            np.flatnonzero(foot & self.has("concrete")), "plinth", 0.65, "of concrete, stands lowest, below panels"
        )
        for p in np.flatnonzero(foot & (sure <= DOUBTFUL) & ~told).tolist():
            self.doubts[p, plinth] = "as doubtful as the panels above"
        self.allowed[hangs, plinth] *= 0.3

    def rails(self) -> None:
        """Level steel along the foot of the panels or on the plinth is a base rail; elsewhere it is none."""
        s, rail = self.shapes, AT["base-rail"]
        kinds = self.is_a("IfcBeam", "IfcMember", "IfcBuildingElementProxy", "IfcBuiltElement", "IfcDiscreteAccessory")
        told = self.words[:, rail] >= 0.2
        able = (
            s.level
            & (self.allowed[:, rail] >= 0.3)
            & (told | (self.nameless & kinds))
            & (self.words[:, NONE] < CERTAIN)
        )
        able[list(self.queried)] = False
        candidates, panels, plinths = np.flatnonzero(able), self.among("panel"), self.among("plinth")
        openings = np.concatenate([self.among("window"), self.among("door")])
        lowest = np.full(len(s.low), np.inf)
        i, j = self._in_line(candidates, panels)
        np.minimum.at(lowest, i, s.low[j])
        at_foot = (lowest >= s.low - 0.3) & (lowest <= s.high + 0.15)
        i, j = self._in_line(candidates, openings)
        over = np.zeros(len(s.low), bool)
        over[i[s.high[j] <= s.low[i] + 0.3]] = True
        i, j = self._in_line(candidates, plinths)
        rests = np.zeros(len(s.low), bool)
        rests[i[(s.low[i] >= s.high[j] - 0.1) & (s.low[i] <= s.high[j] + 0.2)]] = True
        placed = able & (rests | (at_foot & ~over))
        # A bare beam must look like steel; words and the type of a purlin are believed.
        told |= self.by_class[:, rail] >= 0.2
        bar = rests & (np.abs(lowest - s.high) <= 0.03) & (s.size[:, 1] <= _WIDEST_BAR)
        steel = (s.size[:, 2] >= 0.03) & (bar | self.has("steel") | ((s.fill < 0.6) & (s.gauge < 0.02)))
        self.support(np.flatnonzero(placed & (steel | told)), "base-rail", 0.5, "runs along the foot of the panels")
        if len(panels):
            low = s.low <= np.quantile(s.low[panels], 0.05) + 1.0
            self.allowed[able & ~placed, rail] *= np.where(low, 0.8, 0.2)[able & ~placed]

    def fillers(self) -> None:
        """A strip of which words say no more is what its place makes it."""
        s = self.shapes
        filler = np.array([k.filler for k in self._kinds], bool)[self._kind]
        filler &= s.measured & (self.allowed[:, AT["seal"]] == 1.0)
        filler[list(self.queried)] = False
        strips = np.flatnonzero(filler)
        panels = self.among("panel")
        i, j = self._touching(strips, panels)
        offset = s.centre[i, :2] - s.centre[j, :2]
        along = np.einsum("pd,pd->p", offset, s.along[j])
        inside = np.abs(np.einsum("pd,pd->p", offset, s.across[j])) <= s.half[j, 1]
        at_end = inside & (np.abs(along) >= s.half[j, 0] - 0.02) & (s.tilt[i, 0] >= 0.7071)
        ends, count = np.zeros((len(s.low), 2)), np.zeros(len(s.low))
        np.add.at(ends, i[at_end], np.sign(along[at_end])[:, None] * s.along[j[at_end]])
        np.add.at(count, i[at_end], 1)
        # The directions to the strip from panels at both sides cancel out.
        pull = np.linalg.norm(ends, axis=1)
        between = (count >= 2) & (pull < 0.5 * count)
        turned = np.abs(np.einsum("pd,pd->p", ends[i], s.along[j])) < 0.94 * pull[i]
        corner = np.zeros(len(s.low), bool)
        corner[i[turned]] = True
        corner &= (count >= 1) & ~between
        touches = np.zeros(len(s.low), bool)
        touches[i] = True

        plinths, columns = self.among("plinth"), self.among("column")
        openings = np.concatenate([self.among("window"), self.among("door")])
        i, j = self._touching(strips, plinths)
        rests = np.zeros(len(s.low), bool)
        rests[i[(s.tilt[i, 0] < 0.7071) & (np.abs(s.low[i] - s.high[j]) <= 0.03)]] = True
        held = np.zeros(len(s.low), bool)
        held[self._touching(strips, columns)[0]] = True
        framed = np.zeros(len(s.low), bool)
        framed[self._touching(strips, openings)[0]] = True
        self.support(np.flatnonzero(touches), "seal", 0.4, "lies at a panel")
        self.support(np.flatnonzero(held & touches), "seal", 0.55, "lies between panel and column")
        self.support(np.flatnonzero(rests), "seal", 0.55, "lies on a plinth")
        self.support(np.flatnonzero(framed), "seal", 0.55, "lies round a window or door")
        gap = np.flatnonzero(between & ~framed)
        self.place[gap, AT["seal"]] = 0.0
        self.support(gap, "foam", 0.6, "lies in the gap between two panel ends")
        self.support(np.flatnonzero(corner & ~framed), "foam", 0.6, "lies at a panel end in a corner")

    def _in_line(self, first: Ints, second: Ints) -> tuple[Ints, Ints]:
        """Pairs that run side by side over a good part of the first, in one line of the facade."""
        i, j = self.plan.pairs(first, second, 0.3)
        near = Neighbours(self.shapes, i, j)
        shorter = 2 * np.minimum(self.shapes.half[i, 0], self.shapes.half[j, 0])
        line = near.parallel & (near.along <= -np.minimum(0.3, 0.5 * shorter)) & (i != j)
        return i[line], j[line]

    def _touching(self, first: Ints, second: Ints) -> tuple[Ints, Ints]:
        """Pairs that come within 60 mm of each other."""
        s = self.shapes
        i, j = self.plan.pairs(first, second, 0.06)
        meet = (s.low[i] <= s.high[j] + 0.06) & (s.low[j] <= s.high[i] + 0.06) & (i != j)
        return i[meet], j[meet]

    def roles(self, faults: Sequence[str]) -> tuple[Role, ...]:
        """Best role of each element; parts of a panel last."""
        score = self.scores()
        rows = np.arange(len(score))
        best = np.where(score.max(axis=1, initial=0.0) >= CERTAIN, score.argmax(axis=1), NONE)
        top = score[rows, best]
        rest = score.copy()
        rest[rows, best] = 0.0
        second = rest.argmax(axis=1)
        doubtful = (rest[rows, second] >= NEAR * top) & (rest[rows, second] >= CERTAIN)
        confidence = np.where(best == NONE, np.maximum(top, 1 - score[:, :NONE].max(axis=1, initial=0.0)), top)
        unmeasured = ~self.shapes.measured
        confidence = np.where(
            unmeasured & (best != NONE) & (best != AT["opening"]), UNMEASURED * confidence, confidence
        )
        questioned = np.array([(i, at) in self.doubts for i, at in enumerate(best.tolist())], bool)
        confidence = np.where(doubtful | questioned, np.minimum(confidence, DOUBTFUL), confidence)
        sizes = figures(self.shapes)
        result = []
        for i, (at, sure) in enumerate(zip(best.tolist(), confidence.tolist(), strict=True)):
            if i in self.queried:
                result.append(Role(self.queried[i], 1.0, "project query"))
                continue
            other = int(second[i]) if doubtful[i] else -1
            role = ROLES[at] if at < NONE else ""
            sure = min(sure, 1.0 if role == "opening" else 0.99)
            result.append(Role(role, round(sure, 2), self._reason(i, at, other, sizes[i], faults[i])))
        return self.wholes.settled(result, self.queried)

    def _reason(self, i: int, at: int, other: int, figure: str, fault: str) -> str:
        element, evidence = self.elements[i], self.evidence[i]
        kind = element.ifc_class
        if ENUMERATED.fullmatch(element.predefined):
            kind += " " + element.predefined
        pieces = [kind]
        if at == NONE and NONE not in evidence.said:
            claimed = int((self.words[i, :NONE] + self.by_class[i, :NONE]).argmax())
            if max(self.words[i, claimed], self.by_class[i, claimed]) < CERTAIN:
                pieces.append("no role")
            else:
                if claimed in evidence.said:
                    field, word = evidence.said[claimed]
                    pieces.append(f"{field} says '{word}'")
                pieces.append(f"but shape or place do not fit a {ROLES[claimed]}")
        elif at in evidence.said:
            field, word = evidence.said[at]
            pieces.append(f"{field} says '{word}'")
        if figure:
            pieces.append(figure)
        if (i, at) in self.notes:
            pieces.append(self.notes[i, at])
        if (i, at) in self.doubts:
            pieces.append(self.doubts[i, at])
        if fault and not self.shapes.measured[i]:
            pieces.append("could not be measured")
        if other >= 0:
            pieces.append(f"could also be {ROLES[other]}" if other < NONE else "could also be none of the roles")
        return ", ".join(pieces)


def _middle(values: Floats, weights: Floats) -> float:
    """The weighted median of some values."""
    order = np.argsort(values, kind="stable")
    heavy = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(heavy, 0.5 * heavy[-1])])


def _unlike(one: Element, other: Element) -> bool:
    """Whether two elements are of different kinds by class, type or material."""
    kinds = {family(one.ifc_class), family(other.ifc_class)}
    types = {one.type_name or one.object_type, other.type_name or other.object_type}
    materials = {one.materials, other.materials}
    return len(kinds) > 1 or (len(types) > 1 and "" not in types) or (len(materials) > 1 and () not in materials)
