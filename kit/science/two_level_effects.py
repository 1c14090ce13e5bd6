"""Effects of a two-level design with repeated centre points: size, error, what would have been needed, curvature."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.model_terms import INTERCEPT, Term, model_matrix
from kit.science.response_input import observed
from kit.science.response_model import fit_response
from kit.science.statistics import PooledSD, pooled_sd

_CONFIDENCE = 0.95
_ROUNDING = 10 * 2.0**-52  # of the values: a scatter below it is none
_MIXED = 1e-9  # of an effect that takes up another: below it is rounding


@dataclass(frozen=True, slots=True)
class Effect:
    """What a factor does from its low to its high level, or an interaction, or the curvature.

    Parameters
    ----------
    name : str                    "speed", "speed * time", "curvature".
    effect : float                On the scale of the fit: ln units with `log`. [unit, or ln units]
    standard_error : float, None  None where no scatter is known.
    t, p : float, None            [-]
    needed : float, None          The least size that would be shown at 95 %, on the scale of the fit.
    same_as : tuple of str        Effects this design cannot tell from it: it takes them up, whole or in part.
    log : bool                    Whether the fit is on the ln scale.
    """

    name: str
    effect: float
    standard_error: float | None
    t: float | None
    p: float | None
    needed: float | None
    same_as: tuple[str, ...] = ()
    log: bool = False

    @property
    def is_shown(self) -> bool | None:
        """Whether it is larger than what is needed; None where no scatter is known."""
        return None if self.needed is None else abs(self.effect) > self.needed

    @property
    def change_pct(self) -> float | None:
        """The effect as a change of the response; only on the ln scale. [%]"""
        return 100 * math.expm1(self.effect) if self.log else None

    @property
    def needed_pct(self) -> float | None:
        """What is needed as a rise of the response; only on the ln scale. [%]"""
        return 100 * math.expm1(self.needed) if self.log and self.needed is not None else None


@dataclass(frozen=True, slots=True)
class TwoLevelEffects:
    """The effects of a two-level design.

    Parameters
    ----------
    effects : tuple of Effect   Factors first, then interactions.
    curvature : Effect, None    Centre less corners; None without a centre point.
    sd, df : float, int         Scatter of batches made again, on the scale of the fit; sd is None where it is not
                                known.
    corners, centres : int      Batches of either kind.
    reason : str                What is missing; empty where every effect has its error.
    """

    effects: tuple[Effect, ...]
    curvature: Effect | None
    sd: float | None
    df: int
    corners: int
    centres: int
    reason: str = ""

    def effect(self, name: str) -> Effect:
        """One effect by its name.

        Raises
        ------
        KitError   `effects.name` with those there are.
        """
        for found in self.effects:
            if found.name == name:
                return found
        raise KitError(
            f"there is no effect {name!r}",
            allowed="; ".join(found.name for found in self.effects),
            mend="name one of these",
            code="effects.name",
        )


def two_level_effects(
    coded: Sequence[Sequence[int]],
    y: Sequence[float],
    names: Sequence[str],
    *,
    log: bool = False,
    known: PooledSD | None = None,
) -> TwoLevelEffects:
    """Effects of the corners, judged by the scatter of settings that were made again.

    Parameters
    ----------
    coded : (batches, factors)   -1, 0 or 1: low, centre, high; a centre point is 0 in every factor.
    y : sequence of float        Observed. [unit]
    names : sequence of str      Factors.
    log : bool                   Work on ln y.
    known : PooledSD             Scatter known from elsewhere, on the scale of the fit, in place of that of the repeats.

    Returns
    -------
    TwoLevelEffects   Interactions of all orders as far as the corners tell them; those that they do not tell apart are
                      named beside every effect that takes them up.

    Raises
    ------
    KitError   `effects.levels` for a level that is none of the three; `model.values`; `model.points`.

    Notes
    -----
    An effect is the mean of the batches at the high level less that at the low level, where every corner was made
    equally often; else it is the least-squares one. The curvature is the mean of the centre less that of the corners
    (Box, Hunter and Hunter, Statistics for Experimenters).
    """
    if any(level not in (-1, 0, 1) for point in coded for level in point):
        raise KitError(
            "a two-level design has the levels -1, 0 and 1 only",
            where="two_level_effects()",
            mend="code low, centre and high so",
            code="effects.levels",
        )
    values = observed(y, coded, log, where="two_level_effects()")
    rows = [(tuple(int(level) for level in point), value) for point, value in zip(coded, values, strict=True)]
    corners = [(point, value) for point, value in rows if all(point)]
    centres = [value for point, value in rows if not any(point)]
    scatter, unknown = _scatter(rows, known)
    terms, aliases = _terms([point for point, _ in corners], names)
    if not terms:
        reason = "no corner was made with every factor at its low or its high level"
        return TwoLevelEffects((), None, scatter.sd, scatter.df, len(corners), len(centres), reason)
    model = fit_response(
        [point for point, _ in corners],
        [value for _, value in corners],
        terms,
        names,
        known_sd=scatter.sd,
        known_df=scatter.df or None,
    )
    effects = tuple(
        _effect(
            found.term.name,
            2 * found.estimate,
            _error(model.inverse[index][index], scatter.sd, 2.0),
            scatter,
            log,
            aliases[found.term.name],
        )
        for index, found in enumerate(model.coefficients)
        if found.term != INTERCEPT
    )
    return TwoLevelEffects(
        effects,
        _curvature([value for _, value in corners], centres, scatter, log),
        scatter.sd,
        scatter.df,
        len(corners),
        len(centres),
        unknown,
    )


def _scatter(rows: Sequence[tuple[tuple[int, ...], float]], known: PooledSD | None) -> tuple[PooledSD, str]:
    """The scatter that effects are judged by, its SD None where there is none, and why."""
    found = known or pooled_sd(_alike(rows))
    size = max((abs(value) for _, value in rows), default=0.0)
    if found.sd is None:
        return found, "nothing was made again: the scatter of batches is not known, and no effect can be judged"
    if found.sd <= (0.0 if known else _ROUNDING * size):
        alike = "what was made again agrees to the last digit: the scatter of batches is not known, and no effect can"
        return PooledSD(None, found.df), f"{alike} be judged"
    return found, ""


def _alike(rows: Sequence[tuple[tuple[int, ...], float]]) -> list[list[float]]:
    groups: dict[tuple[int, ...], list[float]] = {}
    for point, value in rows:
        groups.setdefault(point, []).append(value)
    return list(groups.values())


def _terms(corners: Sequence[Sequence[int]], names: Sequence[str]) -> tuple[list[Term], dict[str, tuple[str, ...]]]:
    """Effects as far as these corners tell them, and for each those that they cannot tell from it."""
    import numpy as np

    if not corners:
        return [], {}
    every = [
        Term(tuple((name, 1) for name in chosen))
        for size in range(1, len(names) + 1)
        for chosen in itertools.combinations(names, size)
    ]
    columns = {term: model_matrix([term], names, corners)[:, 0] for term in every}
    kept: list[Term] = [INTERCEPT]
    matrix = np.ones((len(corners), 1))
    aliases: dict[str, tuple[str, ...]] = {INTERCEPT.name: ()}
    for term in every:
        wider = np.column_stack([matrix, columns[term]])
        if np.linalg.matrix_rank(wider) == wider.shape[1]:
            kept, matrix = [*kept, term], wider
            aliases[term.name] = ()
            continue
        for other, share in zip(kept, np.linalg.lstsq(matrix, columns[term], rcond=None)[0], strict=True):
            if other != INTERCEPT and abs(share) > _MIXED:
                aliases[other.name] = (*aliases[other.name], term.name)
    return (kept, aliases) if len(kept) > 1 else ([], {})


def _error(leverage: float, sd: float | None, factor: float) -> float | None:
    return None if sd is None else factor * sd * math.sqrt(leverage)


def _effect(
    name: str, effect: float, error: float | None, scatter: PooledSD, log: bool, same_as: tuple[str, ...] = ()
) -> Effect:
    from scipy.special import stdtr, stdtrit

    if not error:
        return Effect(name, effect, None, None, None, None, same_as, log)
    t = effect / error
    needed = float(stdtrit(scatter.df, (1 + _CONFIDENCE) / 2)) * error
    return Effect(name, effect, error, t, float(2 * stdtr(scatter.df, -abs(t))), needed, same_as, log)


def _curvature(corners: Sequence[float], centres: Sequence[float], scatter: PooledSD, log: bool) -> Effect | None:
    if not centres or not corners:
        return None
    difference = math.fsum(centres) / len(centres) - math.fsum(corners) / len(corners)
    error = None if scatter.sd is None else scatter.sd * math.sqrt(1 / len(centres) + 1 / len(corners))
    return _effect("curvature", difference, error, scatter, log)
