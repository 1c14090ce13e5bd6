"""What `compare` refuses, and what it answers to."""

from __future__ import annotations

import pytest

import kit
from kit.errors import KitError


def refused(call) -> KitError:
    with pytest.raises(KitError) as problem:
        call()
    return problem.value


def test_an_unknown_trial_is_refused_with_the_nearest_names(linden):
    problem = refused(lambda: linden.compare("LIN-4"))
    assert problem.code == "labbook.trial"
    assert "LIN-04" in problem.allowed


def test_an_unknown_control_is_refused_with_the_nearest_names(linden):
    problem = refused(lambda: linden.compare("LIN-04", control="LIN-3"))
    assert problem.code == "compare.control"
    assert "LIN-03" in problem.allowed


def test_no_trial_is_refused_with_what_there_is(linden):
    problem = refused(linden.compare)
    assert (problem.code, "LIN-07" in problem.allowed) == ("compare.no_trial", True)


def test_a_study_without_a_control_asks_for_one(empty):
    empty.study(control="")
    empty.make("LIN-03")
    problem = refused(lambda: empty.compare("LIN-03"))
    assert (problem.code, problem.mend) == (
        "compare.no_control",
        'say which trial the others are set against: control="LIN-03"',
    )
    assert [arm.label for arm in empty.compare("LIN-03", control="LIN-03").arms] == ["LIN-03"]


def test_a_control_that_was_not_made_yet_is_told(empty):
    empty.study()
    empty.make("LIN-04", {"cetearyl-alcohol": "6.00 %"})
    problem = refused(lambda: empty.compare("LIN-04"))
    assert (problem.code, problem.allowed) == ("compare.control", "LIN-04")


def test_trials_of_two_studies_are_refused(empty):
    empty.study("LIN")
    empty.study("CAL")
    empty.make("LIN-03")
    empty.make("CAL-03", study="CAL")
    for call in (lambda: empty.compare("LIN-03", "CAL-03"), lambda: empty.compare("LIN-03", control="CAL-03")):
        problem = refused(call)
        assert problem.code == "compare.two_studies"
        assert "CAL" in problem.what


def test_an_unknown_property_or_age_is_refused_with_the_nearest_names(linden):
    problem = refused(lambda: linden.compare("LIN-04", properties=["viscosty"]))
    assert (problem.code, problem.allowed.split(", ")[0]) == ("compare.property", "viscosity")
    assert refused(lambda: linden.compare("LIN-04", ages=["48 h"])).code == "age.unknown"


def test_a_result_that_is_not_there_is_refused_with_what_is(linden):
    problem = refused(lambda: linden.compare("LIN-04").result("viscosity", "48 h"))
    assert (problem.code, "viscosity, 72 h" in problem.allowed) == ("compare.no_result", True)


def test_a_source_may_be_a_path_a_lab_book_or_a_source(linden):
    opened = kit.open_source(linden.folder / "linden.labbook")
    tables = {
        kit.compare(source, "LIN-04").table().html()
        for source in (linden.book, opened, linden.book.source(), linden.folder / "linden.labbook")
    }
    assert len(tables) == 1


def test_a_batch_without_any_reading_is_compared_all_the_same(bench):
    bench.make("LIN-03")
    bench.make("LIN-04", {"cetearyl-alcohol": "6.00 %"})
    comparison = bench.compare("LIN-04")
    assert {arm.verdict for result in comparison.results for arm in result.arms} == {"NOT TESTED"}
    assert comparison.not_used == ()
    assert "no reading in 72 h ± 4 h" in str(comparison)


def test_the_same_trial_named_twice_is_one_arm(linden):
    assert [arm.label for arm in linden.compare("LIN-04", "LIN-04", "LIN-06").arms] == ["LIN-03, LIN-06", "LIN-04"]
