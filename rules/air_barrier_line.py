"""The airtight line as a whole."""

from dataclasses import dataclass

import numpy as np

from checker.barrier import ABSENT, BROKEN, UNKNOWN, AirLines, Links, links
from checker.facade import Facade
from checker.geometry import SAME_LENGTH, lowest
from checker.rule import FAIL, MM, NOT_MODELLED, PASS, UNDECIDED, Blame, Verdicts, limit, rule
from checker.sketch import closed


@dataclass(frozen=True)
class Limits:
    """What a project may set."""

    open_mm: float = limit(0.0, "mm", "most length of one walk that may stay open", basis="practice")


@rule(
    subject=AirLines,
    limits=Limits,
    severity="note",
    remedy="Close the seams that are named; each has an issue of its own that tells what is missing.",
    needs=("panel",),
    good=closed(),
    bad=closed().without("plinth seal 2").saying("The line up the right bay breaks between plinth and panel."),
)
def air_barrier_line(lines: AirLines, facade: Facade, limits: Limits) -> Verdicts:
    """Airtight line is closed up each bay, round each row of panels and round each opening.

    Air takes the one way that is open. A line that is closed everywhere but at one seam leaks there as much as a line
    that was never drawn: what counts is whether it can be followed from part to part without lifting the pencil.
    """
    every, count = links(facade), len(lines)
    state, value = np.full(count, PASS), np.zeros(count)
    says = []
    for i, way in enumerate(lines.links):
        states = every.state[way]
        broken = way[states == BROKEN]
        value[i] = every.open[broken].sum() * MM
        if value[i] > limits.open_mm + SAME_LENGTH * MM:
            state[i] = FAIL
            says.append(_sentence(facade, every, lines, i, len(broken), value[i], limits.open_mm))
            continue
        if (states == UNKNOWN).any():
            state[i] = UNDECIDED
            says.append("a seam on its way cannot be measured")
            continue
        state[i] = NOT_MODELLED if (states == ABSENT).any() else PASS
        says.append("")
    measured = np.isin(state, (PASS, FAIL))
    first = lowest(facade.panels.element.astype(float), facade.panels.side, len(facade.sides.names))
    anchor = first[lines.home].astype(np.int64)
    return Verdicts(
        state=state,
        value_mm=np.where(measured, value, np.nan),
        minimum_mm=np.full(count, np.nan),
        maximum_mm=np.full(count, limits.open_mm),
        point=lines.point,
        says=says,
        warning=np.zeros(count, bool),
        blame=Blame.unmovable(np.full(count, -1, np.int64), np.zeros((count, 3)), lines.home, anchor),
    )


def _sentence(facade: Facade, every: Links, lines: AirLines, i: int, broken: int, length: float, most: float) -> str:
    """Where a walk is broken, and between which two parts at its worst place."""
    what = {"up": "up this bay", "round": "round this row", "opening": "round this opening"}[lines.kind[i].split()[-1]]
    worst = lines.worst[i]
    ends = [facade.model.elements[e] for e in (int(every.first[worst]), int(every.second[worst])) if e >= 0]
    names = [element.name or element.ifc_class for element in ends]
    between = f"between {names[0]} and {names[1]}" if len(names) == 2 else f"at {names[0]}"
    more = f" and at {broken - 1} more seam{'s' * (broken > 2)}" if broken > 1 else ""
    return f"Airtight line {what} is open over {length:.1f} mm, {between}{more}, required at most {most:g} mm"
