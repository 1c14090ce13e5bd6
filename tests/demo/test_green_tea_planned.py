"""The green tea study: a first plan that is stopped, the plan that was made, and the batch that confirmed it."""

from __future__ import annotations

from decimal import Decimal

import pytest

import kit
from kit.demo.green_tea import BOUNDS, FIRST_BOUNDS

STUDY = "green-tea"
CTAC, BTAC, ALCOHOL = BOUNDS
D1, D2 = "2026-08-03", "2026-08-04"
# in the order that was planned and made: day, place, active cetrimonium, behentrimonium, alcohol [%]
ORDER = {
    "TEA-07": (D1, 1, None),
    "TEA-04": (D1, 2, ("0.50", "2.50", "4.00")),
    "TEA-01": (D1, 3, ("0.00", "1.00", "6.00")),
    "TEA-05": (D1, 4, ("1.50", "0.50", "5.00")),
    "TEA-08": (D2, 1, None),
    "TEA-02": (D2, 2, ("0.00", "2.50", "4.50")),
    "TEA-06": (D2, 3, ("1.50", "1.50", "4.00")),
    "TEA-03": (D2, 4, ("0.50", "0.50", "6.00")),
}


@pytest.fixture(scope="module")
def made(source):
    return kit.plan_made(source, study="TEA")


def first_plan(source, **options):
    base = source.trial("TEA-07").formula
    return kit.plan_variations(
        base, "extreme vertices", FIRST_BOUNDS, total="7.00 % active", centre=0, days=2, **options
    )


def test_the_first_plan_is_stopped_where_cetrimonium_is_above_2_5_percent(source):
    """Corners at 3.0 %: 3.0 + 0.5 + 3.5 and 3.0 + 1.0 + 3.0 make 7.00 %. 2.5 % holds as the chloride, (EC) 1223/2009
    annex III, entry 286."""
    plan = first_plan(source, repair=False)
    stopped = [tuple(level for _, level in version.levels) for version in plan.stopped]
    assert stopped == [
        (Decimal("3.00"), Decimal("0.50"), Decimal("3.50")),
        (Decimal("3.00"), Decimal("1.00"), Decimal("3.00")),
    ]
    assert "STOPPED" in plan.words


def test_its_bound_is_tightened_to_the_limit_and_the_finding_is_told(source):
    plan = first_plan(source)
    (moved,) = plan.tightened
    assert (moved.factor, moved.side, moved.was, moved.now) == (CTAC, "upper", "3.0 % active", "2.50 % active")
    assert "above the limit of 2.5 %" in str(moved)
    assert plan.stopped == ()


def test_the_plan_that_was_made_has_six_corners_and_the_point_inside_on_both_days(source, made):
    plan = made.plan
    assert (plan.layout, plan.dates, plan.judged) == ("extreme vertices", (D1, D2), "mixture")
    assert [factor.span() for factor in plan.factors] == [
        "0 to 1.5 % active",
        "0.5 to 2.5 % active",
        "4.0 to 6.0 % active",
    ]
    assert made.kept.at < min(batch.started_at for batch in source.batches(study="TEA"))
    assert [batch.day for batch in plan.batches if batch.version == plan.control] == [1, 2]
    assert "stopped by the review at 2.5 %" in source.entries("plan/TEA-plan")[0].body["note"]


def test_all_eight_were_made_as_planned_and_the_confirmation_is_no_part_of_it(made):
    assert [one.batch.trial for one in made.runs] == list(ORDER)
    for one in made.runs:
        day, place, active = ORDER[one.batch.trial]
        assert (one.run.date, one.run.place, one.batch.started_at[:10], one.place) == (day, place, day, place)
        assert one.done_otherwise == ()
        levels = tuple(f"{level:.2f}" for _, level in made.plan.version(one.run.version).levels)
        assert levels == (active or ())
    assert [batch.name for batch in made.others] == ["TEA-09/1"]
    assert made.days_and_factors() == ()


def test_what_was_known_of_the_eight_was_on_the_record_before_the_ninth_was_made(source):
    began = source.batch("TEA-09/1").started_at
    for trial in ORDER:
        recorded = [entry.recorded_at for entry in source.batch(f"{trial}/1").entries if entry.kind == "reading"]
        assert len(recorded) >= 5
        assert max(recorded) < began, trial


@pytest.fixture(scope="module")
def fit(source):
    return kit.fit_response(
        source, "TEA", "viscosity", "72 h", BOUNDS, model="linear", without=["TEA-09"], levels="meant", days="none"
    )


def test_the_blend_as_it_was_laid_down(fit):
    """Laid down: 4,660, 15,600 and 29,600 at the pseudo-vertices, residual SD 10 %; equal ones would be some 14,000."""
    told = dict(fit.pseudo_vertices())
    assert told[CTAC] == pytest.approx(4660, rel=3e-3)
    assert told[BTAC] == pytest.approx(15600, rel=3e-3)
    assert told[ALCOHOL] == pytest.approx(29600, rel=3e-3)
    assert fit.model.sd == pytest.approx(0.10, abs=0.004)


def test_the_confirmation_lies_inside_the_prediction_interval(fit):
    """Laid down: 16,400 inside 12,000 to 20,900."""
    (row,) = fit.held_out_table().rows
    assert row[0] == "TEA-09/1"
    assert "inside" in str(row[4])
    low, high = (float(number) for number in str(row[3]).split(" to "))
    assert (low, high) == (pytest.approx(12000, rel=5e-3), pytest.approx(20900, rel=5e-3))
