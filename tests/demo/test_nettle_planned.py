"""The nettle study: its plan, kept before the first batch, beside what the bench made of it."""

from __future__ import annotations

import pytest

import kit

STUDY = "nettle"
D1, D2, D3 = "2026-07-06", "2026-07-07", "2026-07-13"
# trial: planned day and place, made day and place, typed from the study as it was laid down
PLANNED = {
    "NET-05": ((D1, 1), (D1, 1)),
    "NET-01": ((D1, 2), (D1, 2)),
    "NET-04": ((D1, 3), (D2, 3)),
    "NET-06": ((D2, 1), (D2, 2)),
    "NET-03": ((D2, 2), (D2, 1)),
    "NET-07": ((D3, 1), (D3, 1)),
    "NET-02": ((D3, 2), (D1, 3)),
}
LEVELS = {"NET-01": (4000, 3), "NET-02": (9000, 3), "NET-03": (4000, 12), "NET-04": (9000, 12)}


@pytest.fixture(scope="module")
def made(source):
    return kit.plan_made(source)


def test_the_plan_was_kept_before_anything_was_weighed(source, made):
    first = min(batch.started_at for batch in source.batches(study="NET"))
    assert made.kept.study == "NET"
    assert made.kept.at < first


def test_two_speeds_by_two_holds_with_the_control_on_each_of_three_days(made):
    plan = made.plan
    assert (plan.layout, plan.dates, plan.seed) == ("two-level factorial", (D1, D2, D3), 9)
    assert [(factor.name, int(factor.low), int(factor.high)) for factor in plan.factors] == [
        ("combine rpm", 4000, 9000),
        ("combine minutes", 3, 12),
    ]
    assert [batch.day for batch in plan.batches if batch.version == plan.control] == [1, 2, 3]
    assert len(plan.batches) == 7


def test_every_batch_is_found_by_its_version_on_its_day_and_place(made):
    found = {one.batch.trial: ((one.run.date, one.run.place), one) for one in made.runs}
    assert {trial: planned for trial, (planned, _) in found.items()} == {
        trial: planned for trial, (planned, _) in PLANNED.items()
    }
    for trial, (_, one) in found.items():
        assert (one.batch.started_at[:10], one.place) == PLANNED[trial][1], trial
        levels = tuple(int(level) for _, level in made.plan.version(one.run.version).levels)
        assert levels == LEVELS.get(trial, ()), trial


def test_what_came_otherwise_is_told_apart_from_oil_left_in_its_beaker(made):
    otherwise = {one.batch.trial: one.done_otherwise for one in made.runs}
    assert [trial for trial, words in otherwise.items() if words] == ["NET-04", "NET-06", "NET-03", "NET-02"]
    assert otherwise["NET-02"] == (f"planned for {D3}, made on {D1}",)
    assert otherwise["NET-06"] == ("planned as number 1 of the day, made as number 2",)
    assert all(one.lines for one in made.runs)
    assert made.words == "7 of 7 planned batches are made; 4 came otherwise than planned; in 7 amounts differ as made."
    rows = made.amounts_table().rows
    assert [row[0] for row in rows if row[0]] == [one.batch.name for one in made.runs]
    assert any(row[1] == "Cetearyl Alcohol (30:70)" and "against 5.00 %" in row[2] for row in rows)


def test_the_batch_that_nobody_planned_is_named(made):
    assert [batch.name for batch in made.others] == ["NET-08/1"]


def test_by_the_plan_hold_goes_with_the_day_in_part_and_as_made_wholly(made):
    """Planned: 3 min on days 1 and 3, 12 min on days 1 and 2. Of four batches the day means are 0, +1, -1: the sum of
    squares between days is 2 of 4, its root 0.71. Made: 3, 3 on the first and 12, 12 on the second: all of it."""
    (planned,) = [words for words in made.plan.limits() if words.startswith("combine minutes")]
    assert "in part (correlation 0.71)" in planned
    (told,) = made.days_and_factors()
    assert told.startswith("combine minutes coincides with the day wholly")
    assert f"3 only on {D1}; 12 only on {D2}" in told


def test_a_batch_is_made_from_the_formula_of_the_plan(source, made):
    for one in made.runs:
        planned = made.plan.version(one.run.version).formula
        assert source.trial(one.batch.trial).formula.title == planned.title
