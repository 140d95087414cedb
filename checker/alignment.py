"""Whether the files of a federation meet: joints of panels and plinths in one stand at columns of another.

Overlap tells little: a file that lies ten metres off still overlaps a long hall. So files are compared by how many
joints of one have a post of another behind them (`checker.marks`): as they lie, and after the shift that most pairs of
a joint and a post ask for. Axes of grids with the same names decide where that is not enough. Nothing is moved here.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from typing import Final

import numpy as np
import shapely

from checker import geometry as g
from checker.marks import CORNER, END, JOINT, Joints, Levels, Marks, Posts, Runs, levels, marks, piles, square
from checker.model import Bools, Fit, Floats, GridAxis, Ints, Meshes

MEETS_M: Final = 0.02
"""A joint is at a post when their middles, seen square on the wall, are no further apart; seams are 30 mm wide."""
STANDS_M: Final = 0.10
"""... and when the post touches the face of the wall, or its middle plane, within this."""
FEWEST: Final = 4
"""With fewer joints at posts any two files could be made to meet."""
SHARE: Final = 0.5
"""Files of which no more than this part of what could meet does meet as they lie do not meet."""
BELIEVED: Final = 0.55
"""The part of what could meet that a shift must make meet to be believed.

Joints that stand aside of their columns on purpose, all round a building to the same hand, need one shift on one side
of it and the opposite one on the other: no shift makes more than half of them meet.
"""
ALL: Final = 0.95
"""A shift that makes nearly all meet is believed also where ..."""
MANY: Final = 0.7
"""... this share of it meets as files lie: where bays repeat, and along one wall of a ring, much meets by chance."""
BY_CHANCE: Final = 0.2
"""Files of which no more than this part of what could meet does meet say nothing by that."""
OVERLAP: Final = 0.05
"""Buildings that stand side by side share no more of their ground than this."""
OF_JOINTS: Final = 0.33
"""The part of all joints that a shift must bring to posts: where joints are dense, as between upright panels, any post
finds one.
"""
EXACT_M: Final = 0.001
"""A shift is known to a millimetre when half of what tells it agrees this closely."""
BY_END_M: Final = 0.25
"""A post stands by the free end of a wall when it is no further along."""
ALIKE: Final = 0.9
"""Another shift that brings this share of the best one's joints to posts is as good."""
ONE_SHIFT_M: Final = 0.02
"""Files that are off by the same amount belong together."""
ON_AXIS_M: Final = 0.02
"""Axes of one name in two files that are no further apart are one."""
FOOT_M: Final = (-0.15, 0.25)
"""How far the foot of a wall lies above what carries it: profiles and seals, or beside the leg of an angle."""
CONTACT_M: Final = 0.001
"""Level faces of two files that are this near to each other touch."""
WALL_M: Final = 1.0
"""What is this high is a wall: a post must stand behind its joints, and it stands on what is lower."""
LEAST_TURN_DEG: Final = 0.2
"""Smaller angles between the walls of files are noise of drawing."""
SQUARE: Final = 0.4
"""Share of the length of walls that must run in two directions square to each other to tell how a file is turned."""

_CELL_M: Final = 0.6
"""Shifts that agree this closely vote together."""
_DEEPEST_M: Final = 0.35
"""How far a post may stand from the middle plane of a wall when votes are cast: half a wall and half a column."""
_SEAL_M: Final = 0.01
"""Between post and wall, where nothing tells better."""
_MOST_PAIRS: Final = 100_000
_CANDIDATES: Final = 6
_MOST_PILES: Final = 500
_SINKING: Final = 10.0
"""A seal that would sink into what carries it outweighs a face so many times its size that would touch."""
_MOST_OVERLAPS: Final = 5_000
_NOTHING: Final = np.zeros(2)


@dataclass(frozen=True)
class _Tie:
    """Joints of one group of files and posts of another; ``sign`` is -1 where the posts are what would be shifted."""

    joints: Joints
    posts: Posts
    sign: float

    def pairs(self, shift: Floats, within: float) -> tuple[Ints, Ints]:
        """Joints and posts that meet after a shift (2,), the numbers of both."""
        joints, posts = self.joints, self.posts
        if not len(joints) or not len(posts):
            return np.zeros(0, np.int64), np.zeros(0, np.int64)
        room = STANDS_M + (within if within > MEETS_M else 0.0)
        reach = 1.5 * (float(joints.half.max() + np.linalg.norm(posts.half, axis=1).max()) + room + within) + BY_END_M
        places = joints.place + self.sign * shift
        j, p = shapely.STRtree(shapely.points(posts.place)).query(
            shapely.points(places), predicate="dwithin", distance=reach
        )
        step, kind = posts.place[p] - places[j], joints.kind[j]
        aside = np.abs(_dot(step, joints.along[j]))
        one, two = (self._touches(j, p, step, k, room) for k in (0, 1))
        met = np.select([kind == JOINT, kind == END], [aside <= within, aside <= BY_END_M], one) & two
        return j[met], p[met]

    def _touches(self, j: Ints, p: Ints, step: Floats, k: int, room: float) -> Bools:
        """Whether posts touch the inner face or the middle plane of walls square to direction ``k`` of the joints."""
        way = (self.joints.along, self.joints.across)[k][j]
        depth, out = _dot(step, way), self.joints.outward[j, k]
        clear = np.abs(np.abs(depth) - self.joints.half[j, k] - self.posts.reach(p, way))
        result: Bools = ((clear <= room) & (out * depth <= 0.0)) | (np.abs(depth) <= room)
        return result


@dataclass(frozen=True)
class _Plan:
    """How one file lies to others in plan: what meets as it lies, after the best ``shift`` (2,), what could at all.

    ``share`` is the part of all joints that then have a post. ``exact`` tells whether the shift is known to a
    millimetre, ``alike`` whether another one does as well.
    """

    met: int
    best: int
    could: int
    shift: Floats
    share: float = 1.0
    exact: bool = True
    alike: bool = False

    @property
    def meets(self) -> bool:
        enough = self.met >= 2 and self.met > max(SHARE * self.best, BY_CHANCE * self.could)
        return enough and not self.off

    @property
    def believed(self) -> bool:
        """Whether the shift is no matter of chance."""
        return self.best >= max(FEWEST, BELIEVED * self.could) and self.share >= OF_JOINTS

    @property
    def off(self) -> bool:
        surely = self.best >= ALL * self.could and self.best - self.met >= FEWEST
        return self.believed and self.met <= (MANY if surely else SHARE) * self.best


@dataclass(frozen=True)
class _Height:
    """How far one file is to be raised to stand on the files ``against`` which it was held.

    ``touches`` is false where no level faces told it, ``stands`` where no post stands behind its walls as it lies.
    """

    rise: float
    touches: bool = True
    stands: bool = True
    against: tuple[int, ...] = ()


def fits(meshes: Meshes, source: Ints, count: int, grids: Sequence[Sequence[GridAxis]]) -> tuple[Fit, ...]:
    """How each of ``count`` files lies to the others.

    ``source`` (n,) is the file of each body, ``grids`` are the axes each file draws. Shifts come on top of where a
    file lies now. Where files disagree, those are right that most agree with, then the one with most columns. Files of
    buildings that stand side by side are held against those of their own building only.
    """
    if count < 2:
        return (Fit("alone"),) * count
    found, faces = marks(meshes, source), levels(meshes)
    own = [_lonely(found.of([s])) for s in range(count)]
    out: dict[int, Fit] = {}
    agreed = cache(lambda files, first: _agreed(found, own, files, first))
    for rank in _buildings(found, own, agreed):
        out |= _fits(found, faces, own, rank, grids, agreed)
        meets = {s for s in rank if out[s].state == "meets"}
        whole = _is_whole(found.of(meets))
        out |= {s: replace(out[s], whole=(whole and s in meets) or _is_whole(found.of([s]))) for s in rank}
    return tuple(out[s] for s in range(count))


_Agreed = tuple[frozenset[int], Mapping[int, _Plan]]
_Agree = Callable[[tuple[int, ...], int], _Agreed]


def _buildings(found: Marks, own: Sequence[Marks], agreed: _Agree) -> list[list[int]]:
    """The files of each building, those with most columns first.

    Files that meet each other make a building of their own where they stand beside all others that do.
    """
    rank = sorted(range(len(own)), key=lambda s: (-len(own[s].posts), -len(own[s].joints), s))
    groups: list[set[int]] = []
    for seed in rank:
        if not any(seed in group for group in groups):
            free = [s for s in rank if not any(s in group for group in groups)]
            groups.append(set(agreed(tuple(free), seed)[0]))
    plan = [found.of(group).outline() for group in groups]
    beside = [
        k
        for k, group in enumerate(groups)
        if len(group) > 1
        and all(
            shapely.area(shapely.intersection(plan[k], plan[i])) <= OVERLAP * shapely.area(plan[k])
            for i, other in enumerate(groups)
            if i != k and len(other) > 1
        )
    ]
    if len(beside) < 2:
        return [rank]
    # What meets nothing is held against the building that it is nearest to.
    for k, group in enumerate(groups):
        if k not in beside:
            nearest = min(beside, key=lambda i: (shapely.distance(plan[k], plan[i]), -_common(plan[k], plan[i]), i))
            groups[nearest] |= group
    return [[s for s in rank if s in groups[k]] for k in beside]


def _common(one: shapely.Geometry, other: shapely.Geometry) -> float:
    return float(shapely.area(shapely.intersection(one, other)))


def _is_whole(found: Marks) -> bool:
    """Whether walls and columns of a building are all there: most of its wall joints have a post."""
    j, _ = _Tie(found.joints, found.posts, 1.0).pairs(_NOTHING, MEETS_M)
    wall = (found.joints.kind == JOINT) & (found.joints.high - found.joints.low >= WALL_M)
    met = np.intersect1d(j, np.flatnonzero(wall))
    return len(met) >= max(FEWEST, SHARE * np.count_nonzero(wall))


def _agreed(found: Marks, own: Sequence[Marks], files: tuple[int, ...], first: int) -> _Agreed:
    """Those of some files that meet the first one, or others that do, and how all others lie to them."""
    right = {first}
    while True:
        others = found.of(right)
        plans = {s: _plan(_ties(own[s], others)) for s in files if s not in right}
        fresh = {s for s, plan in plans.items() if plan.meets}
        if not fresh:
            return frozenset(right), plans
        right |= fresh


def _fits(
    found: Marks,
    faces: Levels,
    own: Sequence[Marks],
    rank: Sequence[int],
    grids: Sequence[Sequence[GridAxis]],
    agreed: _Agree,
) -> dict[int, Fit]:
    """How each file of one building lies to its others; ``rank`` are its files, those with most columns first."""
    if len(rank) < 2:
        return {s: Fit("unknown") for s in rank}
    together, plans = agreed(tuple(rank), rank[0])
    right = set(together)
    others = found.of(right)
    off = {s: plan for s, plan in plans.items() if plan.off and not _turned(own[s], others, plan)}
    off |= _followers({s: own[s] for s in plans if s not in off}, others, off.values())
    right, off = _majority(right, off)
    heights = _heights(own, faces, rank, {s: plan.shift for s, plan in off.items()})
    out: dict[int, Fit] = {}
    for s in rank:
        others, high = found.of(right - {s}), heights.get(s, _Height(0.0))
        met = _count(_ties(own[s], others), _NOTHING)
        if s in off or high.rise:
            plan = off.get(s, _Plan(met, met, met, _NOTHING))
            x, y, z = (round(float(value), 3) + 0.0 for value in (*plan.shift, high.rise))
            met = plan.met if high.stands else 0
            fit = Fit("off", met, plan.best, (x, y, z), plan.exact, plan.alike)
        elif s in right and len(right) > 1:
            fit = Fit("meets", met, met)
        else:
            fit = _by_grid(grids, s, right - {s}) or _turned(own[s], others) or Fit("unknown", met, met)
        against = high.against if high.rise and s not in off else tuple(sorted(right - {s}))
        joints = own[s].joints
        walls = (joints.kind == JOINT) & (joints.high - joints.low >= WALL_M) & (len(others.posts) >= FEWEST)
        out[s] = replace(fit, against=against, joints=int(np.count_nonzero(walls)))
    alone = right.pop() if len(right) == 1 else None
    if alone is not None and out[alone].state == "unknown" and any(fit.state != "unknown" for fit in out.values()):
        out[alone] = replace(out[alone], state="meets")  # what the others were held against
    return out


def _followers(unsure: Mapping[int, Marks], others: Marks, known: Iterable[_Plan]) -> dict[int, _Plan]:
    """Files that say too little by themselves, and meet after a shift that another file asks for."""
    found = {}
    for s, mine in unsure.items():
        ties = _ties(mine, others)
        met, could = _count(ties, _NOTHING), _could(ties)
        plans = [replace(plan, met=met, best=_count(ties, plan.shift), could=could) for plan in known]
        best = max(plans, key=lambda plan: plan.best, default=None)
        if best is not None and best.best >= max(2.0, SHARE * could) and met <= SHARE * best.best:
            found[s] = best
    return found


def _majority(right: set[int], off: dict[int, _Plan]) -> tuple[set[int], dict[int, _Plan]]:
    """Which files are right and which off, when those off by one shift may be more than those held to be right."""
    for shift in [plan.shift for plan in off.values()]:
        same = {s for s, plan in off.items() if np.abs(plan.shift - shift).max() <= ONE_SHIFT_M}
        if len(same) > len(right):
            turned = {s: replace(off[min(same)], shift=-shift) for s in right}
            rest = {s: replace(plan, shift=plan.shift - shift) for s, plan in off.items() if s not in same}
            return same, turned | rest
    return right, off


def _lonely(mine: Marks) -> Marks:
    """The marks of one file without those that meet each other: walls with columns of their own need no other file."""
    j, p = _Tie(mine.joints, mine.posts, 1.0).pairs(_NOTHING, MEETS_M)
    wall = mine.joints.high[j] - mine.joints.low[j] >= WALL_M
    joints = np.setdiff1d(np.arange(len(mine.joints)), j)
    posts = np.setdiff1d(np.arange(len(mine.posts)), p[wall])
    return Marks(mine.posts.take(posts), mine.joints.take(joints), mine.runs)


def _ties(mine: Marks, others: Marks) -> tuple[_Tie, _Tie]:
    return _Tie(mine.joints, others.posts, 1.0), _Tie(others.joints, mine.posts, -1.0)


def _plan(ties: Sequence[_Tie]) -> _Plan:
    could = _could(ties)
    met = _count(ties, _NOTHING)
    as_it_lies = _Plan(met, met, could, _NOTHING)
    return _voted(ties, as_it_lies) if met < max(2.0, ALL * could) else as_it_lies


def _count(ties: Iterable[_Tie], shift: Floats) -> int:
    """How many joints and corners have a post of their own after a shift."""
    count = 0
    for tie in ties:
        j, p = tie.pairs(shift, MEETS_M)
        firm = tie.joints.kind[j] != END
        count += min(len(np.unique(j[firm])), len(np.unique(p[firm])))
    return count


def _share(ties: Iterable[_Tie], shift: Floats) -> float:
    """The part of all joints and corners that have a post after a shift, where there are posts at all."""
    met = joints = 0
    for tie in ties:
        firm = np.flatnonzero(tie.joints.kind != END)
        met += len(np.intersect1d(tie.pairs(shift, MEETS_M)[0], firm))
        joints += len(firm) if len(tie.posts) else 0
    return met / max(joints, 1)


def _ends(ties: Iterable[_Tie], shift: Floats) -> int:
    """How many free ends have a post by them after a shift."""
    return sum(len(np.unique(j[tie.joints.kind[j] == END])) for tie in ties for j, _ in [tie.pairs(shift, MEETS_M)])


def _could(ties: Iterable[_Tie]) -> int:
    """How many joints and corners could have a post."""
    return sum(min(int(np.count_nonzero(tie.joints.kind != END)), len(tie.posts)) for tie in ties)


# ---- the shift in plan ----------------------------------------------------------------------------------------------


def _voted(ties: Sequence[_Tie], as_it_lies: _Plan) -> _Plan:
    """The evidence with the shift that brings most joints to posts, the smallest where several do."""
    found: list[tuple[int, int, Floats, bool]] = []
    for shift in _candidates(ties, as_it_lies.met):
        exact = False
        for within in (0.40, 0.15, 0.05, MEETS_M):
            shift, exact = _solved(ties, shift, within)
        if not any(np.abs(shift - other).max() < MEETS_M for _, _, other, _ in found):
            found.append((_count(ties, shift), _ends(ties, shift), shift, exact))
    if not found:
        return as_it_lies
    best, ends, shift, exact = min(
        found, key=lambda each: (-each[0], -each[1], round(float(np.linalg.norm(each[2])), 3))
    )
    if best <= as_it_lies.met:
        return as_it_lies
    alike = any(
        n + by >= ALIKE * (best + ends) and np.linalg.norm(other - shift) > _CELL_M for n, by, other, _ in found
    )
    return replace(as_it_lies, best=best, shift=shift, share=_share(ties, shift), exact=exact, alike=alike)


def _candidates(ties: Sequence[_Tie], met: int) -> list[Floats]:
    """Shifts (2,) for which most pairs of a joint and a post vote, best first, that may bring more than ``met``."""
    votes = []
    for tie in ties:
        pairs = len(tie.joints) * len(tie.posts)
        if not pairs:
            continue
        some = np.arange(0, len(tie.joints), -(-pairs // _MOST_PAIRS))
        step = tie.posts.place[None] - tie.joints.place[some, None]
        for depth in np.linspace(-_DEEPEST_M, _DEEPEST_M, 6):
            votes.append(tie.sign * (step + depth * tie.joints.across[some, None]).reshape(-1, 2))
    if not votes:
        return []
    every = np.concatenate(votes)
    corner = every.min(axis=0)
    middles: list[Floats] = []
    # Shifts that agree fall into one cell of at least one of four grids.
    for offset in ([0.0, 0.0], [0.0, 0.5], [0.5, 0.0], [0.5, 0.5]):
        cell = np.floor((every - corner) / _CELL_M + offset).astype(np.int64)
        wide = int(cell[:, 1].max()) + 1
        key, count = np.unique(cell[:, 0] * wide + cell[:, 1], return_counts=True)
        fullest = key[np.argsort(-count, kind="stable")[: 2 * _CANDIDATES]]
        middles += list(corner + (np.stack([fullest // wide, fullest % wide], axis=1) + 0.5 - offset) * _CELL_M)
    reach = [sum(len(np.unique(tie.pairs(middle, 0.4)[1])) for tie in ties) for middle in middles]
    best = np.argsort(-np.array(reach), kind="stable")[: 2 * _CANDIDATES]
    return [middles[k] for k in best if reach[k] > met]


def _solved(ties: Iterable[_Tie], shift: Floats, within: float) -> tuple[Floats, bool]:
    """The shift that pairs near to each other after ``shift`` agree on, and whether it is exact in both directions.

    Along the wall the middle of a joint is that of the post. Across it only the side is certain on which the post
    stands, and that the space between them is one everywhere: where walls face each other that is enough.
    """
    # One row for each demand on x, y and the space between: the last two hold where nothing else does.
    rows, wanted, weight, facing = [np.eye(3)], [np.zeros(3)], [np.full(3, 1e-3)], [np.zeros(3, np.bool_)]
    for tie in ties:
        j, p = tie.pairs(shift, within)
        step, kind = tie.posts.place[p] - tie.joints.place[j] - tie.sign * shift, tie.joints.kind[j]
        firm = kind == JOINT
        along = tie.joints.along[j[firm]]
        rows.append(np.hstack([along, np.zeros((len(along), 1))]))
        wanted.append(tie.sign * _dot(step[firm], along))
        weight.append(np.ones(len(along)))
        facing.append(np.zeros(len(along), np.bool_))
        for k, way, use in ((0, tie.joints.along[j], kind == CORNER), (1, tie.joints.across[j], kind >= JOINT)):
            known = tie.joints.outward[j, k]
            side = np.where(known == 0.0, np.where(_dot(step, way) > 0.0, -1.0, 1.0), known)
            out = (side[:, None] * way)[use]
            clear = (tie.joints.half[j, k] + tie.posts.reach(p, way) + _SEAL_M)[use] + _dot(step[use], out)
            rows.append(np.hstack([out, np.full((len(out), 1), -tie.sign)]))
            wanted.append(tie.sign * clear)
            weight.append(np.full(len(out), 0.1))
            facing.append(known[use] != 0.0)
    a, b, w, out = (np.concatenate(each) for each in (rows, wanted, weight, facing))
    x, pull = np.zeros(3), w
    for _ in range(20):  # least sum of distances: what most agree on, whatever the others say
        x = np.linalg.solve(a.T @ (pull[:, None] * a), a.T @ (pull * b))
        pull = w / np.maximum(np.abs(a @ x - b), 1e-5)
    off, along = np.abs(a @ x - b), a[w == 1.0, :2]
    strength, directions = np.linalg.eigh(along.T @ along)
    agreed = len(along) > 0 and np.median(off[w == 1.0]) <= EXACT_M
    exact = True
    for many, way in zip(strength, directions.T, strict=True):
        ahead, behind = (out & (sign * (a[:, :2] @ way) > 0.7) for sign in (1.0, -1.0))
        both = min(np.count_nonzero(ahead), np.count_nonzero(behind)) >= 2
        exact &= bool((agreed and many > 1.5) or (both and np.median(off[ahead | behind]) <= EXACT_M))
    return shift + x[:2], exact


# ---- the shift in height --------------------------------------------------------------------------------------------


def _heights(
    own: Sequence[Marks], faces: Levels, rank: Sequence[int], shifts: Mapping[int, Floats]
) -> dict[int, _Height]:
    """How far to raise files that stand at another height than most; ``shifts`` (2,) bring them together in plan."""
    pairs: dict[tuple[int, int], _Height] = {}
    for a, b in combinations(rank, 2):
        shift = shifts.get(b, _NOTHING) - shifts.get(a, _NOTHING)
        height = _height(own[b], own[a], faces, shift)
        if height is not None:
            pairs[a, b] = height
            pairs[b, a] = replace(height, rise=-height.rise)
    level = _groups(rank, [pair for pair, height in pairs.items() if not height.rise])
    out: dict[int, _Height] = {}
    for linked in _groups(rank, pairs):
        right = max((each for each in level if each[0] in linked), key=lambda each: (len(each), -rank.index(each[0])))
        moved = [own[a].moved(shifts.get(a, _NOTHING)) for a in right]
        for s in linked:
            beside = [a for a in right if (a, s) in pairs]
            if s in right or not beside:
                continue
            whole = _height(own[s], Marks.together(moved), faces, shifts.get(s, _NOTHING)) or pairs[beside[0], s]
            told = [replace(whole, against=tuple(sorted(right)))]
            told += [replace(pairs[a, s], against=(a,)) for a in linked if (a, s) in pairs]
            out[s] = next((height for height in told if height.touches), told[0])
    return out


def _groups(files: Sequence[int], pairs: Iterable[tuple[int, int]]) -> list[tuple[int, ...]]:
    """Files that are linked by pairs, in the order given."""
    group = {s: {s} for s in files}
    for a, b in pairs:
        if group[a] is not group[b]:
            group[a] |= group[b]
            group |= dict.fromkeys(group[b], group[a])
    return list(dict.fromkeys(tuple(s for s in files if s in group[each]) for each in files))


def _height(mine: Marks, others: Marks, faces: Levels, shift: Floats) -> _Height | None:
    """How far to raise one file so that its walls stand on what the other has below them, or the other way round.

    None where nothing tells: posts must stand behind walls, but may begin and end anywhere.
    """
    behind, drops = [np.zeros(0, np.bool_)], [np.zeros(0)]
    for tie in _ties(mine, others):
        j, p = tie.pairs(shift, MEETS_M)
        low, high, foot, head = tie.joints.low[j], tie.joints.high[j], tie.posts.low[p], tie.posts.high[p]
        shared, tall = np.minimum(high, head) - np.maximum(low, foot), high - low >= WALL_M
        behind.append((shared >= SHARE * np.minimum(high - low, head - foot))[tall])
        drops.append(tie.sign * (foot - low)[tall])
    stands, drop = np.concatenate(behind), np.concatenate(drops)
    nowhere = len(stands) >= FEWEST and bool(np.mean(stands) < SHARE)
    rise = _rise(mine.runs, others.runs, faces, shift)
    if rise is None and nowhere:
        return _Height(float(np.median(drop)), touches=False, stands=False)
    return rise if rise is None else replace(rise, stands=not nowhere)


def _rise(mine: Runs, others: Runs, faces: Levels, shift: Floats) -> _Height | None:
    """How far to raise runs so that what overlaps in plan lies one upon the other and most level faces touch."""
    both = [piles(one) for one in (mine, others)]
    both = [one.take(np.arange(0, len(one), max(1, -(-len(one) // _MOST_PILES)))) for one in both]
    i, j = _over(both[0], both[1], shift)
    if len(i) < FEWEST:
        return None
    (low, high), (foot, head) = ((one.low[at, 1], one.high[at, 1]) for one, at in zip(both, (i, j), strict=True))
    above, below = low - head, foot - high
    # A wall stands on what is lower; of two low things either may lie on the other.
    wall = (high - low >= WALL_M) & (high - low > head - foot)
    carrier = (head - foot >= WALL_M) & (head - foot > high - low)

    def share(rise: float) -> float:
        on, under = above + rise, below - rise
        lies = (~carrier & (on >= FOOT_M[0]) & (on <= FOOT_M[1])) | (
            ~wall & (under >= FOOT_M[0]) & (under <= FOOT_M[1])
        )
        return float(np.mean(lies))

    asked = np.unique(np.round(np.concatenate([-above[~carrier], below[~wall]]), 3))
    best = max(map(share, asked), default=0.0)
    if best < SHARE or share(0.0) >= SHARE * best:
        return _Height(0.0) if share(0.0) >= SHARE else None
    touch, area, sunk = _touching(mine, others, faces, shift)
    first, last = np.arange(len(touch)), np.searchsorted(touch, touch + CONTACT_M, side="right")
    summed = np.append(0.0, np.cumsum(area))
    crowd = summed[last] - summed[first]
    firm = [k for k in np.argsort(-crowd, kind="stable")[:_MOST_PILES] if share(touch[k]) >= ALIKE * best]
    firm = [k for k in firm if last[k] - first[k] >= FEWEST and crowd[k] >= 0.1 * crowd[firm[0]]]
    if not firm:
        return _Height(float(min((rise for rise in asked if share(rise) >= ALIKE * best), key=abs)), touches=False)
    # What lies on something touches it and does not sink into anything else.
    rises = [float(np.median(touch[first[k] : last[k]])) for k in firm]
    worth = [crowd[k] - _SINKING * sunk(rise) for k, rise in zip(firm, rises, strict=True)]
    return _Height(max(zip(worth, rises, strict=True), key=lambda each: (round(each[0], 3), -abs(each[1])))[1])


def _touching(
    mine: Runs, others: Runs, faces: Levels, shift: Floats
) -> tuple[Floats, Floats, Callable[[float], float]]:
    """Rises (k,), ascending, that bring level faces of one file onto those of others, and the area that would touch.

    Also the area of what would sink a little into one of the others after a rise: deep, they only pass each other.
    """
    i, j = _over(mine, others, shift)
    i, j = (each[:: max(1, -(-len(each) // _MOST_OVERLAPS))] for each in (i, j))
    pair, one = g.spread(faces.start, mine.body[i])[::-1]
    again, two = g.spread(faces.start, others.body[j[pair]])[::-1]
    one = one[again]
    facing = faces.up[one] != faces.up[two]
    one, two = one[facing], two[facing]
    rise, area = faces.height[two] - faces.height[one], np.minimum(faces.area[one], faces.area[two])
    order = np.argsort(rise, kind="stable")
    full = mine.full[i] & others.full[j]
    top, under = (mine.high[i, 1] - others.low[j, 1])[full], (others.high[j, 1] - mine.low[i, 1])[full]
    plan = [(one.high - one.low)[at, 0] * (one.high - one.low)[at, 2] for one, at in ((mine, i), (others, j))]
    smaller = np.minimum(*plan)[full]

    def sunk(rise: float) -> float:
        deep = np.minimum(top + rise, under - rise)
        return float(smaller[(deep > 2.0 * CONTACT_M) & (deep < FOOT_M[1])].sum())

    return rise[order], area[order], sunk


def _over(mine: Runs, others: Runs, shift: Floats) -> tuple[Ints, Ints]:
    """Pairs of runs that overlap in plan by much of the smaller one, the numbers of both."""
    one, two = shapely.polygons(mine.outlines() + shift), shapely.polygons(others.outlines())
    i, j = shapely.STRtree(two).query(one, predicate="intersects")
    common = shapely.area(shapely.intersection(one[i], two[j]))
    enough = common >= 0.3 * np.minimum(shapely.area(one[i]), shapely.area(two[j]))
    return i[enough], j[enough]


# ---- grids and angles -----------------------------------------------------------------------------------------------


def _by_grid(grids: Sequence[Sequence[GridAxis]], mine: int, others: set[int]) -> Fit | None:
    """How a file lies to others by axes that both name, at least two each in two directions; None where there are not.

    An axis says nothing of where it begins and ends, only of its line.
    """
    theirs = {axis.tag: axis.ends for s in sorted(others) for axis in grids[s]}
    both = [(axis.ends, theirs[axis.tag]) for axis in grids[mine] if axis.tag in theirs]
    if not both:
        return None
    ends, other = (np.array(each)[:, :, :2] for each in zip(*both, strict=True))
    along = [each[:, 1] - each[:, 0] for each in (ends, other)]
    along = [each / np.maximum(np.linalg.norm(each, axis=1, keepdims=True), 1e-9) for each in along]
    same = np.abs(_dot(*along)) > np.cos(np.radians(LEAST_TURN_DEG))
    normal = square(along[1])[same]
    apart = _dot(normal, (other[:, 0] - ends[:, 0])[same])
    if np.linalg.eigvalsh(normal.T @ normal)[0] < 1.5:
        return None
    shift = np.linalg.lstsq(normal, apart, rcond=None)[0]
    if np.abs(normal @ shift - apart).max() > ON_AXIS_M:
        return None
    if np.linalg.norm(shift) <= ON_AXIS_M:
        return Fit("meets")
    x, y = (round(float(value), 3) + 0.0 for value in shift)
    return Fit("off", shift_m=(x, y, 0.0), by_grid=True)


def _turned(mine: Marks, others: Marks, shifted: _Plan | None = None) -> Fit | None:
    """The angle by which a file is turned against others, if it is: by what most walls and posts run along.

    Of the angles that differ by right ones, that after which most can be made to meet; all of them look alike. Where
    it might be ``shifted`` instead, it is turned only if that explains more.
    """
    if shifted is not None and shifted.best >= ALL * shifted.could:
        return None
    if min(len(mine.joints) + len(mine.posts), len(others.joints) + len(others.posts)) < FEWEST:
        return None
    one, two = _direction(mine), _direction(others)
    if one is None or two is None:
        return None
    angle = (two - one + 45.0) % 90.0 - 45.0
    met = _count(_ties(mine, others), _NOTHING)
    plans = []
    for quarter in (0.0, 90.0, -90.0, 180.0):
        ties = _ties(mine.turned(angle + quarter), others)
        could, as_it_lies = _could(ties), _count(ties, _NOTHING)
        plan = _voted(ties, _Plan(as_it_lies, as_it_lies, could, _NOTHING))
        if plan.believed and met <= SHARE * plan.best:
            plans.append((-plan.best, float(np.linalg.norm(plan.shift) > MEETS_M), abs(quarter), angle + quarter))
    if shifted is not None and not (plans and -min(plans)[0] > shifted.best):
        return None
    best = min(plans)[3] if plans else angle
    return Fit("turned", met, turn_deg=best) if abs(best) >= LEAST_TURN_DEG else None


def _direction(of: Marks) -> float | None:
    """The angle in degrees, less than 90, along which or square to which most walls run; None where there is none.

    Where there are no walls the sections of posts tell.
    """
    runs = of.runs.take(of.runs.solid)
    way, length = runs.along, runs.high[:, 0] - runs.low[:, 0]
    if not len(runs):
        way, length = of.posts.axes[:, 0], of.posts.high - of.posts.low
    angle = np.round(np.degrees(np.arctan2(way[:, 1], way[:, 0])) % 90.0, 2)
    each, group = np.unique(angle, return_inverse=True)
    length = g.total(length, group.reshape(-1), len(each))
    apart = (each[:, None] - each[None] + 45.0) % 90.0 - 45.0
    near = np.abs(apart) <= LEAST_TURN_DEG
    crowd = np.where(near, length[:, None], 0.0).sum(axis=0)
    if crowd.max(initial=0.0) <= SQUARE * length.sum():
        return None
    main = int(np.argmax(crowd))
    return float(each[main] + np.average(apart[near[:, main], main], weights=length[near[:, main]])) % 90.0


def _dot(one: Floats, two: Floats) -> Floats:
    """Products (n,) of vectors (n, d) pair by pair."""
    result: Floats = np.einsum("nd,nd->n", one, two)
    return result
