"""A response of the record: how a property goes with what was varied, on the levels as made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.labbook.source import open_source
from kit.science.model_choice import ModelChoice, TriedModel, choose_model
from kit.science.response_model import ResponseModel
from kit.science.response_model import fit_response as fit_model
from kit.show import Block, Table, listing
from kit.trials import response_effects, response_tables
from kit.trials.response_coordinates import Coordinates, coordinates
from kit.trials.response_data import (
    ResponseData,
    arms_of,
    collect,
    day_words,
    find_result,
    made_otherwise,
    results_of,
)
from kit.trials.response_fitted import Fitted
from kit.trials.response_levels import MADE, MEANT, LevelFactor, read_level_factors, several
from kit.trials.response_models import candidates
from kit.trials.results import LN, PropertyResult

if TYPE_CHECKING:
    from kit.science.two_level_effects import TwoLevelEffects

AUTO, BLOCKS, NO_BLOCKS = "auto", "blocks", "none"
_SHOWN = 0.05
_LEFT = 2  # degrees of freedom that must be left before days become blocks unasked (own choice)


@dataclass(frozen=True, repr=False)
class Response(Fitted):
    """How one property goes with the factors, with the tables that show it; its data are those of `Fitted`."""

    def two_level(self) -> TwoLevelEffects:
        """The effects of corners and centres, where the batches are such a design; its `reason` says where not."""
        return response_effects.two_level(self)

    def coefficients_table(self) -> Table:
        """Every term with its error, t and p."""
        return response_tables.coefficients_table(self)

    def batches_table(self) -> Table:
        """Every batch: levels as made, value, what the model says, residual, leverage."""
        return response_tables.batches_table(self)

    def effects_table(self) -> Table:
        """What each factor does from its lowest to its highest level, others held."""
        return response_effects.effects_table(self)

    def two_level_table(self) -> Table | None:
        """Effects of corners and centres, and the curvature; None where the batches are no such design."""
        return response_effects.two_level_table(self)

    def held_out_table(self) -> Table | None:
        """Batches kept back: inside the interval of one new batch or not; None without any."""
        return response_tables.held_out_table(self)

    def unused_table(self) -> Table | None:
        """Batches and readings that are in no fit, and why; None without any."""
        return response_tables.unused_table(self)

    @property
    def words(self) -> str:
        """The fit in a few sentences."""
        return response_tables.words(self)

    def _parts(self) -> tuple[object, ...]:
        found: list[object] = [self.words]
        if self.is_fitted:
            found += [self.coefficients_table(), self.effects_table()]
            found += [table for table in (self.two_level_table(),) if table is not None]
            found.append(self.batches_table())
        found += [table for table in (self.held_out_table(), self.unused_table()) if table is not None]
        if self.notes:
            found.append(listing("To be kept in mind", self.notes))
        return tuple(found)

    def _repr_html_(self) -> str:
        return Block(self._parts())._repr_html_()

    def __str__(self) -> str:
        return str(Block(self._parts()))

    __repr__ = __str__


def fit_response(
    source: object,
    study: str,
    property: str,
    age: str,
    factors: Sequence[str] | Mapping[str, object],
    *,
    model: str = "",
    mixture: bool | Sequence[str] | None = None,
    method: str = "",
    trials: Sequence[str] = (),
    without: Sequence[str] = (),
    levels: str = MADE,
    days: str = AUTO,
) -> Response:
    """Fit how a property goes with what was varied, from the record.

    Parameters
    ----------
    source : str, Path, Labbook or Source   A lab book, a snapshot, or something already open.
    study : str                             Its name.
    property, age : str                     "viscosity", "72 h".
    factors : sequence or dict              Material keys and settings of the making, "combine rpm", with bounds where
                                            they matter: "cetearyl-alcohol: 4 to 6 %". Materials count as active matter
                                            where the supply form carries some.
    model : str                             As `candidates` of `response_models` names them; empty: chosen by AICc.
    mixture : bool or sequence              Parts of a mixture; None: materials of one constant total are.
    method : str                            Of the readings, where there are several.
    trials : sequence of str                Only these trials or batches; the whole study when empty.
    without : sequence of str               Trials or batches kept back, to check the model by.
    levels : str                            "made" (what went into the batch) or "meant".
    days : str                              "auto": days become blocks where their effect is shown and enough is left;
                                            "blocks" or "none".

    Returns
    -------
    Response   Batch means by the rules of a comparison: flagged and not comparable readings are left out and listed.
               Where the batches allow no model its `reason` says what is missing.

    Raises
    ------
    KitError      `response.property`, `response.factor`, `response.factors`, `response.mixture`, `response.model`,
                  `response.trial`, `response.days`, `response.levels`.
    RecordError   `labbook.study`, and those of `open_source`.
    """
    opened = open_source(source)
    view = opened.study(study)
    trials, without = several(trials), several(without)
    arms = arms_of(opened, view)
    result = find_result(results_of(opened, view, arms), property, age, method)
    every = [batch for arm in arms for batch in arm.batches]
    chosen = [batch for batch in every if not trials or {batch.name, batch.trial} & set(trials)]
    found = read_level_factors(arms[0].formula, chosen or every, factors, mixture)
    data = collect(result, arms, found, trials=trials, without=without, state=_state(levels))
    if not data.batches:
        return _unread(view.name, result, found, data, levels)
    space = coordinates(found, [batch.meant for batch in data.batches], [batch.levels for batch in data.batches])
    views = {batch.name: batch for batch in every}
    choice, told = fit_data(data, space, model=model, days=days)
    coincide = day_words(found, data.batches)
    notes = (
        *_total_words(space, data),
        *_never_meant(space, data),
        *coincide.values(),
        *made_otherwise(found, data.batches, data.held_out, views),
        *choice.model.notes,
    )
    return Response(view.name, result, space, data, choice, levels, told, notes, tuple(coincide))


def fit_data(data: ResponseData, space: Coordinates, *, model: str = "", days: str = AUTO) -> tuple[ModelChoice, str]:
    """Fit collected batches: the chosen model, and what the days do in words.

    Parameters
    ----------
    data : ResponseData
    space : Coordinates
    model, days : str     As of `fit_response`.

    Raises
    ------
    KitError   `response.model`, `response.days`.
    """
    if days not in (AUTO, BLOCKS, NO_BLOCKS):
        raise KitError(
            f"days={days!r} is not known", allowed=", ".join((AUTO, BLOCKS, NO_BLOCKS)), code="response.days"
        )
    batches, result = data.batches, data.result
    points = space.to_model([batch.levels for batch in batches]).tolist()
    values = [batch.value for batch in batches]
    options = {
        "log": result.scale == LN,
        "repeats": [(batch.version, *batch.meant) for batch in batches],
        **_history(result),
    }
    choice = choose_model(points, values, space.names, candidates(space, model), **options)
    if model and choice.name:
        choice = replace(choice, words=f"{choice.name}, as asked")
    if not choice.model.is_fitted:
        return choice, ""
    return _with_days(choice, points, values, [batch.day for batch in batches], days, options)


def _history(result: PropertyResult) -> dict[str, float]:
    """The scatter of batches known from earlier studies; nothing where it rests on this one alone."""
    scatter = result.scatter
    if scatter.sd and any(told.startswith("study ") for told in scatter.rests_on):
        return {"known_sd": scatter.sd, "known_df": scatter.df}
    return {}


def _with_days(
    choice: ModelChoice,
    points: Sequence[Sequence[float]],
    values: Sequence[float],
    on: Sequence[str],
    days: str,
    options: Mapping[str, object],
) -> tuple[ModelChoice, str]:
    """Days as blocks where asked for, or where they are shown and enough is left."""
    plain = choice.model
    count = len(set(on))
    if count < 2:
        return choice, "All batches were made on one day: what another day does is not known."
    blocked = fit_model(points, values, plain.terms, plain.names, blocks=on, **options)
    if not blocked.is_fitted or blocked.df < 1:
        why = blocked.reason or "nothing would be left to tell the scatter"
        return choice, f"The {count} days are not taken out: {why}."
    p = _day_p(plain, blocked)
    size = max(blocked.block_effects.values(), key=abs)
    told = f"{_size(size, plain.log)} at most, against the mean of the days"
    if days == BLOCKS or (days == AUTO and p < _SHOWN and blocked.df >= _LEFT):
        name = f"{choice.name}, days as blocks"
        tried = (*choice.tried, TriedModel(name, blocked))
        words = f"The {count} days are blocks: {told} (F test, p = {p:.2g})."
        return ModelChoice(choice.name, blocked, tried, choice.words), words
    if p < _SHOWN:
        return choice, f"A day effect is shown ({told}, p = {p:.2g}); the days are not taken out."
    return choice, f"No day effect is shown ({told}, p = {p:.2g}); the days are not taken out."


def _day_p(plain: ResponseModel, blocked: ResponseModel) -> float:
    from scipy.special import fdtrc

    more = plain.df - blocked.df
    rest = blocked.residual_sd**2 * blocked.df
    gained = plain.residual_sd**2 * plain.df - rest
    if rest <= 0:
        return 1.0 if gained <= 0 else 0.0
    return float(fdtrc(more, blocked.df, max(gained, 0.0) / more / (rest / blocked.df)))


def _size(effect: float, log: bool) -> str:
    import math

    if not log:
        return f"{effect:+.2g}"
    pct = 100 * math.expm1(effect)
    return f"{pct:+.0f} %" if abs(pct) >= 1 else "less than 1 %"


def _total_words(space: Coordinates, data: ResponseData) -> tuple[str, ...]:
    """What the mixture part came out at, where that is not what was meant."""
    if not space.parts:
        return ()
    made = [sum(batch.levels[: space.parts]) for batch in data.batches]
    if max(abs(total - space.total) for total in made) <= 0.005 * space.total:
        return ()
    return (
        f"The parts of the mixture came out at {min(made):.2f} to {max(made):.2f} % together, {space.total:.2f} % as "
        "meant: the model goes by their shares, and what the total does is not in it.",
    )


def _never_meant(space: Coordinates, data: ResponseData) -> list[str]:
    """Factors that were always meant the same, in words."""
    return [
        f"{name} was meant the same in every batch: what is told of it rests on how it came out."
        for place, name in enumerate(space.names)
        if len({batch.meant[place] for batch in data.batches}) == 1 < len(data.batches)
    ]


def _state(levels: str) -> str:
    if levels not in (MADE, MEANT):
        raise KitError(f"levels={levels!r} are not known", allowed=f"{MADE}, {MEANT}", code="response.levels")
    return levels


def _unread(
    study: str, result: PropertyResult, factors: Sequence[LevelFactor], data: ResponseData, state: str
) -> Response:
    """Nothing to fit: why, batch by batch."""
    told = [f"{item.batch}: {item.why}" for item in data.unused]
    told += [f"{item.batch}: kept back" for item in data.held_out]
    why = "; ".join(told) or "no batch was made"
    reason = (
        f"no batch has both a {result.property} at {result.age} that counts and its levels ({why}). Read it by the "
        "method of the study, and record what was weighed and how it was made"
    )
    space = coordinates(factors, [[0.0] * len(factors)])
    model = ResponseModel(space.names, (), (), (), result.scale == LN, reason)
    return Response(study, result, space, data, ModelChoice("", model, (), "nothing to fit"), state, "", ())
