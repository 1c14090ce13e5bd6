"""What must not move a comparison does not, what must does so as it should, and what allows no answer says so."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import numpy
import pytest
from scipy import stats

from tests.trials.conftest import Bench

CHANGED = {"cetearyl-alcohol": "6.00 %"}
CONTROL, TRIAL = [19000, 20080, 18500, 19700], [24000, 28400, 26000]


def entered(folder, control=CONTROL, trial=TRIAL, *, spec=None, unit: str = "mPa.s", twice: bool = False) -> Bench:
    """A lab book with batches of the control on the first days, of the other version on later ones."""
    folder.mkdir()
    bench = Bench(folder)
    bench.study(**({"spec": spec} if spec else {}))
    day = 0
    for name, changes, values in (("LIN-03", {}, control), ("LIN-04", CHANGED, trial)):
        for number, value in enumerate(values, start=1):
            day += 1
            batch = bench.make(name, changes, day=day, number=number)
            for replicate in range(1, 2 + twice):
                read(bench, batch, value, unit, replicate)
    return bench


def read(bench: Bench, batch, value: int, unit: str, replicate: int) -> None:
    """A viscosity at 72 h by the method, written in this unit."""
    bench.at(batch, "72 h")
    shown = f"{value} mPa.s" if unit == "mPa.s" else f"{Decimal(value) / 1000} Pa.s"
    batch.read_viscosity(
        shown,
        torque_pct=str(value * 10 / 4000),
        rpm=10,
        spindle="disc 5",
        instrument="VIS-1",
        temp="25.0 degC",
        reading_time="60 s",
        container="100 mL jar",
        age="72 h",
        replicate=replicate,
    )


def judged(bench: Bench, **options):
    result = bench.compare("LIN-04", **options).result("viscosity", "72 h")
    bench.book.close()
    return result


def numbers(found) -> tuple[float, ...]:
    return (found.value, found.low, found.high, found.half_width, found.detectable, found.df, found.p_adjusted)


@pytest.fixture
def plain(tmp_path):
    """The result as entered first."""
    return judged(entered(tmp_path / "plain"))


def test_a_jar_read_twice_is_one_batch_still(tmp_path, plain):
    twice = judged(entered(tmp_path / "twice", twice=True))
    once, again = plain.arm("LIN-04"), twice.arm("LIN-04")
    assert (once.n_batches, once.n_readings, again.n_batches, again.n_readings) == (3, 3, 3, 6)
    assert numbers(again.difference) == pytest.approx(numbers(once.difference), rel=1e-9)
    # six readings taken for batches would give 12 degrees of freedom and a half-width narrower by a third
    assert again.difference.df == 5


def test_which_batch_had_which_value_moves_nothing(tmp_path, plain):
    turned = judged(entered(tmp_path / "turned", CONTROL[::-1], [TRIAL[1], TRIAL[2], TRIAL[0]]))
    assert numbers(turned.arm("LIN-04").difference) == pytest.approx(numbers(plain.arm("LIN-04").difference), rel=1e-9)


def test_readings_in_pascal_seconds_give_the_same_ratio_and_verdict(tmp_path, plain):
    other = judged(entered(tmp_path / "unit", unit="Pa.s"))
    assert numbers(other.arm("LIN-04").difference) == pytest.approx(numbers(plain.arm("LIN-04").difference), rel=1e-9)
    assert [arm.verdict for arm in other.arms] == [arm.verdict for arm in plain.arms] == ["PASS", "FAIL"]


def test_a_spec_in_pascal_seconds_judges_alike(tmp_path, plain):
    folder = tmp_path / "spec"
    folder.mkdir()
    spare = Bench(folder / "..")
    spec = [
        replace(line, low=Decimal(15), high=Decimal(25), unit="Pa.s") if line.property == "viscosity" else line
        for line in spare.formula.spec
    ]
    spare.book.close()
    other = judged(entered(tmp_path / "other", spec=spec))
    assert [arm.verdict for arm in other.arms] == [arm.verdict for arm in plain.arms]
    assert (other.spec.low, other.spec.high, other.spec.unit) == (15000, 25000, "mPa.s")


def test_a_batch_left_away_takes_one_degree_of_freedom_and_only_its_own_mean(tmp_path, plain):
    fewer = judged(entered(tmp_path / "fewer", trial=[*TRIAL, 27000]))
    one, more = plain.arm("LIN-04").difference, fewer.arm("LIN-04").difference
    assert (one.df, more.df) == (5, 6)
    assert fewer.arms[0].mean == pytest.approx(plain.arms[0].mean, rel=1e-12)
    for found, trial in ((one, TRIAL), (more, [*TRIAL, 27000])):
        interval = stats.ttest_ind(numpy.log(trial), numpy.log(CONTROL)).confidence_interval(0.95)
        assert (math.log(found.low), math.log(found.high)) == pytest.approx(interval, rel=1e-9)


# ---------------------------------------------------------------- what allows no answer says so


def test_one_version_alone_has_nothing_beside_it(bench):
    bench.versions("LIN", {"LIN-03": [19000, 19500]})
    (only,) = bench.compare("LIN-03").result("viscosity", "72 h").arms
    assert (only.difference, only.difference_why) == (None, "the control")
    assert bench.compare("LIN-03").result("viscosity", "72 h").analysis == ""


def test_all_readings_of_the_control_flagged_is_said_and_nothing_is_tested(bench):
    bench.viscosity(bench.make("LIN-03"), "72 h", 19000, torque="101.5")
    bench.viscosity(bench.make("LIN-04", CHANGED), "72 h", 26000)
    found = bench.compare("LIN-04").result("viscosity", "72 h").arm("LIN-04")
    assert found.difference is None
    assert found.difference_why.startswith("not tested: the control has nothing to compare with (LIN-03/1 19000")
    assert "FLAGGED" in found.difference_why


def test_a_version_without_a_reading_is_said_and_the_others_are_compared(bench):
    bench.versions("LIN", {"LIN-03": CONTROL, "LIN-04": TRIAL}, {"LIN-04": CHANGED})
    bench.make("LIN-02", {"cetearyl-alcohol": "4.00 %"}, day=9)
    result = bench.compare("LIN-04", "LIN-02").result("viscosity", "72 h")
    assert result.arm("LIN-02").difference_why == "not tested: no reading in 72 h ± 4 h"
    assert result.arm("LIN-04").difference.verdict == "differs"
    assert result.multiplicity == ""  # one version was compared


def test_one_batch_each_is_saturated_and_says_what_is_missing(bench):
    bench.versions("LIN", {"LIN-03": [19000], "LIN-04": [29600]}, {"LIN-04": CHANGED})
    result = bench.compare("LIN-04").result("viscosity", "72 h")
    found = result.arm("LIN-04").difference
    assert (found.low, found.detectable, found.verdict, found.code) == (None, None, "not tested", "no_scatter")
    assert "nothing was repeated, so the scatter of batches is not known" in found.words
    assert (found.p_adjusted, found.half_width) == (None, None)


def test_days_that_hold_either_version_but_never_both_leave_the_day_unseparated(bench):
    bench.versions("LIN", {"LIN-03": CONTROL, "LIN-04": TRIAL}, {"LIN-04": CHANGED})
    found = bench.compare("LIN-04").result("viscosity", "72 h").arm("LIN-04").difference
    assert found.interval_by == "pooled batch scatter"
    assert any("the day is not separated from the change" in caution for caution in found.cautions)


def test_the_half_width_and_what_would_be_found_are_two_things_with_two_names(bench):
    bench.versions("LIN", {"LIN-03": CONTROL, "LIN-04": TRIAL}, {"LIN-04": CHANGED})
    found = bench.compare("LIN-04").result("viscosity", "72 h").arm("LIN-04").difference
    # four times in five by the noncentral t of scipy: the chance to see a true ratio of `detectable`
    reach, shift = stats.t.ppf(0.975, found.df), math.log(found.detectable) / found.standard_error
    seen = stats.nct.sf(reach, found.df, shift) + stats.nct.cdf(-reach, found.df, shift)
    assert seen == pytest.approx(0.8, abs=0.002)
    narrow = math.log(found.half_width) / found.standard_error
    assert stats.nct.sf(reach, found.df, narrow) == pytest.approx(0.5, abs=0.08)  # found every other time only
    assert f"half-width a factor of {found.half_width:.3g}" in found.words
    assert f"found four times in five: a factor of {found.detectable:.3g}" in found.words
