"""What to make next, proposal by proposal: lines and settings that change, what is predicted, cost, review."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.formula.diffs import diff
from kit.formula.formula import Formula
from kit.science.number_text import short
from kit.show import Block, Cell, Table, listing
from kit.trials.next_trial import NextTrials
from kit.trials.next_trial_result import Suggestion
from kit.trials.next_trial_words import interval
from kit.trials.response_levels import PROCESS
from kit.trials.wording import ABSENT, plural
from kit.units import plain

if TYPE_CHECKING:
    from kit.formula.prices import Price

_KEEP = (
    "A proposal is a formula to try, kept by nobody: plan_variations or plan_batch makes a batch sheet of it. Make the "
    "control on the same day, and confirm a choice with new batches on another day."
)


def answer(found: NextTrials) -> Block:
    """The answer in sentences: the best so far, each proposal with its reason, what limits them.

    Parameters
    ----------
    found : NextTrials
    """
    limits = [listing("To be kept in mind", found.notes)] if found.notes else []
    if not found.suggestions:
        return Block((found.words, *limits))
    best = f"The best batch so far is {found.best}, desirability {found.best_desirability:.2f}"
    if found.best_desirability <= 0:
        best = "No batch so far meets every goal"
    told = [
        f"{best} (of what the {plural(len(found.batches), 'batch', 'batches')} together say of it, not of its reading "
        "alone).",
        *(f"{_head(place)}: {one.why}" for place, one in enumerate(found.suggestions, 1)),
        _KEEP,
    ]
    return Block((listing("What to make next", told), *limits))


def _head(place: int) -> str:
    return f"Suggestion {place}"


def proposal(found: NextTrials, place: int, base: Formula, prices: Mapping[str, Price]) -> Block:
    """One proposal: what changes, then what is predicted of it.

    Parameters
    ----------
    found : NextTrials
    place : int             From 1.
    base : Formula          What it is changed from, the control's.
    prices : mapping        Of materials; empty where none are known.
    """
    one = found.suggestions[place - 1]
    parts = [_lines(one, place, base), _settings(found, one, place, base), _predicted(found, one, place, prices)]
    return Block(tuple(part for part in parts if part is not None))


def reviews(found: NextTrials) -> Block:
    """What the reviews of the proposals say, each finding once with the proposals it is about.

    Parameters
    ----------
    found : NextTrials
    """
    told: dict[str, list[str]] = {}
    for place, one in enumerate(found.suggestions, 1):
        for item in one.review.findings:
            told.setdefault(f"{item.severity.upper()}: {item.words}", []).append(str(place))
    every = len(found.suggestions)
    items = [text if len(of) == every else f"{text} (suggestion {', '.join(of)})" for text, of in told.items()]
    return Block((listing("Review of the suggestions", items),) if items else ())


def _lines(one: Suggestion, place: int, base: Formula) -> Table | str:
    changed = diff(base, one.formula)
    if not changed.lines:
        return f"{_head(place)} changes no line: it is the control's formula, {base.title}."
    rows = [
        (
            item.material.name,
            item.phase,
            f"{item.words()}{' (takes up the change)' if item.absorbs or item.material.is_water else ''}",
        )
        for item in changed.lines
    ]
    rows.append(("total", "", f"{plain(one.formula.composition().total)} %"))
    return Table(
        ("material", "phase", f"{base.title} → {one.formula.version}, % w/w as supplied"),
        rows,
        title=f"{_head(place)}: lines that change from the control",
        note=f"{plural(changed.identical, 'line')} identical.",
    )


def _settings(found: NextTrials, one: Suggestion, place: int, base: Formula) -> Table | None:
    """Settings of the making that are factors: control and proposal; None without any."""
    rows = []
    for factor in found.space.factors:
        if factor.kind != PROCESS or factor.setting is None:
            continue
        before = factor.setting.value(base.steps)
        told = "not planned" if before is None else plain(before)
        rows.append((factor.head, told, short(one.levels[factor.name], 4)))
    if not rows:
        return None
    title = f"{_head(place)}: settings of the making"
    return Table(("setting", "control", "proposal"), rows, title=title, numeric=frozenset({1, 2}))


def _predicted(found: NextTrials, one: Suggestion, place: int, prices: Mapping[str, Price]) -> Table:
    rows: list[tuple[object, ...]] = [
        (goal.name, interval(one.pick, goal), goal.goal.words, _own(one, goal)) for goal in found.goals
    ]
    ph = one.ph
    told = f"{ph.value} ({ph.low} to {ph.high}; {ph.reason})" if ph.is_known else f"NOT COMPUTED ({ph.reason})"
    rows.append(("pH, predicted from the formula", told, _ph_spec(one), ABSENT))
    rows.append(("all goals together", ABSENT, ABSENT, f"{one.pick.desirability:.2f}"))
    where = Cell(f"OUTSIDE: {one.outside}", "flag") if one.outside else "inside"
    rows.append(("tried region", where, ABSENT, ABSENT))
    rows.append(("cost of materials", _cost(one.formula, prices), ABSENT, ABSENT))
    rows.append(("review", f"{one.review.count()}. {one.review.closing}".strip(), ABSENT, ABSENT))
    head = ("what", "predicted", "wanted", "desirability")
    return Table(head, rows, title=f"{_head(place)}: what is predicted", numeric=frozenset({3}))


def _own(one: Suggestion, goal) -> str:
    return f"{float(goal.goal.of([one.pick.middle[goal.name]])[0]):.2f}"


def _ph_spec(one: Suggestion) -> str:
    lines = [line for line in one.formula.spec if line.property.lower() == "ph"]
    return lines[0].words() if lines else ABSENT


def _cost(formula: Formula, prices: Mapping[str, Price]) -> str:
    if not prices:
        return "not known: no prices were given"
    try:
        cost = formula.cost(prices=prices)
    except KitError as problem:
        return f"not known: {problem.what}"
    return cost.words(cost.materials_per_kg, "kg")
