"""What the models state of layers, held against what is drawn.

Geometry beats statements where both exist: what is drawn is measured, and a statement that contradicts it is told.
"""

from dataclasses import replace

import numpy as np

from checker.facade import Facade, Layer, Subjects
from checker.model import Element
from checker.rule import FAIL, NOT_MODELLED, PASS, Verdicts
from checker.stated import statements


def with_statements(facade: Facade, layer: Layer, subjects: Subjects, verdicts: Verdicts) -> Verdicts:
    """The verdicts on a layer, with what the parts of each subject state of it taken into account.

    A layer that is in no model passes where it is stated and fails where its absence is; nothing of it was measured.
    Where it is drawn, a statement only adds to the sentence of what fails, and one that denies it fails as a warning.
    """
    state, who = statements(facade, layer, subjects)
    if not state.any():
        return verdicts
    absent = verdicts.state == NOT_MODELLED
    stated, denied = absent & (state > 0), absent & (state < 0)
    against = (verdicts.state == PASS) & (state < 0)
    contradicted = (verdicts.state == FAIL) & (state > 0)
    names = [_name(facade.model.elements[e]) if e >= 0 else "" for e in who.tolist()]
    sentences = list(verdicts.says)
    for i in np.flatnonzero(denied | against | contradicted).tolist():
        if denied[i]:
            sentences[i] = f"{names[i]} states that there is no {layer.means}"
        elif against[i]:
            sentences[i] = f"{names[i]} states that there is no {layer.means}, but one is drawn"
        else:
            sentences[i] = f"{sentences[i]}; {names[i]} states that it is there"
    changed = denied | against
    pieces = verdicts.pieces if verdicts.pieces is not None else np.zeros((len(subjects), 0), np.int64)
    return replace(
        verdicts,
        state=np.where(stated, PASS, np.where(changed, FAIL, verdicts.state)),
        value_mm=np.where(stated | changed, np.nan, verdicts.value_mm),
        says=sentences,
        warning=np.where(against, True, np.where(denied, False, verdicts.warning)),
        pieces=np.concatenate([np.where(changed | contradicted, who, -1)[:, None], pieces], axis=1),
        stated=stated,
    )


def _name(element: Element) -> str:
    return element.name or f"{element.ifc_class} {element.guid}"
