"""Did the pace of cooling change within the last few readings? A lid, a draught, or the network that sets."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kit.science.cooling_posterior import Fits, Noise, Readings, fit, likeliest_thermometer, noise, readings
from kit.science.cooling_prior import THERMOMETER, Hypotheses, plain_hypotheses
from kit.science.cooling_search import Log
from kit.science.cooling_slopes import plain_traces
from kit.show import Worded

_WINDOW = 12
_NEWEST = 3  # intervals in which a change is looked for
_PRIOR = 0.56  # chance of a change of pace in them: high, for a draught not seen spoils more than a false alarm
_LIKELY = 0.5
_FEWEST = 5


@dataclass(frozen=True, slots=True, repr=False)
class PaceChanged(Worded):
    """The batch cools faster or slower since a moment within the last few readings.

    Parameters
    ----------
    index : int                      Number of the reading after which it came.
    after_min, before_min : float    The readings the change lies between. [min]
    factor : float                   Rate now over rate before. [-]
    factor_low, factor_high : float  Nine times in ten. [-]
    chance : float                   That the pace changed at all. [-]
    """

    index: int
    after_min: float
    before_min: float
    factor: float
    factor_low: float
    factor_high: float
    chance: float

    @property
    def slower(self) -> bool:
        """Whether it cools more slowly since."""
        return self.factor < 1

    @property
    def words(self) -> str:
        """What that may be."""
        if self.slower:
            return "cools more slowly: covered, stirred less, or setting?"
        return "cools faster: uncovered, a draught, a colder bath, or set through?"


def pace_change(log: Log) -> PaceChanged | None:
    """The change of pace in the newest readings, if one is likelier than not.

    Parameters
    ----------
    log : Log   The readings; its last dozen are looked at.

    Notes
    -----
    Newton's law without a shoulder on the window, with and without a change in one of the last three intervals. It does
    not tell a lid from the setting: both slow the batch down. It is meant to be quick: on simulated batches that nobody
    touched, and that do not set, it is wrong at 8 readings in a hundred, at 14 where they steam.
    """
    return recent_paces(log, 1)[-1]


def recent_paces(log: Log, looks: int = 6) -> tuple[PaceChanged | None, ...]:
    """What `pace_change` says at the newest readings, one after the other; the last is the newest.

    Parameters
    ----------
    log : Log     The readings.
    looks : int   How many readings to step back.
    """
    ends = range(max(_FEWEST, len(log.times_min) - looks + 1), len(log.times_min) + 1)
    if not ends:
        return (None,)
    windows = [_Window(log, end) for end in ends]
    scatters = [window.first_scatter() for window in windows]
    found = _fits(windows, scatters)
    scatters = [
        window.scatter_of(level, before) for window, level, before in zip(windows, found, scatters, strict=True)
    ]
    found = _fits(windows, scatters, np.concatenate([level.best for level in found]))
    return tuple(window.judged(level) for window, level in zip(windows, found, strict=True))


class _Window:
    """The readings that one look takes in."""

    def __init__(self, log: Log, end: int) -> None:
        self.first = max(end - _WINDOW, 0)
        self.log, self.temps_c, self.room = log, log.temps_c[self.first : end], log.room
        self.times_min = log.times_min[self.first : end] - log.times_min[self.first]
        self.places = tuple(range(max(1, len(self.times_min) - 1 - _NEWEST), len(self.times_min) - 1))

    def supposed(self) -> Hypotheses:
        return plain_hypotheses(self.times_min, float(self.temps_c[0]), self.room, self.places)

    def first_scatter(self) -> Noise:
        above = np.maximum(self.temps_c - (21.0 if self.room is None else self.room[0]), 2.0)
        times = self.times_min - self.times_min.mean()
        rate = -(times @ np.log(above)) / (times @ times)
        return noise(self.times_min, -max(rate, 1e-4) * above, THERMOMETER[0])

    def scatter_of(self, level: Fits, before: Noise) -> Noise:
        fitted = level.fitted_c[int(np.argmax(level.log_evidence)), : len(self.temps_c)]
        return replace(before, thermometer_c=likeliest_thermometer(self.temps_c - fitted, before))

    def judged(self, level: Fits) -> PaceChanged | None:
        odds = np.exp(level.log_evidence[1:] - level.log_evidence[0]) * _PRIOR / (1 - _PRIOR) / (2 * len(self.places))
        chance = float(odds.sum() / (1 + odds.sum()))
        if chance <= _LIKELY:
            return None
        best = int(np.argmax(odds)) + 1
        return _told(level, best, self.first + level.hypotheses.changes[best][0][0], self.log, chance)


def _fits(windows: list[_Window], scatters: list[Noise], start: np.ndarray | None = None) -> list[Fits]:
    """Every hypothesis of every window in one go, then parted again."""
    parts = [window.supposed() for window in windows]
    owner = np.repeat(np.arange(len(windows)), [len(part.mean) for part in parts])
    given = Hypotheses(
        *(np.concatenate([getattr(part, name) for part in parts]) for name in ("mean", "sd", "log_chance", "sets")),
        tuple(where for part in parts for where in part.changes),
    )
    width = max(len(window.times_min) for window in windows)
    times = np.stack([np.pad(window.times_min, (0, width - len(window.times_min)), "edge") for window in windows])
    read = [readings(window.temps_c, scatter, width) for window, scatter in zip(windows, scatters, strict=True)]
    every = Readings(*(np.concatenate([getattr(part, name) for part in read]) for name in Readings.__slots__))
    found = fit(given, every.of(owner), lambda x, which: plain_traces(x, times[owner[which]]), start)
    return [found.part(owner == number) for number in range(len(windows))]


def suspects(paces: tuple[PaceChanged | None, ...]) -> frozenset[int]:
    """Numbers of the readings after which the pace may have changed: where it was seen, and one before.

    Parameters
    ----------
    paces : tuple of PaceChanged or None   From `recent_paces`.
    """
    seen = {pace.index for pace in paces if pace is not None}
    return frozenset((seen | {index - 1 for index in seen}) - {0})


def _told(level: Fits, index: int, place: int, log: Log, chance: float) -> PaceChanged:
    mean, sd = level.best[index, -2], np.sqrt(level.covariance[index, -2, -2])
    low, middle, high = np.exp([mean - 1.645 * sd, mean, mean + 1.645 * sd])
    ends = float(log.times_min[place]), float(log.times_min[place + 1])
    return PaceChanged(place, *ends, float(middle), float(low), float(high), chance)
