"""What pH readings on known compositions say of what is not known: one update over all of them.

Pure: compositions and readings in, frozen knowledge out. `kit.trials.learned` gets them from a lab book.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kit.errors import KitError
from kit.formula.aqueous import aqueous
from kit.formula.composition import Composition
from kit.formula.knowledge import Knowledge, LearnedReading, LeftOutReading, Unknown
from kit.formula.ph_priors import reading_noise_sd
from kit.science.gaussian_update import Posterior, update
from kit.trials.learned_words import asked, remarks

# Readings of one sitting share the calibration's part of a reading's scatter: 0.04 of 0.05, and 0.03 is each one's own
# (from memory: a check buffer comes back within 0.05).
_SHARED_PART, _OWN_PART = 0.8, 0.6

_CONTENTS = ("latent", "buffering")  # below zero they have no meaning, and count as zero in a prediction
_ROUNDING = 0.2  # of the prior's SD: how far around zero the corner is rounded off


@dataclass(frozen=True)
class Point:
    """One pH on one known composition.

    Parameters
    ----------
    batch : str                 "LIN-03/1", or the name of a titrated sample.
    composition : Composition   Of what the electrode stood in. [% w/w]
    ph : float                  As read.
    temp_c : float              Temperature of the sample. [degC]
    age : str                   In words: "24 h", "in process".
    age_h : float, None         Age when read; None where it is not known. [h]
    entry : int                 Number of its entry in the batch; 0 where it is in no record.
    what : str                  "reading", or which addition of a titration.
    sitting : str               Readings of one sitting share the error of their calibration; empty for one by itself.
    other_age : bool            Whether it was read at another age than the rest, such as before making was finished:
                                what is latent then is not what is latent later.
    """

    batch: str
    composition: Composition
    ph: float
    temp_c: float = 25.0
    age: str = ""
    age_h: float | None = None
    entry: int = 0
    what: str = "reading"
    sitting: str = ""
    other_age: bool = False


def learn(
    points: Sequence[Point],
    *,
    left_out: Sequence[LeftOutReading] = (),
    age_h: float | None = None,
    other_ages: Sequence[str] = (),
) -> Knowledge:
    """Learn from pH readings what the model leaves open.

    Parameters
    ----------
    points : sequence of Point   Readings and points of titrations.
    left_out : sequence          Readings that do not count, with the reason: carried along to be told.
    age_h : float                Age that the readings have; a latent share belongs to it. [h]
    other_ages : sequence        Ages at which more was read, as they are asked for: "0 h".

    Returns
    -------
    Knowledge   Means and covariance of every unknown of these compositions, and what it rests on.

    Raises
    ------
    KitError   `learn.nothing` without a point; `learn.no_unknown` where nothing in the compositions is open.

    Notes
    -----
    Prior and readings are brought together by `kit.science.gaussian_update.update`. A reading scatters about the model
    by what `kit/data/ph_priors.toml` says, 0.05; readings of one sitting share four fifths of it. What is latent at
    another age and the calibration of a sitting are found along the way and not kept.
    """
    if not points:
        raise _nothing(left_out, other_ages)
    model = _Model(points, age_h)
    posterior = update(model.prior_mean, model.prior_cov, model.forward, [point.ph for point in points], model.noise_sd)
    learned = model.knowledge(posterior, tuple(left_out))
    if not other_ages:
        return learned
    return replace(learned, words=(*learned.words, f"More was read at other ages: {asked(other_ages)}."))


class _Model:
    """Unknowns of all points side by side, and what an electrode would show for any set of them."""

    def __init__(self, points: Sequence[Point], age_h: float | None) -> None:
        self._points, self._age_h = tuple(points), age_h
        self._waters = [aqueous(point.composition, age_h=point.age_h) for point in points]
        named = [
            [_at_its_age(unknown, point) for unknown in water.unknowns]
            for point, water in zip(points, self._waters, strict=True)
        ]
        self.unknowns = _side_by_side(named)
        if not self.unknowns:
            raise KitError(
                "nothing in these compositions is open: there is nothing to learn",
                where="learn_ph()",
                mend="compare the readings with the prediction instead",
                code="learn.no_unknown",
            )
        order = {name: place for place, name in enumerate(self.unknowns)}
        self._columns = [[order[unknown.name] for unknown in found] for found in named]
        sittings = Counter(point.sitting for point in points if point.sitting)
        shared = [sitting for sitting, count in sittings.items() if count > 1]
        self._sitting = {sitting: len(order) + place for place, sitting in enumerate(shared)}
        self._scatter = reading_noise_sd()

    @property
    def prior_mean(self) -> np.ndarray:
        return np.array([*(unknown.mean for unknown in self.unknowns.values()), *(0.0 for _ in self._sitting)])

    @property
    def prior_cov(self) -> np.ndarray:
        sds = [
            *(unknown.sd for unknown in self.unknowns.values()),
            *(_SHARED_PART * self._scatter for _ in self._sitting),
        ]
        return np.diag(np.square(sds))

    @property
    def noise_sd(self) -> np.ndarray:
        return self._scatter * np.array(
            [_OWN_PART if point.sitting in self._sitting else 1.0 for point in self._points]
        )

    def forward(self, theta: np.ndarray) -> np.ndarray:
        """What the electrode shows, (n, points), for unknowns (n, k)."""
        shown = [self._ph(place, theta) for place in range(len(self._points))]
        return np.column_stack(shown)

    def _ph(self, place: int, theta: np.ndarray) -> np.ndarray:
        water, point = self._waters[place], self._points[place]
        guesses = _not_below_zero(theta[:, self._columns[place]], water.unknowns)
        found = water.mixtures(guesses).solve(temp_c=point.temp_c).ph
        shared = theta[:, self._sitting[point.sitting]] if point.sitting in self._sitting else 0.0
        return np.broadcast_to(found, len(theta)) + shared

    def knowledge(self, posterior: Posterior, left_out: tuple[LeftOutReading, ...]) -> Knowledge:
        """What is kept: the unknowns that hold for other batches too."""
        kept = [place for place, name in enumerate(self.unknowns) if _AT not in name]
        unknowns = tuple(list(self.unknowns.values())[place] for place in kept)
        covariance = posterior.covariance[np.ix_(kept, kept)]
        readings = tuple(
            LearnedReading(
                batch=point.batch,
                entry=point.entry,
                age=point.age,
                value=point.ph,
                residual_before=float(posterior.prior_residuals[place]),
                residual_after=float(posterior.residuals[place]),
                what=point.what,
            )
            for place, point in enumerate(self._points)
        )
        return Knowledge(
            names=tuple(unknown.name for unknown in unknowns),
            mean=tuple(posterior.mean[kept]),
            covariance=tuple(map(tuple, covariance)),
            unknowns=unknowns,
            readings=readings,
            left_out=left_out,
            age_h=self._age_h,
            words=remarks(readings, unknowns, covariance, converged=posterior.converged),
        )


_NAMED = 4  # left-out readings that are named in an error; more of them are counted
_AT = ", at "  # in the name of what holds at one age only


def _at_its_age(unknown: Unknown, point: Point) -> Unknown:
    """The unknown under a name of its own where it holds for this point's age only."""
    if unknown.what == "latent" and point.other_age:
        return replace(unknown, name=f"{unknown.name}{_AT}{point.age_h:g} h")
    return unknown


def _not_below_zero(theta: np.ndarray, unknowns: Sequence[Unknown]) -> np.ndarray:
    """Guesses (n, k) with contents kept above zero without a kink, at which the search would stand still."""
    soft = theta.copy()
    for place, unknown in enumerate(unknowns):
        if unknown.what in _CONTENTS:
            soft[:, place] = (theta[:, place] + np.hypot(theta[:, place], _ROUNDING * unknown.sd)) / 2
    return soft


def _side_by_side(named: Sequence[Sequence[Unknown]]) -> dict[str, Unknown]:
    """Every unknown once, by name; of priors that differ from formula to formula the widest."""
    found: dict[str, Unknown] = {}
    for unknown in (unknown for unknowns in named for unknown in unknowns):
        if unknown.name not in found or unknown.sd > found[unknown.name].sd:
            found[unknown.name] = unknown
    return found


def _nothing(left_out: Sequence[LeftOutReading], other_ages: Sequence[str]) -> KitError:
    shown = [f"{left.batch}, pH {left.value:.2f}: {left.why}" for left in left_out[:_NAMED]]
    more = len(left_out) - len(shown)
    told = "; ".join([*shown, *([f"and {more} more"] if more else [])])
    return KitError(
        f"no pH reading can be learned from{f'; left out: {told}' if told else ''}",
        where="learn_ph()",
        allowed="readings that are unflagged, at the age asked for, with temperature and calibration",
        mend=f"learn from the age that was read, {asked(other_ages)}, or read again at the age asked for"
        if other_ages
        else "read the pH at the age asked for, or give titrations=",
        code="learn.nothing",
    )
