"""Answers of a panel as they are typed: the code chosen, codes in order, or a mark for each code."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from kit.bench.panel import Answer
from kit.bench.panel_plan import PanelPlan, Serving
from kit.errors import RecordError
from kit.science.serving_orders import RANKING, RATING
from kit.units import number


def typed_answer(panel: PanelPlan, assessor: str, typed: object) -> Answer:
    """An answer as it is kept.

    Parameters
    ----------
    panel : PanelPlan
    assessor : str    Code of the assessor.
    typed : object    A code, "512"; for a ranking codes from most to least, ["512", "194", "873"] or
                      "512 > 194 = 873", or places {"512": 1, "194": 2}; for ratings marks {"512": 4, "194": 3}. None
                      as place or mark: that sample was not judged.

    Raises
    ------
    RecordError   `panel.assessor` for one who is not of the panel, `panel.answer` for what is no answer.
    """
    serving = panel.serving(str(assessor))
    if serving is None:
        raise RecordError(
            f"{assessor} is no assessor of this panel",
            where=f"panel {panel.name}",
            allowed=f"{panel.servings[0].assessor} to {panel.servings[-1].assessor}",
            mend="a stand-in is served the sheet of whoever did not come, and answers under that code",
            code="panel.assessor",
        )
    if panel.kind == RANKING:
        return _ranked(panel, serving, typed)
    if panel.kind == RATING:
        return _rated(panel, serving, typed)
    chosen = str(typed).strip()
    if chosen not in serving.codes:
        mend = "the choice is forced: whoever is not sure guesses; look at the sheet for the code"
        raise _refused(panel, serving, typed, f"one of {', '.join(serving.codes)}", mend)
    return chosen


def _ranked(panel: PanelPlan, serving: Serving, typed: object) -> list[list[str]]:
    left = [str(code).strip() for code, place in typed.items() if place is None] if isinstance(typed, Mapping) else []
    groups = [[str(code).strip() for code in group] for group in _groups(typed)]
    said = [code for group in groups for code in group]
    if sorted([*said, *left]) != sorted(serving.codes) or len(said) < 2:
        allowed = f"each of {', '.join(serving.codes)} once"
        raise _refused(panel, serving, typed, allowed, 'from most to least, "512 > 194 = 873" where two are level')
    return [sorted(group) for group in groups]


def _groups(typed: object) -> list[list[object]]:
    if isinstance(typed, str):
        return [re.split(r"\s*=\s*", part) for part in re.split(r"\s*[>,;]\s*", typed.strip())]
    if isinstance(typed, Mapping):
        placed = {code: number(place, where=f"place of {code}") for code, place in typed.items() if place is not None}
        return [[code for code in placed if placed[code] == place] for place in sorted(set(placed.values()))]
    if isinstance(typed, Sequence):
        return [[item] if isinstance(item, str | int) else list(item) for item in typed]
    return []


def _rated(panel: PanelPlan, serving: Serving, typed: object) -> dict[str, str]:
    low, high = panel.scale
    allowed = f"a whole mark from {low} to {high} for each of {', '.join(serving.codes)}"
    mend = 'type {"512": 4, "194": 3}; None for a sample that was not judged'
    marks = {str(code).strip(): mark for code, mark in typed.items()} if isinstance(typed, Mapping) else {}
    if sorted(marks) != sorted(serving.codes) or all(mark is None for mark in marks.values()):
        raise _refused(panel, serving, typed, allowed, mend)
    kept = {}
    for code, mark in ((code, mark) for code, mark in marks.items() if mark is not None):
        value = number(mark, where=f"panel {panel.name}, {serving.assessor}, {code}")
        if value != int(value) or not low <= value <= high:
            raise _refused(panel, serving, typed, allowed, mend)
        kept[code] = str(int(value))
    return kept


def _refused(panel: PanelPlan, serving: Serving, typed: object, allowed: str, mend: str) -> RecordError:
    return RecordError(
        f"{typed!r} is no answer of {serving.assessor}",
        where=f"panel {panel.name}, {panel.kind}",
        allowed=allowed,
        mend=mend,
        code="panel.answer",
    )
