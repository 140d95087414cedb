"""The walls of a building: plane sides, the panels in them, the columns behind them, the names of their axes."""

from typing import Any, Final

import numpy as np
import shapely

from checker import geometry as g
from checker.facade import SEAM_KINDS, Columns, OfKind, Panels, Seams, Sides, fault_of, unique, with_role
from checker.geometry import Lines
from checker.model import Floats, GridAxis, Ints, Model

NOBODY: Final = np.zeros(0, np.int64)
APART: Final = 1e5
"""Sides are laid this far from each other in one index of rectangles, so that one search serves them all (metres)."""
SAME_PLANE_DEG: Final = 1.0
"""Panels whose normals differ by less stand in one side of the building."""
BESIDE: Final = 0.02
"""A column whose centre is nearer to the panels' middle plane stands in it and tells nothing of outside."""
SAME_PLANE: Final = 0.15
"""... when their middle planes are no further apart than this."""
COLUMN_REACH: Final = 0.40
"""A column belongs to a seam when its centre line is no further away."""
LYING: Final = 0.7071
"""A panel whose normal has a steeper slope than this (45 degrees) lies: it is a roof or a floor, no wall."""
BEHIND: Final = 1.0
"""How far behind the panels' middle plane a column may stand."""
ONE_PLACE: Final = 0.15
"""Bottoms of panels nearer to each other are of one row, seams nearer to each other of one line."""
BEYOND: Final = 0.30
"""A column still stands behind a seam that reaches this far beyond its ends, and a part in a side this far off it."""
AXIS_REACH: Final = 0.30
"""A place is on an axis when it is no further away."""


class Walls:
    """Sides, panels, columns and axes of a model, and what every finder of seams asks of them."""

    def __init__(self, model: Model, without: Ints = NOBODY) -> None:
        """``without`` are numbers of panels that belong to no facade."""
        self.model = model
        self.meshes = model.meshes
        self.boxes = g.boxes(model.meshes)
        panel = with_role(model, ["panel"])
        self.panel = np.setdiff1d(panel[np.abs(self.boxes.axes[panel, 2, 2]) < LYING], without)
        self._sides()
        self._panels()
        self._columns()
        self._axes()

    def axis_at(self, side: int, place: float) -> str:
        """Name of the axis at a place on a side, or of the two it lies between: ``3`` or ``3-4``."""
        places, names = self.axis_place[side], self.axis_name[side]
        if len(places) == 0:
            return ""
        nearest = int(np.abs(places - place).argmin())
        if abs(places[nearest] - place) < AXIS_REACH:
            return names[nearest]
        right = int(np.searchsorted(places, place))
        ends = [names[k] for k in (right - 1, right) if 0 <= k < len(names)]
        return "-".join(ends)

    def make(self, kind: type[OfKind], count: int, **given: Any) -> OfKind:
        """Seams of one kind from what is known of them; places, names and ids follow."""
        nothing = np.full(count, np.nan)
        values: dict[str, Any] = {
            name: nothing
            for name in Seams.__dataclass_fields__
            if name.startswith(("width", "offset", "near", "far", "inner", "outer", "back", "front"))
        }
        nowhere = np.full((count, 3), np.nan)
        values |= {name: nowhere for name in Seams.__dataclass_fields__ if name.startswith("at_offset")}
        values |= {"filled": nothing, "occupants": ((),) * count}
        values |= {"column": np.full(count, -1), "row": np.zeros(count, np.int64)} | given
        frame, start, end = values["frame"], values["start"], values["end"]
        across = np.nan_to_num(0.5 * (np.nan_to_num(values["near"]) + np.nan_to_num(values["far"])))
        out = 0.5 * (values["inner"] + values["outer"])
        values["point"] = g.world(frame, np.stack([0.5 * (start + end), across, out], axis=1))
        for place in ("at_width_min", "at_width_max"):
            along = values.get(place)
            if along is None or along.ndim == 1:
                coordinates = np.stack([0.5 * (start + end) if along is None else along, across, out], axis=1)
                values[place] = g.world(frame, coordinates)
        values["length"] = end - start
        values["parts"] = np.stack([values["left"], values["right"], values["column"]], axis=1)
        values["fault"] = tuple(fault_of(self.model, parts) for parts in values["parts"])
        side_frame = self.sides.frame[values["side"]]
        along_side = np.einsum("nj,nj->n", values["point"], side_frame[:, 0]) if count else np.zeros(0)
        values["axis"] = tuple(self.axis_at(int(s), float(u)) for s, u in zip(values["side"], along_side, strict=True))
        name = next(k for k, v in SEAM_KINDS.items() if v is kind)
        values["kind"] = tuple(values.get("kind") or (name,) * count)
        labels = values.pop("label", [str(r) if r else "" for r in values["row"]])
        values["ids"] = unique(
            [
                "/".join(filter(None, (name, self.sides.names[s], a, label)))
                for s, a, label in zip(values["side"], values["axis"], labels, strict=True)
            ]
        )
        return kind(**values)

    def outline(self, which: Ints, frames: Floats, side: int, sign: int, along: int) -> Lines:
        """Silhouettes of some elements in their frames, see `geometry.silhouettes`."""
        return g.silhouettes(self.meshes, which, frames, side, sign, along)

    def column_at(self, side: Ints, place: Floats, height: Floats) -> Ints:
        """Position in ``columns`` of the nearest one at places on sides (n,), -1 for none within reach."""
        c = self.columns
        best = np.full(len(side), -1, np.int64)
        if len(c.element) == 0 or len(side) == 0:
            return best
        middle = c.centre[:, 0] + c.centre[:, 1] * 0.5 * (c.low + c.high)
        apart = APART * c.side
        tree = shapely.STRtree(
            shapely.box(middle + apart - COLUMN_REACH, c.low - BEYOND, middle + apart + COLUMN_REACH, c.high + BEYOND)
        )
        seam, found = tree.query(shapely.points(place + APART * side, height))
        distance = np.abs(c.centre_at(found, height[seam]) - place[seam])
        order = np.lexsort((found, distance.round(6), seam))
        first = np.append(True, np.diff(seam[order]) > 0) if len(order) else np.zeros(0, bool)
        best[seam[order][first]] = found[order][first]
        return best

    def column_elements(self, column: Ints) -> Ints:
        """Element numbers of positions in ``columns``, -1 for none."""
        result = np.full(len(column), -1, np.int64)
        result[column >= 0] = self.columns.element[column[column >= 0]]
        return result

    def in_side(self, element: Ints) -> tuple[Ints, Floats, Floats]:
        """The side in whose plane each flat part lies, and its extents there; -1 for none."""
        best = np.full(len(element), -1, np.int64)
        deepest = np.zeros(len(element))
        low_best, high_best = np.zeros((len(element), 3)), np.zeros((len(element), 3))
        for side, frame in enumerate(self.sides.frame):
            mine = self.panels.side == side
            low, high = g.extents(self.meshes, element, np.broadcast_to(frame, (len(element), 3, 3)))
            flat = np.abs(self.boxes.axes[element, 2] @ frame[2]) > 0.985
            shared = np.minimum(high[:, 2], self.sides.outer[side] + BEYOND) - np.maximum(
                low[:, 2], self.sides.inner[side] - BEYOND
            )
            along = np.minimum(high[:, 0], self.panels.high[mine, 0].max()) - np.maximum(
                low[:, 0], self.panels.low[mine, 0].min()
            )
            score = np.where(flat & (along > 0), shared, 0.0)
            better = score > deepest
            best[better], deepest[better] = side, score[better]
            low_best[better], high_best[better] = low[better], high[better]
        return best, low_best, high_best

    def at_side(self, element: Ints, reach: float) -> tuple[Ints, Floats, Floats]:
        """The side each lying part runs along and its extents there; -1 where it runs along none.

        A part runs along a side when its longest direction does, and it lies within ``reach`` of the panels' faces.
        """
        best = np.full(len(element), -1, np.int64)
        distance = np.full(len(element), np.inf)
        low_best, high_best = np.zeros((len(element), 3)), np.zeros((len(element), 3))
        for side, frame in enumerate(self.sides.frame):
            mine = self.panels.side == side
            first, last = self.panels.low[mine, 0].min(), self.panels.high[mine, 0].max()
            low, high = g.extents(self.meshes, element, np.broadcast_to(frame, (len(element), 3, 3)))
            parallel = np.abs(self.boxes.axes[element, 0] @ frame[0]) > 0.985
            short = self.boxes.size[element, 0] < 1.5 * self.boxes.size[element, 1]
            square = np.abs(self.boxes.axes[element] @ frame[0]).max(axis=1) > 0.985
            shared = np.minimum(high[:, 0], last) - np.maximum(low[:, 0], first)
            middle = 0.5 * (self.sides.inner[side] + self.sides.outer[side])
            off = np.maximum(np.maximum(low[:, 2] - self.sides.outer[side], self.sides.inner[side] - high[:, 2]), 0.0)
            away = off + 1e-3 * np.abs(0.5 * (low[:, 2] + high[:, 2]) - middle)
            good = (parallel | (short & square)) & (shared > 0.0) & (off < reach) & (away < distance)
            best[good], distance[good] = side, away[good]
            low_best[good], high_best[good] = low[good], high[good]
        return best, low_best, high_best

    def _sides(self) -> None:
        """Group panels by plane, largest first, and turn each plane outwards: away from its columns."""
        normal = self.boxes.axes[self.panel, 2].copy()
        normal *= np.where(normal[:, :1] + 1e-3 * normal[:, 1:2] < 0, -1.0, 1.0)
        centre, area = self.boxes.centre[self.panel], self.boxes.area[self.panel]
        side = np.full(len(self.panel), -1, np.int64)
        planes: list[tuple[Floats, Ints]] = []
        order = np.lexsort((self.panel, -area.round(6)))
        for seed in order:
            if side[seed] >= 0:
                continue
            free = side < 0
            cosine = normal @ normal[seed]
            near = np.abs((centre - centre[seed]) @ normal[seed]) < SAME_PLANE
            members = np.flatnonzero(free & near & (np.abs(cosine) > np.cos(np.radians(SAME_PLANE_DEG))))
            side[members] = len(planes)
            folded = normal[members] * (np.sign(cosine[members]) * area[members])[:, None]
            planes.append((g.unit(folded.sum(axis=0)), members))
        hull = np.average(centre, axis=0, weights=area) if len(centre) else np.zeros(3)
        columns = self.boxes.centre[with_role(self.model, ["column"])]
        frames, inner, outer, weight, middle = [], [], [], [], []
        for out, members in planes:
            out = out * self._outward(out, members, columns, hull)
            right = g.unit(np.cross([0.0, 0.0, 1.0], out))
            frame = np.stack([right, np.cross(out, right), out])
            turned = np.broadcast_to(frame, (len(members), 3, 3))
            _, high = g.extents(self.meshes, self.panel[members], turned)
            frames.append(frame)
            inner.append(float(np.median(g.back_faces(self.meshes, self.panel[members], turned))))
            outer.append(float(np.median(high[:, 2])))
            weight.append(area[members].sum())
            middle.append(np.average(centre[members], axis=0, weights=area[members]))
        rank = self._round_the_building(np.array(middle).reshape(-1, 3), np.array(weight), hull)
        self.panel_side = rank[side] if len(rank) else side
        back = np.argsort(rank)
        frame = np.array(frames).reshape(-1, 3, 3)[back]
        self.sides = Sides(
            tuple(f"F{i + 1}" for i in range(len(back))), frame, np.array(inner)[back], np.array(outer)[back]
        )

    def _outward(self, out: Floats, members: Ints, columns: Floats, hull: Floats) -> float:
        """Sign that turns a plane's normal away from the columns at its panels, or from the middle of the building."""
        element = self.panel[members]
        centre, right = self.boxes.centre[element], g.unit(np.cross([0.0, 0.0, 1.0], out))
        half = 0.5 * np.einsum("nj,nj->n", np.abs(self.boxes.axes[element] @ right), self.boxes.size[element])
        ends = np.concatenate([centre - half[:, None] * right, centre + half[:, None] * right])
        # The column nearest to each panel end has a say: others may belong to another side or a neighbouring building.
        pairs = shapely.STRtree(shapely.points(columns[:, :2])).query_nearest(
            shapely.points(ends[:, :2]), max_distance=BEHIND, all_matches=False
        )
        behind = (columns[pairs[1]] - ends[pairs[0]]) @ out
        votes = float(np.sign(behind[np.abs(behind) > BESIDE]).sum())
        if votes != 0.0:
            return -1.0 if votes > 0 else 1.0
        return 1.0 if float((centre.mean(axis=0) - hull) @ out) >= 0 else -1.0

    @staticmethod
    def _round_the_building(middle: Floats, weight: Floats, hull: Floats) -> Ints:
        """Rank of each side: from the largest one anticlockwise seen from above, so that turning changes nothing."""
        if len(middle) == 0:
            return np.zeros(0, np.int64)
        angle = np.arctan2(middle[:, 1] - hull[1], middle[:, 0] - hull[0])
        first = int(np.lexsort((np.arange(len(weight)), -weight.round(3)))[0])
        turn = np.round((angle - angle[first]) % (2 * np.pi), 6) % round(2 * np.pi, 6)
        distance = -np.linalg.norm(middle[:, :2] - hull[:2], axis=1).round(3)
        rank = np.empty(len(turn), np.int64)
        rank[np.lexsort((np.arange(len(turn)), distance, turn))] = np.arange(len(turn))
        return rank

    def _panels(self) -> None:
        frames = self.sides.frame[self.panel_side]
        low, high = g.extents(self.meshes, self.panel, frames)
        low[:, 2] = g.back_faces(self.meshes, self.panel, frames)
        self.panels = Panels(
            element=self.panel,
            side=self.panel_side,
            row=self._rows(low[:, 1]),
            low=low,
            high=high,
            left=self.outline(self.panel, frames, 0, -1, 1),
            right=self.outline(self.panel, frames, 0, 1, 1),
            bottom=self.outline(self.panel, frames, 1, -1, 0),
            top=self.outline(self.panel, frames, 1, 1, 0),
        )

    def _rows(self, bottom: Floats) -> Ints:
        """Row numbers from 1 at the foot of each side: bottoms nearer than 0.15 m are one row."""
        row = np.zeros(len(bottom), np.int64)
        for side in range(len(self.sides.names)):
            row[self.panel_side == side] = 1 + cluster(bottom[self.panel_side == side], ONE_PLACE)
        return row

    def _columns(self) -> None:
        """Centre line and outer face of each column at each side it stands behind."""
        column = with_role(self.model, ["column"])
        pairs_element, pairs_side = [], []
        for side in range(len(self.sides.names)):
            mine = self.panels.side == side
            frame = self.sides.frame[side]
            place = self.boxes.centre[column] @ frame.T
            low, high = self.panels.low[mine].min(axis=0), self.panels.high[mine].max(axis=0)
            middle = 0.5 * (self.sides.inner[side] + self.sides.outer[side])
            reach = (place[:, 2] > middle - BEHIND) & (place[:, 2] < middle + 0.5 * BEHIND)
            reach &= (place[:, 0] > low[0] - BEHIND) & (place[:, 0] < high[0] + BEHIND)
            pairs_element.append(column[reach])
            pairs_side.append(np.full(int(reach.sum()), side))
        element = np.concatenate([np.zeros(0, np.int64), *pairs_element])
        beside = np.concatenate([np.zeros(0, np.int64), *pairs_side])
        low_z, high_z = self.boxes.low[element, 2], self.boxes.high[element, 2]
        share = np.array([0.11, 0.31, 0.5, 0.69, 0.89])
        heights = low_z[:, None] + (high_z - low_z)[:, None] * share
        low, high = g.sections(self.meshes, element, self.sides.frame[beside], heights)
        wide = high[:, :, 0] - low[:, :, 0]
        # Plates, brackets and haunches widen single sections: those that differ from the usual one do not count.
        met = (~np.isnan(wide)).sum(axis=1)
        usual = np.sort(wide, axis=1)[np.arange(len(wide)), np.maximum(met - 1, 0) // 2]  # NaN stands last
        weight = np.where(np.abs(wide - usual[:, None]) < 0.002, 1.0, 0.0)
        centre = 0.5 * (high[:, :, 0] + low[:, :, 0])
        known = weight.sum(axis=1) > 0
        self.columns = Columns(
            element=element[known],
            side=beside[known],
            centre=_straight_fit(heights, centre, weight)[known],
            front=_straight_fit(heights, high[:, :, 1], weight)[known],
            half=0.5 * usual[known],
            low=low_z[known],
            high=high_z[known],
        )

    def _axes(self) -> None:
        """Names of axes per side: those of the grid where one passes, else counted from the left seen from outside."""
        self.axis_place: list[Floats] = []
        self.axis_name: list[list[str]] = []
        names = []
        for side, frame in enumerate(self.sides.frame):
            mine = self.columns.side == side
            middle_z = 0.5 * (self.columns.low + self.columns.high)
            place = self.columns.centre[mine, 0] + self.columns.centre[mine, 1] * middle_z[mine]
            group = cluster(place, AXIS_REACH)
            places = np.array([place[group == k].mean() for k in range(group.max() + 1)]) if len(place) else np.zeros(0)
            self.axis_place.append(places)
            found = [self._grid_name(frame, side, float(u)) for u in places]
            unique = [name if name and found.count(name) == 1 else "" for name in found]
            # Beside axes of the grid a number stands in brackets: it is none of theirs.
            counted = "({})" if any(unique) else "{}"
            self.axis_name.append([name or counted.format(k + 1) for k, name in enumerate(unique)])
            names.append(self._side_name(frame, side))
        final = tuple(n if n and names.count(n) == 1 else f"F{i + 1}" for i, n in enumerate(names))
        self.sides = Sides(final, self.sides.frame, self.sides.inner, self.sides.outer)

    def _grid_name(self, frame: Floats, side: int, place: float) -> str:
        """Tag of the grid axis that passes a place on a side crosswise, or nothing."""
        point = place * frame[0] + self.sides.inner[side] * frame[2]
        return self._nearest_axis(
            point, lambda axis: abs(float(g.unit(axis.ends[1] - axis.ends[0]) @ frame[0])) < 0.87, AXIS_REACH
        )

    def _side_name(self, frame: Floats, side: int) -> str:
        """Tag of the grid axis along which a side stands, or nothing."""
        mine = self.panels.side == side
        middle = 0.5 * (self.panels.low[mine].min(axis=0) + self.panels.high[mine].max(axis=0)) @ frame
        return self._nearest_axis(
            middle, lambda axis: abs(float(g.unit(axis.ends[1] - axis.ends[0]) @ frame[2])) < 0.02, BEHIND
        )

    def _nearest_axis(self, point: Floats, suits: Any, reach: float) -> str:
        best, name = reach, ""
        for axis in self.model.grid:
            distance = _plan_distance(point, axis)
            if distance < best and suits(axis):
                best, name = distance, axis.tag
        return name


def _plan_distance(point: Floats, axis: GridAxis) -> float:
    """Distance in plan from a point to the infinite line of a grid axis."""
    along = axis.ends[1, :2] - axis.ends[0, :2]
    length = float(np.hypot(*along))
    if length == 0:
        return float("inf")
    off = point[:2] - axis.ends[0, :2]
    return abs(float(along[0] * off[1] - along[1] * off[0])) / length


def cluster(values: Floats, gap: float) -> Ints:
    """Number of the cluster of each value, ascending; a new one begins where neighbours are further apart than ``gap``.

    >>> cluster(np.array([5.0, 0.0, 0.1]), 0.5)
    array([1, 0, 0])
    """
    order = np.argsort(values, kind="stable")
    result = np.zeros(len(values), np.int64)
    if len(values):
        result[order] = np.concatenate([[0], np.cumsum(np.diff(values[order]) > gap)])
    return result


def _straight_fit(at: Floats, values: Floats, weight: Floats) -> Floats:
    """Weighted straight line through (n, k) points: value at zero and slope (n, 2)."""
    values = np.where(weight > 0, values, 0.0)
    number = np.maximum(weight.sum(axis=1), 1e-9)
    mean_at, mean = (weight * at).sum(axis=1) / number, (weight * values).sum(axis=1) / number
    off = (at - mean_at[:, None]) * weight
    square = (off * (at - mean_at[:, None])).sum(axis=1)
    slope = np.divide((off * values).sum(axis=1), square, out=np.zeros(len(at)), where=square > 1e-9)
    return np.stack([mean - slope * mean_at, slope], axis=1)
