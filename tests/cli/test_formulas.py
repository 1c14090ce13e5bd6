"""`kit formula` and the column maps of `kit import`."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from typer.testing import CliRunner

import kit
from kit import cli

SHEET = """Phase;House code;INCI;%
A;;Aqua;q.s.
A;;Glycerin;4,00
B;RM-0107;;5,00
B;BTAC 80 %;;2,50
C;;Phenoxyethanol;0,80
"""
OWN = """
[[material]]
key = "cetearyl-alcohol"
aliases = ["RM-0107"]
[[price]]
material = "cetearyl-alcohol"
per_kg = "4.20"
currency = "EUR"
date = "2026-11-02"
[[price]]
material = "glycerin"
per_kg = "1.50"
currency = "EUR"
date = "2026-11-02"
"""


@pytest.fixture
def sheet(folder) -> Path:
    (folder / "sheet.csv").write_text(SHEET, encoding="utf-8")
    (folder / "materials").mkdir()
    (folder / "materials" / "own.toml").write_text(OWN, encoding="utf-8")
    return folder / "sheet.csv"


class TestImport:
    def test_a_sheet_becomes_a_formula_file(self, run, sheet, folder):
        code, out, err = run(
            *("formula", "import", sheet, "--to", "sage.toml", "--materials", "materials", "--name", "Sage"),
            *("--save-map", "map.toml", "--yes"),
        )
        assert (code, err) == (0, "")
        assert "Next: kit review sage.toml" in out
        formula = kit.load_formula(folder / "sage.toml")
        assert formula.name == "Sage"
        lines = {line.material.key: line.pct for phase in formula.phases for line in phase.lines if not line.qs}
        assert lines == {
            "glycerin": Decimal("4.00"),
            "cetearyl-alcohol": Decimal("5.00"),  # RM-0107 by the lab's own materials
            "behentrimonium-chloride-80": Decimal("2.50"),
            "phenoxyethanol": Decimal("0.80"),
        }
        assert run("review", "sage.toml")[0] == 0  # the materials beside it are its own
        code, _, err = run(
            "formula", "import", sheet, "--to", "again.toml", "--materials", "materials", "--map", "map.toml", "--yes"
        )
        assert (code, err) == (0, "")

    def test_asks_before_it_writes(self, sheet, folder):
        command = ["formula", "import", "sheet.csv", "--to", "sage.toml", "--materials", "materials"]
        shown = CliRunner().invoke(cli.application(), command, input="n\n")
        assert shown.exit_code == 0
        assert "Nothing was written." in shown.output
        assert not (folder / "sage.toml").exists()
        assert CliRunner().invoke(cli.application(), command, input="y\n").exit_code == 0
        assert (folder / "sage.toml").exists()

    def test_an_unknown_name_is_refused_and_can_be_named_or_filled_in(self, run, mistake, sheet, folder):
        """Without the lab's own materials RM-0107 is unknown."""
        (folder / "materials" / "own.toml").rename(folder / "kept elsewhere.toml")
        words = mistake("intake.refused", "formula", "import", sheet, "--to", "sage.toml", "--yes")
        assert "RM-0107" in words
        code, _, err = run("formula", "import", sheet, "--to", "sage.toml", "--forms", "forms.toml", "--yes")
        assert code == 2
        assert "RM-0107" in (folder / "forms.toml").read_text(encoding="utf-8")
        assert not (folder / "sage.toml").exists()
        named = "RM-0107=cetearyl-alcohol"
        code, _, err = run("formula", "import", sheet, "--to", "sage.toml", "--material", named, "--yes")
        assert (code, err) == (0, "")

    def test_refusals(self, mistake, sheet, folder):
        (folder / "taken.toml").write_text("mine", encoding="utf-8")
        command = ("formula", "import")
        mistake("cli.exists", *command, sheet, "--to", "taken.toml")
        mistake("cli.exists", *command, sheet, "--to", "sage.toml", "--forms", "taken.toml")
        mistake("cli.folder_missing", *command, sheet, "--to", "nowhere/sage.toml")
        mistake("table.file_missing", *command, "gone.xlsx", "--to", "sage.toml")
        mistake("table.map_missing", *command, sheet, "--to", "sage.toml", "--map", "gone.toml")
        mistake("cli.name_value", *command, sheet, "--to", "sage.toml", "--material", "RM-0107")
        mistake("material.unknown", *command, sheet, "--to", "sage.toml", "--material", "RM-0107=nothing")
        mistake("cli.usage", *command, sheet)


class TestAsked:
    def test_label(self, run, mistake, book):
        """Everything of 1 % and more stands in descending order: water, then the alcohol at 5.00 %."""
        code, out, err = run("formula", "label", "linden.toml")
        assert (code, err) == (0, "")
        assert out.startswith("Ingredients: Aqua, Cetearyl Alcohol, Glycerin, ")
        assert run("formula", "label", "linden.toml", "--market", "US")[1].startswith("Ingredients: Water, ")
        mistake("label.market", "formula", "label", "linden.toml", "--market", "ZZ")
        mistake("cli.not_a_formula", "formula", "label", book)

    def test_cost(self, run, sheet, book):
        """5.00 % at 4.20 and 3.00 % at 1.50 EUR/kg: 0.210 + 0.045 = 0.255 EUR in a kilogram, other prices unknown."""
        code, out, err = run("formula", "cost", "linden.toml", "--materials", "materials", "--fill", "200 g")
        assert (code, err) == (0, "")
        found = re.search(r"Per kg: at least (\d\.\d+) EUR/kg", " ".join(out.split()))
        assert abs(Decimal(found[1]) - Decimal("0.255")) <= Decimal("0.005")
        assert "without a price" in out
        assert "Pack of 200 g" in out
        code, out, _ = run("formula", "cost", "linden.toml")
        assert code == 0
        assert "not known" in out

    def test_cost_with_extras(self, run, mistake, sheet, book):
        """A bottle at 0.40 with 0.2 kg of 0.255 EUR/kg: 0.451 EUR a pack."""
        command = ("formula", "cost", "linden.toml", "--materials", "materials", "--fill", "200 g")
        code, out, err = run(*command, "--per-pack", "bottle=0.40 EUR")
        assert (code, err) == (0, "")
        assert re.search(r"at least 0\.45 EUR/pack", " ".join(out.split()))
        mistake("cli.name_value", *command, "--per-pack", "bottle")
        mistake("units.", "formula", "cost", "linden.toml", "--fill", "200")

    def test_history(self, run, mistake, book, folder):
        formula = kit.load_formula(folder / "linden.toml")
        formula.change({"glycerin": "2.00 %"}, why="less sticky", version="2").save(folder / "linden-2.toml")
        code, out, err = run("formula", "history", "linden-2.toml", "linden.toml")
        assert (code, err) == (0, "")
        assert "less sticky" in out
        assert out.index("first version") < out.index("less sticky")
        mistake("formula.file_missing", "formula", "history", "gone.toml")


class TestColumnMapOfReadings:
    EXPORT = "Sample ID;pH;Temp. [°C];Date/Time\nLIN-03/1;4,61;25,0;2026-05-13 14:20\n"

    def test_a_first_map_is_written_to_look_at_then_used(self, run, mistake, book, folder):
        (folder / "meter.csv").write_text(self.EXPORT, encoding="utf-8")
        before = len(kit.open_source(book).batch("LIN-03/1").readings)
        code, out, err = run("import", book, "meter.csv", "--save-map", "meter.toml")
        assert (code, err) == (0, "")
        assert "Nothing was recorded." in out
        assert len(kit.open_source(book).batch("LIN-03/1").readings) == before
        mistake("cli.exists", "import", book, "meter.csv", "--save-map", "meter.toml")
        mistake("cli.two_maps", "import", book, "meter.csv", "--save-map", "new.toml", "--map", "meter.toml")
        code, out, err = run("import", book, "meter.csv", "--map", "meter.toml", "--yes")
        assert (code, err) == (0, "")
        reading = kit.open_source(book).batch("LIN-03/1").readings[-1]
        assert (reading.property, str(reading.value), str(reading.temp_c)) == ("pH", "4.61", "25.0")
        assert "nothing added" in run("import", book, "meter.csv", "--map", "meter.toml", "--yes")[1]

    def test_a_workbook_with_its_sheet_named(self, run, mistake, book, folder):
        from openpyxl import Workbook

        workbook = Workbook()
        workbook.active.title = "pH"
        workbook.create_sheet("notes").append(["a note"])
        for row in (["batch", "property", "value", "measured_at", "temp"],
                    ["LIN-03/1", "pH", 4.62, "2026-05-13 15:20", "25.0 degC"]):  # fmt: skip
            workbook["pH"].append(row)
        workbook.save(folder / "meter.xlsx")
        code, _, err = run("import", book, "meter.xlsx", "--sheet", "pH", "--yes")
        assert (code, err) == (0, "")
        assert str(kit.open_source(book).batch("LIN-03/1").readings[-1].value) == "4.62"
        mistake("cli.order", "import", "meter.xlsx", book)
        mistake("import.", "import", book, "meter.xlsx", "--sheet", "viscosity")
