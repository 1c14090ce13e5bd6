"""Sheets that cannot be taken as they are: each is refused with code, place and cure, and nothing is written."""

from __future__ import annotations

import pytest

from kit.errors import FormulaError, KitError, TableError, UnitError
from kit.formula.intake import import_formula, paste_formula
from kit.tabular import ColumnMap


def sheet(*rows: str, head: str = "Phase;Material;%") -> str:
    return "\n".join([head, *rows])


GOOD = ("A;Water;q.s.", "A;Glycerin;3.00", "B;Cetyl Alcohol;5.00")


@pytest.mark.parametrize(
    ("rows", "row", "code", "said"),
    [
        (("A;Glycerol 99;3.00",), 5, "material.unknown", "nearest: glycerin"),
        (
            ("A;Citric Acid;0.05",),
            5,
            "material.ambiguous",
            "citric-acid-10-solution (Citric Acid (10 % solution), 10 % active)",
        ),
        (("B;Behentrimonium Methosulfate;4",), 5, "material.ambiguous", "25 % active"),
        (("B;Behentrimonium Chloride (77 %);2.5",), 5, "material.unknown", "behentrimonium-chloride-80"),
        (("A;Phenoxyethanol;",), 5, "intake.amount_missing", '0 among them, or "q.s."'),
        (("A;Phenoxyethanol;as needed",), 5, "units.not_a_number", "'as needed'"),
        (("A;Phenoxyethanol;0.5-0.8",), 5, "units.not_a_number", "0.5-0.8"),
        (("A;Phenoxyethanol;<0.1",), 5, "units.not_a_number", "<0.1"),
        (("A;Phenoxyethanol;-0.8",), 5, "formula.value", "negative"),
        (("A;Phenoxyethanol;1,000",), 5, "units.ambiguous_comma", "1000 or 1.000"),
        (("A;Phenoxyethanol;0.8 g",), 5, "units.wrong_kind", "column of % w/w"),
        (("A;Phenoxyethanol;0.8 % v/v",), 5, "units.wrong_kind", "volume"),
        (("A;Phenoxyethanol;0.8 mL",), 5, "units.wrong_kind", "density"),
        (("A;Lactic Acid 88 %;q.s. to pH 4.5",), 5, "intake.qs_ph", "estimate"),
        (("A;Lactic Acid 88 %;q.s.",), 5, "formula.qs_two", "row 2 is q.s. already"),
        (("A;Phenoxyethanol;92.00",), 2, "intake.sum", "add up to 100.00 %"),
        (("Total;;99.00",), 5, "intake.total", "the total of all lines is 100"),
        (("A;Phenoxyethanol;0.80", "Subtotal B;;7.00"), 6, "intake.total", "7.00 is not"),
        ((";;0.80", "A;Phenoxyethanol;0.80"), 5, "intake.row_no_name", "without a material"),
        (("see the procedure;;", "A;Phenoxyethanol;0.80"), 5, "intake.row_unclear", "see the procedure"),
        (("after;Phenoxyethanol;0.80",), 0, "formula.phase", "after"),
    ],
)
def test_a_wrong_row_is_refused_with_its_reason(library, tmp_path, rows, row, code, said):
    preview = paste_formula(sheet(*GOOD, *rows), library)
    assert [(reason.row, reason.code) for reason in preview.refused] == [(row, code)]
    assert said in str(preview.refused[0])
    assert preview.refused[0].mend
    assert not preview.ok and preview.formula is None
    assert "REFUSED" in str(preview.table()) or row == 0
    with pytest.raises(FormulaError) as caught:
        preview.save(tmp_path / "new.toml")
    assert caught.value.code == "intake.refused"
    assert code in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_the_good_rows_alone_are_taken(library):
    preview = paste_formula(sheet(*GOOD), library)
    assert preview.ok
    assert preview.formula.qs_pct == 92  # 100 - 3 - 5


@pytest.mark.parametrize(
    ("text", "row", "code"),
    [
        ("Material;%\nWater;90\nGlycerin;9", 0, "intake.sum"),
        ("Material;%\nWater;0.9\nGlycerin;0.1", 0, "intake.sum"),  # shares of 1
        ("Material;%\nWater;q.s. to 95\nGlycerin;9", 2, "intake.qs"),
        ("Material;%\nWater;90.00 (q.s.)\nGlycerin;9.00", 2, "intake.qs"),  # 91 is left for it
        ("Material;g\nWater;q.s.\nGlycerin;9", 2, "intake.total_missing"),
        ("Material;g\nWater;q.s. to 300 g\nGlycerin;9\nTotal;400", 2, "intake.total"),
        ("Material;g\nWater;q.s. to 300 g\nGlycerin;400", 2, "intake.sum"),
        ("Material;g\nWater;0\nGlycerin;0", 0, "intake.sum"),
        ("Material;g\nWater;90\nGlycerin;10\nTotal;105", 4, "intake.total"),
        ("Material;Amount\nWater;90\nGlycerin;9", 2, "intake.unit_missing"),
        ("Material;Amount\nWater;90 %\nGlycerin;5 %\nPhenoxyethanol;5 g", 4, "intake.unit_mixed"),
        ("Code;INCI;%\ncetyl-alcohol;Glycerin;4\n;Aqua;96", 2, "intake.names_disagree"),
        ("INCI;Assay;%\nGlycerin;much;4\nAqua;;96", 2, "intake.strength"),
    ],
)
def test_what_does_not_add_up_or_agree_is_refused(library, text, row, code):
    preview = paste_formula(text, library)
    assert (row, code) in [(reason.row, reason.code) for reason in preview.refused]
    assert not preview.ok


def test_shares_of_one_are_told_apart_from_percent(library):
    refused = paste_formula("Material;%\nWater;0.9\nGlycerin;0.1", library).refused
    assert "shares of 1" in refused[0].what


def test_every_wrong_row_is_told_at_once(library):
    rows = ("A;Nonsense One;1.00", "A;Nonsense Two;abc", "A;Glycerin;1.2.3")
    preview = paste_formula(sheet(*GOOD, *rows), library)
    assert preview.unknown == ("Nonsense One", "Nonsense Two")
    assert [reason.row for reason in preview.refused] == [5, 6, 6, 7]


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("Material;Viscosity\nWater;q.s.\nGlycerin;x", "intake.columns", "no column holds amounts"),
        ("Stoff;%\nWater;97\nGlycerin;3", "intake.columns", "no column names the materials"),
        ("Material;% v/v\nWater;97\nGlycerin;3", "intake.volume", "never % w/w"),
        ("Material;Vol (mL)\nWater;97\nGlycerin;3", "intake.volume", "density"),
        ("Material;%;wt %\nWater;97;97\nGlycerin;3;3", "intake.columns", "2 columns could be the amounts"),
        ("Material;%\nWater;97,5\nGlycerin;2.5", "intake.decimal_mark", "97,5"),
        ("Material;%\nsome words;\n", "intake.empty", "names a material"),
        ("", "table.empty", "empty"),
    ],
)
def test_a_table_without_what_is_needed_is_an_error(library, text, code, said):
    with pytest.raises(KitError) as caught:
        paste_formula(text, library)
    assert caught.value.code == code
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        ({"columns": {"Material": "name", "Percent": "pct"}, "ignored": ("%", "Phase")}, "table.map_fit", "'Percent'"),
        ({"columns": {"Material": "name", "%": "pct"}}, "table.map_fit", "'Phase'"),
        ({"columns": {"Material": "name", "%": "percent", "Phase": "phase"}}, "intake.map_field", "pct"),
        ({"columns": {"Material": "name", "Phase": "phase"}, "ignored": ("%",)}, "intake.columns", "amounts"),
        (
            {"columns": {"%": "pct", "Phase": "phase"}, "ignored": ("Material",)},
            "intake.columns",
            "names the materials",
        ),
        ({"columns": {"Material": "name", "%": "pct", "Phase": "name"}}, "intake.columns", "two columns"),
        (
            {"columns": {"Material": "name", "%": "pct", "Phase": "phase"}, "declared": {"ph": "4"}},
            "intake.map_field",
            "total",
        ),
        (
            {"columns": {"Material": "name", "%": "pct", "Phase": "phase"}, "words": {"phase": {"A": "wet"}}},
            "formula.phase_kind",
            "cool-down",
        ),
        (
            {"columns": {"Material": "name", "%": "pct", "Phase": "phase"}, "words": {"material": {"Water": "wasser"}}},
            "material.unknown",
            "materials, 'Water'",
        ),
        (
            {"columns": {"Material": "name", "%": "pct", "Phase": "phase"}, "decimal_mark": "!"},
            "intake.decimal_mark",
            "'!'",
        ),
    ],
)
def test_a_map_that_does_not_fit_is_refused_with_what_is_missing(library, given, code, said):
    with pytest.raises(KitError) as caught:
        paste_formula(sheet(*GOOD), library, column_map=ColumnMap(**given))
    assert caught.value.code == code
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("total", "code"), [("400", "units.missing"), ("400 mL", "units.wrong_kind"), ("0 g", "formula.value")]
)
def test_a_total_that_is_no_mass(library, total, code):
    with pytest.raises((FormulaError, UnitError)) as caught:
        paste_formula("Material;g\nWater;q.s.\nGlycerin;9", library, total=total)
    assert caught.value.code == code


def test_a_product_type_there_is_not(library):
    with pytest.raises(FormulaError) as caught:
        paste_formula(sheet(*GOOD), library, product="shampoo")
    assert caught.value.code == "formula.product"


def test_a_file_that_is_not_there_or_no_table(library, tmp_path):
    with pytest.raises(TableError) as caught:
        import_formula(tmp_path / "none.csv", library)
    assert caught.value.code == "table.file_missing"
    (tmp_path / "picture.xlsx").write_bytes(b"\x89PNG\r\n\x1a\n\x00\x00")
    with pytest.raises(TableError):
        import_formula(tmp_path / "picture.xlsx", library)


def test_a_sheet_that_was_never_calculated_says_so(library, tmp_path):
    from openpyxl import Workbook

    workbook = Workbook()
    for row in (("INCI", "%"), ("Aqua", "=100-B3"), ("Glycerin", 3)):
        workbook.active.append(row)
    workbook.save(tmp_path / "sheet.xlsx")
    with pytest.raises(TableError) as caught:
        import_formula(tmp_path / "sheet.xlsx", library)
    assert caught.value.code == "table.formula_value"


def test_saving_never_overwrites_another_formula(library, tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("# a note of mine\n", encoding="utf-8")
    with pytest.raises(FormulaError) as caught:
        paste_formula(sheet(*GOOD), library).save(path)
    assert caught.value.code == "formula.file_exists"
    assert path.read_text(encoding="utf-8") == "# a note of mine\n"
