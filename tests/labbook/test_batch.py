"""A day at the bench through the public calls: nothing doubled, nothing lost, every slip answered."""

from __future__ import annotations

from decimal import Decimal

import pytest

import kit
from kit.errors import BatchError, KitError, RecordError, RepeatedReadingWarning, UnitError


def entries(bench, name="MEA-01/1"):
    return kit.open_source(bench.path).entries(f"batch/{name}")


class TestRunTwice:
    def test_every_call_of_a_bench_day_run_twice_adds_nothing(self, bench):
        def day():
            batch = bench.book.start_batch(bench.sheet, trial="MEA-01", operator="bench 1")
            receipts = [batch.weigh(line.material.key, f"{line.target_g} g", lot="L-1") for line in bench.sheet.lines]
            receipts += [
                batch.equipment(vessel="600 mL glass beaker"),
                batch.combine(
                    temps={"A": "78 degC", "B": "80 degC", "after": "76 degC"},
                    order="oil into water",
                    rpm=6500,
                    minutes=4,
                ),
                batch.temperature("55 degC", at="12 min"),
                batch.add("C", temp="40 degC"),
                batch.weigh_back("oil beaker", "1.0 g"),
                batch.gross("700.0 g", tare="305.0 g"),
                batch.top_up("4.0 g"),
                batch.take("20 g", why="titration"),
                batch.adjust("citric acid 10 %", "0.6 g"),
                batch.step("scraped the wall"),
                batch.finish(note="poured"),
                batch.read_ph("4.50", temp="25 degC", instrument="PH-1", calibration="CAL-1"),
                batch.observe("grain", "none"),
                batch.decide("keep", why="in spec"),
            ]
            return receipts

        first = day()
        count = len(entries(bench))
        bench.clock.later(hours=20)
        asks = "If this is a new {}, say so".format
        with (
            pytest.warns(RepeatedReadingWarning, match=asks("reading")),
            pytest.warns(RepeatedReadingWarning, match=asks("observation")),
        ):
            again = day()
        assert all(receipt.new for receipt in first)
        assert not any(receipt.new for receipt in again)
        assert [receipt.seq for receipt in again] == [receipt.seq for receipt in first]
        assert len(entries(bench)) == count == len(first) + 1

    def test_definitions_run_twice_add_nothing_and_a_change_is_refused(self, bench):
        assert not bench.book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": 4000}).new
        with pytest.raises(RecordError) as caught:
            bench.book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": 2000})
        assert caught.value.code == "labbook.instrument_exists"
        assert "constants" in str(caught.value)

    def test_equal_portions_and_replicates_are_told_apart_when_asked(self, finished):
        assert finished.read_ph("4.50", temp="25 degC", instrument="PH-1", calibration="CAL-1").new
        again = finished.read_ph("4.50", temp="25 degC", instrument="PH-1", calibration="CAL-1")
        assert not again.new
        assert "replicate" in str(again)
        assert finished.read_ph("4.50", temp="25 degC", instrument="PH-1", calibration="CAL-1", replicate="2").new


class TestWeighing:
    def test_a_second_weighing_needs_a_word(self, batch):
        receipt = batch.weigh("glycerin", "16.00 g")
        with pytest.raises(BatchError) as caught:
            batch.weigh("glycerin", "1.00 g")
        assert caught.value.code == "batch.weighed_already"
        assert batch.weigh("glycerin", "1.00 g", portion=True).new
        corrected = batch.weigh("glycerin", "15.00 g", corrects=receipt, why="misread")
        assert corrected.kind == "correction"
        assert batch.view.standing("weigh")[0].body["mass_g"] == "15.00"
        assert [item.body["mass_g"] for item in batch.view.standing("weigh")] == ["15.00", "1.00"]

    @pytest.mark.parametrize(
        ("mass", "code"),
        [
            ("16", "units.missing"),
            ("16 mL", "units.wrong_kind"),
            ("1,234 g", "units.ambiguous_comma"),
            ("-1 g", "batch.mass"),
            ("16 gg", "units.unknown"),
            ("", "units.not_a_number"),
        ],
    )
    def test_a_mass_that_cannot_be_read_is_refused_and_nothing_is_stored(self, bench, batch, mass, code):
        with pytest.raises(KitError) as caught:
            batch.weigh("glycerin", mass)
        assert caught.value.code == code
        assert len(entries(bench)) == 1

    def test_a_decimal_comma_is_read_as_typed(self, batch):
        batch.weigh("glycerin", "15,98 g")
        assert batch.view.standing("weigh")[0].body["mass_g"] == "15.98"

    def test_a_material_that_is_not_on_the_sheet(self, batch):
        with pytest.raises(BatchError) as caught:
            batch.weigh("panthenol-75", "2 g")
        assert caught.value.code == "batch.line_unknown"

    def test_over_weighing_shows_both_corrections_and_the_choice_is_kept(self, batch):
        receipt = batch.weigh("glycerin", "16.80 g")  # 16.00 g planned: 5 % over
        assert "over by 0.80 g" in str(receipt)
        both = batch.over_weighing("glycerin")
        # 5 % over, by hand: every other line times 16.80/16.00 = 1.05; batch 400 x 1.05 = 420 g
        assert both.factor == Decimal("16.80") / 16
        assert both.batch_g == Decimal("420.00")
        batch.rescale("glycerin", why="enough stock")
        # cetearyl alcohol: 20.00 g planned, now 21.00 g
        assert "21.00 g" in str(batch.weigh("cetearyl-alcohol", "21.00 g"))
        assert "within" in str(batch.weigh("behentrimonium-chloride-80", "10.50 g"))

    def test_rescaling_by_more_than_a_tenth_is_refused(self, batch):
        batch.weigh("glycerin", "18.60 g")
        with pytest.raises(BatchError) as caught:
            batch.rescale("glycerin", why="try")
        assert caught.value.code == "batch.rescale"
        assert batch.accept("glycerin", why="inert").new

    def test_a_container_must_say_what_it_held(self, bench, batch):
        with pytest.raises(BatchError) as caught:
            batch.weigh_back("green cup", "1 g")
        assert caught.value.code == "batch.container"
        assert len(entries(bench)) == 1
        assert batch.weigh_back("green cup", "1.0 g", phase="B").new
        assert "Phenoxyethanol" in str(batch.weigh_back("phenoxyethanol boat", "0.10 g"))
        assert "(batch)" in str(batch.weigh_back("mixing head", "1.2 g"))


class TestOneOpenBatch:
    def test_a_second_batch_is_refused_and_the_open_one_named(self, bench, batch):
        del batch
        with pytest.raises(RecordError) as caught:
            bench.book.start_batch(kit.plan_batch(bench.formula, "200 g"), trial="MEA-02", operator="bench 1")
        assert caught.value.code == "batch.open"
        assert "MEA-01/1" in str(caught.value)
        assert bench.book.open_batches() == ["MEA-01/1"]

    def test_another_bench_may_work_beside(self, bench, batch):
        del batch
        other = bench.book.start_batch(bench.sheet, trial="MEA-01", operator="bench 2", number=2)
        assert other.name == "MEA-01/2"

    def test_a_finished_trial_is_made_again_under_the_next_number(self, bench, finished):
        del finished
        same = bench.book.start_batch(bench.sheet, trial="MEA-01", operator="bench 1")
        assert same.name == "MEA-01/1"
        assert same.reopened
        assert bench.book.start_batch(bench.sheet, trial="MEA-01", operator="bench 1", number=2).name == "MEA-01/2"

    def test_a_trial_keeps_its_formula_version(self, bench, finished):
        del finished
        other = bench.formula.change({"glycerin": "3.00 %"}, why="less sticky")
        with pytest.raises(RecordError) as caught:
            bench.book.start_batch(kit.plan_batch(other, "400 g"), trial="MEA-01", number=2)
        assert caught.value.code == "labbook.trial_formula"


class TestReadings:
    def test_age_counts_from_the_end_of_making(self, bench, finished):
        bench.clock.later(hours=24)
        finished.read_ph("4.52", temp="25 degC", instrument="PH-1", calibration="CAL-1")
        reading = finished.view.readings[0]
        assert (reading.age_h, reading.value, reading.temp_c) == (Decimal("24.00"), Decimal("4.52"), Decimal(25))

    def test_a_typed_age_is_checked_against_the_clock_and_never_used(self, bench, finished):
        bench.clock.later(hours=24)
        receipt = finished.read_ph("4.52", temp="25 degC", age="72 h", instrument="PH-1", calibration="CAL-1")
        assert "reading.age_clock" in str(receipt)
        assert finished.view.readings[0].age_h == Decimal("24.00")

    def test_a_void_leaves_the_reading_in_the_record_with_its_reason(self, bench, finished):
        receipt = finished.read_ph("9.52", temp="25 degC")
        finished.void(receipt, why="electrode dry")
        assert finished.view.readings[0].void == "electrode dry"
        assert [entry.kind for entry in entries(bench)][-2:] == ["reading", "void"]
        again = finished.read_ph("9.52", temp="25 degC")
        assert not again.new
        assert "voided" in str(again)

    def test_a_correction_counts_and_the_old_value_stays(self, bench, finished):
        receipt = finished.read_viscosity(
            "1900 mPa.s", torque_pct=47.5, rpm=10, spindle="disc 5", instrument="VIS-1", temp="25 degC"
        )
        assert "reading.constant" in str(receipt)  # K = 1900 x 10 / 47.5 = 400, the spindle's is 4000
        put_right = finished.correct(receipt, value="19000 mPa.s", why="a zero lost")
        assert "FLAGGED" not in str(put_right)
        assert finished.view.readings[0].value == Decimal(19000)
        assert [entry.body.get("value") for entry in entries(bench) if entry.kind == "reading"] == ["1900"]

    @pytest.mark.parametrize(
        ("conditions", "code"),
        [
            ({"tempp": "25 degC"}, "reading.condition"),
            ({"temp": "25"}, "units.missing"),
            ({"method": "viscosity"}, "reading.method"),
            ({"method": "none such"}, "reading.method"),
        ],
    )
    def test_conditions_that_cannot_be_right_are_refused(self, finished, conditions, code):
        with pytest.raises(KitError) as caught:
            finished.read_ph("4.5", **conditions)
        assert caught.value.code == code

    def test_making_ends_with_finish(self, finished):
        with pytest.raises(BatchError) as caught:
            finished.adjust("citric acid 10 %", "0.5 g")
        assert caught.value.code == "batch.finished"


class TestSnapshot:
    def test_a_snapshot_reads_like_the_lab_book(self, bench, finished, tmp_path):
        import json

        from kit.labbook.snapshot import freeze

        bench.clock.later(hours=24)
        finished.read_ph("4.52", temp="25 degC", instrument="PH-1", calibration="CAL-1")
        source = kit.open_source(bench.path)
        path = tmp_path / "snapshot.json"
        path.write_text(json.dumps(freeze(source, ["MEA-01"])), encoding="utf-8")
        frozen = kit.open_source(path)
        assert frozen.batch("MEA-01/1") == source.batch("MEA-01/1")
        assert frozen.study("MEA") == source.study("MEA")
        assert frozen.calibration("CAL-1") == source.calibration("CAL-1")
        assert frozen.trials("MEA") == ["MEA-01"]

    def test_an_edited_snapshot_is_refused(self, bench, finished, tmp_path):
        import json

        from kit.labbook.snapshot import freeze

        del finished
        path = tmp_path / "snapshot.json"
        text = json.dumps(freeze(kit.open_source(bench.path), ["MEA-01"]))
        assert "16.00" in text
        path.write_text(text.replace("16.00", "15.00"), encoding="utf-8")
        with pytest.raises(RecordError) as caught:
            kit.open_source(path).batch("MEA-01/1")
        assert caught.value.code == "labbook.edited"

    @pytest.mark.parametrize("content", ["", "{}", "[1, 2]", '{"format": "kit snapshot 99"}', "\x00\x01"])
    def test_a_file_that_is_no_snapshot(self, tmp_path, content):
        path = tmp_path / "other.json"
        path.write_text(content)
        with pytest.raises(RecordError) as caught:
            kit.open_source(path)
        assert caught.value.code == "labbook.snapshot"


class TestMissing:
    def test_names_that_are_not_there(self, bench, finished):
        del finished
        source = kit.open_source(bench.path)
        for call, code in (
            (lambda: source.study("XX"), "labbook.study"),
            (lambda: source.trial("MEA-99"), "labbook.trial"),
            (lambda: source.batch("MEA-01/9"), "labbook.batch"),
            (lambda: bench.book.batch("MEA-01/9"), "labbook.batch"),
        ):
            with pytest.raises(RecordError) as caught:
                call()
            assert caught.value.code == code
            assert "MEA" in str(caught.value)

    def test_a_unit_error_is_a_kit_error_shown_without_a_traceback(self):
        error = UnitError("x", code="units.missing")
        assert error._render_traceback_() == ["UnitError: x. [units.missing]"]


class TestAsMade:
    def test_the_record_leads_to_the_hand_worked_composition(self, bench, batch):
        """Worked by hand from mass balance; nothing here comes from the kit.

        Planned for 400 g: water 346.40, glycerin 16.00, citric 0.40 | cetearyl 20.00, BTAC 10.00 | phenoxyethanol 3.20,
        extract 4.00.
        Glycerin weighed 18.60: everything weighed is 402.60 g.
        2.0 g stayed in the oil beaker, 20:10 of cetearyl and BTAC: 18.6667 and 9.3333 g arrived; 400.60 g in the
        vessel.
        Net 394.60 g: 6.00 g of water are gone, 340.40 g left.
        20 g of 394.60 g taken out: every line times 374.60/394.60 = 0.949316.
        1.2 g of citric acid 10 % poured in: 0.12 g citric acid and 1.08 g water; 375.80 g in all.
        water    (340.40 x 0.949316 + 1.08) / 375.80 = 324.2271 / 375.80 = 86.277 %
        glycerin  18.60 x 0.949316 / 375.80 = 4.699 %      cetearyl 18.6667 x 0.949316 / 375.80 = 4.715 %
        BTAC      9.3333 x 0.949316 / 375.80 = 2.358 %     citric (0.40 x 0.949316 + 0.12) / 375.80 = 0.133 %
        phenoxyethanol 3.20 x 0.949316 / 375.80 = 0.808 %  extract 4.00 x 0.949316 / 375.80 = 1.010 %
        """
        for line in bench.sheet.lines:
            batch.weigh(line.material.key, "18.60 g" if line.material.key == "glycerin" else f"{line.target_g} g")
        batch.accept("glycerin", why="inert")
        batch.combine(order="oil into water")
        batch.add("C", temp="40 degC")
        batch.gross("700.00 g", tare="305.40 g")
        batch.take("20 g", why="titration")
        batch.adjust("citric acid 10 %", "1.2 g")
        batch.weigh_back("oil beaker", "2.0 g")  # remembered late: it never reached the vessel all the same
        made = batch.composition("made")
        expected = {
            "water-deionised": 86.277,
            "glycerin": 4.699,
            "cetearyl-alcohol": 4.715,
            "behentrimonium-chloride-80": 2.358,
            "citric-acid": 0.133,
            "phenoxyethanol": 0.808,
            "spiraea-ulmaria-flower-extract": 1.010,
        }
        assert {line.material.key for line in made.lines} == set(expected)
        for key, pct in expected.items():
            assert float(made.pct(key)) == pytest.approx(pct, abs=0.001), key
        assert made.total == 100
        following = batch.as_next_version(why="carry forward what was made")
        assert following.formula.composition().total == 100
        assert following.formula.parent == bench.formula.fingerprint
        assert sum(line.target_g for line in following.sheet.lines) == pytest.approx(Decimal(400), abs=Decimal("0.05"))
        adjusters = batch.as_next_version(why="the acid only", carry="adjusters").formula.composition()
        # 0.12 g of citric acid in 375.80 g is 0.032 % more than the 0.10 % meant; glycerin stays as meant
        assert float(adjusters.pct("citric-acid")) == pytest.approx(
            0.1316, abs=0.005
        )  # 0.10 x 374.6/375.8 + 0.0319, two decimals
        assert float(adjusters.pct("glycerin")) == pytest.approx(3.99, abs=0.011)


class TestCheck:
    def test_a_whole_book_is_whole(self, bench, finished):
        finished.read_ph("4.52", temp="25 degC")
        report = bench.book.check()
        assert report.ok, report.problems

    @pytest.mark.parametrize(
        ("statement", "code"),
        [
            ("UPDATE reading SET value = 9.9", "labbook.projection"),
            ("UPDATE entry SET text = replace(text, '4.52', '4.25') WHERE text LIKE '%4.52%'", "labbook.edited"),
            ("DELETE FROM entry WHERE text LIKE '%glycerin%' AND kind = 'weigh'", "labbook.gap"),
        ],
    )
    def test_an_edit_from_outside_is_found(self, bench, finished, statement, code):
        import sqlite3

        finished.read_ph("4.52", temp="25 degC")
        bench.book.close()
        with sqlite3.connect(bench.path) as connection:
            for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                connection.execute(f'DROP TRIGGER "{name}"')
            connection.execute("PRAGMA foreign_keys = OFF")
            assert connection.execute(statement).rowcount
        connection.close()
        with kit.open_labbook(bench.path) as book:
            assert code in {found for found, _ in book.check().problems}

    def test_a_deleted_batch_and_a_cut_tail_show_against_a_printed_head(self, bench, finished, tmp_path):
        finished.read_ph("4.52", temp="25 degC")
        source = kit.open_source(bench.path)
        source.batch("MEA-01/1")
        heads = source.heads()
        assert bench.book.check(against=heads).ok
        gone = {**heads, "batch/MEA-07/1": heads["batch/MEA-01/1"]}
        assert "labbook.stream_gone" in {code for code, _ in bench.book.check(against=gone).problems}
        longer = {"batch/MEA-01/1": {"seq": heads["batch/MEA-01/1"]["seq"] + 3, "hash": "0" * 64}}
        assert "labbook.tail_missing" in {code for code, _ in bench.book.check(against=longer).problems}


def test_an_equal_reading_at_a_later_age_is_added_when_it_says_so(bench, finished):
    bench.clock.later(hours=24)
    finished.read_ph("4.60", temp="25 degC")
    bench.clock.later(hours=144)
    with pytest.warns(RepeatedReadingWarning, match="144 h ago"):
        assert not finished.read_ph("4.60", temp="25 degC").new
    assert finished.read_ph("4.60", temp="25 degC", age="7 d").new
    assert [reading.age_h for reading in finished.view.readings] == [Decimal("24.00"), Decimal("168.00")]


def test_an_equal_word_of_a_later_day_is_added_when_it_says_so(bench, finished):
    """Colour "off-white" at 24 h and at 7 d are two observations; a cell that runs twice makes one."""
    bench.clock.later(hours=24)
    assert finished.observe("colour", "off-white").new
    assert not finished.observe("colour", "off-white").new
    bench.clock.later(hours=144)
    with pytest.warns(RepeatedReadingWarning, match='an equal observation was recorded .* 144 h ago.* age="144 h"'):
        assert not finished.observe("colour", "off-white").new
    assert finished.observe("colour", "off-white", age="7 d").new
    assert [seen.age_h for seen in finished.view.observations] == [Decimal("24.00"), Decimal("168.00")]
