"""Calibrations in the lab book: millivolts, tables, contradictions, the closing check, and the way out and back."""

from decimal import Decimal
from types import SimpleNamespace

import openpyxl
import pytest

import kit
from kit.errors import KitError
from kit.labbook.exchange import export_csv, export_json, export_xlsx, import_csv, import_json
from kit.labbook.snapshot import freeze
from kit.labbook.streams import canonical

D = Decimal
TWO = {"millivolts": ["171.2", "7.4"], "temp": "25 degC"}


@pytest.fixture
def meter(tmp_path, clock):
    """A lab book with a pH meter, on a clock the tests move."""
    with kit.new_labbook(tmp_path / "meter.labbook", clock=clock) as book:
        book.add_instrument("PH-1", kind="pH meter")
        yield SimpleNamespace(book=book, clock=clock, path=tmp_path)


def refused(call, *args, **told):
    with pytest.raises(KitError) as caught:
        call(*args, **told)
    return caught.value


# ---------------------------------------------------------------- slope and offset from millivolts


def test_primary_buffers_give_slope_and_offset_and_keep_the_millivolts(meter):
    """171.2 mV in phthalate (4.005) and 7.4 mV in phosphate (6.865) at 25 degC: 96.81 %, -0.33 mV, by hand."""
    receipt = meter.book.calibrate("PH-1", "CAL-1", buffers=["phthalate", "Phosphate"], table="nbs", **TWO)
    assert receipt.new
    found = meter.book.source().calibration("CAL-1")
    assert (found.slope_pct, found.offset_mv) == (D("96.81"), D("-0.33"))
    assert (found.millivolts, found.buffers) == ((D("171.2"), D("7.4")), (D("4.005"), D("6.865")))
    assert (found.buffer_names, found.temp_c) == (("phthalate", "phosphate"), D(25))
    assert "1962" in found.table
    body = meter.book.store.read("calibration/CAL-1")[0].body
    assert body["millivolts"] == ["171.2", "7.4"]
    assert found.electrode.zero_point_ph == pytest.approx(6.994, abs=0.001)


def test_primary_buffers_at_another_temperature(meter):
    """At 20 degC phthalate is 4.001 and phosphate 6.881: (7.4 - 171.2) / 2.880 = -56.875 mV, 97.78 % of 58.167."""
    meter.book.calibrate(
        "PH-1", "CAL-1", buffers=["phthalate", "phosphate"], table="nbs", millivolts=["171.2", "7.4"], temp="20 degC"
    )
    found = meter.book.source().calibration("CAL-1")
    assert found.buffers == (D("4.001"), D("6.881"))
    assert found.slope_pct == D("97.78")


def test_bottles_use_the_table_of_the_bottle(meter):
    """By hand: (7.4 - 171.2) / (7.00 - 4.01) = -54.783 mV per pH, 92.60 %; at pH 7 the 7.4 mV that were read."""
    meter.book.calibrate("PH-1", "CAL-1", buffers=["4.01", "7.00"], **TWO)
    found = meter.book.source().calibration("CAL-1")
    assert (found.slope_pct, found.offset_mv, found.table) == (D("92.6"), D("7.4"), "bottle")
    assert found.buffers == (D("4.01"), D("7.00"))
    meter.book.calibrate(
        "PH-1",
        "CAL-2",
        buffers=[{"20 degC": "4.00", "25 degC": "4.01"}, {"20 degC": "7.02", "25 degC": "7.00"}],
        millivolts=["171.2", "7.4"],
        temp="20 degC",
        table="bottle",
    )
    assert meter.book.source().calibration("CAL-2").buffers == (D("4"), D("7.02"))


def test_three_buffers_leave_a_residual(meter):
    meter.book.calibrate(
        "PH-1",
        "CAL-1",
        buffers=["phthalate", "phosphate", "carbonate"],
        table="nbs",
        millivolts=["172.1 mV", "9.4 mV", "-171 mV"],
        temp="25 degC",
    )
    electrode = meter.book.source().calibration("CAL-1").electrode
    assert len(electrode.residuals_mv) == 3
    assert 0 < electrode.largest_residual_ph < 0.02


def test_a_display_may_be_rounded_but_not_contradict(meter):
    meter.book.calibrate("PH-1", "CAL-1", slope_pct="93 %", offset_mv="7 mV", buffers=["4.01", "7.00"], **TWO)
    assert meter.book.source().calibration("CAL-1").slope_pct == D("92.6")  # what the millivolts give is kept
    calibrate = meter.book.calibrate
    slope = refused(calibrate, "PH-1", "CAL-2", slope_pct="98", buffers=["4.01", "7.00"], **TWO)
    assert slope.code == "calibration.contradicts"
    assert "98 %" in str(slope) and "92.60 %" in str(slope)
    offset = refused(calibrate, "PH-1", "CAL-2", offset_mv="-7.4", buffers=["4.01", "7.00"], **TWO)
    assert offset.code == "calibration.contradicts"
    assert meter.book.source().calibration("CAL-2") is None


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ({"buffers": ["4.01", "7.00"], "table": "nbs", **TWO}, "buffer.unknown"),
        ({"buffers": ["phthalate", "phosphate"], **TWO}, "units.not_a_number"),
        ({"buffers": ["4.01", "7.00"], "table": "din", **TWO}, "calibration.table"),
        ({"buffers": ["4.01", "7.00"], "millivolts": ["171.2", "7.4"]}, "calibration.temperature"),
        ({"buffers": ["phthalate", "phosphate"], "table": "nbs"}, "calibration.temperature"),
        ({"buffers": ["phthalate", "phosphate"], "table": "nbs", **TWO, "temp": "60 degC"}, "buffer.temperature"),
        ({"buffers": [{"25 degC": "4.01"}, {"25 degC": "7.00"}], **TWO, "temp": "20 degC"}, "buffer.temperature"),
        ({"buffers": ["4.01"], **TWO}, "electrode.pairs"),
        ({"buffers": ["7.00", "4.01"], **TWO}, "electrode.slope_sign"),
    ],
)
def test_what_is_no_calibration_is_refused_and_not_stored(meter, told, code):
    assert refused(meter.book.calibrate, "PH-1", "CAL-1", **told).code == code
    assert meter.book.source().calibration("CAL-1") is None


def test_a_calibration_off_the_display_is_stored_as_it_always_was(meter):
    """Running an old cell again on an old lab book must find the very same content."""
    told = {"slope_pct": 98, "offset_mv": 3, "buffers": ["4.01", "7.00"], "temp": "25 degC"}
    meter.book.calibrate("PH-1", "CAL-1", **told)
    body = meter.book.store.read("calibration/CAL-1")[0].body
    assert canonical(body) == (
        '{"at":"","buffers":["4.01","7.00"],"instrument":"PH-1","name":"CAL-1","note":"","offset_mv":"3",'
        '"slope_pct":"98","temp_c":"25"}'
    )
    assert not meter.book.calibrate("PH-1", "CAL-1", **told).new


# ---------------------------------------------------------------- the check after the run


@pytest.fixture
def day(bench, finished):
    """A finished batch read at nine and at five on one calibration."""
    finished.read_ph("4.50", temp="25 degC", instrument="PH-1", calibration="CAL-1")
    return SimpleNamespace(book=bench.book, batch=finished, clock=bench.clock, path=bench.path.parent)


def flags_of(book, batch="MEA-01/1"):
    source = book.source()
    view = source.batch(batch)
    return [[flag.code for flag in source.flags(found, source.study(view.study))] for found in view.readings]


def test_the_closing_check_flags_the_readings_before_it(day):
    assert flags_of(day.book) == [[]]
    receipt = day.book.close_calibration("CAL-1", buffer="4.01", read="4.05", temp="25 degC")
    assert (receipt.new, receipt.stream) == (True, "calibration/CAL-1")
    assert flags_of(day.book) == [[]]
    out = day.book.close_calibration("CAL-1", buffer="7.00", read="7.09")
    assert flags_of(day.book) == [["calibration.closing"]]
    found = day.book.source().calibration("CAL-1")
    assert [(check.buffer, check.read, check.off) for check in found.closings] == [
        (D("4.01"), D("4.05"), D("0.04")),
        (D("7.00"), D("7.09"), D("0.09")),
    ]
    assert found.closings[0].temp_c == D(25)
    day.book.void_closing("CAL-1", out, why="typed for another meter")
    assert flags_of(day.book) == [[]]
    assert [check.void for check in day.book.source().calibration("CAL-1").closings] == ["", "typed for another meter"]


def test_running_the_cells_again_doubles_nothing(day):
    def cell():
        first = day.book.calibrate("PH-1", "CAL-1", slope_pct=98, offset_mv=3, buffers=["4.01", "7.00"], temp="25 degC")
        check = day.book.close_calibration("CAL-1", buffer="4.01", read="4.20")
        void = day.book.void_closing("CAL-1", check, why="wrong beaker")
        again = day.book.close_calibration("CAL-1", buffer="4.01", read="4.02")
        return [receipt.new for receipt in (first, check, void, again)]

    assert cell() == [False, True, True, True]
    day.book.close_calibration("CAL-1", buffer="4.01", read="4.02", at=day.clock().isoformat())
    assert len(day.book.source().calibration("CAL-1").standing_closings) == 2  # its time tells it apart


def test_the_same_check_again_is_answered(day):
    first = day.book.close_calibration("CAL-1", buffer="4.01", read="4.02")
    again = day.book.close_calibration("CAL-1", buffer="4.01", read="4.02")
    assert (first.new, again.new, again.seq) == (True, False, first.seq)
    void = day.book.void_closing("CAL-1", first, why="wrong beaker")
    assert not day.book.void_closing("CAL-1", first, why="wrong beaker").new
    assert void.new
    assert day.book.check().ok


def test_a_check_that_belongs_nowhere_is_refused(day):
    close, void = day.book.close_calibration, day.book.void_closing
    assert refused(close, "CAL-9", buffer="4.01", read="4.05").code == "labbook.calibration"
    assert refused(close, "CAL-9", buffer="4.01", read="4.05").allowed == "CAL-1"
    early = refused(close, "CAL-1", buffer="4.01", read="4.05", at="2020-01-01 08:00")
    assert early.code == "calibration.closing_time"
    assert refused(close, "CAL-1", buffer="phthalate", read="4.05").code == "units.not_a_number"
    receipt = close("CAL-1", buffer="4.01", read="4.05")
    for entry, why in ((1, "x"), (99, "x"), (receipt, " ")):
        assert refused(void, "CAL-1", entry, why=why).code == "calibration.closing"


# ---------------------------------------------------------------- out and back


@pytest.fixture
def full(day):
    """A calibration with millivolts, one closing check that stands and one that was voided."""
    book = day.book
    book.calibrate("PH-1", "CAL-2", buffers=["phthalate", "phosphate"], table="nbs", **TWO)
    wrong = book.close_calibration("CAL-2", buffer="4.01", read="4.50", note="=1+1")
    book.void_closing("CAL-2", wrong, why="not stirred")
    book.close_calibration("CAL-2", buffer="4.01", read="4.03")
    day.batch.read_ph("4.52", temp="25 degC", instrument="PH-1", calibration="CAL-2", replicate="2")
    return day


@pytest.mark.parametrize(
    ("export", "take_in", "name"), [(export_json, import_json, "a.json"), (export_csv, import_csv, "record.zip")]
)
def test_a_whole_record_carries_it_there_and_back(full, tmp_path, export, take_in, name):
    before = full.book.source().calibrations()
    export(full.book, tmp_path / name)
    take_in(tmp_path / name, tmp_path / "new.labbook")
    with kit.open_labbook(tmp_path / "new.labbook") as new:
        assert new.source().calibrations() == before
        assert new.check().ok
        assert flags_of(new) == flags_of(full.book)
    assert [len(one.closings) for one in before] == [0, 2]
    assert before[1].millivolts == (D("171.2"), D("7.4"))


def test_a_snapshot_holds_the_closing_check(full, tmp_path):
    source = full.book.source()
    path = tmp_path / "frozen.json"
    path.write_text(canonical(freeze(source, ["MEA-01"])), encoding="utf-8")
    frozen = kit.open_source(path)
    assert frozen.calibration("CAL-2") == source.calibration("CAL-2")
    full.book.close_calibration("CAL-2", buffer="7.00", read="7.30")
    assert kit.open_source(path).calibration("CAL-2") == frozen.calibration("CAL-2")  # frozen is frozen


def test_the_tables_list_every_calibration(full, tmp_path):
    export_xlsx(full.book, tmp_path / "t.xlsx")
    head, first, second = openpyxl.load_workbook(tmp_path / "t.xlsx")["calibrations"].iter_rows(values_only=True)
    plain_one, full_one = (dict(zip(head, row, strict=True)) for row in (first, second))
    assert (plain_one["calibration"], plain_one["slope [% of theory]"]) == ("CAL-1", 98)
    assert not plain_one["read in the buffers [mV]"] and not plain_one["largest residual [pH]"]
    assert plain_one["closing checks"] == "no closing check"
    assert full_one["read in the buffers [mV]"] == "171.2; 7.4"
    assert full_one["primary buffers"] == "phthalate; phosphate"
    assert full_one["closing checks"] == "4.01 came back as 4.03 (+0.02): within 0.05"
