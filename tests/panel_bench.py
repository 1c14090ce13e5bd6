"""An invented study with finished batches for panels: sweet woodruff, no demo data. Nobody's hair was touched."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from pathlib import Path

import kit
from kit.bench.panel import PanelKept
from kit.bench.panel_plan import Serving
from kit.formula.files import read_formula

FORMULA = """
name = "Woodruff rinse (invented)"
version = "1"
product = "rinse-off hair"
[[spec]]
property = "pH"
low = 4.2
high = 4.8
method = "pH neat"
age = "24 h"
[[phase]]
name = "A"
kind = "water"
line = [
  {material = "water-deionised", qs = true},
  {material = "glycerin", pct = "4.00"},
  {material = "citric-acid", pct = "0.10"},
]
[[phase]]
name = "B"
kind = "oil"
line = [{material = "cetearyl-alcohol", pct = "5.00"}, {material = "behentrimonium-chloride-80", pct = "2.50"}]
[[phase]]
name = "C"
kind = "cool-down"
line = [
  {material = "phenoxyethanol", pct = "0.80"},
  {material = "sodium-benzoate", pct = "0.30"},
  {material = "parfum", pct = "0.30"},
]
"""
COUNTS = {
    "P. aeruginosa": {0: 820000, 7: "<10", 14: "<10", 28: "<10"},
    "S. aureus": {0: 610000, 7: "<10", 14: "<10", 28: "<10"},
    "E. coli": {0: 700000, 7: "<10", 14: "<10", 28: "<10"},
    "C. albicans": {0: 300000, 7: 100, 14: "<10", 28: "<10"},
    "A. brasiliensis": {0: 400000, 7: 90000, 14: 3000, 28: 100},
}


class PanelBench:
    """A lab book with a clock the tests set, the study WOO and as many finished batches as are asked for."""

    def __init__(self, folder: Path, copy_of: PanelBench | None = None) -> None:
        """A new lab book; or a copy of one that was closed, with the batches and the time it had."""
        self.now = copy_of.now if copy_of else datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))
        folder.mkdir(parents=True, exist_ok=True)
        self.formula = copy_of.formula if copy_of else read_formula(FORMULA, kit.load_library())
        self.path = folder / "woodruff.labbook"
        if copy_of:
            shutil.copyfile(copy_of.path, self.path)
            self.book = kit.open_labbook(self.path, clock=lambda: self.now)
            return
        self.book = kit.new_labbook(self.path, clock=lambda: self.now)
        self.book.add_instrument("PH-1", kind="pH meter")
        self.book.calibrate("PH-1", "CAL-1", slope_pct=98, offset_mv=3, buffers=["4.01", "7.00"], temp="25 degC")
        self.book.new_study(
            "WOO",
            question="Which rinse feels smoothest?",
            spec=self.formula.spec,
            control="WOO-01",
            reference_product="bought rinse, lot 77",
        )

    def make(self, trial: str, changes: dict[str, str] | None = None, *, finish: bool = True, ph: str = "4.50"):
        """A batch weighed as planned, finished, and its pH read a day later; hours pass."""
        formula = self.formula.change(changes, why="another version") if changes else self.formula
        sheet = kit.plan_batch(formula, "400 g")
        batch = self.book.start_batch(sheet, trial=trial, study="WOO", operator=f"bench {trial}")
        for line in sheet.lines:
            batch.weigh(line.material.key, f"{line.target_g} g", lot="L-1")
        batch.combine(temps={"A": "78 degC", "B": "80 degC", "after": "76 degC"}, order="oil into water", rpm=6500)
        batch.add("C", temp="40 degC")
        self.now += timedelta(hours=2)
        if finish:
            batch.finish()
            self.now += timedelta(hours=24)
            if ph:
                batch.read_ph(ph, temp="25 degC", method="pH neat", instrument="PH-1")
        return batch

    def plan(
        self,
        kind: str,
        name: str = "P-1",
        samples: str = "AB",
        assessors: object = 12,
        *,
        served: dict[str, str] | None = None,
        **more: object,
    ):
        """A panel of batches WOO-01/1 (A), WOO-02/1 (B) ..., or of those served; gives the receipt."""
        chosen = served or {letter: f"WOO-0{place}/1" for place, letter in enumerate(samples, start=1)}
        told = {"question": "Which is it?", "seed": 7, "samples": chosen} | more
        return self.book.add_panel(study="WOO", name=name, kind=kind, assessors=assessors, **told)

    def panel(self, name: str = "P-1") -> PanelKept:
        """A panel as it stands."""
        return self.book.source().panel(name)

    def answer(self, choose: Callable[[int, Serving], object], name: str = "P-1", count: int | None = None) -> None:
        """What each assessor answers, by place in the plan and by what is served."""
        servings = self.panel(name).servings[:count]
        self.book.panel_answers(name, {item.assessor: choose(place, item) for place, item in enumerate(servings)})


def odd(serving: Serving) -> str:
    """The code of the odd sample of a triangle."""
    letters = list(serving.letters.values())
    return next(code for code, letter in serving.letters.items() if letters.count(letter) == 1)


def twin(serving: Serving) -> str:
    """The code of one that is not."""
    return next(code for code in serving.codes if code != odd(serving))


def code_of(serving: Serving, letter: str) -> str:
    """The code under which a letter is served."""
    return next(code for code, other in serving.letters.items() if other == letter)
