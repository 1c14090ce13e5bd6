"""Droplets, spins, colours and a second instrument on their pages, and none of it where none was read."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

import kit
from kit.formula.model import SpecLine
from tests.flow_readings import DISC_K, FlowBench
from tests.trials.test_structure import OIL


@pytest.fixture(scope="module")
def labbook(tmp_path_factory) -> Path:
    """A batch with droplets, a spin, two colours, and a viscosity near its limit on two viscometers."""
    folder = tmp_path_factory.mktemp("structure")
    bench = FlowBench(folder)
    (folder / "oil.toml").write_text(OIL, encoding="utf-8")
    bench.formula = kit.load_formula(folder / "oil.toml")
    limit = SpecLine("viscosity", Decimal(15000), Decimal(25000), "mPa.s", (), "viscosity", "72 h")
    bench.book.new_study("OIL", question="What is it made of?", spec=(limit,), control="OIL-01")
    bench.book.add_instrument("VIS-3", kind="viscometer", constants={"disc 5": DISC_K})
    batch = bench.book.start_batch(kit.plan_batch(bench.formula, "400 g"), trial="OIL-01", study="OIL")
    batch.finish()
    for hours in (24, 168):
        bench.at(batch, hours)
        batch.read_colour(88, 1, 5 + hours / 24, light="D65, 10 degrees", instrument="COL-1")
    moment = bench.at(batch, 72)
    for value, instrument in ((15200, "VIS-1"), (14400, "VIS-3")):
        told = {"spindle": "disc 5", "method": "viscosity", "reading_time": "60 s", "instrument": instrument}
        bench.read(batch, value, 10, moment, DISC_K, **told)
    batch.read_droplets({"2 um": 200, "4 um": 100, "8 um": 10}, instrument="MIC-1")
    batch.read_spin("0 %", rpm=3000, minutes=30, radius="10 cm", instrument="CEN-1")
    bench.book.close()
    return bench.path


def text_of(template: str, labbook: Path) -> str:
    """Everything a template shows, as plain text."""
    made = kit.run_template(template, {"source": str(labbook), "study": "OIL"})
    shown = [
        output["data"].get("text/plain", "") for cell in made.notebook["cells"] for output in cell.get("outputs", ())
    ]
    return "\n".join("".join(part) for part in shown)


def test_the_results_page_says_near_a_limit_two_instruments_and_colour(labbook):
    text = text_of("trial_results", labbook)
    assert "inside, but the limit 15000 lies within its uncertainty (U = 460 mPa.s, k = 2" in text
    assert "One jar on two instruments" in text and "differ by more than both budgets allow" in text
    assert "Colour, CIEDE2000" in text and "yellower" in text


def test_the_flow_page_says_droplets_creaming_and_centrifuge(labbook):
    text = text_of("flow_and_feel", labbook)
    assert "D[3,2] 4.32 um from 310 droplets" in text
    assert "Creaming of the largest droplets" in text and "measure it before this speed is used" in text
    assert "does not hold in a gel" in text and "1006 g for 30 min: in a gel it equals no time at rest" in text
