"""A batch whose limit lies within its own uncertainty: said beside the verdict, which stays, and never between batches.

Expected by hand: K 4000 at 10 rpm has a full scale of 40,000, 1 % of it is 400, U = 2 x 400 / sqrt 3 = 462 mPa.s;
K 10000 has 1,155.
"""

from __future__ import annotations

import pytest

from kit.formula.model import SpecLine
from kit.trials.results import FAIL, PASS
from kit.writeup.results_report import ResultsReport

NEAR = "the limit {} lies within its uncertainty (U = 460 mPa.s, k = 2, from the full-scale error of the spring"


def limits(low: str = "15000", high: str = "25000") -> SpecLine:
    from decimal import Decimal

    return SpecLine("viscosity", Decimal(low), Decimal(high), "mPa.s", (), "viscosity", "72 h")


def arm(bench, values: list[int], **more):
    bench.study(spec=[limits()])
    bench.versions("LIN", {"LIN-03": values}, **more)
    (found,) = bench.compare("LIN-03").result("viscosity", "72 h").arms
    return found


@pytest.mark.parametrize(
    ("value", "verdict", "side", "limit"),
    [(15200, PASS, "inside", 15000), (14800, FAIL, "outside", 15000), (24800, PASS, "inside", 25000),
     (25200, FAIL, "outside", 25000), (15000, PASS, "inside", 15000)],
)  # fmt: skip
def test_the_verdict_stands_and_the_words_say_that_the_limit_is_near(empty, value, verdict, side, limit):
    found = arm(empty, [value])
    assert found.verdict == verdict
    assert f"; {side}, but {NEAR.format(limit)} at {value / 400} % torque)" in found.verdict_why


@pytest.mark.parametrize(("value", "verdict"), [(15500, PASS), (14500, FAIL), (20000, PASS), (24500, PASS)])
def test_further_than_its_uncertainty_from_a_limit_nothing_is_added(empty, value, verdict):
    found = arm(empty, [value])
    assert found.verdict == verdict
    assert "uncertainty" not in found.verdict_why


def test_of_several_batches_each_is_told_alone(empty):
    """sqrt(15200 x 20000) = 17436 is far inside; only the first batch is near, and it is named."""
    found = arm(empty, [15200, 20000])
    assert found.verdict == PASS
    assert f"; LIN-03/1 alone is inside, but {NEAR.format(15000)} at 38.0 % torque)" in found.verdict_why
    assert "LIN-03/2 alone" not in found.verdict_why


def test_without_torque_or_calibration_nothing_is_claimed(empty):
    empty.study(spec=[SpecLine("pH", None, None, "", (), "pH neat", "24 h"), *empty.formula.spec])
    batch = empty.make("LIN-03")
    empty.ph(batch, "24 h", "4.30")
    for result in empty.compare("LIN-03").results:
        assert all("uncertainty" not in found.verdict_why for found in result.arms)


def test_between_batches_on_one_instrument_the_budget_plays_no_part(empty):
    """The same values on a spring with 2.5 times the uncertainty: interval and verdict of the difference are equal."""
    empty.book.add_instrument("VIS-9", kind="viscometer", constants={"disc 5": 10000})
    plan = {"LIN-03": [19000, 20000], "LIN-04": [24000, 25500]}
    change = {"LIN-04": {"cetearyl-alcohol": "6.00 %"}}
    told = []
    for study, more in (("LIN", {}), ("SIX", {"instrument": "VIS-9"})):
        control = f"{study}-03"
        renamed = {f"{study}-0{3 + place}": values for place, values in enumerate(plan.values())}
        empty.study(study, spec=[limits()], control=control)
        for day, (trial, values) in enumerate(renamed.items()):
            for number, value in enumerate(values, start=1):
                changed = change["LIN-04"] if trial.endswith("04") else None
                batch = empty.make(trial, changed, day=2 * day + number, number=number, study=study)
                read = {**more, "torque_pct": str(value / 1000)} if more else {}  # K 10000 at 10 rpm
                empty.viscosity(batch, "72 h", value, **read)
        other = empty.compare(control, f"{study}-04").result("viscosity", "72 h").arms[1]
        told.append(other)
    fine, coarse = (found.difference for found in told)
    assert (fine.value, fine.low, fine.high) == (coarse.value, coarse.low, coarse.high)
    assert "uncertainty" not in fine.words and "U =" not in coarse.words
    # 25,500 lies 500 above 25,000: beyond 462, within 1,155
    assert "uncertainty" not in told[0].verdict_why.split("LIN-04/2 alone")[-1]
    assert "alone is outside, but the limit 25000 lies within its uncertainty (U = 1200" in told[1].verdict_why


def test_the_results_page_prints_it(empty):
    arm(empty, [15200])
    table = ResultsReport(empty.book).verdicts()
    (row,) = [row for row in table.rows if row[0] == "viscosity, 72 h"]
    assert str(row[2]) == "PASS" and "inside, but the limit 15000 lies within its uncertainty" in row[3]
