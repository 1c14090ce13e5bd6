"""When will the batch be at a temperature? Live from the readings so far, with an interval that narrows."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kit.errors import KitError
from kit.science.cooling_draws import NEGLIGIBLE, Draws, propose, weigh
from kit.science.cooling_law import AMBIENT, LATENT, NAMES, RATE, SETTING
from kit.science.cooling_pace import PaceChanged, recent_paces, suspects
from kit.science.cooling_prior import CLOCK_VARIANCE_MIN
from kit.science.cooling_search import Found, Log, search

FEWEST_READINGS = 3
_DRAWS = 2000
_SEED = 20_260_301  # the same readings give the same forecast


@dataclass(frozen=True, slots=True)
class TargetTime:
    """When a temperature is reached.

    Parameters
    ----------
    temp_c : float              The temperature. [degC]
    minutes : float             Likeliest, the median; infinite if it is likelier that it never gets there. [min]
    low_min, high_min : float   Interval that holds it nine times in ten. [min]
    passed : bool               Whether the last reading lies below it already.
    """

    temp_c: float
    minutes: float
    low_min: float
    high_min: float
    passed: bool


@dataclass(frozen=True, slots=True)
class ConditionsChanged:
    """The batch began to cool faster or slower than its law: a lid, a draught, another sink.

    Parameters
    ----------
    after_min, before_min : float   The readings it lies between. [min]
    factor : float                  On the rate. [-]
    factor_low, factor_high : float Nine times in ten. [-]
    chance : float                  That there was a change at all. [-]
    """

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


@dataclass(frozen=True, slots=True)
class SettingSeen:
    """The setting temperature, where the log shows its shoulder.

    Parameters
    ----------
    found : bool                     Whether it does.
    temp_c, sd_c : float             Middle of the shoulder and its standard deviation; None if not found. [degC]
    latent_c, latent_sd_c : float    Latent heat over heat capacity; None if not found. [degC]
    why : str                        What it rests on, or why it was not found.
    """

    found: bool
    temp_c: float | None
    sd_c: float | None
    latent_c: float | None
    latent_sd_c: float | None
    why: str


@dataclass(frozen=True, slots=True)
class CoolingForecast:
    """What the readings so far say.

    Parameters
    ----------
    targets : tuple of TargetTime               In the order asked for; empty where `why_not` says why.
    changes : tuple of ConditionsChanged        In order of time.
    setting : SettingSeen                       Found or said not found.
    rate_per_min, rate_sd_per_min : float       Rate constant now, at 40 degC above the surroundings. [1/min]
    ambient_c, ambient_sd_c : float             Of the surroundings. [degC]
    pace : PaceChanged                          A change of pace within the last few readings; None if there was none.
                                                It may be a lid, a draught or the setting: `changes` and `setting`
                                                say which, once the readings tell.
    why_not : str                               Empty where there is a forecast.
    """

    targets: tuple[TargetTime, ...]
    changes: tuple[ConditionsChanged, ...]
    setting: SettingSeen | None
    rate_per_min: float | None
    rate_sd_per_min: float | None
    ambient_c: float | None
    ambient_sd_c: float | None
    pace: PaceChanged | None = None
    why_not: str = ""


def forecast(
    times_min,
    temps_c,
    targets_c,
    ambient_c: float | None = None,
    ambient_sd_c: float = 0.7,
    setting_c: float | None = None,
    setting_sd_c: float = 2.0,
) -> CoolingForecast:
    """When the batch reaches each temperature, from the readings so far.

    Parameters
    ----------
    times_min : sequence of float   Of the readings, rising; any zero. [min]
    temps_c : sequence of float     The readings. [degC]
    targets_c : sequence of float   Temperatures of the cool-down additions. [degC]
    ambient_c : float               Of the room or bath, where it was read. [degC]
    ambient_sd_c : float            How far off that may be, one standard deviation. [degC]
    setting_c : float               Setting temperature of the formula, where it was measured. [degC]
    setting_sd_c : float            Its standard deviation. [degC]

    Returns
    -------
    CoolingForecast   Without targets, and saying why, on fewer than three readings or a batch that does not cool.

    Raises
    ------
    KitError   `cooling.readings`.

    Notes
    -----
    All that follows takes conditions to stay as they are at the last reading.
    """
    log = read_log(times_min, temps_c, ambient_c, ambient_sd_c, setting_c, setting_sd_c)
    why_not = _why_not(log)
    if why_not:
        return CoolingForecast((), (), None, None, None, None, None, why_not=why_not)
    paces = recent_paces(log)
    log = replace(log, suspects=suspects(paces))
    found = search(log)
    wanted = [float(temp) for temp in targets_c]
    draws = weighed_draws(log, found, min([log.lowest_c, *wanted]))
    start = float(np.asarray(times_min, dtype=float)[0])
    targets = tuple(_target(log, draws, temp, start) for temp in wanted)
    rate = np.exp(draws.parameters[:, RATE] + draws.parameters[:, len(NAMES) :: 2].sum(axis=1))
    return CoolingForecast(
        targets,
        _changes(log, found, draws, start),
        _setting(log, draws),
        *_mean_and_sd(rate, draws.weight),
        *_mean_and_sd(draws.parameters[:, AMBIENT], draws.weight),
        pace=_shifted(paces[-1] if paces else None, start),
    )


def _shifted(pace: PaceChanged | None, start: float) -> PaceChanged | None:
    if pace is None:
        return None
    return replace(pace, after_min=pace.after_min + start, before_min=pace.before_min + start)


def read_log(times_min, temps_c, ambient_c, ambient_sd_c, setting_c, setting_sd_c) -> Log:
    """The readings checked, the first at zero.

    Parameters
    ----------
    times_min, temps_c, ambient_c, ambient_sd_c, setting_c, setting_sd_c   As `forecast`.

    Raises
    ------
    KitError   `cooling.readings`.
    """
    times, temps = np.asarray(times_min, dtype=float), np.asarray(temps_c, dtype=float)
    if times.shape != temps.shape or times.ndim != 1:
        raise _unusable("there is not one temperature to each time")
    if not (np.isfinite(times).all() and np.isfinite(temps).all()):
        raise _unusable("a time or a temperature is missing")
    if (np.diff(times) <= 0).any():
        raise _unusable("the times do not rise")
    room = None if ambient_c is None else (float(ambient_c), max(float(ambient_sd_c), 0.05))
    setting = None if setting_c is None else (float(setting_c), max(float(setting_sd_c), 0.2))
    return Log(times - times[:1], temps, room, setting)


def _unusable(what: str) -> KitError:
    return KitError(
        f"this cooling log cannot be used: {what}",
        where="cooling log",
        allowed="a temperature in degC for every time, the times rising",
        mend="leave out or mend the row",
        code="cooling.readings",
    )


def _why_not(log: Log) -> str:
    if len(log.times_min) < FEWEST_READINGS:
        return f"{len(log.times_min)} readings: a forecast needs {FEWEST_READINGS}"
    if log.temps_c[0] - log.temps_c[-1] < 1.0:
        return "the batch has not cooled by 1 °C since the first reading"
    if log.room is not None and log.temps_c[0] - log.room[0] < 5.0:
        return "the first reading lies less than 5 °C above the surroundings"
    return ""


def weighed_draws(log: Log, found: Found, lowest_c: float, count: int = _DRAWS) -> Draws:
    """Draws of every hypothesis that was kept.

    Parameters
    ----------
    log : Log          The readings.
    found : Found      What `search` kept.
    lowest_c : float   Down to where the curves are wanted. [degC]
    count : int        Draws, about.
    """
    random = np.random.default_rng(_SEED)
    every = np.concatenate([level.log_evidence for level in found.levels])
    total = np.log(np.exp(every - every.max()).sum()) + every.max()
    shares = [np.exp(level.log_evidence - total) for level in found.levels]
    proposals = [
        propose(level, share, count, random)
        for level, share in zip(found.levels, shares, strict=True)
        if (share > NEGLIGIBLE).any()
    ]
    return weigh(tuple(proposals), log.times_min, log.temps_c, found.scatter, lowest_c, random)


def _target(log: Log, draws: Draws, temp_c: float, start_min: float) -> TargetTime:
    last = log.times_min[-1]
    lawful = draws.table.minutes_to(temp_c)
    random = np.random.default_rng(_SEED + 1)
    ahead = np.clip(lawful - last, 0, None)
    part = np.clip(lawful / last, 0, 1)
    clock = part * (draws.clock_mean_min + draws.clock_sd_min * random.standard_normal(len(lawful)))
    still = np.sqrt(CLOCK_VARIANCE_MIN * np.where(np.isfinite(ahead), ahead, 0))
    minutes = lawful - clock - still * random.standard_normal(len(lawful))
    low, middle, high = _quantiles(minutes, draws.weight, (0.05, 0.5, 0.95))
    return TargetTime(temp_c, middle + start_min, low + start_min, high + start_min, bool(log.temps_c[-1] <= temp_c))


def _quantiles(values: np.ndarray, weight: np.ndarray, shares: tuple[float, ...]) -> list[float]:
    order = np.argsort(values)
    reached = np.cumsum(weight[order]) - weight[order] / 2
    place = np.searchsorted(reached, shares)
    return [float(values[order][min(index, len(order) - 1)]) for index in place]


def _mean_and_sd(values: np.ndarray, weight: np.ndarray) -> tuple[float, float]:
    mean = float(weight @ values)
    return mean, float(np.sqrt(weight @ (values - mean) ** 2))


def _changes(log: Log, found: Found, draws: Draws, start: float) -> tuple[ConditionsChanged, ...]:
    made = []
    for number, (index, _) in enumerate(found.changes):
        column = len(NAMES) + 2 * number
        if column >= draws.parameters.shape[1]:
            break
        has = draws.parameters[:, column + 1] != 0
        part = np.where(has, draws.weight, 0)
        low, middle, high = _quantiles(draws.parameters[:, column], part / part.sum(), (0.05, 0.5, 0.95))
        ends = log.times_min[index] + start, log.times_min[index + 1] + start
        made.append(ConditionsChanged(*map(float, (*ends, *np.exp([middle, low, high]), part.sum()))))
    return tuple(made)


def _setting(log: Log, draws: Draws) -> SettingSeen:
    lowest = float(log.temps_c.min())
    seen = draws.sets & (draws.parameters[:, SETTING] > lowest + 1)
    chance = float(draws.weight[seen].sum())
    if chance <= 0.9:
        return SettingSeen(False, None, None, None, None, _not_found(log, chance))
    part = np.where(seen, draws.weight, 0) / chance
    temp, temp_sd = _mean_and_sd(draws.parameters[:, SETTING], part)
    latent, latent_sd = _mean_and_sd(np.exp(draws.parameters[:, LATENT]), part)
    if temp_sd > 2.5 or latent < 2 * latent_sd:
        return SettingSeen(
            False, None, None, None, None, "the curve slows down somewhere, but not clearly enough to say where"
        )
    return SettingSeen(True, temp, temp_sd, latent, latent_sd, f"a slow-down worth {latent:.1f} °C of cooling")


def _not_found(log: Log, chance: float) -> str:
    if len(log.temps_c) < 6:
        return "not found: too few readings"
    if log.temps_c[-1] > 45:
        return "not found so far: the batch is still hot"
    return f"not found: the readings do not show a slow-down (chance {chance:.0%})"
