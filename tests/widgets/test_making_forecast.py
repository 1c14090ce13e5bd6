"""The line under the cooling log that says when the next phase may go in. Expected: Newton's law, 36 min to 40 degC."""

from __future__ import annotations

from datetime import timedelta
from math import exp

import pytest

from kit.widgets.making_form import MakingForm
from kit.widgets.parts import RECORDED


@pytest.fixture
def form(bench):
    for line in bench.batch.sheet.lines:
        bench.batch.weigh(line.material.key, f"{line.target_g} g", phase=line.phase)
    return MakingForm(bench.batch)


def record(form, step: str, **texts: str):
    for name, text in texts.items():
        form.commit(step, f"{step}.{name}", text)
    return form.commit(step, "record", "")


def under(form, step: str) -> str:
    row = next(row for part in form.view().parts for row in part.rows if row.key == step)
    return " ".join(remark.words for remark in row.remarks)


def log(form, bench, *minutes: int) -> None:
    start = bench.clock.now
    for minute in minutes:
        bench.clock.now = start + timedelta(minutes=minute)
        temp = f"{22 + 53 * exp(-0.03 * minute):.1f}"
        assert record(form, "temperature", temp=temp, at=str(minute)).state == RECORDED
    bench.clock.now = start


def test_the_line_comes_with_the_third_temperature_and_goes_when_the_phase_is_in(bench, form):
    record(form, "combine", A="78", B="80", after="75")
    assert "phase C" not in under(form, "temperature")
    log(form, bench, 4)
    assert "a forecast needs 3" in under(form, "temperature")
    log(form, bench, 8, 12, 16)
    assert "phase C, no step says at what temperature, 40 °C: about 3" in under(form, "temperature")
    record(form, "add-C", temp="40")
    assert "about 3" not in under(form, "temperature")


def test_a_voided_temperature_counts_no_more(bench, form):
    record(form, "combine", A="78", B="80", after="75")
    log(form, bench, 4, 8)
    assert "about" in under(form, "temperature")
    form.commit("temperature", "undo", "", choice="void", why="typing slip")
    assert "a forecast needs 3" in under(form, "temperature")
