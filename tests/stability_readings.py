"""An invented stability study, entered through the public API: three batches of one version, six places, twelve weeks.

The laws, by the months m since the baseline at 72 h, and the year's days since the end of making:

    pH          at 5 degC stays; at 25 degC falls by 0.020 a month, at 40 degC by 0.060, at 45 degC by 0.085
    viscosity   18000 x (1 - 0.45 exp(-age / 14 h)) x exp(-r m), r = 0 at 5, 0.004 at 25, 0.020 at 40; 45 degC loses a
                third within a week, as the network melts there
    colour      yellow at 45 degC from 8 weeks on; "white" elsewhere
    mass loss   0.10 % a month at 25 degC, 0.60 % at 40 degC and above

with a scatter of 0.008 in pH and 0.8 % in viscosity, drawn from a stated seed.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta, timezone
from pathlib import Path

import kit

HOURS_PER_MONTH = 730.5
WEEKS = {"1 week": 1, "2 weeks": 2, "4 weeks": 4, "8 weeks": 8, "12 weeks": 12}
PH_SLOPES = {"5 degC": 0.0, "25 degC": -0.020, "40 degC": -0.060, "45 degC": -0.085}
THINNING = {"5 degC": 0.0, "25 degC": 0.004, "40 degC": 0.020, "45 degC": 0.020}
MASS_LOSS = {"5 degC": 0.02, "25 degC": 0.10, "40 degC": 0.60, "45 degC": 0.80}
PH_SD, VISCOSITY_SD = 0.008, 0.008

FORMULA = """
name = "Yarrow rinse (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [{ material = "water-deionised", qs = true }, { material = "citric-acid", pct = "0.10" }]
[[phase]]
name = "B"
kind = "oil"
line = [{ material = "cetearyl-alcohol", pct = "5.00" }, { material = "behentrimonium-chloride-80", pct = "2.50" }]
[[phase]]
name = "C"
kind = "cool-down"
line = [{ material = "phenoxyethanol", pct = "0.80" }]
"""


class StabilityBench:
    """A lab book with a clock that the tests set, two instruments and the study YAR."""

    def __init__(self, folder: Path) -> None:
        self.now = datetime(2026, 1, 12, 8, 0, tzinfo=timezone(timedelta(hours=1)))
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "yarrow.toml").write_text(FORMULA, encoding="utf-8")
        self.formula = kit.load_formula(folder / "yarrow.toml")
        self.path = folder / "yarrow.labbook"
        self.book = kit.new_labbook(self.path, clock=lambda: self.now)
        self.book.add_instrument("PH-1", kind="pH meter")
        self.book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": 4000})
        self.book.new_study("YAR", question="How does it keep?", spec=(), control="YAR-01")
        self.drawn = random.Random(7)
        self.calibrated: set[str] = set()

    def protocol(self, name: str = "YAR-stability", *, after_data: str = "", **changes):
        """A protocol, recorded now."""
        told = {"conditions": ["5 degC", "25 degC", "40 degC", "45 degC", "freeze-thaw 3 cycles"]} | changes
        planned = kit.plan_stability(self.formula, **told)
        return self.book.add_stability_protocol(planned, study="YAR", name=name, after_data=after_data)

    def make(self, number: int, day: int):
        """A batch of YAR-01 with nothing recorded but its start and its end."""
        self.now = datetime(2026, 1, 13, 8, 0, tzinfo=self.now.tzinfo) + timedelta(days=day)
        sheet = kit.plan_batch(self.formula, "4 kg")
        batch = self.book.start_batch(sheet, trial="YAR-01", study="YAR", operator="bench 2", number=number)
        self.now += timedelta(hours=3)
        batch.finish()
        return batch

    def at_age(self, batch, hours: float) -> str:
        """A moment in the life of a batch, the clock set to it."""
        self.now = datetime.fromisoformat(batch.view.finished_at) + timedelta(hours=hours)
        return self.now.isoformat()

    def ph(self, batch, value: float, hours: float, **conditions) -> None:
        """A pH with all its conditions; the electrode is calibrated before."""
        at = self.at_age(batch, hours)
        name = f"CAL-{self.now:%m%d}"
        if name not in self.calibrated:
            self.calibrated.add(name)
            self.book.calibrate(
                "PH-1", name, slope_pct=98, offset_mv=3, buffers=["4.01", "7.00"], temp="25 degC",
                at=(self.now - timedelta(hours=1)).isoformat(),
            )  # fmt: skip
        told = {"temp": "25.0 degC", "instrument": "PH-1", "calibration": name} | conditions
        batch.read_ph(f"{value:.2f}", at=at, **told)

    def viscosity(self, batch, value: float, hours: float, **conditions) -> None:
        """A viscosity with all its conditions."""
        told = {
            "torque_pct": f"{value * 10 / 4000:.4g}", "rpm": 10, "spindle": "disc 5", "instrument": "VIS-1",
            "temp": "25.0 degC", "reading_time": "60 s", "container": "100 mL jar",
        } | conditions  # fmt: skip
        batch.read_viscosity(f"{value:.5g} mPa.s", at=self.at_age(batch, hours), **told)

    def fresh(self, batch, ages: Sequence[float] = (1, 24, 48, 72)) -> None:
        """The batch before its jars go into storage: pH and the viscosity that builds; words at the baseline."""
        for hours in ages:
            self.viscosity(batch, viscosity(hours, 0.0, "25 degC") * self._factor(), hours)
        self.ph(batch, 4.60 + self.drawn.gauss(0, PH_SD), 72)
        for name, word in (("colour", "white"), ("odour", "clean"), ("separation after centrifuge", "none")):
            batch.observe(name, word, at=self.now.isoformat())

    def pull(self, batch, place: str, weeks: float, *, rest: str | None = "24 h") -> None:
        """One jar read: pH, viscosity, what is lost, what is seen."""
        months = weeks * 168 / HOURS_PER_MONTH
        hours = 72 + 168 * weeks + 24
        rested = {} if place == "25 degC" or rest is None else {"rest": rest}
        told = {"storage": place, "sample": f"{place}, {weeks} weeks"} | rested
        self.ph(batch, 4.60 + PH_SLOPES[place] * months + self.drawn.gauss(0, PH_SD), hours, **told)
        self.viscosity(batch, viscosity(hours, months, place) * self._factor(), hours, **told)
        at = self.now.isoformat()
        batch.read("pack mass loss", f"{MASS_LOSS[place] * months:.2f} %", at=at, storage=place)
        colour = "yellow" if place == "45 degC" and weeks >= 8 else "white"
        for name, word in (("colour", colour), ("odour", "clean"), ("separation", "none"), ("grain", "none")):
            batch.observe(name, word, at=at, **{key: told[key] for key in ("storage", "rest") if key in told})

    def freeze_thaw(self, batch) -> None:
        """The jar after three cycles."""
        hours = 72 + 6 * 24 + 24
        told = {"storage": "freeze-thaw 3 cycles", "rest": "24 h"}
        self.viscosity(batch, viscosity(hours, 0.0, "25 degC") * 0.96 * self._factor(), hours, **told)
        self.ph(batch, 4.59, hours, **told)
        batch.observe("separation", "none", at=self.now.isoformat(), storage="freeze-thaw 3 cycles")

    def _factor(self) -> float:
        return math.exp(self.drawn.gauss(0, VISCOSITY_SD))


def viscosity(age_h: float, months: float, place: str) -> float:
    """The law. [mPa.s]"""
    melted = 0.66 if place == "45 degC" and months > 0 else 1.0
    return 18000 * (1 - 0.45 * math.exp(-age_h / 14)) * math.exp(-THINNING[place] * months) * melted


def whole_bench(
    folder: Path, *, batches: int = 3, weeks: Mapping[str, int] = WEEKS, missed: Sequence[tuple[str, int]] = ()
) -> StabilityBench:
    """The whole study, protocol first; `missed` names pulls of the last batch that nobody made, as (place, week)."""
    bench = StabilityBench(folder)
    bench.protocol()
    made = [bench.make(number, number - 1) for number in range(1, batches + 1)]
    for batch in made:
        bench.fresh(batch)
        bench.freeze_thaw(batch)
    for count in weeks.values():
        for batch in made:
            for place in PH_SLOPES:
                if (place, count) not in missed or batch is not made[-1]:
                    bench.pull(batch, place, count)
    return bench


def build_stability_book(folder: str) -> None:
    """The whole lab book, closed again; 12 weeks at 5 degC of the last batch were forgotten."""
    whole_bench(Path(folder), missed=[("5 degC", 12)]).book.close()
