"""Layouts of simulated comparisons: which arm was made on which day, and what is asked of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

HOLDS, FAMILY, FINDS = "holds", "family-wise", "finds"
LIMITS = {HOLDS: (0.93, 0.97), FAMILY: (0.0, 0.06), FINDS: (0.75, 0.85)}
WIDE = 1.0  # the upper limit where an interval is conservative and says so

OWN = "own day"  # every batch on a day of its own


@dataclass(frozen=True)
class Layout:
    """One simulated comparison.

    Parameters
    ----------
    name : str
    asks : str              HOLDS, FAMILY or FINDS.
    arms : tuple            The control first: the days of its batches, or how many it has, each on a day of its own.
    day_ratio : float       Variance of days over variance of batches.
    history : tuple         Earlier groups, as arms.
    alike : bool
    sd_ratio : float        Scatter of the arms over that of the control.
    wide : bool             Conservative, and the verdict says so.
    shape : str             "normal" or "skewed": batches of 8 % log-normal on the linear scale or normal on ln.
    """

    name: str
    asks: str
    arms: tuple[object, ...]
    day_ratio: float = 0.0
    history: tuple[object, ...] = ()
    alike: bool = True
    sd_ratio: float = 1.0
    wide: bool = False
    shape: str = "normal"

    @property
    def limits(self) -> tuple[float, float]:
        """What the share must keep."""
        low, high = LIMITS[self.asks]
        return (low, WIDE) if self.wide else (low, high)

    def days(self) -> tuple[list[list[str]], list[list[str]]]:
        """Days of the present arms and of the earlier groups; those of their own are numbered through."""
        count = 0
        told: list[list[list[str]]] = [[], []]
        for place, groups in enumerate((self.arms, self.history)):
            for group in groups:
                if isinstance(group, int):
                    told[place].append([f"{OWN} {count + step}" for step in range(group)])
                    count += group
                else:
                    told[place].append([str(day) for day in group])
        return told[0], told[1]


CONTROLS = (11,)  # an earlier control made on eleven days: ten degrees of freedom
TWICE = ((91, 91, 92, 92, 93, 93, 94, 94, 95, 95, 96, 96),)  # twice a day on six days


def _held(name: str, arms: Sequence[object], **more: object) -> Layout:
    return Layout(name, HOLDS, tuple(arms), **more)


def _sizes(*sizes: int) -> str:
    return " and ".join(map(str, sizes[1:])) + f" against {sizes[0]}"


ALONE = [
    *(_held(f"Welch, {_sizes(*n)}", n, wide=n == (2, 2)) for n in ((2, 2), (3, 2), (2, 3), (4, 2), (2, 4), (3, 3))),
    *(_held(f"own repeats pooled, {_sizes(*n)}", n) for n in ((4, 3), (4, 4))),
    *(_held(f"with history, {_sizes(*n)}", n, history=CONTROLS) for n in ((1, 1), (2, 2), (3, 3), (4, 4), (2, 4))),
    *(
        _held(f"with history, days scatter as batches, {_sizes(*n)}", n, history=CONTROLS, day_ratio=1.0)
        for n in ((2, 2), (3, 3))
    ),
    *(
        _held(f"several arms, {_sizes(*n)}", n)
        for n in ((2, 2, 2), (3, 3, 3), (2, 2, 2, 2), (4, 3, 2, 2), (4, 4, 4, 4))
    ),
    _held("several arms with history, 2 and 2 and 2 against 2", (2, 2, 2, 2), history=CONTROLS),
    *(
        _held(f"Welch, arm scatters twice as much, {_sizes(*n)}", n, sd_ratio=2.0, alike=False)
        for n in ((3, 3), (4, 4))
    ),
    *(
        _held(f"log-normal on the linear scale and normal on ln, {_sizes(*n)}", n, shape="skewed")
        for n in ((3, 3), (4, 4))
    ),
]

THREE, FOUR = (1, 2, 3), (1, 2, 3, 4)
DAYS = {
    "3 days, 1 arm": ((THREE, THREE), ()),
    "4 days, 1 arm": ((FOUR, FOUR), ()),
    "2 days, 2 arms": (((1, 2),) * 3, ()),
    "3 days, 2 arms": ((THREE,) * 3, ()),
    "3 days, 1 arm, history": ((THREE, THREE), CONTROLS),
    "2 days, 1 arm, history twice a day": (((1, 2), (1, 2)), TWICE),
    "unequal, 2 arms": (((1, 2, 3, 4), (1, 2, 3), (1, 1, 2)), ()),
    "control twice a day, 2 arms": (((1, 1, 2, 2), (1, 2), (1, 2)), ()),
    "an arm without control that day": ((THREE, THREE, (4, 5)), CONTROLS),
}
SHARED = [
    _held(f"same day: {name}, day ratio {ratio:g}", arms, history=history, day_ratio=ratio)
    for name, (arms, history) in DAYS.items()
    for ratio in (0.0, 1.0, 4.0)
]
TWO_SHARED = ((1, 2), (1, 2))
TOO_FEW = [
    _held("two shared days, 1 arm: Welch, says it is wide", TWO_SHARED, day_ratio=1.0, wide=True),
    *(
        _held(f"two shared days, 1 arm, {name}, day ratio {ratio:g}", TWO_SHARED, day_ratio=ratio, history=past)
        for name, past in {"history": CONTROLS, "short history": (6,)}.items()
        for ratio in (0.0, 0.25, 1.0, 4.0, 16.0)
    ),
]

FAMILIES = [
    *(
        Layout(f"several arms, {_sizes(*n)}", FAMILY, n)
        for n in ((2, 2, 2, 2), (3, 3, 3), (4, 4, 4, 4), (4, 2, 2, 2, 2))
    ),
    Layout("several arms with history, 2 each", FAMILY, (2, 2, 2, 2), history=CONTROLS),
    Layout("Welch and Holm, 3 and 3 and 3 against 3", FAMILY, (3, 3, 3, 3), alike=False),
    *(
        Layout(f"same day: {name}, day ratio {ratio:g}", FAMILY, arms, history=history, day_ratio=ratio)
        for name, (arms, history) in {
            "3 days, 3 arms": ((THREE,) * 4, ()),
            "4 days, 2 arms": ((FOUR,) * 3, ()),
            "unequal, 2 arms": DAYS["unequal, 2 arms"],
        }.items()
        for ratio in (0.0, 1.0)
    ),
]

FOUND = [
    *(Layout(f"own repeats pooled, {_sizes(*n)}", FINDS, n) for n in ((4, 3), (4, 4))),
    *(Layout(f"with history, {_sizes(*n)}", FINDS, n, history=CONTROLS) for n in ((1, 1), (2, 2), (3, 3))),
    *(Layout(f"Welch, {_sizes(*n)}", FINDS, n) for n in ((2, 2), (3, 3))),
    *(Layout(f"several arms, {_sizes(*n)}", FINDS, n) for n in ((3, 3, 3), (4, 4, 4, 4))),
    Layout("several arms with history, 2 each", FINDS, (2, 2, 2), history=CONTROLS),
    Layout("two shared days, 1 arm, history", FINDS, TWO_SHARED, history=CONTROLS),
    Layout("same day: 4 days, 2 arms, day ratio 4", FINDS, (FOUR,) * 3, day_ratio=4.0),
]

LAYOUTS = (*ALONE, *SHARED, *TOO_FEW, *FAMILIES, *FOUND)
