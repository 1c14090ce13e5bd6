"""A small invented study on a clock that the tests move: meadowsweet rinse, no demo data."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

import kit
from kit.formula.files import read_formula
from tests.quick_labbooks import quick_labbooks  # noqa: F401 - a fixture for all modules of this folder

FORMULA = """
name = "Meadowsweet rinse (invented)"
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
line = [{material = "phenoxyethanol", pct = "0.80"}, {material = "spiraea-ulmaria-flower-extract", pct = "1.00"}]
"""


@pytest.fixture
def formula():
    return read_formula(FORMULA, kit.load_library())


@pytest.fixture
def bench(tmp_path, clock, formula):
    """An open lab book with a study, two instruments, a calibration and a sheet."""
    book = kit.new_labbook(tmp_path / "bench.labbook", clock=clock)
    book.new_study("MEA", question="Does it hold its pH?", spec=formula.spec, control="MEA-01")
    book.add_instrument("PH-1", kind="pH meter")
    book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": 4000})
    book.calibrate("PH-1", "CAL-1", slope_pct=98, offset_mv=3, buffers=["4.01", "7.00"], temp="25 degC")
    yield SimpleNamespace(
        book=book, sheet=kit.plan_batch(formula, "400 g"), clock=clock, formula=formula, path=tmp_path / "bench.labbook"
    )
    book.close()


@pytest.fixture
def batch(bench):
    """A batch just started."""
    return bench.book.start_batch(bench.sheet, trial="MEA-01", operator="bench 1")


@pytest.fixture
def finished(bench, batch):
    """A batch made as planned and finished."""
    for line in bench.sheet.lines:
        batch.weigh(line.material.key, f"{line.target_g} g", lot="L-1")
    batch.combine(
        temps={"A": "78 degC", "B": "80 degC", "after": "76 degC"}, order="oil into water", rpm=6500, minutes=4
    )
    batch.add("C", temp="40 degC")
    batch.finish()
    return batch
