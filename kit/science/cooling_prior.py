"""What is taken for granted of a cooling batch before its first reading: means, standard deviations, reasons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kit.science.cooling_law import AMBIENT, EXCESS, LATENT, NAMES, RATE, SETTING, START, VAPOUR, WIDTH

# Own estimates, no published source; readings soon outweigh all but those of a change. These, and the chance in
# `cooling_pace`, were settled on 250 simulated batches, and 100 that steam; the tests ask others.
_RATE = (np.log(0.03), 1.0)  # per minute: a beaker of 400 g at 0.03, a factor of 2.7 either way
_ROOM = (21.0, 3.0)  # degC, where no room is told
_EXCESS = (0.10, 0.06)  # 0 stirred by a fan, 0.25 natural convection alone; vapour comes on top
_VAPOUR = (0.15, 0.24)  # none under a lid, 0.4 off an open beaker of 400 g, more off a shallow pot
_PLAIN_EXCESS = (0.25, 0.20)  # where the exponent stands for the vapour as well
_LATENT = (np.log(2.7), 0.45)  # degC: 3 to 9 % of a melt of 200 J/g in 4 J/(g K) is 1.5 to 4.5
_WIDTH = (np.log(1.2), 0.3)  # degC
_START_SD = 5.0  # degC about the first reading, whose own error comes on top
_SETTINGS = np.arange(42.0, 70.0, 4.0)  # degC; together an even spread from 40 to 68
_SETTING_SD = 2.5
_SHOULDER = 0.8  # chance that there is one to be seen
_NO_LATENT = (-12.0, 0.01)
Changes = tuple[tuple[int, int], ...]
"""Number of the reading after which each change came, and -1 for slower, 1 for faster."""
_NOWHERE = (52.0, 8.0, False)
_FIXED = 1e-9  # of its deviation, for what is not to move
_FACTOR = (0.6, 0.3)  # ln, down or up: a lid halves the loss, a draught doubles it; less is wandering
_HAZARD = 0.01  # chance of a change in any one interval
_SUSPECTED = 0.4  # the same where the pace changed: the setting is the other reason
THERMOMETER = (0.25, 4.0)
"""Standard deviation of a reading [degC] and the number of readings that this belief is worth."""
CLOCK_VARIANCE_MIN = 0.010
"""Variance that the clock gains a minute: the rate wanders by 3 or 4 % over 5 minutes. [min]"""


@dataclass(frozen=True, slots=True)
class Hypotheses:
    """Suppositions about a batch, each a normal prior: where it sets, and between which readings conditions changed.

    Parameters
    ----------
    mean, sd : array, (h, p)        Of the parameters, as `kit.science.cooling_law.NAMES` and then the changes.
    log_chance : array, (h,)        ln of the chance of each.
    sets : array, (h,)              Whether it has a shoulder.
    changes : tuple of Changes, h   Where, and which way.
    """

    mean: np.ndarray
    sd: np.ndarray
    log_chance: np.ndarray
    sets: np.ndarray
    changes: tuple[Changes, ...]

    def part(self, which: np.ndarray) -> Hypotheses:
        """Some of them.

        Parameters
        ----------
        which : array of bool, (h,)   Which to keep.
        """
        changes = tuple(change for change, kept in zip(self.changes, which, strict=True) if kept)
        return Hypotheses(self.mean[which], self.sd[which], self.log_chance[which], self.sets[which], changes)


def hypotheses(
    times_min: np.ndarray,
    first_c: float,
    room: tuple[float, float] | None,
    setting: tuple[float, float] | None,
    changes: tuple[Changes, ...] = ((),),
    suspects: frozenset[int] = frozenset(),
) -> Hypotheses:
    """Every supposed setting temperature with every supposed set of changes.

    Parameters
    ----------
    times_min : array, (n,)      Of the readings. [min]
    first_c : float              The first reading. [degC]
    room : pair of float         Mean and standard deviation of the surroundings; None if not told. [degC]
    setting : pair of float      The same of the setting temperature, where it was measured before. [degC]
    changes : tuple of Changes   Each the same length.
    suspects : frozenset of int  Numbers of the readings after which the pace was seen to change.
    """
    settings = _settings(setting)
    rows = np.array([_row(first_c, room, *row[:3]) for row in settings])
    gaps = np.diff(times_min)
    where = np.array(changes, dtype=int).reshape(len(changes), -1, 2)
    places, ways = where[:, :, 0], where[:, :, 1]
    moved_mean = np.stack([_FACTOR[0] * ways, times_min[places] + gaps[places] / 2], axis=2)
    moved_sd = np.stack([np.full(places.shape, _FACTOR[1]), gaps[places] / 2], axis=2)
    mean, sd = (
        np.hstack([np.tile(part, (len(changes), 1)), np.repeat(moved.reshape(len(changes), -1), len(settings), axis=0)])
        for part, moved in ((rows[:, 0], moved_mean), (rows[:, 1], moved_sd))
    )
    hazards = np.where(np.isin(places, list(suspects)), _SUSPECTED, _HAZARD)
    odds = np.log(hazards / (1 - hazards) / 2).sum(axis=1)
    shares = np.log([chance for *_, chance in settings])
    sets = np.tile([shoulder for *_, shoulder, _ in settings], len(changes))
    every = tuple(where for where in changes for _ in settings)
    return Hypotheses(mean, sd, (odds[:, None] + shares).ravel(), sets, every)


def plain_hypotheses(
    times_min: np.ndarray, first_c: float, room: tuple[float, float] | None, places: tuple[int, ...]
) -> Hypotheses:
    """A batch without a shoulder: no change first, then one in each place and each way; all equally likely.

    Parameters
    ----------
    times_min : array, (n,)   Of the readings. [min]
    first_c : float           The first reading. [degC]
    room : pair of float      Mean and standard deviation of the surroundings; None if not told. [degC]
    places : tuple of int     Numbers of the readings after which a change may have come.
    """
    row_mean, row_sd = _row(first_c, room, *_NOWHERE)
    row_mean[EXCESS], row_sd[EXCESS] = _PLAIN_EXCESS
    changes = tuple((place, way) for place in places for way in (-1, 1))
    where, ways = np.array([changes[0], *changes]).T
    gaps = times_min[where + 1] - times_min[where]
    free = np.array([_FIXED, *[1.0] * len(changes)])
    count, zero = len(where), np.zeros(len(where))
    factor = np.where(free == 1.0, _FACTOR[0] * ways, 0.0)
    mean = np.column_stack([np.tile(row_mean, (count, 1)), factor, times_min[where] + gaps / 2])
    sd = np.column_stack([np.tile(row_sd, (count, 1)), _FACTOR[1] * free, gaps / 2 * free])
    return Hypotheses(mean, sd, zero, np.zeros(count, dtype=bool), ((), *((change,) for change in changes)))


def _settings(setting: tuple[float, float] | None) -> list[tuple[float, float, bool, float]]:
    centres = [(temp, _SETTING_SD) for temp in _SETTINGS] if setting is None else [setting]
    share = _SHOULDER / len(centres)
    return [(temp, sd, True, share) for temp, sd in centres] + [(*_NOWHERE, 1 - _SHOULDER)]


def _row(first_c, room, setting_c, setting_sd_c, shoulder) -> tuple[list[float], list[float]]:
    mean, sd = np.zeros(len(NAMES)), np.zeros(len(NAMES))
    mean[RATE], sd[RATE] = _RATE
    mean[START], sd[START] = first_c, _START_SD
    mean[AMBIENT], sd[AMBIENT] = _ROOM if room is None else room
    mean[EXCESS], sd[EXCESS] = _EXCESS
    mean[LATENT], sd[LATENT] = _LATENT if shoulder else _NO_LATENT
    mean[SETTING], sd[SETTING] = setting_c, setting_sd_c
    mean[WIDTH], sd[WIDTH] = _WIDTH
    mean[VAPOUR], sd[VAPOUR] = _VAPOUR
    return mean.tolist(), sd.tolist()
