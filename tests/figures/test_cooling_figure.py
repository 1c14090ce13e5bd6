"""The cooling curve with its additions: noted, placed by the log, too hot. Expected: what was typed here."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

import kit
from kit.figures.cooling import cooling_curve
from kit.formula.files import read_formula

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
        batch.combine(temps={"A": "78 degC", "B": "80 degC", "after": "77 degC"})
        yield SimpleNamespace(batch=batch, now=now, start=now.at)


def log(bench, **temps: str) -> None:
    for minutes, temp in temps.items():
        at = int(minutes.removeprefix("m"))
        bench.now.at = bench.start + timedelta(minutes=at)
        bench.batch.temperature(f"{temp} degC", at=f"{at} min")


def test_an_addition_without_a_temperature_stands_on_the_log(bench):
    log(bench, m10="64", m20="52", m30="44")
    bench.now.at = bench.start + timedelta(minutes=40)
    bench.batch.temperature("38 degC", at="40 min")
    bench.now.at = bench.start + timedelta(minutes=35)
    bench.batch.add("C")
    figure = cooling_curve((bench.batch.view,))
    addition = figure.traces[1]
    assert addition["x"] == [35.0]
    assert 40.5 < addition["y"][0] < 41.1  # between 44 and 38, the curve sagging below the straight 41.0
    assert addition["error_y"]["array"][0] > 0
    assert addition["marker"]["symbol"] == ["triangle-down-open"]
    assert figure.table.rows[-1][3].startswith("phase C added, between two readings")
    assert not figure.footnotes


def test_an_addition_too_hot_is_filled_and_told(bench):
    log(bench, m10="64")
    bench.batch.add("C", temp="64 degC")
    log(bench, m20="52", m30="44")
    figure = cooling_curve((bench.batch.view,))
    addition = figure.traces[1]
    assert addition["marker"]["symbol"] == ["triangle-down"]
    assert addition["error_y"]["array"] == [0.0]
    assert "too hot for a line" in figure.table.rows[-1][3]
    (footnote,) = figure.footnotes
    assert "64 °C" in footnote
    assert "at most 45 °C" in footnote
    figure.plotly()
