"""One jar on two instruments, worked by hand: each ± 462 mPa.s (1 % of 40,000), so the difference ± 653."""

from __future__ import annotations

import pytest

import kit
from kit.errors import KitError
from kit.trials.two_instruments import NOTHING, ONE_JAR
from kit.writeup.results_report import ResultsReport


@pytest.fixture
def two(bench):
    """A batch of the study LIN, and a second viscometer with the same constants."""
    bench.book.add_instrument("VIS-2", kind="viscometer", constants={"disc 5": 4000, "disc 6": 10000})
    return bench, bench.make("LIN-03")


def found(bench, **asked):
    return kit.between_instruments(bench.book, **asked)


def test_two_that_agree_and_two_that_differ(two):
    bench, batch = two
    bench.viscosity(batch, "24 h", 15200)
    bench.viscosity(batch, "24 h", 14700, instrument="VIS-2")
    bench.viscosity(batch, "72 h", 15200)
    bench.viscosity(batch, "72 h", 14400, instrument="VIS-2")
    agree, differ = found(bench).jars
    assert (agree.age, agree.state, agree.difference.difference) == ("24 h", "agree", 500)
    assert agree.difference.expanded == pytest.approx(653.2, abs=1)
    assert (differ.age, differ.state, differ.difference.difference) == ("72 h", "differ", 800)
    assert "VIS-1 less VIS-2: 500 ± 650: no difference shown" in agree.words
    assert found(bench, age="72 h").jars == (differ,) and found(bench, property="pH").jars == ()
    assert found(bench, names=["LIN-03/1"], property="Viscosity", age="24 h").jars == (agree,)


def test_batches_on_one_instrument_and_unlike_jars_are_never_set_against_each_other(two):
    bench, batch = two
    bench.viscosity(batch, "72 h", 15200)
    bench.viscosity(batch, "72 h", 15800, replicate="2")  # the same instrument again
    bench.viscosity(batch, "72 h", 14000, spindle="disc 6", instrument="VIS-2")  # another spindle
    bench.viscosity(batch, "7 d", 14000, instrument="VIS-2")  # another age
    bench.viscosity(bench.make("LIN-03", day=2, number=2), "72 h", 14000, instrument="VIS-2")  # another batch
    assert found(bench).jars == ()
    assert str(found(bench)) == NOTHING
    assert ResultsReport(bench.book).two_instruments() == []


def test_a_flagged_reading_is_left_out_and_an_unknown_uncertainty_is_said(two):
    bench, batch = two
    bench.viscosity(batch, "72 h", 40600)  # 101.5 % of full scale: flagged
    bench.viscosity(batch, "72 h", 30000, instrument="VIS-2")
    assert found(bench).jars == ()
    bench.ph(batch, "24 h", "4.60")
    bench.book.add_instrument("PH-2", kind="pH meter")
    bench.ph(batch, "24 h", "4.90", instrument="PH-2", calibration=None)
    (jar,) = found(bench).jars
    assert (jar.state, jar.difference) == ("cannot be told", None)
    assert "the uncertainty on PH-1 and PH-2 is not known" in jar.words


def test_a_row_stands_on_the_results_page(two):
    bench, batch = two
    bench.viscosity(batch, "72 h", 15200)
    bench.viscosity(batch, "72 h", 14400, instrument="VIS-2")
    (table,) = ResultsReport(bench.book).two_instruments()
    (row,) = table.rows
    assert row[0] == "LIN-03/1, viscosity, 72 h"
    assert row[1:3] == ("VIS-1: 15200 ± 460 mPa.s, n = 1", "VIS-2: 14400 ± 460 mPa.s, n = 1")
    assert str(row[3]) == "differ" and "differ by more than both budgets allow" in row[4]
    assert table.note == ONE_JAR
    shown = found(bench)
    assert "differ by more" in str(shown) and "<table" in shown._repr_html_()


def test_a_name_of_another_study_is_refused(two):
    bench, _ = two
    bench.study("LHC")
    bench.make("LHC-03", study="LHC")
    with pytest.raises(KitError) as caught:
        found(bench, names=["LHC-03"], study="LIN")
    assert caught.value.code == "instruments.study"
