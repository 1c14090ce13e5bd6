"""Cooling curves of invented batches, from a stated law that is not the kit's own.

The law of a curve, each number drawn anew:

- rate constant k at 40 degC above the room: 0.012 to 0.06 per minute, even in its logarithm: a kilogram or more in a
  thick pot at one end, a small beaker at the other;
- start 70 to 80 degC; room 17 to 27 degC; every other curve has its room told, 0.5 degC standard deviation off;
- dT/dt = -k(t) (T - room) ((T - room) / 40)^n / (1 + a(T)), n from 0 (Newton) to 0.2 (still air and vapour);
- the setting shoulder, in 85 of 100 curves: a(T) a normal bell around 44 to 62 degC, 1.5 to 3 degC wide (standard
  deviation), its area 1 to 5 degC: the latent heat over the heat capacity;
- k(t) wanders by 3 % (standard deviation, correlated over 5 minutes);
- if it is open and steams: of the heat lost at 40 degC above the room a share of 0.2 to 0.6 goes with vapour, which
  leaves as the vapour pressure of water over the batch less that of the room, at 30 to 60 % relative humidity. A beaker
  of 400 g, 85 mm wide, in still air loses about 0.4 of its heat so: 6 W/m2K over 57 cm2 and 16.5 K/kPa by the Lewis
  relation are 12 W of 30 W;
- a thermometer of 0.1 to 0.4 degC standard deviation, read to 0.1 degC, every 2 to 5 minutes give or take a fifth;
- if asked for: a lid (k times 0.45 to 0.7) or a draught (k times 1.4 to 2.2) at some moment between 68 and 46 degC.

The curves are integrated by the fourth-order Runge-Kutta rule in steps of 0.05 minutes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STEP_MIN = 0.05
TARGET_C = 40.0


@dataclass(frozen=True)
class Batch:
    """A cooling batch as it was logged, with what nobody at the bench knows."""

    times_min: np.ndarray
    temps_c: np.ndarray
    room_told_c: float | None
    room_c: float
    true_minutes: float
    shoulder: bool
    setting_c: float
    changed_min: float | None
    slower: bool | None


def simulate(
    seed: int, count: int, change: bool = False, steams: bool = False, never_sets: bool = False
) -> list[Batch]:
    """Batches of the law above."""
    asked = change, steams, never_sets
    return [_batch(np.random.default_rng([seed, index]), index, *asked) for index in range(count)]


def vapour_pressure_kpa(temp_c: float) -> float:
    """Of water, by Antoine's formula with its usual constants from 1 to 100 degC: 19.9 kPa at 60 degC, as in tables."""
    return 0.133322 * 10 ** (8.07131 - 1730.63 / (233.426 + temp_c))


def _batch(rng: np.random.Generator, index: int, change: bool, steams: bool, never_sets: bool) -> Batch:
    k = np.exp(rng.uniform(np.log(0.012), np.log(0.06)))
    start, room, power = rng.uniform(70, 80), rng.uniform(17, 27), rng.uniform(0, 0.2)
    setting, width = rng.uniform(44, 62), rng.uniform(1.5, 3)
    shoulder = bool(rng.random() < 0.85) and not never_sets
    area = rng.uniform(1, 5) * shoulder
    slower = bool(rng.random() < 0.5)
    factor = rng.uniform(0.45, 0.7) if slower else rng.uniform(1.4, 2.2)
    change_temp = rng.uniform(46, 68) if change else -np.inf
    kick = rng.standard_normal(200_000)
    fade = np.exp(-STEP_MIN / 5)
    temps, wander, changed = [start], 0.03 * kick[0], None
    vapour_share = rng.uniform(0.2, 0.6) if steams else 0.0
    vapour_room = rng.uniform(0.3, 0.6) * vapour_pressure_kpa(room) if steams else 0.0

    def slope(temp: float, rate: float) -> float:
        bell = area * np.exp(-0.5 * ((temp - setting) / width) ** 2) / (width * np.sqrt(2 * np.pi))
        lost = temp - room
        if steams:
            pull = (vapour_pressure_kpa(temp) - vapour_room) / (vapour_pressure_kpa(room + 40) - vapour_room)
            lost = (1 - vapour_share) * lost + vapour_share * 40 * pull
        return -rate * lost * ((temp - room) / 40) ** power / (1 + bell)

    while temps[-1] > TARGET_C - 3:
        step = len(temps)
        temp = temps[-1]
        if changed is None and temp < change_temp:
            changed = (step - 1) * STEP_MIN
        rate = k * (1 + wander) * (factor if changed is not None else 1)
        one = slope(temp, rate)
        two = slope(temp + STEP_MIN / 2 * one, rate)
        three = slope(temp + STEP_MIN / 2 * two, rate)
        four = slope(temp + STEP_MIN * three, rate)
        temps.append(temp + STEP_MIN / 6 * (one + 2 * two + 2 * three + four))
        wander = wander * fade + 0.03 * np.sqrt(1 - fade**2) * kick[step]
    exact = np.array(temps)
    clock = STEP_MIN * np.arange(exact.size)
    gap, sd = rng.uniform(2, 5), np.exp(rng.uniform(np.log(0.1), np.log(0.4)))
    times = np.concatenate([[0.0], np.cumsum(gap * rng.uniform(0.8, 1.2, 400))])
    times = np.round(times[times < clock[-1]], 1)
    read = np.round(np.interp(times, clock, exact) + sd * rng.standard_normal(times.size), 1)
    told = float(room + 0.5 * rng.standard_normal()) if index % 2 else None
    reached = float(np.interp(-TARGET_C, -exact, clock))
    return Batch(times, read, told, room, reached, shoulder, setting, changed, slower if change else None)
