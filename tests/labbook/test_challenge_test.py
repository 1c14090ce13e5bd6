"""A challenge test in the record: kept once, put right, voided, and the same after a way out and back."""

from __future__ import annotations

import csv
from decimal import Decimal

import pytest

import kit
from kit.errors import BatchError, KitError, UnitError
from kit.labbook.challenge_entry import COLUMNS
from kit.labbook.exchange import export_csv, export_json, import_csv, import_json
from kit.labbook.exchange_tables import tables_of
from kit.labbook.snapshot import freeze

COUNTS = {
    "P. aeruginosa": {0: "820000", 7: "2100", 14: "30", 28: "10"},
    "S. aureus": {"day 0": "500000", "7 d": "<10", "14": "<10", 28: "<10"},
    "Escherichia coli": {0: "5e5", 7: "<10", 14: "<10", 28: "<10"},
    "Candida albicans": {0: "450000", 7: "9000", 14: "<10", 28: "<10"},
    "Aspergillus niger": {0: "300000", 14: "400000", 28: "20000"},
}
REPORT = {
    "laboratory": "Laboratory of the north",
    "report": "R-118",
    "edition": "2019",
    "neutraliser": "polysorbate and lecithin, shown to work with this product",
}


@pytest.fixture
def receipt(finished):
    return finished.challenge_test(COUNTS, ph="4.55", age="21 d", strains={"P. aeruginosa": "ATCC 9027"}, **REPORT)


def test_it_is_kept_with_the_batch_and_the_receipt_says_what_the_criteria_make_of_it(finished, receipt, formula):
    assert receipt.new and receipt.kind == "challenge-test"
    assert any("B only" in note for note in receipt.notes)
    assert any(note.startswith("NOT RECORDED") and "inoculum" in note for note in receipt.notes)
    (test,) = finished.view.challenge_tests
    assert (test.batch, test.fingerprint, test.ph, test.age_h) == (
        "MEA-01/1",
        formula.fingerprint,
        Decimal("4.55"),
        504,
    )
    assert test.composition.state == "made"
    assert {found.name: found.strain for found in test.organisms}["Pseudomonas aeruginosa"] == "ATCC 9027"
    assert test.evaluate().decision == "B only"


def test_the_same_test_twice_is_one_entry(finished, receipt):
    again = finished.challenge_test(COUNTS, ph="4.55", age="21 d", strains={"P. aeruginosa": "ATCC 9027"}, **REPORT)
    assert not again.new and again.seq == receipt.seq
    assert len(finished.view.challenge_tests) == 1


def test_the_age_is_counted_to_the_day_of_inoculation(finished, clock):
    """Finished at nine, inoculated two days later at nine: 48 h by the clock, whatever age is typed beside it."""
    clock.later(days=30)
    finished.challenge_test(COUNTS, age="21 d", at="2026-03-04 09:00", **REPORT)
    (test,) = finished.view.challenge_tests
    assert test.age_h == 48
    assert test.report["started"] == "2026-03-04"


def test_a_correction_and_a_void(finished, receipt):
    finished.correct(receipt, why="typed from the wrong line", ph="4.50", edition="2022")
    (test,) = finished.view.challenge_tests
    assert (test.ph, test.report["edition"]) == (Decimal("4.50"), "2022")
    with pytest.raises(BatchError) as problem:
        finished.correct(receipt, why="other counts", counts={})
    assert problem.value.code == "batch.correct" and "void the entry" in problem.value.mend
    finished.void(receipt, why="another batch was sent")
    (test,) = finished.view.challenge_tests
    assert test.evaluate().words()[0] == "VOID: another batch was sent"


def test_it_holds_for_the_next_version_only_with_the_same_preservatives(finished, receipt, formula):
    (test,) = finished.view.challenge_tests
    assert test.holds_for(formula, 4.55).holds is True
    assert test.holds_for(formula.change({"phenoxyethanol": "0.60 %"}), 4.55).holds is False
    assert test.holds_for(finished.composition("made"), "4.55").holds is True


@pytest.mark.parametrize("way", ["json", "csv"])
def test_out_and_back_it_is_the_same(bench, finished, receipt, tmp_path, way):
    """Counts with a detection limit, strains and report come back as they were typed."""
    if way == "json":
        export_json(bench.book, tmp_path / "a.json")
        import_json(tmp_path / "a.json", tmp_path / "new.labbook")
    else:
        export_csv(bench.book, tmp_path / "record")
        import_csv(tmp_path / "record", tmp_path / "new.labbook")
    with kit.open_source(tmp_path / "new.labbook") as source:
        (test,) = source.batch("MEA-01/1").challenge_tests
    (before,) = finished.view.challenge_tests
    assert test == before
    assert str(test.evaluate()) == str(before.evaluate())


def test_a_snapshot_carries_it(bench, finished, receipt, tmp_path):
    import json

    path = tmp_path / "snapshot.json"
    path.write_text(json.dumps(freeze(bench.book.source(), ["MEA-01"])), encoding="utf-8")
    (test,) = kit.open_source(path).batch("MEA-01/1").challenge_tests
    assert test.evaluate().decision == "B only"


def test_the_table_for_other_programs(bench, finished, receipt, tmp_path):
    """Nineteen counts, five inocula among them; lg 820000 - lg 2100 = 2.592, lg 300000 - lg 400000 = -0.125."""
    (table,) = [table for table in tables_of(bench.book.source()) if table.name == "challenge-tests"]
    assert table.columns == COLUMNS
    rows = [dict(zip(COLUMNS, row, strict=True)) for row in table.rows()]
    assert len(rows) == sum(len(days) for days in COUNTS.values()) == 19
    found = {(row["organism"], row["day"]): (row["count [CFU/g]"], row["log reduction"]) for row in rows}
    assert found["Pseudomonas aeruginosa", 7] == (Decimal(2100), Decimal("2.592"))
    assert found["Staphylococcus aureus", 14] == ("<10", ">= 4.699")
    assert found["Aspergillus brasiliensis", 14] == (Decimal(400000), Decimal("-0.125"))
    assert found["Candida albicans", 0] == (Decimal(450000), None)
    assert {row["decision"] for row in rows} == {"B only"}
    export_csv(bench.book, tmp_path / "tables", trials=["MEA-01"])
    (written,) = (tmp_path / "tables").rglob("challenge-tests*")
    with written.open(encoding="utf-8", newline="") as file:
        assert len(list(csv.reader(file))) == 1 + 19


@pytest.mark.parametrize(
    ("counts", "more", "error", "code"),
    [
        ({}, {}, BatchError, "challenge.counts"),
        ({"E. coli": {}}, {}, BatchError, "challenge.counts"),
        ({"E. coli": {"first week": "10"}}, {}, BatchError, "challenge.counts"),
        ({"E. coli": {7: "10", "7 d": "20"}}, {}, BatchError, "challenge.counts"),
        ({"E. coli": {0: "10"}, "Escherichia coli": {0: "10"}}, {}, BatchError, "challenge.counts"),
        ("all below ten", {}, BatchError, "challenge.counts"),
        ({"E. coli": "<10"}, {}, BatchError, "challenge.counts"),
        ({"E. coli": {0: "10"}}, {"strains": {"S. aureus": "ATCC 6538"}}, BatchError, "challenge.counts"),
        ({"E. coli": {7: "0"}}, {}, KitError, "challenge.count"),
        ({"my isolate": {7: "10"}}, {}, BatchError, "challenge.organism"),
        (COUNTS, {"method": "my own"}, BatchError, "challenge.method"),
        (COUNTS, {"labratory": "North"}, BatchError, "challenge.report"),
        (COUNTS, {"ph": "45"}, BatchError, "reading.value_range"),
        (COUNTS, {"age": "21"}, UnitError, "units.missing"),
    ],
)
def test_what_cannot_be_kept_is_refused_and_nothing_is_stored(finished, counts, more, error, code):
    before = len(finished.view.entries)
    with pytest.raises(error) as problem:
        finished.challenge_test(counts, **more)
    assert problem.value.code == code
    assert len(finished.view.entries) == before


def test_a_strain_is_found_under_either_name(finished):
    finished.challenge_test({"Escherichia coli": {0: "1e6"}}, strains={"E. coli": "ATCC 8739"})
    (test,) = finished.view.challenge_tests
    assert test.organisms[0].strain == "ATCC 8739"


def test_an_own_isolate_with_its_group(finished):
    finished.challenge_test({"sink isolate": {0: "1e6", 14: "<10", 28: "<10"}}, groups={"sink isolate": "bacteria"})
    (test,) = finished.view.challenge_tests
    assert test.organisms[0].group == "bacteria"
    assert test.evaluate().decision.startswith("not evaluated")
    assert "Escherichia coli missing" in test.evaluate().decision
