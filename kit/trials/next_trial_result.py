"""What to make next, as it is shown: suggestions with their reasons, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.formula.composition import show_pct
from kit.formula.formula import Formula
from kit.formula.predict import Prediction
from kit.formula.rules.findings import Review
from kit.science.number_text import short
from kit.show import Block, Table, listing
from kit.trials.next_trial_choice import Pick
from kit.trials.next_trial_goals import ReadGoal
from kit.trials.next_trial_words import interval
from kit.trials.response_data import ResponseBatch
from kit.trials.wording import ABSENT, plural

if TYPE_CHECKING:
    from kit.trials.response_coordinates import Coordinates


@dataclass(frozen=True, repr=False)
class Suggestion:
    """One trial to make.

    Parameters
    ----------
    formula : Formula          Balanced to 100.00, its steps set; no stop in its review.
    levels : dict              Factor to its level as meant. [unit of each]
    pick : Pick                What is predicted of it.
    ph : Prediction            Predicted pH, settled.
    review : Review            Without a stop.
    outside : str              Why it lies outside the tried region; empty inside.
    why : str                  The reason, in words.
    """

    formula: Formula
    levels: dict[str, float]
    pick: Pick
    ph: Prediction
    review: Review
    outside: str
    why: str

    def __str__(self) -> str:
        return self.why

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return Block((self.why, self.formula.composition().table()))._repr_html_()


@dataclass(frozen=True, repr=False)
class NextTrials:
    """What to make next, or why nothing can be suggested.

    Parameters
    ----------
    study : str                       Its name.
    suggestions : tuple               Best first; empty with a `reason`.
    goals : tuple of ReadGoal         What is wanted.
    space : Coordinates               The factors and their bounds.
    best : str                        The best batch so far, by what the surfaces say of it; empty where none.
    best_desirability : float, None   Of it.
    batches : tuple of ResponseBatch  What it rests on.
    reason : str                      Why there is no suggestion.
    notes : tuple of str              What limits it.
    """

    study: str
    suggestions: tuple[Suggestion, ...]
    goals: tuple[ReadGoal, ...]
    space: Coordinates
    best: str
    best_desirability: float | None
    batches: tuple[ResponseBatch, ...]
    reason: str
    notes: tuple[str, ...]

    @property
    def formulas(self) -> tuple[Formula, ...]:
        """The suggested formulas, ready for `plan_batch`."""
        return tuple(one.formula for one in self.suggestions)

    @property
    def words(self) -> str:
        """The answer in a few sentences."""
        return _words(self)

    def table(self) -> Table:
        """A column a suggestion: levels, lines to change, predictions, pH, review, reason."""
        return _table(self)

    def _parts(self) -> tuple[object, ...]:
        parts: list[object] = [self.words]
        if self.suggestions:
            parts.append(self.table())
        parts.append(listing("What is wanted", [goal.words for goal in self.goals]))
        if self.notes:
            parts.append(listing("To be kept in mind", self.notes))
        return tuple(parts)

    def _repr_html_(self) -> str:
        return Block(self._parts())._repr_html_()

    def __str__(self) -> str:
        return str(Block(self._parts()))

    __repr__ = __str__


def _words(found: NextTrials) -> str:
    """The answer in a few sentences."""
    head = f"Next trial of study {found.study}, from {plural(len(found.batches), 'batch', 'batches')}"
    if not found.suggestions:
        return f"{head}: NO SUGGESTION. {found.reason}."
    best = f"The best batch so far is {found.best}, desirability {found.best_desirability:.2f}"
    if found.best_desirability <= 0:
        best = "No batch so far meets every goal"
    told = " ".join(f"{place}: {one.why}" for place, one in enumerate(found.suggestions, 1))
    count = plural(len(found.suggestions), "suggestion")
    return f"{head}. {best} (of what the batches together say of it, not of its reading alone). {count}. {told}"


def _table(found: NextTrials) -> Table:
    """A column a suggestion."""
    shown = found.suggestions
    rows: list[tuple[str, ...]] = []
    for factor in found.space.factors:
        rows.append((f"{factor.head}, as meant", *(short(one.levels[factor.name], 4) for one in shown)))
    for key, name in _changed(shown):
        rows.append((f"{name}, % w/w", *(show_pct(one.formula.composition().pct(key)) for one in shown)))
    rows.append(("total, % w/w", *(show_pct(one.formula.composition().total) for one in shown)))
    for goal in found.goals:
        rows.append((f"predicted {goal.name}", *(interval(one.pick, goal) for one in shown)))
    rows.append(("predicted pH", *(_ph(one) for one in shown)))
    rows.append(("desirability of the prediction", *(f"{one.pick.desirability:.2f}" for one in shown)))
    rows.append(("review", *(one.review.count() for one in shown)))
    rows.append(("coded limits", *(one.review.closing or ABSENT for one in shown)))
    rows.append(("why", *(one.why for one in shown)))
    heads = ("", *(f"suggestion {place}" for place in range(1, len(shown) + 1)))
    return Table(heads, rows, f"Next trial of study {found.study}")


def _ph(one: Suggestion) -> str:
    ph = one.ph
    return f"{ph.value} ({ph.low} to {ph.high}; {ph.reason})" if ph.is_known else f"NOT COMPUTED ({ph.reason})"


def _changed(shown: Sequence[Suggestion]) -> list[tuple[str, str]]:
    """Materials that a suggestion is told by: those of the factors, and what takes up the change."""
    keys = {}
    for one in shown:
        for material in one.formula.composition().materials():
            if material.key in one.levels or material.is_water:
                keys[material.key] = material.name
    return list(keys.items())
