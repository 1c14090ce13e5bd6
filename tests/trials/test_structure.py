"""Droplets, creaming, spins, oils and colours from the record to their pages. Expected: worked by hand or printed."""

from __future__ import annotations

import math

import pytest

import kit
from kit.errors import BatchError, KitError
from kit.trials.droplets import batch_spins, droplet_sizes
from kit.trials.flow import flow_study
from kit.trials.oil_blend import oil_blend
from kit.writeup.flow_report import FlowReport
from kit.writeup.results_report import ResultsReport
from tests.flow_readings import FORMULA, YIELD_PA, FlowBench

OIL = FORMULA.replace(
    '{ material = "cetearyl-alcohol"',
    '{ material = "caprylic-capric-triglyceride", pct = "3.00" }, { material = "simmondsia-chinensis-seed-oil", '
    'pct = "1.00" }, { material = "cetearyl-alcohol"',
)
COUNTS = {"2 um": 200, "4 um": 100, "8 um": 10}
AGE = {"at": "", "instrument": "MIC-1"}


@pytest.fixture
def bench(tmp_path):
    """A batch with 3 % triglyceride (0.95 g/mL) and 1 % jojoba oil (0.8642 g/mL)."""
    found = FlowBench(tmp_path)
    (tmp_path / "oil.toml").write_text(OIL, encoding="utf-8")
    found.formula = kit.load_formula(tmp_path / "oil.toml")
    yield found
    found.book.close()


def sizes_of(bench):
    return droplet_sizes(flow_study(bench.book))


def test_counts_are_kept_with_the_reading_and_give_the_moments(bench):
    """200, 100 and 10 droplets of 2, 4 and 8 um: sum n d2 3040, sum n d3 13,120, sum n d4 69,760."""
    batch = bench.make("FLO-01")
    bench.at(batch, 72)
    (receipt,) = batch.read_droplets(COUNTS, instrument="MIC-1", sample="jar 2")
    assert "D[3,2] 4.316 um" in str(receipt)
    (found,) = sizes_of(bench)
    assert found.age == "72 h" and found.count.total == 310
    assert found.count.sauter.value_um == pytest.approx(13120 / 3040)
    assert found.count.volume_mean.value_um == pytest.approx(69760 / 13120)
    assert found.count.volume_percentile_um(10) < found.count.volume_percentile_um(90) <= 8


def test_a_network_holds_the_droplets_and_the_limits_are_printed(bench):
    """Density of the droplets: 4 / (3/0.95 + 1/0.8642) = 0.9270 g/mL; 0.0477 x 78 kg/m3 x 9.807 x 8e-6 m = 0.29 mPa."""
    batch = bench.make("FLO-01")
    bench.sweep(batch, 1.0)
    batch.read_droplets(d10="2 um", d50="4 um", d90="8 um", instrument="LAS-1")
    (found,) = sizes_of(bench)
    assert found.densities.droplet.value == pytest.approx(4 / (3 / 0.95 + 1 / 0.8642), abs=0.0005)
    assert found.span == pytest.approx(1.5)
    assert found.yield_pa == pytest.approx(YIELD_PA, rel=0.02)
    lighter = found.densities.around_kg_m3 - found.densities.droplet_kg_m3
    assert 70 < lighter < 85
    assert found.creaming.holding_pa == pytest.approx(0.143 / 3 * lighter * 9.80665 * 8e-6, rel=1e-3)
    assert found.creaming.held and found.creaming.velocity_m_s == 0
    assert "network has collapsed" in found.creaming_words and "Of one droplet alone" in found.creaming_words


def test_without_a_yield_value_the_speed_is_the_most_it_could_be(bench):
    """Stokes in water, 0.890 mPa.s: v = 78 x 9.81 x (8e-6)^2 / (18 x 0.00089) = 3.05e-6 m/s, 264 mm a day."""
    batch = bench.make("FLO-01")
    bench.at(batch, 72)
    batch.read_droplets(d90="8 um")
    (found,) = sizes_of(bench)
    lighter = found.densities.around_kg_m3 - found.densities.droplet_kg_m3
    by_hand = lighter * 9.80665 * (8e-6) ** 2 / (18 * 0.00089) * 86400e3
    assert found.creaming.held is None
    assert found.creaming.mm_per_day == pytest.approx(-by_hand, rel=0.01)
    assert "as in water of 25 °C, the most it could be" in found.creaming_words
    assert "measure it before this speed is used" in found.creaming_words


def test_an_unknown_density_is_said(bench):
    bench.formula = bench.formula.change({"caprylic-capric-triglyceride": "0 %"}, why="toy").change(
        {"simmondsia-chinensis-seed-oil": "0 %"}, why="toy"
    )
    batch = bench.make("FLO-01")
    bench.at(batch, 72)
    batch.read_droplets(d50="4 um")
    (found,) = sizes_of(bench)
    assert found.creaming is None and "no liquid oil" in found.creaming_words


def test_a_spin_does_not_hold_in_a_gel(bench):
    """1.118e-5 x 10 cm x 3000^2 = 1006 g; the network of 8 Pa holds what 1006 x 0.29 mPa = 0.29 Pa would pull."""
    batch = bench.make("FLO-01")
    bench.sweep(batch, 1.0)
    batch.read_droplets(d90="8 um")
    batch.read_spin("0 %", rpm=3000, minutes=30, radius="10 cm", instrument="CEN-1")
    batch.read_spin("2 %", rpm=3000, minutes=30, instrument="CEN-2")
    flow = flow_study(bench.book)
    told, blind = batch_spins(flow, droplet_sizes(flow))
    assert told.spin.relative_force == pytest.approx(1006, abs=1)
    assert told.spin.minutes == 30 and told.spin.equivalent_days is None
    assert "holds the droplets even in the spin" in str(told)
    assert blind.spin is None and "radius NOT RECORDED" in str(blind)
    table = FlowReport(bench.book).droplets()[-1]
    assert "does not hold in a gel" in table.note and "rank prototypes" in table.note


def test_the_oils_read_one_by_one_give_a_blend_by_three_rules(bench):
    """25 mPa.s over 0.95 and 35 over 0.8642; shares 3 : 1. By logarithms exp(0.75 ln 26.32 + 0.25 ln 40.50) = 29.31."""
    batch = bench.make("FLO-01")
    assert oil_blend(batch.view) is None
    batch.read_oil_viscosity("caprylic-capric-triglyceride", "25 mPa.s", temp="25 degC")
    assert "read simmondsia-chinensis-seed-oil too" in str(oil_blend(batch.view))
    batch.read_oil_viscosity("simmondsia-chinensis-seed-oil", "35 mPa.s", temp="25 degC")
    batch.read_oil_viscosity("oil phase", "29 mm2/s", temp="25 degC")
    found = oil_blend(batch.view)
    by_hand = math.exp(0.75 * math.log(25 / 0.95) + 0.25 * math.log(35 / 0.8642))
    assert found.blend.logarithmic_mm2_s == pytest.approx(by_hand, rel=1e-3) == pytest.approx(29.31, abs=0.02)
    assert found.read_mm2_s == 29
    assert "none holds for an emulsion or a gel" in str(found) and "the blend itself: 29" in str(found).lower()
    (table,) = FlowReport(bench.book).droplets()
    assert table.title == "Viscosity of the oil phase"


def test_oils_at_two_temperatures_are_no_blend(bench):
    batch = bench.make("FLO-01")
    batch.read_oil_viscosity("caprylic-capric-triglyceride", "25 mPa.s", temp="25 degC")
    batch.read_oil_viscosity("simmondsia-chinensis-seed-oil", "60 mPa.s", temp="20 degC")
    assert "not all read at one temperature" in str(oil_blend(batch.view))


def test_colours_against_the_control_and_the_first_age(bench):
    """Pairs 1 and 4 of Sharma, Wu and Dalal 2005, table 1: CIEDE2000 2.0425 and 1.0000."""
    control, other = bench.make("FLO-01"), bench.make("FLO-02", day=1)
    for hours, one, two in (
        (24, (50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485)),
        (168, (50.0, -1.3802, -84.2814), (50.0, -1.3802, -84.2814)),
    ):
        for batch, colour in ((control, one), (other, two)):
            bench.at(batch, hours)
            batch.read_colour(*colour, light="D65, 10 degrees", instrument="COL-1")
    assert len(other.view.readings) == 6  # L* of 50 twice: a colour that differs in a* is new as a whole
    found = kit.colour_differences(bench.book)
    told = {(change.of.batch, change.of.age, change.against): change for change in found.changes}
    assert told["FLO-02/1", "24 h", "the control"].difference.ciede2000 == pytest.approx(2.0425, abs=1e-4)
    assert told["FLO-02/1", "7 d", "its own first age"].difference.ciede2000 == pytest.approx(1.0, abs=1e-4)
    assert told["FLO-02/1", "7 d", "the control"].difference.ciede2000 == 0
    assert ("FLO-01/1", "24 h", "the control") not in told
    (table,) = ResultsReport(bench.book).colour()
    row = next(row for row in table.rows if row[:2] == ("FLO-02/1", "24 h"))
    assert row[-2].startswith("FLO-01/1: 2.04, bluer") and "up to about 5" in table.note


def test_colours_read_otherwise_or_in_part_are_not_compared(bench):
    batch = bench.make("FLO-01")
    for hours, light in ((24, "D65, 10 degrees"), (72, "A, 2 degrees")):
        bench.at(batch, hours)
        batch.read_colour(80, 1, 5, light=light, instrument="COL-1")
    bench.at(batch, 168)
    batch.read("L*", "80")
    found = kit.colour_differences(bench.book)
    (change,) = found.changes
    assert change.difference is None and "not compared, illuminant and observer" in str(change)
    assert found.left_out == ("FLO-01/1, 7 d: a*, b* not read",)


def test_a_record_without_any_of_it_shows_none_of_it(bench):
    bench.make("FLO-01")
    assert FlowReport(bench.book).droplets() == []
    assert ResultsReport(bench.book).colour() == [] == ResultsReport(bench.book).two_instruments()


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda batch: batch.read_droplets(), "droplets.nothing"),
        (lambda batch: batch.read_droplets(COUNTS, d50="4 um"), "droplets.both"),
        (lambda batch: batch.read_droplets({"2 um": -1, "3 um": 4}), "droplets.count"),
        (lambda batch: batch.read_droplets(d50="4 g"), "units.wrong_kind"),
        (lambda batch: batch.read_colour(120, 0, 0), "colour.lightness"),
        (lambda batch: batch.read_spin("0 %", rpm=3000, minutes=30, radius="10"), "units.missing"),
    ],
)
def test_what_is_typed_wrongly_is_refused_and_nothing_is_kept(bench, call, code):
    batch = bench.make("FLO-01")
    with pytest.raises((BatchError, KitError)) as caught:
        call(batch)
    assert caught.value.code == code
    assert batch.view.readings == ()
