"""Combing force from the record: each tress its own control, strokes never counted as tresses.

Referees: the readings as typed, scipy on their logarithms; the calendula study, 31 % for CAL-04 and 47 % for CAL-01.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta

import numpy as np
import pytest
from scipy import stats

import kit
from kit.errors import KitError
from tests.panel_bench import PanelBench


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    bench = PanelBench(tmp_path_factory.mktemp("made"))
    for place in range(1, 4):
        bench.make(f"WOO-0{place}", {"cetearyl-alcohol": f"{4 + place}.50 %"})
    bench.book.add_instrument("COMB-1", kind="load cell with comb")
    bench.book.close()
    return bench


@pytest.fixture
def woodruff(made, tmp_path):
    bench = PanelBench(tmp_path, made)
    yield bench
    bench.book.close()


def comb(bench, batch: str, tress: str, before: list[str], after: list[str], days: int = 7, **more: object) -> None:
    """Strokes in gf or any unit typed, each a reading of its own, so many days after the batch was finished."""
    opened = bench.book.batch(batch)
    moment = datetime.fromisoformat(opened.view.finished_at) + timedelta(days=days)
    bench.now = max(bench.now, moment)
    for name, strokes in (("combing force before", before), ("combing force after", after)):
        for place, force in enumerate(strokes, start=1):
            told = {"sample": tress, "instrument": "COMB-1", "replicate": str(place), "at": moment.isoformat()} | more
            opened.read(name, force, **told)


def test_each_tress_is_its_own_control_whatever_the_unit(woodruff):
    """60 to 27 gf is 45 %; 0.6 to 0.3 N is 50 %: geometric mean sqrt(45 x 50) = 47.43."""
    comb(woodruff, "WOO-01/1", "t1", ["58 gf", "62 gf"], ["26 gf", "28 gf"])
    comb(woodruff, "WOO-01/1", "t2", ["0.6 N"], ["0.3 N"])
    found = kit.combing(woodruff.book, ["WOO-01"])
    (treatment,) = found.treatments
    assert [tress.residual_pct for tress in treatment.tresses] == pytest.approx([45.0, 50.0])
    assert treatment.residual_pct == pytest.approx(math.sqrt(45 * 50))
    assert "47 % of the untreated force on 2 tresses" in found.words
    assert "only one batch" in found.words and "takes batches" in found.words


def test_more_strokes_are_no_more_tresses(woodruff):
    for batch in ("WOO-01/1", "WOO-02/1"):
        for tress in ("a", "b"):
            force = "30 gf" if tress == "a" else "33 gf"
            comb(woodruff, batch, f"{batch} {tress}", ["60 gf"], [force])
    before = kit.combing(woodruff.book)
    for batch in ("WOO-01/1", "WOO-02/1"):
        for tress in ("a", "b"):
            force = "30 gf" if tress == "a" else "33 gf"
            comb(woodruff, batch, f"{batch} {tress}", ["60 gf"] * 6, [force] * 6, note="again")
    after = kit.combing(woodruff.book)
    assert [len(item.tresses) for item in after.treatments] == [2, 2]
    assert (after.ratios[0].low, after.ratios[0].high) == pytest.approx((before.ratios[0].low, before.ratios[0].high))


def test_batches_are_compared_with_the_control_by_their_logarithms(woodruff):
    shares = {"WOO-01/1": (45, 50, 48), "WOO-02/1": (30, 33, 31)}
    for batch, row in shares.items():
        for place, share in enumerate(row):
            comb(woodruff, batch, f"{batch} {place}", ["100 gf"], [f"{share} gf"])
    found = kit.combing(woodruff.book)
    peer = stats.ttest_ind(np.log(shares["WOO-02/1"]), np.log(shares["WOO-01/1"]), equal_var=False)
    low, high = np.exp(peer.confidence_interval(0.95))
    (ratio,) = found.ratios
    assert (ratio.first, ratio.second) == ("WOO-02/1", "WOO-01/1")
    assert (ratio.low, ratio.high) == pytest.approx((low, high), rel=1e-6)
    assert "a difference is shown" in found.words
    turned = kit.combing(woodruff.book, control="WOO-02").ratios[0]
    assert turned.ratio == pytest.approx(1 / ratio.ratio)


def test_what_cannot_count_is_left_out_with_its_reason(woodruff):
    opened = woodruff.book.batch("WOO-01/1")
    opened.read("combing force before", "60 gf", sample="t1")
    opened.read("combing force after", "60 gf", instrument="COMB-1")
    opened.read("wet-combing force", "41 %", sample="t3")
    opened.read("combing force after", "22 gf", sample="t3")
    opened.read("wet-combing force", "12 gf", sample="t4")
    void = opened.read("wet-combing force", "40 %", sample="t5")
    opened.void(void, why="the comb slipped")
    found = kit.combing(woodruff.book)
    assert found.treatments == ()
    assert "No wet-combing force is recorded" not in "".join(row[2] for row in found.tables()[0].rows)
    reasons = {left.what: left.why for left in found.left_out}
    assert "combed before its treatment only" in reasons["tress t1"]
    assert "the tress is NOT RECORDED" in reasons["combing force after 60 gf"]
    assert "as a share and as forces" in reasons["tress t3"]
    assert "no share in %" in reasons["wet-combing force 12 gf, t4"]


def test_other_ages_instruments_or_ways_are_not_compared(woodruff):
    comb(woodruff, "WOO-01/1", "a", ["60 gf"], ["27 gf"])
    comb(woodruff, "WOO-02/1", "b", ["60 gf"], ["30 gf"], instrument="COMB-2")
    found = kit.combing(woodruff.book)
    assert found.ratios == () and "not combed by one instrument (COMB-1, COMB-2)" in found.words
    opened = woodruff.book.batch("WOO-03/1")
    at = datetime.fromisoformat(opened.view.finished_at) + timedelta(days=7)
    opened.read("wet-combing force", "40 %", sample="c", instrument="COMB-1", at=at.isoformat())
    assert "some as forces" in kit.combing(woodruff.book, ["WOO-01", "WOO-03"]).words


def test_ages_are_kept_apart(woodruff):
    comb(woodruff, "WOO-01/1", "a", ["60 gf"], ["27 gf"], days=1)
    comb(woodruff, "WOO-01/1", "b", ["60 gf"], ["30 gf"])
    found = kit.combing(woodruff.book)
    assert len(found.treatments) == 2 and "several ages" in found.words
    assert [item.name for item in kit.combing(woodruff.book, age="7 d").treatments] == ["WOO-01/1"]


def test_one_name_in_two_batches_is_taken_as_two_tresses_and_said(woodruff):
    """Many benches number the tresses of each batch from 1; hair treated twice would be no control of itself."""
    for batch, force in (("WOO-01/1", "27 gf"), ("WOO-02/1", "30 gf")):
        for tress in ("1", "2"):
            comb(woodruff, batch, tress, ["60 gf"], [force])
    found = kit.combing(woodruff.book)
    assert [len(item.tresses) for item in found.treatments] == [2, 2]
    assert "The names 1, 2 stand in several batches" in found.words


def test_nothing_recorded_says_how_to_record_it(woodruff):
    found = kit.combing(woodruff.book)
    assert "No wet-combing force is recorded" in str(found) and "sample=" in str(found)
    for call, code in (
        (lambda: kit.combing(woodruff.book, ["WOO-09"]), "labbook.trial"),
        (lambda: kit.combing(woodruff.book, study="ZZZ"), "labbook.study"),
        (lambda: kit.combing(woodruff.book, age="71 h"), "age.unknown"),
        (lambda: kit.combing(woodruff.book, control="WOO-09"), "combing.control"),
    ):
        with pytest.raises(KitError) as caught:
            call()
        assert caught.value.code == code


def test_the_calendula_study_by_its_own_readings(demos):
    """CAL-02 (40, 45, 47 %) against the control CAL-04 (28, 31, 34 %): pooled over three batches, two comparisons."""
    built = demos("calendula").labbook
    found = kit.combing(built, ["CAL-04", "CAL-02", "CAL-03"])
    assert {item.name: round(item.residual_pct) for item in found.treatments} == {
        "CAL-03/1": 34,
        "CAL-04/1": 31,
        "CAL-02/1": 44,
    }
    verdicts = {item.first: item.differs for item in found.ratios}
    assert verdicts == {"CAL-02/1": True, "CAL-03/1": False}
