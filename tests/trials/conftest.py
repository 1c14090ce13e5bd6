"""An invented linden study, entered through the public API: a fatty-alcohol level series with a repeated control.

All data are invented. Viscosities follow value = K x torque / speed with K = 4000 on disc 5, 2000 on disc 4 and 10000
on disc 6, at 10 rpm.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

import kit
from tests.quick_labbooks import quick_labbooks  # noqa: F401 - a fixture for all modules of this folder

FORMULA = """
name = "Linden daily conditioner"
version = "1"
product = "rinse-off hair"
[[spec]]
property = "pH"
low = 4.3
high = 4.9
method = "pH neat"
age = "24 h"
[[spec]]
property = "viscosity"
low = 15000
high = 25000
unit = "mPa.s"
method = "viscosity"
age = "72 h"
[[spec]]
property = "grain"
allowed = ["none"]
age = "7 d"
[[phase]]
name = "A"
kind = "water"
line = [
  { material = "water-deionised", qs = true },
  { material = "glycerin", pct = "3.00" },
  { material = "hydroxyethylcellulose", pct = "0.20" },
  { material = "disodium-edta", pct = "0.10" },
  { material = "citric-acid", pct = "0.05" },
]
[[phase]]
name = "B"
kind = "oil"
line = [
  { material = "cetearyl-alcohol", pct = "5.00" },
  { material = "behentrimonium-chloride-80", pct = "2.50" },
  { material = "caprylic-capric-triglyceride", pct = "2.50" },
  { material = "cetyl-esters", pct = "0.50" },
]
[[phase]]
name = "C"
kind = "cool-down"
line = [
  { material = "panthenol-75", pct = "0.70" },
  { material = "tilia-cordata-flower-extract", pct = "1.00" },
  { material = "phenoxyethanol", pct = "0.80" },
  { material = "ethylhexylglycerin", pct = "0.10" },
  { material = "sodium-benzoate", pct = "0.20" },
  { material = "parfum", pct = "0.40" },
]
"""

AGES = {"1 h": timedelta(hours=1), "24 h": timedelta(hours=24), "72 h": timedelta(hours=72), "7 d": timedelta(days=7)}
K = {"disc 4": 2000, "disc 5": 4000, "disc 6": 10000}

# trial: day, what is changed, pH at 24 h and 7 d, viscosity as (age, value, torque, spindle), grain at 7 d
LINDEN = {
    "LIN-01": (
        1,
        {"cetearyl-alcohol": "3.00 %"},
        ("4.61", "4.61"),
        [
            ("1 h", 2600, "13.0", "disc 4"),
            ("24 h", 4200, "21.0", "disc 4"),
            ("72 h", 4900, "24.5", "disc 4"),
            ("7 d", 5000, "25.0", "disc 4"),
        ],
        "none",
    ),
    "LIN-02": (
        1,
        {"cetearyl-alcohol": "4.00 %"},
        ("4.58", "4.59"),
        [
            ("1 h", 5200, "13.0", "disc 5"),
            ("24 h", 8880, "22.2", "disc 5"),
            ("72 h", 10800, "27.0", "disc 5"),
            ("7 d", 11200, "28.0", "disc 5"),
        ],
        "none",
    ),
    "LIN-03": (
        1,
        {},
        ("4.60", "4.60"),
        [
            ("1 h", 8800, "22.0", "disc 5"),
            ("24 h", 15600, "39.0", "disc 5"),
            ("72 h", 19000, "47.5", "disc 5"),
            ("7 d", 19600, "49.0", "disc 5"),
        ],
        "none",
    ),
    "LIN-04": (
        2,
        {"cetearyl-alcohol": "6.00 %"},
        ("4.60", "4.61"),
        [
            ("1 h", 13600, "34.0", "disc 5"),
            ("24 h", 24800, "62.0", "disc 5"),
            ("72 h", 29600, "74.0", "disc 5"),
            ("7 d", 30400, "76.0", "disc 5"),
        ],
        "none",
    ),
    "LIN-05": (
        2,
        {"cetearyl-alcohol": "7.00 %"},
        ("4.61", "4.62"),
        [
            ("1 h", 19520, "48.8", "disc 5"),
            ("24 h", 35200, "88.0", "disc 5"),
            ("72 h", 40600, "101.5", "disc 5"),
            ("72 h", 42000, "42.0", "disc 6"),
            ("7 d", 43000, "43.0", "disc 6"),
        ],
        "grainy",
    ),
    "LIN-06": (
        2,
        {},
        ("4.58", "4.58"),
        [
            ("1 h", 8320, "20.8", "disc 5"),
            ("24 h", 16720, "41.8", "disc 5"),
            ("72 h", 20080, "50.2", "disc 5"),
            ("7 d", 20400, "51.0", "disc 5"),
        ],
        "none",
    ),
    "LIN-07": (
        3,
        {"hydroxyethylcellulose": "0 %"},
        ("4.58", "4.59"),
        [
            ("1 h", 8000, "20.0", "disc 5"),
            ("24 h", 16400, "41.0", "disc 5"),
            ("72 h", 20600, "51.5", "disc 5"),
            ("7 d", 21520, "53.8", "disc 5"),
        ],
        "none",
    ),
}
TRIALS = list(LINDEN)


class Clock:
    """A bench clock that the tests set."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))

    def __call__(self) -> datetime:
        return self.now

    def day(self, number: int) -> datetime:
        """Eleven o'clock of a making day."""
        return datetime(2026, 3, 1, 11, 0, tzinfo=self.now.tzinfo) + timedelta(days=number)


class Bench:
    """A lab book with its clock, and shorthands for what these tests do over and over."""

    data = LINDEN

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clock = Clock()
        path = folder / "linden.toml"
        path.write_text(FORMULA, encoding="utf-8")
        self.formula = kit.load_formula(path)
        self.book = kit.new_labbook(folder / "linden.labbook", clock=self.clock)
        self.book.add_instrument("VIS-1", kind="viscometer", constants=K)
        self.book.add_instrument("PH-1", kind="pH meter")
        self.book.calibrate(
            "PH-1", "CAL-07", slope_pct="98.2", offset_mv="-3", buffers=["4.01", "7.00"], temp="25 degC"
        )

    def study(self, name: str = "LIN", **more: object) -> None:
        """Open a study with the linden spec."""
        told = {"question": "How much cetearyl alcohol?", "spec": self.formula.spec, "control": f"{name}-03"} | more
        self.book.new_study(name, **told)

    def variant(self, changes: dict[str, str]):
        """The linden formula, changed."""
        return self.formula.change(changes, why="level series") if changes else self.formula

    def make(
        self,
        trial: str,
        changes: dict[str, str] | None = None,
        *,
        day: int = 1,
        number: int = 1,
        study: str = "LIN",
        batch_g: str = "400 g",
    ):
        """A batch made on a day, with nothing recorded but its start and its end."""
        self.clock.now = self.clock.day(day) - timedelta(hours=2)
        sheet = kit.plan_batch(self.variant(changes or {}), batch_g, balances=["0.01 g"])
        batch = self.book.start_batch(sheet, trial=trial, study=study, operator="bench 2", number=number)
        self.finish(batch, day)
        return batch

    def finish(self, batch, day: int) -> None:
        """The end of making, at eleven."""
        self.clock.now = self.clock.day(day)
        batch.finish()

    def versions(
        self, study: str, plan: dict[str, list[int]], changes: dict[str, dict[str, str]] | None = None, **more: object
    ) -> None:
        """Trials of a study with one 72 h viscosity a batch: {"HIS-01": [19000, 20000]} makes two batches."""
        day = 0
        for trial, values in plan.items():
            for number, value in enumerate(values, start=1):
                day += 1
                batch = self.make(trial, (changes or {}).get(trial), day=day, number=number, study=study)
                self.viscosity(batch, "72 h", value, **more)

    def import_csv(self, rows: list[str], **options: object) -> None:
        """Take in readings from a CSV file."""
        head = (
            "batch,property,value,unit,measured_at,age,temp,method,instrument,spindle,rpm,torque_pct,"
            "reading_time,container"
        )
        path = self.folder / "readings.csv"
        path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
        self.book.import_readings(path, **options).commit()

    def compare(self, *trials: str, **options: object):
        """The comparison from what is recorded now."""
        return kit.compare(self.book, list(trials), **options)

    def at(self, batch, age: str) -> None:
        """Set the clock to an age of a batch."""
        self.clock.now = datetime.fromisoformat(batch.view.finished_at) + AGES[age]

    def viscosity(
        self, batch, age: str, value: int, torque: str | None = None, spindle: str = "disc 5", **more: object
    ):
        """A viscosity with all its conditions; the torque follows from the constant unless given."""
        self.at(batch, age)
        told = {
            "torque_pct": torque or str(value * 10 / K[spindle]),
            "rpm": 10,
            "spindle": spindle,
            "instrument": "VIS-1",
            "temp": "25.0 degC",
            "reading_time": "60 s",
            "container": "100 mL jar",
            "age": age,
        } | more
        return batch.read_viscosity(
            f"{value} mPa.s", **{name: value for name, value in told.items() if value is not None}
        )

    def ph(self, batch, age: str, value: str, **more: object):
        """A pH with all its conditions."""
        self.at(batch, age)
        told = {"temp": "25 degC", "instrument": "PH-1", "calibration": "CAL-07", "age": age} | more
        return batch.read_ph(value, **{name: value for name, value in told.items() if value is not None})

    def linden(self, trials: list[str] = TRIALS) -> Bench:
        """The whole invented study, or some of its trials."""
        for trial in trials:
            day, changes, ph, viscosities, grain = LINDEN[trial]
            batch = self.make(trial, changes, day=day)
            for age, value, torque, spindle in viscosities:
                self.viscosity(batch, age, value, torque, spindle)
            for age, value in zip(("24 h", "7 d"), ph, strict=True):
                self.ph(batch, age, value)
            self.at(batch, "7 d")
            batch.observe("grain", grain)
        return self


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Bench]:
    """A lab book with instruments, no study yet."""
    bench = Bench(tmp_path)
    yield bench
    bench.book.close()


@pytest.fixture
def bench(empty: Bench) -> Bench:
    """A lab book with instruments and the study LIN, no batch yet."""
    empty.study()
    return empty


@pytest.fixture(scope="session")
def linden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """The linden study. Read it only: all tests share it."""
    bench = Bench(tmp_path_factory.mktemp("linden"))
    bench.study()
    bench.linden()
    yield bench
    bench.book.close()
