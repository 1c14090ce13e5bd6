"""An invented study with readings at several speeds, entered through the public API.

The product follows stress = 8 + 4 x rate^0.35 (Pa, 1/s) times a factor for each trial, without scatter unless asked
for. It is read in coaxial cylinders of 14.00 and 15.18 mm, K = 400, whose mean shear rate a turn a minute is
w (r^2 + 1) / (r^2 - 1) with w = pi / 30 and r = 15.18 / 14.00, which is 1.296915; and on disc 5, K = 4000, where the
torque follows 20 x speed^0.30.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from pathlib import Path

import kit

RATE_PER_RPM = math.pi / 30 * ((15.18 / 14) ** 2 + 1) / ((15.18 / 14) ** 2 - 1)
YIELD_PA, CONSISTENCY, INDEX = 8.0, 4.0, 0.35
CUP_K, DISC_K, DISC_INDEX = 400, 4000, 0.30
SPEEDS = (0.5, 1, 2, 5, 10, 20, 50, 100)
FACTORS = {"FLO-01": 1.0, "FLO-02": 1.5}
CUP = {"class": "coaxial cylinders", "inner_radius": "14.00 mm", "outer_radius": "15.18 mm", "length": "42 mm"}
AGES = {"1 h": 1, "24 h": 24, "72 h": 72, "7 d": 168}
BUILD = {"1 h": 8000, "24 h": 14000, "72 h": 18000, "7 d": 18500}

FORMULA = """
name = "Flow toy (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [{ material = "water-deionised", qs = true }, { material = "glycerin", pct = "3.00" }]
[[phase]]
name = "B"
kind = "oil"
line = [{ material = "cetearyl-alcohol", pct = "5.00" }, { material = "behentrimonium-chloride-80", pct = "2.50" }]
"""


def stress_pa(rpm: float, factor: float = 1.0) -> float:
    """The law of the product in the coaxial cylinders. [Pa]"""
    return factor * (YIELD_PA + CONSISTENCY * (RATE_PER_RPM * rpm) ** INDEX)


class FlowBench:
    """A lab book with a clock the tests set, two viscometers and the study FLO."""

    def __init__(self, folder: Path) -> None:
        self.now = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "flow.toml").write_text(FORMULA, encoding="utf-8")
        self.formula = kit.load_formula(folder / "flow.toml")
        self.path = folder / "flow.labbook"
        self.book = kit.new_labbook(self.path, clock=lambda: self.now)
        self.book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": DISC_K, "disc 6": 10000})
        self.book.add_instrument("VIS-2", kind="viscometer", constants={"cup": CUP_K}, geometry={"cup": CUP})
        self.book.new_study("FLO", question="How does it flow?", spec=(), control="FLO-01")

    def make(self, trial: str, day: int = 0, number: int = 1):
        """A batch with nothing recorded but its start and its end."""
        self.now = datetime(2026, 3, 2, 9, 0, tzinfo=self.now.tzinfo) + timedelta(days=day)
        formula = self.formula
        if trial == "FLO-02":
            formula = formula.change({"cetearyl-alcohol": "6.00 %"}, why="thicker")
        batch = self.book.start_batch(
            kit.plan_batch(formula, "400 g"), trial=trial, study="FLO", operator="bench 2", number=number
        )
        self.now += timedelta(hours=2)
        batch.finish()
        return batch

    def at(self, batch, hours: float) -> datetime:
        """A moment in the life of a batch; the clock is set to it."""
        self.now = datetime.fromisoformat(batch.view.finished_at) + timedelta(hours=hours)
        return self.now

    def read(self, batch, value: float, rpm: float, at: datetime, constant: float, **more: object) -> None:
        """One viscosity with all its conditions, by no named method unless one is given."""
        self.now = max(self.now, at)
        told = {
            "torque_pct": f"{value * rpm / constant:.6g}",
            "temp": "25.0 degC",
            "reading_time": "30 s",
            "container": "100 mL jar",
            "method": "",
        } | more
        given = {name: part for name, part in told.items() if part is not None}
        batch.read_viscosity(f"{value:.6g} mPa.s", rpm=rpm, at=at.isoformat(), **given)

    def cup(
        self, batch, speeds: Sequence[float], factor: float, at: datetime, *, scatter: float = 0.0, **more
    ) -> datetime:
        """Readings in the coaxial cylinders one after another, 40 s apart; gives the time of the last."""
        drawn = random.Random(f"{factor} {len(speeds)}")
        for place, rpm in enumerate(speeds):
            stress = stress_pa(rpm, factor) * math.exp(drawn.gauss(0, scatter) if scatter else 0)
            moment = at + timedelta(seconds=40 * place)
            value = 1000 * stress / (RATE_PER_RPM * rpm)
            self.read(batch, value, rpm, moment, CUP_K, spindle="cup", instrument="VIS-2", **more)
        return at + timedelta(seconds=40 * (len(speeds) - 1))

    def sweep(self, batch, factor: float, hours: float = 72, *, scatter: float = 0.0, **more: object) -> None:
        """Up, down at 93 % of the stress, then the slowest speed after 1, 5 and 15 minutes at 95, 97 and 99 %."""
        began = self.at(batch, hours)
        top = self.cup(batch, SPEEDS, factor, began, scatter=scatter, **more)
        last = self.cup(batch, SPEEDS[-2::-1], 0.93 * factor, top + timedelta(seconds=40), scatter=scatter, **more)
        for minutes, share in ((1, 0.95), (5, 0.97), (15, 0.99)):
            self.cup(batch, SPEEDS[:1], share * factor, last + timedelta(minutes=minutes), scatter=scatter, **more)

    def disc(self, batch, speeds: Sequence[float], at: datetime, factor: float = 1.0, **more: object) -> None:
        """Readings on disc 5 one after another, 40 s apart."""
        for place, rpm in enumerate(speeds):
            value = DISC_K * 20 * factor * rpm**DISC_INDEX / rpm
            told = {"spindle": "disc 5", "instrument": "VIS-1"} | more
            self.read(batch, value, rpm, at + timedelta(seconds=40 * place), DISC_K, **told)

    def build(self, batch, values: dict[str, float] = BUILD) -> None:
        """The viscosity by the method of the study at several ages."""
        for age, value in values.items():
            moment = self.at(batch, AGES[age])
            told = {"spindle": "disc 5", "instrument": "VIS-1", "method": "viscosity", "reading_time": "60 s"}
            self.read(batch, value, 10, moment, DISC_K, **told)


def whole_book(folder: Path) -> FlowBench:
    """Two trials with everything: a sweep in coaxial cylinders, one on disc 5, four ages, combing and grain."""
    bench = FlowBench(folder)
    for day, (trial, factor) in enumerate(FACTORS.items()):
        batch = bench.make(trial, day)
        bench.build(batch)
        bench.sweep(batch, factor, scatter=0.01)
        bench.disc(batch, (0.5, 1, 2.5, 5, 10, 20), bench.at(batch, 73))
        for place, force in enumerate((41, 47, 50)):
            told = {"sample": f"tress {place}", "instrument": "COMB-1", "at": bench.at(batch, 168).isoformat()}
            batch.read("wet-combing force", f"{force} %", **told)
        batch.observe("grain", "none", at=bench.now.isoformat())
    return bench


def build_flow_book(folder: str) -> None:
    """The whole lab book, closed again."""
    whole_book(Path(folder)).book.close()
