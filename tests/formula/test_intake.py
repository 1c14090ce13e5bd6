"""Formulas out of spreadsheets: what a sheet says is what the formula holds, to the last decimal."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest

import kit
from kit.formula.intake import import_formula, paste_formula
from kit.formula.library import load_library

SHEETS = Path(__file__).parent / "sheets"
EXAMPLES = Path(__file__).parent / "examples"
DEMO = Path(kit.__file__).parent / "demo"
FORMULAS = sorted([*EXAMPLES.glob("*.toml"), *DEMO.glob("linden.toml"), *DEMO.glob("formulas/*.toml")])
WATER = "water-deionised"


def typed(path: Path) -> list[tuple[str, str, Decimal | None]]:
    """Phase, material and percentage of every line, as the TOML file says, read by nothing of the kit."""
    table = tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    return [
        (phase["name"], line["material"], None if line.get("qs") else Decimal(line["pct"]))
        for phase in table["phase"]
        for line in phase["line"]
    ]


def lines_of(formula) -> list[tuple[str, str, Decimal | None]]:
    """Phase, material and percentage of every line of a formula; None for the q.s. line."""
    assert all(line.qs == (line.pct is None) for _, line in formula.placed_lines())
    return [(phase.name, line.material.key, line.pct) for phase, line in formula.placed_lines()]


def taken(preview):
    """The formula of a preview that must not refuse anything."""
    assert preview.refused == (), str(preview)
    assert preview.ok
    return preview.formula


def with_water(lines, hundred=Decimal(100)):
    """The lines with the number that the q.s. line comes to: 100 less all others."""
    rest = hundred - sum(pct for _, _, pct in lines if pct is not None)
    return [(phase, key, rest if pct is None else pct) for phase, key, pct in lines]


def kinds(path: Path) -> dict[str, str]:
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    return {phase["name"]: phase["kind"] for phase in table["phase"]}


def house_codes(materials, folder: Path):
    """A library in which every material has a house code, from a lab's own file, and the codes."""
    codes = {material.key: f"RM-{number:03}" for number, material in enumerate(materials, start=1)}
    rows = [f'[[material]]\nkey = "{key}"\naliases = ["{code}"]\n' for key, code in codes.items()]
    own = folder / "own"
    own.mkdir()
    own_rows = (EXAMPLES / "own" / "materials.toml").read_text(encoding="utf-8")
    (own / "a.toml").write_text(own_rows, encoding="utf-8")
    (own / "b.toml").write_text("\n".join(rows), encoding="utf-8")
    return load_library(own), codes


def save_workbook(path: Path, rows) -> Path:
    """An .xlsx workbook with one sheet; decimals become the numbers a spreadsheet holds."""
    from openpyxl import Workbook

    workbook = Workbook()
    for row in rows:
        workbook.active.append([float(cell) if isinstance(cell, Decimal) else cell for cell in row])
    workbook.save(path)
    return path


def inci_rows(lines, library):
    """INCI names and % as numbers; the key beside an INCI name that several forms share."""
    yield "Phase", "Code", "INCI name", "% w/w", "Function"
    for phase, key, pct in lines:
        material = library.materials[key]
        shared = material.label_inci not in library
        yield phase, key if shared else None, material.label_inci, "q.s. to 100" if pct is None else pct, "any"


def grams_rows(lines, library, codes):
    """House codes, grams of a 400 g batch, the phases as headings, a total. Every share is an exact number of grams."""
    yield ("Weigh list",)
    yield ()
    yield "RM no.", "Trade name", "Batch (400 g)", "Lot"
    last = None
    for phase, key, pct in with_water(lines):
        if phase != last:
            yield f"Phase {phase}", None, None, None
        last = phase
        yield codes[key], library.materials[key].name, pct * 4, "L-1"
    yield "Total", None, Decimal(400), None


def comma_rows(lines, library):
    """German headers, text with decimal commas and non-breaking spaces, q.s. in words, sub-totals, a header again."""
    header = ("Phase", "Rohstoff", "Gew.-%")
    yield header
    sums: dict[str, Decimal] = {}
    last = ""
    for phase, key, pct in lines:
        if last and phase != last:
            rest = with_water(lines)
            sums = {name: sum(p for ph, _, p in rest if ph == name) for name, _, _ in rest}
            yield "", f"Zwischensumme {last}", str(sums[last]).replace(".", ",")
            yield header
        shown = "ad 100" if pct is None else f"{pct}\u00a0%".replace(".", ",")
        yield phase if phase != last else "", library.materials[key].name, shown
        last = phase
    yield "", "Gesamt", "100,00"


@pytest.mark.parametrize("path", FORMULAS, ids=lambda path: f"{path.parent.name}-{path.stem}")
class TestTheSheetOfAFormulaIsTheFormula:
    """The formula file is the truth; the test writes sheets from its text, and the import must give it back."""

    def test_by_inci_name_and_percent(self, path, library, tmp_path):
        lines = typed(path)
        sheet = save_workbook(tmp_path / "sheet.xlsx", inci_rows(lines, library))
        formula = taken(import_formula(sheet, library))
        assert lines_of(formula) == lines
        assert {phase.name: phase.kind for phase in formula.phases} == kinds(path)
        assert formula.fingerprint != ""
        assert (formula.steps, formula.spec) == ((), ())

    def test_by_house_code_and_grams_under_headings(self, path, library, tmp_path):
        lines = typed(path)
        coded, codes = house_codes(library, tmp_path)
        sheet = save_workbook(tmp_path / "sheet.xlsx", grams_rows(lines, coded, codes))
        preview = import_formula(sheet, coded)
        assert lines_of(taken(preview)) == with_water(lines)
        assert preview.formula.composition().total == 100
        assert any("nothing was rounded" in words for words in preview.assumed)
        assert preview.formula.name == "Weigh list"

    def test_by_name_with_commas_and_sub_totals(self, path, library, tmp_path):
        lines = typed(path)
        text = "\n".join(";".join(row) for row in comma_rows(lines, library))
        (tmp_path / "sheet.csv").write_text(text, encoding="utf-8")
        formula = taken(import_formula(tmp_path / "sheet.csv", library))
        assert lines_of(formula) == lines
        assert lines_of(taken(paste_formula(text, library))) == lines

    def test_water_on_two_lines_stays_on_two_lines(self, path, library, tmp_path):
        lines = typed(path)
        lines.append((lines[-1][0], WATER, Decimal("10.00")))
        sheet = save_workbook(tmp_path / "sheet.xlsx", inci_rows(lines, library))
        formula = taken(import_formula(sheet, library))
        assert lines_of(formula) == lines
        # By hand: what the q.s. water gives up is what the second line takes, so the water of both is unchanged.
        total = sum(pct for _, _, pct in lines[:-1] if pct is not None)
        assert formula.composition().pct(WATER) == 100 - total

    def test_saved_it_is_the_same_formula_without_steps_and_spec(self, path, library, tmp_path):
        lines = typed(path)
        sheet = save_workbook(tmp_path / "sheet.xlsx", inci_rows(lines, library))
        preview = import_formula(sheet, library, name="From a sheet", version="7")
        again = kit.load_formula(preview.save(tmp_path / "new.toml"), library)
        assert lines_of(again) == lines
        assert (again.name, again.version) == ("From a sheet", "7")


def test_a_german_sheet(library):
    """By hand: 3.00 + 0.20 + 5.00 + 2.50 + 4.00 + 0.50 + 0.80 = 16.00, so the q.s. water is 84.00 and the sub-totals
    are 84.00 + 3.20 = 87.20, 11.50 and, for the rest of 100, 1.30.
    """
    preview = import_formula(SHEETS / "zinnkraut.csv", library)
    formula = taken(preview)
    assert formula.name == "Zinnkraut-Spülung"
    assert [(phase.name, phase.kind) for phase in formula.phases] == [
        ("Wasserphase", "water"),
        ("Ölphase", "oil"),
        ("Abkühlphase", "cool-down"),
    ]
    assert lines_of(formula) == [
        ("Wasserphase", WATER, None),
        ("Wasserphase", "glycerin", Decimal("3.00")),
        ("Wasserphase", "hydroxyethylcellulose", Decimal("0.20")),
        ("Ölphase", "cetearyl-alcohol", Decimal("5.00")),
        ("Ölphase", "behentrimonium-chloride-80", Decimal("2.50")),
        ("Ölphase", "simmondsia-chinensis-seed-oil", Decimal("4.00")),
        ("Abkühlphase", WATER, Decimal("0.50")),
        ("Abkühlphase", "phenoxyethanol", Decimal("0.80")),
    ]
    assert formula.qs_pct == Decimal("84.00")
    assert [row.kind for row in preview.rows].count("total") == 3
    assert all("checked" in row.remarks[0] for row in preview.rows if row.kind == "total")
    assert [line.why for _, line in formula.placed_lines()][2] == "kalt einstreuen"
    glycerin = next(row for row in preview.rows if row.material and row.material.key == "glycerin")
    assert "aliases of glycerin" in " ".join(glycerin.remarks)  # its trade name and code are news to the library
    assert "Durchführung" in next(row.text for row in preview.rows if row.kind == "left out")


def test_a_french_sheet_in_grams_with_q_s(library):
    """By hand, of 250 g: 7.5 is 3.00 %, 0.125 0.05 %, 12.5 5.00 %, 15 6.00 %, 1 0.40 %; the water is 85.55 %."""
    preview = import_formula(SHEETS / "ortie.csv", library)
    formula = taken(preview)
    assert [(key, pct) for _, key, pct in lines_of(formula)] == [
        (WATER, None),
        ("glycerin", Decimal("3.00")),
        ("citric-acid", Decimal("0.05")),
        ("cetearyl-alcohol", Decimal("5.00")),
        ("behentrimonium-methosulfate-25", Decimal("6.00")),
        ("parfum", Decimal("0.40")),
    ]
    assert formula.qs_pct == Decimal("85.55")
    assert preview.rows[1].lot == "G-12"
    assert "not kept" in str(preview)


@pytest.mark.parametrize(
    ("header", "cells", "expected"),
    [
        ("%", ("q.s.", "3", "12"), "3"),
        ("wt %", ("q.s. to 100", "3.00", "12.00"), "3"),
        ("% (w/w)", ("85.00 (q.s.)", "3.00", "12.00"), "3"),
        ("Percent by weight", ("q.s. to 100 (85,00)", "3,00 %", "12,00 %"), "3"),
        ("Amount", ("to 100 %", "3 %", "12 %"), "3"),
        ("Amount", ("85", "3", "12"), "3"),  # they add up to 100: % and g of a 100 g batch are the same numbers
        ("Quantity (g)", ("340", "12", "48"), "3"),
        ("g/batch", ("340", "12.0", "48 g"), "3"),
        ("Batch (400 g)", ("q.s.", "12", "48"), "3"),
        ("g per 400 g", ("balance", "12", "48"), "3"),
        ("Batch (kg)", ("1.700", "0.060", "0.240"), "3"),
        ("Menge (g)", ("auf 2.000,0 g", "60,0", "240,0"), "3"),
        ("Quantité (g)", ("qsp 2 000,0 g", "60,0", "240,0"), "3"),
        ("% m/m", ("85,0", "30 000 ppm", "12,0"), "3"),  # 1 % by mass is 10,000 mg/kg
        ("Prozent", ("Rest", "0,125", "12,0"), "0.125"),
        ("Gew.-%", ("reste", "3,0", "12,0"), "3"),
    ],
)
def test_amounts_as_people_write_them(library, header, cells, expected):
    rows = [f"{name};{cell}" for name, cell in zip(("Water", "Glycerin", "Cetyl Alcohol"), cells, strict=True)]
    text = "\n".join([f"Ingredient;{header}", *rows])
    formula = taken(paste_formula(text, library))
    assert formula.composition().pct("glycerin") == Decimal(expected)
    assert formula.composition().pct("cetyl-alcohol") == 12
    assert formula.composition().total == 100


def test_grams_that_do_not_come_out_even_still_add_up(library):
    """By hand: three times 7 g of 21 g is a third each; at four decimals one of them takes what is left over."""
    formula = taken(preview := paste_formula("Material;g\nGlycerin;7\nCetyl Alcohol;7\nPhenoxyethanol;7", library))
    percents = sorted(pct for _, _, pct in lines_of(formula))
    assert percents == [Decimal("33.3333"), Decimal("33.3333"), Decimal("33.3334")]
    assert any("rounded to 4 decimals" in words for words in preview.assumed)


def test_percentages_that_a_sheet_computed_are_rounded_and_still_add_up(library, tmp_path):
    """By hand: 2/7, 4/7 and 1/7 of 100 are 28.571428.., 57.142857.. and 14.285714..; the largest remainder is 57's."""
    rows = [("INCI", "%"), ("Aqua", 400 / 7), ("Glycerin", 200 / 7), ("Cetyl Alcohol", 100 / 7)]
    preview = import_formula(save_workbook(tmp_path / "sheet.xlsx", rows), library, decimal_mark=",")
    percents = [str(pct) for _, _, pct in lines_of(taken(preview))]
    assert sorted(percents) == ["14.2857", "28.5714", "57.1429"]
    assert any("many decimals" in words for words in preview.assumed)


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("glycerol", "glycerin"),
        ("GLYCERIN", "glycerin"),
        ("Aqua (Water)", WATER),
        ("Water/Aqua", WATER),
        ("Helianthus Annuus (Sunflower) Seed Oil", "helianthus-annuus-seed-oil"),
        ("Caprylic/Capric Triglyceride", "caprylic-capric-triglyceride"),
        ("Panthenol (75 %)", "panthenol-75"),
        ("Lactic Acid, 88 %", "lactic-acid-88"),
        ("Cetrimonium Chloride (and) Water", "cetrimonium-chloride-29"),
        ("Wasser", WATER),
        ("citric-acid", "citric-acid"),
        ("citric acid 10 %", "citric-acid-10-solution"),
    ],
)
def test_names_as_people_write_them(library, name, key):
    preview = paste_formula(f"Material;%\n{name};4\nEthylhexylglycerin;96", library)
    assert taken(preview).composition().pct(key) == 4


def test_a_strength_tells_the_forms_of_one_inci_name_apart(library):
    rows = "INCI;Assay;%\nBehentrimonium Methosulfate;{};6\nAqua;;q.s."
    for strength, key in (("25 %", "behentrimonium-methosulfate-25"), ("50", "behentrimonium-methosulfate-50")):
        assert taken(paste_formula(rows.format(strength), library)).composition().pct(key) == 6
    refused = paste_formula(rows.format("77 %"), library).refused
    assert [reason.code for reason in refused] == ["intake.strength"]
    assert "behentrimonium-methosulfate-25" in refused[0].allowed


def test_the_users_own_words_and_a_saved_map_read_the_next_sheet(library, tmp_path):
    text = "Sorte;Soll;Rest\nZauberfett;5,0;a\nWasser;95,0;b\n"
    given = kit.formula.intake.ColumnMap(
        name="our sheet",
        columns={"Sorte": "name", "Soll": "pct"},
        ignored=("Rest",),
        words={"material": {"zauberfett": "cetyl-alcohol", "Wasser": WATER}, "phase": {"A": "water"}},
    )
    first = paste_formula(text, library, column_map=given)
    assert taken(first).composition().pct("cetyl-alcohol") == 5
    path = first.column_map.save(tmp_path / "map.toml")
    (tmp_path / "next.csv").write_text(text.replace("5,0;a", "7,5;a").replace("95,0", "92,5"), encoding="utf-8")
    second = import_formula(tmp_path / "next.csv", library, column_map=path)
    assert taken(second).composition().pct("cetyl-alcohol") == Decimal("7.5")


def test_a_proposed_map_saved_reads_the_same(library, tmp_path):
    preview = import_formula(SHEETS / "zinnkraut.csv", library)
    path = preview.column_map.save(tmp_path / "map.toml")
    assert import_formula(SHEETS / "zinnkraut.csv", library, column_map=path).formula == preview.formula


def test_names_given_for_once_are_kept_in_the_map(library):
    preview = paste_formula("Material;%\nRM-7;4\nWater;96", library, materials={"RM-7": "glycerin"})
    assert taken(preview).composition().pct("glycerin") == 4
    assert preview.column_map.words["material"] == {"RM-7": "glycerin"}


def test_trial_columns_side_by_side_are_chosen_by_the_map(library):
    text = "Material;LIN-02;LIN-03\nWater;q.s.;q.s.\nGlycerin;3.00;4.00"
    columns = {"Material": "name", "LIN-03": "pct"}
    given = kit.formula.intake.ColumnMap(columns=columns, ignored=("LIN-02",))
    assert taken(paste_formula(text, library, column_map=given)).composition().pct("glycerin") == 4


def test_rows_without_a_header(library):
    formula = taken(paste_formula("A\tAqua\t95.2\nA\tGlycerin\t4\nC\tPhenoxyethanol\t0.8", library))
    assert lines_of(formula) == [
        ("A", WATER, Decimal("95.2")),
        ("A", "glycerin", Decimal(4)),
        ("C", "phenoxyethanol", Decimal("0.8")),
    ]
    assert taken(paste_formula("1. Aqua 80.0%\n2. Glycerin 20.0%", library)).composition().pct("glycerin") == 20
    assert taken(paste_formula("Aqua  q.s.\nGlycerin  4.0 %\nPhenoxyethanol  0.8 %", library)).qs_pct == Decimal("95.2")


def test_without_phases_each_line_goes_where_its_material_usually_goes_and_that_is_said(library):
    preview = paste_formula("INCI;%\nCetyl Alcohol;5\nAqua;q.s.\nPhenoxyethanol;0.8", library)
    assert [(phase.name, phase.kind) for phase in taken(preview).phases] == [
        ("A", "water"),
        ("B", "oil"),
        ("C", "cool-down"),
    ]
    assert any("NO PHASES" in words for words in preview.assumed)


def test_a_column_of_phase_letters_needs_no_header(library):
    text = ";INCI;%\nA;Aqua;q.s.\n;Glycerin;3.0\nB;Cetyl Alcohol;5.0\n"
    assert [phase for phase, _, _ in lines_of(taken(paste_formula(text, library)))] == ["A", "A", "B"]


@pytest.mark.parametrize(
    ("heading", "name", "kind"),
    [
        ("Phase B", "B", "oil"),
        ("B. Oil phase", "B", "oil"),
        ("PART B:", "B", "oil"),
        ("B) Water phase", "B", "water"),  # the heading is believed, not the materials
        ("Phase C - cool down below 40 °C", "C", "cool-down"),
        ("Phase grasse", "Phase grasse", "oil"),
        ("Phase de refroidissement", "Phase de refroidissement", "cool-down"),
        ("Cool-down", "Cool-down", "cool-down"),
    ],
)
def test_headings_of_phases(library, heading, name, kind):
    text = f"INCI;%\nPhase A;\nAqua;q.s.\n{heading};\nCetyl Alcohol;5.0\n"
    found = taken(paste_formula(text, library)).phases[-1]
    assert (found.name, found.kind) == (name, kind)


def test_a_stock_solution_is_a_line_of_its_own(library):
    formula = taken(paste_formula("INCI;%\nAqua;q.s.\nCitric Acid (10 % solution);0.60", library))
    stock = [line.material for _, line in formula.placed_lines() if line.material.made_from]
    assert [material.key for material in stock] == ["citric-acid-10-solution"]


def test_grams_beside_percent_are_compared_and_the_percent_is_kept(library):
    """By hand: 4 % of 200 g is 8 g, and 9 g is not."""
    text = "Material;%;Batch (200 g)\nWater;96;192\nGlycerin;4;{}\n"
    assert all(row.remarks == () for row in paste_formula(text.format(8), library).rows)
    preview = paste_formula(text.format(9), library)
    assert taken(preview).composition().pct("glycerin") == 4
    assert "9 g is not 4 % of 200 g" in preview.rows[1].remarks[0]


def test_the_preview_says_what_a_sheet_cannot_hold(library):
    preview = paste_formula("Material;%\nWater;96\nGlycerin;4", library)
    assert "Steps and spec are not in a formula sheet" in str(preview)
    assert "&lt;b&gt;" in paste_formula("Material;%\n<b>Water;96\nGlycerin;4", library)._repr_html_()


def test_the_six_demo_formulas_are_among_those_that_went_through_a_sheet():
    demo = {path.stem for path in FORMULAS if DEMO in path.parents}
    assert {"linden", "chamomile", "calendula", "hibiscus", "nettle", "green-tea"} <= demo
