"""What goes with the day among made batches is told by the comparison itself, and cross-day versions as such."""

from __future__ import annotations

import pytest

ALCOHOL = "Cetearyl Alcohol (30:70)"
LEVELS = {"LIN-01": "3.00 %", "LIN-02": "4.00 %", "LIN-04": "6.00 %"}


def changes(trial: str) -> dict[str, str]:
    return {"cetearyl-alcohol": LEVELS[trial]} if trial in LEVELS else {}


def made(bench, days: dict[str, list[int]]):
    """Batches of each trial on these days, each with a viscosity at 72 h."""
    for trial, on in days.items():
        for number, day in enumerate(on, start=1):
            batch = bench.make(trial, changes(trial), day=day, number=number)
            bench.viscosity(batch, "72 h", 19000 + 170 * day + 40 * len(trial) * number)
    return bench.compare(*days, control="LIN-03")


def told(comparison, words: str) -> list[str]:
    return [note for note in comparison.notes if words in note]


def test_a_level_a_day_coincides_wholly(bench):
    comparison = made(bench, {"LIN-03": [3], "LIN-02": [2], "LIN-01": [1]})
    (note,) = told(comparison, "coincides with the day")
    assert note.startswith(f"{ALCOHOL}, % w/w coincides with the day wholly (correlation 1): 3 only on 2026-03-02;")
    assert note.endswith("What it does cannot be told from what the day did.")
    assert note in comparison.table().note


def test_the_line_that_takes_up_the_change_is_not_named(bench):
    comparison = made(bench, {"LIN-03": [3], "LIN-02": [2], "LIN-01": [1]})
    assert told(comparison, "Water") == []


def test_the_linden_levels_go_with_the_day_in_part(linden):
    # 3, 4 and 5 % on the first day, 5, 6 and 7 % on the second, 5 % on the third: between days 3 x 1 + 3 x 1 + 0 = 6,
    # in all 4 + 1 + 0 + 0 + 1 + 4 + 0 = 10: correlation sqrt(6 / 10) = 0.77
    (note,) = told(linden.compare(*(f"LIN-0{number}" for number in range(1, 8))), "goes with the day in part")
    assert note.startswith(f"{ALCOHOL}, % w/w goes with the day in part (correlation 0.77)")


def test_every_level_on_every_day_and_all_on_one_day_coincide_with_nothing(bench, tmp_path):
    crossed = made(bench, {"LIN-03": [1, 2], "LIN-02": [1, 2], "LIN-01": [1, 2]})
    assert told(crossed, "the day") == []


def test_all_on_one_day_coincide_with_nothing(bench):
    comparison = made(bench, {"LIN-03": [1], "LIN-02": [1], "LIN-01": [1]})
    assert told(comparison, "day") == []


def test_two_levels_are_told_by_the_days_without_a_control_only(bench):
    comparison = made(bench, {"LIN-03": [1], "LIN-02": [2]})
    assert told(comparison, "coincides") == []
    assert told(comparison, "LIN-02: no control was made on 2026-03-03")


def test_a_single_batch_of_another_day_is_cross_day_and_not_tested(bench):
    comparison = made(bench, {"LIN-03": [1], "LIN-02": [1], "LIN-04": [2]})
    (note,) = told(comparison, "Cross-day and not tested")
    assert note.startswith(f"Cross-day and not tested: LIN-04 ({ALCOHOL}). Made on no day of the control")
    assert "LIN-02" not in note


@pytest.mark.parametrize("days", [{"LIN-03": [1, 2, 3, 4, 5, 6], "LIN-04": [7]}, {"LIN-03": [1, 2], "LIN-04": [2]}])
def test_what_is_tested_or_shares_a_day_is_not_called_so(bench, days):
    assert told(made(bench, days), "Cross-day and not tested") == []
