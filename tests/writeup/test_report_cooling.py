"""Heat, cooling and water in a write-up. Expected: what was typed here, and what was not must be said."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

import kit
from kit.formula.files import read_formula
from kit.writeup.report_cooling import heat_and_cooling

FORMULA = """
name = "Woodruff rinse (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [ { material = "water-deionised", qs = true } ]
[[phase]]
name = "B"
kind = "oil"
line = [ { material = "cetearyl-alcohol", pct = "5.00" } ]
[[phase]]
name = "C"
kind = "cool-down"
line = [ { material = "parfum", pct = "0.40" } ]
"""


@pytest.fixture
def bench(tmp_path):
    now = SimpleNamespace(at=datetime(2026, 3, 2, 9, tzinfo=UTC))
    with kit.new_labbook(tmp_path / "x.labbook", clock=lambda: now.at) as book:
        book.new_study("X", question="?")
        formula = read_formula(FORMULA, kit.load_library())
        batch = book.start_batch(kit.plan_batch(formula, "400 g"), trial="X-01")
        for line in batch.sheet.lines:
            batch.weigh(line.material.key, f"{line.target_g} g")
        yield SimpleNamespace(batch=batch, now=now, start=now.at)


def shown(bench) -> str:
    return "\n".join(str(part) for part in heat_and_cooling(bench.batch.view))


def test_what_was_not_recorded_is_said(bench):
    told = shown(bench)
    assert "Mixing temperature NOT COMPUTED: no step gives a temperature for phase A, B" in told
    assert "The vessel was not weighed whole" in told
    bench.batch.combine(temps={"A": "78 degC", "B": "80 degC"})
    assert "Temperature after combining: NOT RECORDED." in shown(bench)


def test_what_was_recorded_is_there(bench):
    bench.batch.equipment(vessel="glass beaker, 180 g, 10 cm wide")
    bench.batch.combine(temps={"A": "78 degC", "B": "80 degC", "after": "60 degC"})
    for minutes, temp in ((8, "57"), (16, "54"), (24, "51")):
        bench.now.at = bench.start + timedelta(minutes=minutes)
        bench.batch.temperature(f"{temp} degC", at=f"{minutes} min")
    bench.batch.add("C", temp="51 degC")
    bench.batch.gross("570 g", tare="180 g")
    told = shown(bench)
    assert "60 °C was read after combining" in told
    assert "Phase C went in at 51 °C, too hot for" in told
    assert "g missing at the weighings of the vessel" in told
    assert "Estimate for 0 to 24 min after combining" in told
