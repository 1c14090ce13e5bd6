"""Sheets as they lie about in a lab: units in a second header row, titles, footnotes, notes, versions side by side.

What each sheet says is typed in the test; what a formulator reads out of it is common practice, no source.
"""

from __future__ import annotations

import codecs
from decimal import Decimal

import pytest

from kit.errors import FormulaError, TableError
from kit.formula.intake import import_formula, paste_formula
from kit.formula.library import load_library

D = Decimal
LINES = [
    ("A", "Water", "q.s."),
    ("A", "Glycerin", 3),
    ("B", "Cetearyl Alcohol (30:70)", 5),
    ("B", "Behentrimonium Chloride (80 %)", 2.5),
    ("C", "Phenoxyethanol", 0.8),
]
# 100 - 3 - 5 - 2.5 - 0.8
KEPT = [
    ("A", "water-deionised", D("88.70")),
    ("A", "glycerin", D("3.00")),
    ("B", "cetearyl-alcohol", D("5.00")),
    ("B", "behentrimonium-chloride-80", D("2.50")),
    ("C", "phenoxyethanol", D("0.80")),
]


@pytest.fixture(scope="module")
def starter():
    return load_library()


@pytest.fixture
def preview(starter, tmp_path):
    """The preview of a workbook with these rows; `change` may work on its sheet."""

    def build(rows, change=lambda sheet: None, **options):
        from openpyxl import Workbook

        workbook = Workbook()
        for row in rows:
            workbook.active.append(list(row))
        change(workbook.active)
        workbook.save(tmp_path / "sheet.xlsx")
        return import_formula(tmp_path / "sheet.xlsx", starter, **options)

    return build


def kept(found) -> list[tuple[str, str, Decimal]]:
    assert found.refused == (), str(found)
    formula = found.formula
    return [
        (phase.name, line.material.key, formula.qs_pct if line.qs else line.pct)
        for phase, line in formula.placed_lines()
    ]


HEAD = ("Phase", "Material", "% w/w")


def test_a_row_of_units_below_the_header(preview, tmp_path, starter):
    found = preview([("Phase", "Material", "Amount"), (None, None, "% w/w"), *LINES])
    assert kept(found) == KEPT
    assert "the row below the header holds units" in found.assumed
    grams = [(phase, name, 88.7 if name == "Water" else mass) for phase, name, mass in LINES]
    assert kept(preview([("Phase", "Material", "Quantity"), ("", "", "g"), *grams])) == KEPT
    found.column_map.save(tmp_path / "map.toml")
    again = preview([("Phase", "Material", "Amount"), (None, None, "% w/w"), *LINES], column_map=tmp_path / "map.toml")
    assert kept(again) == KEPT


def test_a_row_that_only_looks_like_units_is_a_row(preview):
    """A material called after nothing, with "g" in the lot column, is no row of units."""
    found = preview([("Phase", "Material", "% w/w", "Lot"), (None, None, None, "g"), *LINES])
    assert kept(found) == KEPT
    assert "the row below the header holds units" not in found.assumed


def test_a_title_names_the_formula_and_two_header_rows_do_not(preview):
    titled = preview([("Linden rinse, third try",), (), HEAD, *LINES])
    assert (titled.formula.name, kept(titled)) == ("Linden rinse, third try", KEPT)
    assert not any("not kept" in words for words in titled.assumed)
    labelled = preview([("Formula name", "Linden rinse"), HEAD, *LINES])
    assert labelled.formula.name == "Linden rinse"
    two = preview([(None, "Raw material", "Formula"), HEAD, *LINES])
    assert (two.formula.name, kept(two)) == ("sheet", KEPT)
    assert any("not kept: Raw material; Formula" in words for words in two.assumed)


def test_notes_below_the_lines_are_left_out(preview):
    notes = [(), ("Procedure: heat A to 78 °C",), ("pH 4.5 ± 0.2", "", 4.5), ("Prepared by", "", "AB")]
    found = preview([HEAD, *LINES, *notes])
    assert kept(found) == KEPT
    assert [row.kind for row in found.rows[5:]] == ["left out"] * 3


def test_a_phase_total_below_the_lines_is_still_checked(preview):
    """0.80 in phase C; 0.90 is not what its lines add up to."""
    assert kept(preview([HEAD, *LINES, ("Total phase C", None, 0.8)])) == KEPT
    assert [r.code for r in preview([HEAD, *LINES, ("Total phase C", None, 0.9)]).refused] == ["intake.total"]


def test_marks_of_footnotes_belong_to_no_name(starter):
    text = "Material;%\nWater*;q.s.\nGlycerin¹;3.00\nPhenoxyethanol **;0.80\n* boiled and cooled\n"
    assert [key for _, key, _ in kept(paste_formula(text, starter))] == [
        "water-deionised",
        "glycerin",
        "phenoxyethanol",
    ]


def test_versions_side_by_side_are_asked_about_by_their_own_names(starter):
    text = "Material;V1;V2\nWater;94.2;93.2\nGlycerin;3;4\nBTAC 80 %;2;2\nPhenoxyethanol;0.8;0.8\n"
    with pytest.raises(FormulaError) as caught:
        paste_formula(text, starter)
    assert caught.value.code == "intake.columns" and '{"V2" = "pct", ...}' in caught.value.mend


def test_merged_cells_a_hidden_total_and_percent_formats(preview):
    def merge(sheet):
        for row in (3, 5):
            sheet.cell(row, 1).value = None
        sheet.merge_cells("A2:A3")
        sheet.merge_cells("A4:A5")

    assert kept(preview([HEAD, *LINES], merge)) == KEPT

    def hide(sheet):
        sheet.append([None, None, 100])
        sheet.row_dimensions[7].hidden = True

    numbers = [(phase, name, 88.7 if name == "Water" else pct) for phase, name, pct in LINES]
    assert kept(preview([HEAD, *numbers], hide)) == KEPT

    def as_percent(sheet):
        for row in range(2, 7):
            sheet.cell(row, 3).value = sheet.cell(row, 3).value / 100
            sheet.cell(row, 3).number_format = "0.00%"

    assert kept(preview([HEAD, *numbers], as_percent)) == KEPT


def test_a_formula_nothing_calculated_is_named_with_its_cell(preview):
    def calculate(sheet):
        sheet["C2"] = "=100-SUM(C3:C6)"

    with pytest.raises(TableError) as caught:
        preview([HEAD, *LINES], calculate)
    assert (caught.value.code, "C2" in caught.value.where) == ("table.formula_value", True)


@pytest.mark.parametrize(
    ("shown", "code"),
    [
        ("<0.1", "units.not_a_number"),
        ("1,000", "units.ambiguous_comma"),
        ("3-5", "units.not_a_number"),
        ("trace", "units.not_a_number"),
        ("q.s. to pH 4.5", "intake.qs_ph"),
    ],
)
def test_what_is_no_amount_is_refused_by_its_row(starter, shown, code):
    found = paste_formula(f"Material;%\nWater;q.s.\nGlycerin;{shown}\nPhenoxyethanol;0.8\n", starter)
    assert [(reason.row, reason.code) for reason in found.refused] == [(3, code)]
    assert not found.ok


def test_a_sheet_with_a_line_made_up_to_100_alone_is_that_line(starter):
    assert kept(paste_formula("Phase;Material;%\nA;Water;q.s.\n", starter)) == [("A", "water-deionised", D(100))]


def test_a_number_out_of_all_measure_is_refused_by_its_row(preview):
    rows = [(phase, name, 1e300 if name == "Glycerin" else pct) for phase, name, pct in LINES]
    assert [(reason.row, reason.code) for reason in preview([HEAD, *rows]).refused] == [(3, "formula.value")]


@pytest.mark.parametrize(
    "encoded",
    [
        lambda text: codecs.BOM_UTF8 + text.encode(),
        lambda text: text.encode("utf-16"),
        lambda text: text.encode("cp1252"),
        lambda text: text.replace(" w/w", "\u00a0w/w").replace("5 %", "5\u202f%").encode(),
    ],
    ids=["UTF-8 with its mark", "UTF-16", "Windows-1252", "non-breaking spaces"],
)
def test_letters_and_blanks_of_every_office(starter, tmp_path, encoded):
    """Capitals, decimal commas, a % sign, in the encodings that spreadsheets write."""
    rows = ["Phase;INCI;% w/w", "Öl;CETEARYL ALCOHOL;5 %", "Wasser;AQUA;ad 100", "Kühlphase;PHENOXYETHANOL;0,8"]
    (tmp_path / "blatt.csv").write_bytes(encoded("\n".join(rows)))
    assert kept(import_formula(tmp_path / "blatt.csv", starter)) == [
        ("Öl", "cetearyl-alcohol", D("5")),
        ("Wasser", "water-deionised", D("94.2")),
        ("Kühlphase", "phenoxyethanol", D("0.8")),
    ]


def test_the_preview_reads_in_a_terminal_line_by_line(preview):
    found = preview([HEAD, *LINES])
    assert "\n- sheet Sheet\n- column 'Phase' read as phase, by its header\n" in str(found)
    assert str(found).count("Steps and spec are not in a formula sheet") == 1
