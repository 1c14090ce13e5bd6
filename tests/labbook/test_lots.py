"""Lots in the record: certificates that drive what was made, corrections of them, dates, snapshots, files.

Sums are worked by hand beside each check. That a month as expiry means its last day, and that an expired lot is told at
weighing, is common practice, no source.
"""

from __future__ import annotations

import json
from decimal import Decimal
from types import SimpleNamespace

import pytest

import kit
from kit.errors import KitError, MaterialError, RecordError
from kit.labbook.exchange import export_csv, export_json, import_csv, import_json
from kit.labbook.snapshot import freeze
from kit.labbook.streams import verify_chain

D = Decimal
QUAT, QUAT_INCI = "behentrimonium-chloride-80", "Behentrimonium Chloride"
LAST_DIGIT = D("0.00005")  # of the four decimals worked out by hand


def weigh_all(bench, batch, **lots):
    """Every line to its target, 400 g; lots by material key with underscores."""
    named = {key.replace("_", "-"): lot for key, lot in lots.items()}
    for line in bench.sheet.lines:
        batch.weigh(line.material.key, f"{line.target_g} g", lot=named.get(line.material.key, ""))


def active_pct(batch):
    return batch.composition().shares()[QUAT_INCI].pct


class TestDriving:
    def test_a_certificate_drives_what_was_made_and_the_meant_formula_stays(self, bench, batch):
        receipt = bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"}, expiry="2027-03")
        assert "active 81.2 % by certificate B-042, not the typical 80 %" in str(receipt)
        weigh_all(bench, batch, behentrimonium_chloride_80="B-042")
        # 10.00 g x 0.812 / 400 g = 2.0300 %; typically 2.0000 %
        assert active_pct(batch) == pytest.approx(D("2.0300"), abs=LAST_DIGIT)
        assert (batch.composition().pct(QUAT), batch.composition().total) == (D("2.5000"), 100)
        assert batch.composition("meant").shares()[QUAT_INCI].pct == 2
        told = str(batch.meant_and_made())
        assert "active 81.2 % by certificate B-042, not the typical 80 %" in told
        assert "active 81.2 % by certificate B-042" in str(batch.lots_table())

    def test_a_lot_without_a_certificate_is_weighed_and_said(self, bench, batch):
        receipt = batch.weigh(QUAT, "10.00 g", lot="B-042")
        assert receipt.new
        assert "lot B-042 has no certificate: typical values used" in str(receipt)
        assert active_pct(batch) == 80  # 8.00 g of 10.00 g in the vessel

    def test_a_number_almost_alike_is_asked_about(self, bench, batch):
        bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"})
        assert "is recorded for lot B-042" in str(batch.weigh(QUAT, "10.00 g", lot="B-O42"))

    def test_a_certificate_that_comes_after_the_weighing_holds_for_it(self, bench, batch):
        weigh_all(bench, batch, behentrimonium_chloride_80="B-042")
        assert active_pct(batch) == 2
        bench.clock.later(days=3)
        bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"})
        assert active_pct(batch) == pytest.approx(D("2.0300"), abs=LAST_DIGIT)  # the open batch sees it at once
        again = bench.book.batch("MEA-01/1")
        assert active_pct(again) == active_pct(batch)

    def test_a_correction_of_the_lot_of_a_weighing_counts(self, bench, batch):
        bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"})
        weigh_all(bench, batch, behentrimonium_chloride_80="B-41")
        entry = next(item.seq for item in batch.view.standing("weigh") if item.body["material"] == QUAT)
        told = batch.correct(entry, lot="B-042", why="label misread")
        assert "active 81.2 %" in str(told)
        assert active_pct(batch) == pytest.approx(D("2.0300"), abs=LAST_DIGIT)

    def test_two_lots_on_one_line_through_the_book(self, bench, batch):
        bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"})
        bench.book.add_lot(QUAT, "B-043", certificate={QUAT_INCI: "78.6"})
        for line in bench.sheet.lines:
            if line.material.key != QUAT:
                batch.weigh(line.material.key, f"{line.target_g} g")
        batch.weigh(QUAT, "6.00 g", lot="B-042")
        batch.weigh(QUAT, "4.00 g", lot="B-043", portion=True)
        # 6.00 x 0.812 + 4.00 x 0.786 = 8.016 g; / 400 = 2.0040 %
        assert active_pct(batch) == pytest.approx(D("2.0040"), abs=LAST_DIGIT)
        assert len([line for line in batch.composition().lines if line.material.key == QUAT]) == 1

    def test_a_solution_made_from_a_certified_lot(self, bench, batch):
        # 10.20 g of lactic acid in 100 g of solution, mixed from an acid of 85.0 % (typically 88): 12.000 g of that
        # acid; typically 10.20 / 0.88 = 11.590909 g. 5.00 g poured in: 0.60000 g of the acid as supplied.
        bench.book.add_lot("lactic-acid-88", "LA-3", certificate={"active": "85.0 %"})
        bench.book.make_stock(
            "lactic-acid-10-solution",
            "S-7",
            strength="10.20 %",
            made_on="2026-03-01",
            from_lots={"lactic-acid-88": "LA-3"},
        )
        weigh_all(bench, batch)
        batch.adjust("lactic-acid-10-solution", "5.00 g", lot="S-7")
        made = batch.composition()
        assert made.pct("lactic-acid-88") == pytest.approx(D("0.1481"), abs=LAST_DIGIT)  # 0.6000 / 405
        # 0.51 g of lactic acid as such in 405 g: 0.1259 %
        assert made.shares()["Lactic Acid"].pct == pytest.approx(D("0.1259"), abs=LAST_DIGIT)
        # the acid's certificate put right to 80.0 %: 10.20 / 0.80 = 12.75 g in 100 g, 0.6375 / 405 = 0.1574 %
        bench.book.add_lot("lactic-acid-88", "LA-3", certificate={"active": "80.0 %"}, why="misread")
        assert batch.composition().pct("lactic-acid-88") == pytest.approx(D("0.1574"), abs=LAST_DIGIT)
        made = batch.composition()
        assert made.total == 100
        proposed = batch.as_next_version(why="keep the lactic acid")
        assert "not carried into the proposed version" in str(proposed)
        assert {line.material.lot for line in proposed.formula.composition().lines} == {""}

    def test_a_certificate_that_does_not_fit_an_own_form_is_said_and_typical_values_hold(self, bench, batch):
        stream = f"lot/{QUAT}/B-9"
        row = {"material": QUAT, "lot": "B-9", "kind": "certificate", "parts": {"Cetrimonium Chloride": "29"}}
        bench.book.store.append(stream, "certificate", {"certificate": row, "valid_from": ""}, stream_kind="lot")
        receipt = batch.weigh(QUAT, "10.00 g", lot="B-9")
        assert "not used, typical values used" in str(receipt)
        assert active_pct(batch) == 80
        assert "lot.not_fitting" in batch.review().codes

    def test_the_certificate_of_what_a_solution_was_made_from_may_come_last(self, bench, batch):
        bench.book.make_stock(
            "lactic-acid-10-solution",
            "S-7",
            strength="10.20 %",
            made_on="2026-03-01",
            from_lots={"lactic-acid-88": "LA-3"},
        )
        weigh_all(bench, batch)
        batch.adjust("lactic-acid-10-solution", "5.00 g", lot="S-7")
        # typically 88 %: 11.590909 g in 100 g, 0.579545 / 405 = 0.1431 %; at 85.0 % 0.6000 / 405 = 0.1481 %
        assert batch.composition().pct("lactic-acid-88") == pytest.approx(D("0.1431"), abs=LAST_DIGIT)
        bench.book.add_lot("lactic-acid-88", "LA-3", certificate={"active": "85.0 %"})
        assert batch.composition().pct("lactic-acid-88") == pytest.approx(D("0.1481"), abs=LAST_DIGIT)


class TestEntering:
    def test_the_same_again_adds_nothing_and_another_content_needs_a_reason(self, bench):
        first = bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"})
        assert first.new
        assert not bench.book.add_lot(QUAT, "B-042", certificate={"active": "81,2"}).new
        with pytest.raises(RecordError) as caught:
            bench.book.add_lot(QUAT, "B-042", certificate={"active": "82.1 %"})
        assert caught.value.code == "labbook.lot_exists"
        assert "strength_pct" in str(caught.value)
        assert bench.book.add_lot(QUAT, "B-042", certificate={"active": "82.1 %"}, why="digits exchanged").new
        # the notebook is run again from the top: nothing is added, and the correction still counts
        assert not bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"}).new
        assert not bench.book.add_lot(QUAT, "B-042", certificate={"active": "82.1 %"}, why="digits exchanged").new
        history = bench.book.lot(QUAT, "B-042")
        assert [item.lot.strength_pct for item in history.certificates] == [D("81.2"), D("82.1")]
        assert history.on("2026-01-01").lot.strength_pct == D("82.1")
        assert bench.book.check().ok

    def test_a_later_titration_holds_from_its_day(self, bench, batch):
        stock = {"made_on": "2026-02-20"}
        bench.book.make_stock("citric-acid-10-solution", "S-12", strength="10.00 %", **stock)
        weigh_all(bench, batch)
        batch.adjust("citric-acid-10-solution", "20.00 g", lot="S-12")
        bench.book.make_stock(
            "citric-acid-10-solution", "S-12", strength="10.60 %", valid_from="2026-03-03", why="titrated", **stock
        )
        # on 2 March the first strength held: (0.40 + 2.00) / 420 = 0.5714 %
        assert batch.composition().pct("citric-acid") == pytest.approx(D("0.5714"), abs=LAST_DIGIT)
        bench.clock.later(days=1)
        batch.adjust("citric-acid-10-solution", "20.00 g", lot="S-12", dose=2)
        # one more dose on 3 March: (0.40 + 2.00 + 2.12) / 440 = 1.0273 %; at 10.00 % it would be 1.0000 %
        assert batch.composition().pct("citric-acid") == pytest.approx(D("1.0273"), abs=LAST_DIGIT)
        history = bench.book.lot("citric-acid-10-solution", "S-12")
        assert (history.on("2026-03-02").label, history.on("2026-03-03").label) == ("S-12", "S-12 from 2026-03-03")

    def test_a_weighing_put_right_later_keeps_its_day(self, bench, batch):
        bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"}, expiry="2026-03-02")
        receipt = batch.weigh(QUAT, "10.10 g", lot="B-042")
        bench.clock.later(days=2)
        batch.correct(receipt, mass="10.00 g", why="misread")
        assert batch.view.lot_uses[0].day == "2026-03-02"  # when it was weighed, not when the slip was found
        assert not batch.view.lot_uses[0].is_expired
        moved = batch.correct(receipt, at="2026-03-03 08:00", why="weighed the next morning")
        assert moved.new
        batch.correct(receipt, note="boat 3", why="note added")
        assert batch.view.lot_uses[0].day == "2026-03-03"

    def test_a_month_is_its_last_day(self, bench):
        bench.book.add_lot("glycerin", "G-1", expiry="2028-02")
        assert bench.book.lot("glycerin", "G-1").on("2026-03-02").lot.expiry == "2028-02-29"  # a leap year

    def test_the_table_of_lots(self, bench):
        assert "None entered yet" in str(bench.book.lots())
        bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"}, expiry="2026-02", supplier="Supplier A")
        bench.book.add_lot(
            "cetearyl-alcohol", "C-118", certificate={"chains": {"cetyl alcohol": 50, "Stearyl Alcohol": 50}}
        )
        bench.book.make_stock(
            "citric-acid-10-solution",
            "S-12",
            strength="10.02 %",
            made_on="2026-03-01",
            from_lots={"citric-acid": "CA-1"},
        )
        rows = {str(row[1]): [str(cell) for cell in row] for row in bench.book.lots().rows}
        assert rows["B-042"][3:8] == ["active 81.2 %", "–", "2026-02-28", "PAST ITS DATE", "Supplier A"]
        assert rows["C-118"][3] == "chains Cetyl Alcohol 50 : Stearyl Alcohol 50"
        assert rows["S-12"][2:5] == ["made in the lab", "active 10.02 %", "2026-03-01"]
        assert "from citric-acid lot CA-1" in rows["S-12"][-1]

    def test_an_amine_value_with_its_unit(self, bench):
        amine = "stearamidopropyl-dimethylamine"
        receipt = bench.book.add_lot(amine, "A-9", certificate={"amine value": "157.2 mg KOH/g"})
        # 56,110 / 157.2 = 356.93 g/mol; the C18 amine, C23H48N2O, has 368.64
        assert "amine value 157.2 mg KOH/g, 356.93 g/mol of amine by certificate A-9, not the typical 368.6" in str(
            receipt
        )

    def test_a_content_outside_the_usual_spread_is_said_at_entry(self, bench):
        assert "outside the usual" in str(bench.book.add_lot(QUAT, "B-1", certificate={"active": "18.2 %"}))

    @pytest.mark.parametrize(
        ("call", "code"),
        [
            (lambda book: book.add_lot("no such thing", "X-1"), "material.unknown"),
            (lambda book: book.add_lot(QUAT, "  "), "material.lot"),
            (lambda book: book.add_lot(QUAT, "X-1", certificate={"assay": "80"}), "material.certificate"),
            (lambda book: book.add_lot(QUAT, "X-1", certificate={"active": "181 %"}), "material.lot"),
            (lambda book: book.add_lot(QUAT, "X-1", certificate={"active": "80 g"}), "units.wrong_kind"),
            (lambda book: book.add_lot(QUAT, "X-1", certificate={"parts": "80"}), "material.certificate"),
            (
                lambda book: book.add_lot(QUAT, "X-1", certificate={"chains": {"Cetyl Alcohol": 100}}),
                "material.certificate",
            ),
            (lambda book: book.add_lot(QUAT, "X-1", expiry="soon"), "material.lot"),
            (lambda book: book.add_lot(QUAT, "X-1", expiry="2027-13"), "material.lot"),
            (lambda book: book.add_lot(QUAT, "X-1", valid_from="later"), "material.lot"),
            (
                lambda book: book.make_stock(QUAT, "S-1", strength="80 %", made_on="2026-03-01"),
                "material.not_a_solution",
            ),
            (
                lambda book: book.make_stock(
                    "citric-acid-10-solution",
                    "S-1",
                    strength="10 %",
                    made_on="2026-03-01",
                    from_lots={"glycerin": "G-1"},
                ),
                "material.from_lots",
            ),
        ],
    )
    def test_what_cannot_be_is_refused_and_nothing_is_stored(self, bench, call, code):
        before = bench.book.store.heads()
        with pytest.raises(KitError) as caught:
            call(bench.book)
        assert caught.value.code == code
        assert caught.value.mend
        assert bench.book.store.heads() == before

    def test_a_wrong_name_is_met_with_the_nearest(self, bench):
        with pytest.raises(MaterialError, match="did you mean amine_value"):
            bench.book.add_lot("stearamidopropyl-dimethylamine", "A-1", certificate={"amin valu": "157"})


class TestDates:
    def test_an_expired_lot_is_told_at_weighing_and_in_the_review(self, bench, batch):
        bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"}, expiry="2026-03-01")  # today is 2 March
        receipt = batch.weigh(QUAT, "10.00 g", lot="B-042")
        assert receipt.new  # weighed all the same: the record says what was done
        assert "PAST ITS DATE" in str(receipt)
        assert "2026-03-01" in str(receipt)
        assert "lot.expired" in batch.review().codes
        bench.book.add_lot("glycerin", "G-1", expiry="2026-03-02")
        assert "PAST ITS DATE" not in str(batch.weigh("glycerin", "16.00 g", lot="G-1"))  # its last day

    def test_a_solution_past_its_date(self, bench, batch):
        solution = "citric-acid-10-solution"
        bench.book.make_stock(solution, "S-12", strength="10.02 %", made_on="2026-01-05", expiry="2026-02-05")
        weigh_all(bench, batch)
        receipt = batch.adjust(solution, "1.20 g", lot="S-12")
        assert "PAST ITS DATE" in str(receipt)
        assert "by label S-12" in str(receipt)
        assert "lot.expired" in batch.review().codes

    def test_the_review_of_as_made_keeps_the_rules_for_the_composition(self, bench, batch):
        weigh_all(bench, batch, behentrimonium_chloride_80="B-042")
        codes = batch.review().codes
        assert "lot.missing" in codes  # five lines without a lot
        assert "facts.memory" in codes  # a rule for compositions
        assert codes.count("facts.unknown") == 1  # heat of the phases and the date of the lot in one


class TestTheRecord:
    @pytest.fixture
    def made(self, bench, batch):
        bench.book.add_lot(QUAT, "B-042", certificate={"active": "81.2 %"})
        bench.book.add_lot("glycerin", "unused", certificate={"density": "1.26 g/mL"})
        weigh_all(bench, batch, behentrimonium_chloride_80="B-042", glycerin="G-7")
        batch.finish()
        return SimpleNamespace(bench=bench, batch=batch, stream=f"lot/{QUAT}/B-042")

    def test_a_snapshot_holds_the_lots_it_rests_on_and_no_others(self, made, tmp_path):
        table = freeze(made.bench.book.source(), ["MEA-01"])
        assert [name for name in table["streams"] if name.startswith("lot/")] == [made.stream]
        path = tmp_path / "frozen.json"
        path.write_text(json.dumps(table), encoding="utf-8")
        made.bench.book.add_lot(QUAT, "B-042", certificate={"active": "79.0 %"}, why="wrong sheet")
        frozen = kit.open_source(path)
        view = frozen.batch("MEA-01/1")
        # the snapshot says what was known when it was made: 2.0300 %; the lab book now 10.00 x 0.79 / 400 = 1.9750 %
        assert view.composition().shares()[QUAT_INCI].pct == pytest.approx(D("2.0300"), abs=LAST_DIGIT)
        assert active_pct(made.batch) == pytest.approx(D("1.9750"), abs=LAST_DIGIT)
        assert frozen.heads()[made.stream]["seq"] == 1
        report = made.bench.book.check(frozen.all_heads())
        assert report.ok, report  # a correction makes the stream longer, it does not change what was printed

    def test_a_snapshot_made_before_there_were_lots_opens(self, made, tmp_path):
        table = freeze(made.bench.book.source(), ["MEA-01"])
        del table["streams"][made.stream]
        path = tmp_path / "old.json"
        path.write_text(json.dumps(table), encoding="utf-8")
        view = kit.open_source(path).batch("MEA-01/1")
        assert view.composition().shares()[QUAT_INCI].pct == 2
        assert view.lots()[QUAT] == ("B-042",)

    def test_a_read_only_view_and_the_open_batch_say_the_same(self, made):
        with kit.open_source(made.bench.path) as source:
            view = source.batch("MEA-01/1")
            assert view.composition() == made.batch.composition()
            assert view.lot_words == made.batch.view.lot_words
            assert made.stream in source.heads()
            assert [history.lot for history in source.lots()] == ["B-042", "unused"]

    @pytest.mark.parametrize("way", ["json", "csv"])
    def test_lots_travel_with_an_export(self, made, tmp_path, way):
        copy = tmp_path / "copy.labbook"
        if way == "json":
            export_json(made.bench.book, tmp_path / "record.json")
            import_json(tmp_path / "record.json", copy)
        else:
            export_csv(made.bench.book, tmp_path / "record")
            import_csv(tmp_path / "record", copy)
        with kit.open_source(copy) as source:
            assert source.batch("MEA-01/1").composition() == made.batch.composition()
            assert source.lot(QUAT, "B-042") == made.bench.book.lot(QUAT, "B-042")

    def test_the_stream_is_small_and_its_own(self, made):
        entries = made.bench.book.store.read(made.stream)
        verify_chain(entries, made.stream)
        assert [entry.kind for entry in entries] == ["certificate"]
        before = made.bench.book.store.heads()
        made.bench.book.add_lot("glycerin", "G-8", certificate={"density": "1.26 g/mL"})
        after = made.bench.book.store.heads()
        assert {name for name in after if after[name] != before.get(name)} == {"book", "lot/glycerin/G-8"}

    def test_a_lot_gone_from_the_file_is_missed(self, made):
        assert made.bench.book.check().ok
        opened = [entry.body.get("stream") for entry in made.bench.book.store.read("book")]
        assert made.stream in opened
