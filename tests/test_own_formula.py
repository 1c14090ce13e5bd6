"""The whole job with a formula that is in no demo, from a folder outside the checkout: reviewed, made, measured,
imported with decimal commas, compared and written up. Every number is invented; every expected one is worked by hand.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import pytest

import kit
from kit.formula.files import load_formula

OWN_MATERIAL = """
[[material]]
key = "oat-drops"
name = "Oat drops in glycerin"
function = "humectant"
parts = [
  {inci = "Glycerin", pct = "60", kind = "supplier-typical", source = "common-practice"},
  {inci = "Aqua", pct = "40", kind = "supplier-typical", source = "common-practice"},
]
"""
FORMULA = """
name = "Sage rinse (invented)"
version = "1"
product = "rinse-off hair"

[[spec]]
property = "pH"
low = 4.2
high = 4.8
method = "pH neat"
age = "24 h"

[[spec]]
property = "viscosity"
low = 12000
high = 18000
unit = "mPa.s"
method = "viscosity"
age = "72 h"

[[phase]]
name = "A"
kind = "water"
line = [{material = "water-deionised", qs = true}, {material = "propanediol", pct = "5.00"}]

[[phase]]
name = "B"
kind = "oil"
line = [
  {material = "cetyl-alcohol", pct = "4.00"},
  {material = "stearyl-alcohol", pct = "2.00"},
  {material = "behentrimonium-chloride-80", pct = "2.00"},
]

[[phase]]
name = "C"
kind = "cool-down"
line = [
  {material = "salvia-officinalis-leaf-extract", pct = "1.00"},
  {material = "oat-drops", pct = "0.50"},
  {material = "benzyl-alcohol", pct = "0.80"},
  {material = "lactic-acid-88", pct = "0.10"},
]
"""
ZONE = timezone(timedelta(hours=1))
# A batch of the control, one of the changed version the day after, the control again; finished at these times.
BATCHES = {
    "SAG-01/1": datetime(2024, 3, 4, 11, 0, tzinfo=ZONE),
    "SAG-02/1": datetime(2024, 3, 5, 11, 0, tzinfo=ZONE),
    "SAG-01/2": datetime(2024, 3, 6, 15, 0, tzinfo=ZONE),
}
# Viscosity = 4000 x torque / 10 rpm on disc 5: 400 mPa.s for each % of full scale.
READINGS = """batch;property;value;unit;measured_at;temp;method;instrument;calibration;spindle;rpm;torque_pct;\
reading_time;container
SAG-01/1;pH;4,42;;2024-03-05 11:05;25,0 degC;pH neat;PH-1;CAL-0305;;;;;
SAG-01/2;pH;4,48;;2024-03-07 15:05;25,0 degC;pH neat;PH-1;CAL-0307;;;;;
SAG-02/1;pH;4,60;;2024-03-06 11:05;25,0 degC;pH neat;PH-1;CAL-0306;;;;;
SAG-01/1;viscosity;12800,0;mPa.s;2024-03-07 11:05;25,0 degC;viscosity;VIS-1;;disc 5;10;32,0;60 s;100 mL jar
SAG-01/2;viscosity;13600,0;mPa.s;2024-03-09 15:05;25,0 degC;viscosity;VIS-1;;disc 5;10;34,0;60 s;100 mL jar
SAG-02/1;viscosity;20400,0;mPa.s;2024-03-08 11:05;25,0 degC;viscosity;VIS-1;;disc 5;10;51,0;60 s;100 mL jar
"""


def command(folder: Path, *arguments: str) -> str:
    """Run a command of the kit in the folder; it must succeed and say nothing on the error stream."""
    done = subprocess.run(
        [sys.executable, "-m", "kit", *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(Path(kit.__file__).parents[1])},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    return done.stdout


class Clock:
    now = datetime(2024, 3, 4, 7, 45, tzinfo=ZONE)

    def __call__(self) -> datetime:
        return self.now


def make(folder: Path) -> None:
    """The bench's part: formula file, next version, lab book and three batches, through the public calls."""
    (folder / "own").mkdir()
    (folder / "own" / "oat.toml").write_text(OWN_MATERIAL, encoding="utf-8")
    (folder / "sage.toml").write_text(FORMULA, encoding="utf-8")
    (folder / "readings.csv").write_bytes(b"\xef\xbb\xbf" + READINGS.replace("\n", "\r\n").encode())  # as a spreadsheet
    library = kit.load_library(folder / "own")
    formula = load_formula(folder / "sage.toml", library)
    thicker = formula.change({"cetyl-alcohol": "5.50 %"}, why="thicker, same slip?", version="2")
    thicker.save(folder / "sage_2.toml")
    clock = Clock()
    with kit.new_labbook(folder / "sage.labbook", clock=clock, library=library) as book:
        book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": 4000})
        book.add_instrument("PH-1", kind="pH meter")
        book.new_study("SAG", question="Does 1.5 % more cetyl alcohol thicken it?", spec=formula.spec, control="SAG-01")
        for name, end in BATCHES.items():
            trial, _, number = name.partition("/")
            sheet = kit.plan_batch(formula if trial == "SAG-01" else thicker, "250 g", balances=["0.01 g"])
            clock.now = end - timedelta(hours=2)
            batch = book.start_batch(sheet, trial=trial, number=int(number), operator="bench 4")
            for line in sheet.lines:
                slip = "2.50" if (name, line.material.key) == ("SAG-01/1", "propanediol") else "0"
                batch.weigh(line.material.key, f"{line.target_g + Decimal(slip)} g", lot="L-7")
            clock.now = end
            batch.finish()
        for day in (5, 6, 7):
            clock.now = datetime(2024, 3, day, 7, 45, tzinfo=ZONE)
            book.calibrate("PH-1", f"CAL-03{day:02d}", slope_pct="98.5", offset_mv="2", buffers=["4.01", "7.00"],
                           temp="25 degC")  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with everything done up to the imported readings."""
    made = tmp_path_factory.mktemp("own lab")
    checkout = Path(kit.__file__).resolve().parents[1]
    assert checkout not in (made.resolve(), *made.resolve().parents)
    make(made)
    return made


@pytest.fixture(scope="module")
def imported(folder):
    """What the command said when it took the readings in."""
    return command(folder, "import", "sage.labbook", "readings.csv", "--timezone", "+01:00", "--yes")


@pytest.fixture(scope="module")
def pages(folder, imported):
    """Both pages as text without markup, a line for each row of a table."""
    command(folder, "write-up", "sage.labbook", "SAG-01", "--to", "pages")
    command(folder, "run", "compare_versions", "--source", "sage.labbook", "--set", "trials=SAG-01,SAG-02",
            "--set", "control=SAG-01", "--to", "pages")  # fmt: skip
    return [plain((folder / "pages" / f"{name}.html").read_text("utf-8")) for name in ("SAG-01", "compare_versions")]


def plain(page: str) -> str:
    text = re.sub(r"<(script|style)\b.*?</\1>", "", page, flags=re.DOTALL)
    text = re.sub(r"</t[dh]>", " | ", text.replace("\n", " ")).replace("</tr>", "\n")
    return re.sub(r"<[^>]*>", "", text)


def test_the_formula_is_reviewed_with_a_material_of_ones_own(folder):
    for file in ("sage.toml", "sage_2.toml"):
        assert "No coded limit exceeded" in command(folder, "review", file, "--materials", "own")


def test_the_next_version_differs_in_one_line_and_water_takes_it_up(folder):
    library = kit.load_library(folder / "own")
    first, second = (load_formula(folder / name, library) for name in ("sage.toml", "sage_2.toml"))
    # 100 - 5.00 - 4.00 - 2.00 - 2.00 - 1.00 - 0.50 - 0.80 - 0.10 = 84.60; with 5.50 of cetyl alcohol 83.10
    assert [str(formula.composition().pct("water-deionised")) for formula in (first, second)] == ["84.60", "83.10"]
    assert second.parent == first.fingerprint


def test_decimal_commas_are_read_as_decimals_and_nothing_is_doubled(folder, imported):
    assert "6 rows recorded" in imported
    again = command(folder, "import", "sage.labbook", "readings.csv", "--timezone", "+01:00", "--yes")
    assert "nothing added" in again
    source = kit.open_source(folder / "sage.labbook")
    read = {
        (batch, reading.property): (float(reading.value), reading.torque_pct and float(reading.torque_pct))
        for batch in BATCHES
        for reading in source.batch(batch).readings
    }
    source.close()
    assert read == {
        ("SAG-01/1", "pH"): (4.42, None),
        ("SAG-01/2", "pH"): (4.48, None),
        ("SAG-02/1", "pH"): (4.60, None),
        ("SAG-01/1", "viscosity"): (12800, 32),
        ("SAG-01/2", "viscosity"): (13600, 34),
        ("SAG-02/1", "viscosity"): (20400, 51),
    }


def test_the_comparison_is_the_one_worked_by_hand(folder, imported):
    """Control 12800 and 13600, SAG-02 20400, on the ln scale.

    mean sqrt(12800 x 13600) = 13193.94; ratio 20400 / 13193.94 = 1.54617; SD = ln(13600/12800) / sqrt 2 = 0.0428681,
    1 df; standard error 0.0428681 x sqrt(1 + 1/2) = 0.0525025; t(0.975; 1) = 12.7062: half-width 0.667107, as a factor
    1.94859; interval 1.54617 / 1.94859 = 0.79348 to 1.54617 x 1.94859 = 3.01285.
    pH: mean 4.450, difference +0.150; SD 0.06 / sqrt 2 = 0.0424264; half-width 12.7062 x 0.0424264 x sqrt 1.5 =
    0.66023.
    """
    found = kit.compare(folder / "sage.labbook", ["SAG-01", "SAG-02"])
    assert found.not_used == ()
    control, thicker = found.result("viscosity", "72 h").arms
    assert (control.mean, control.n_batches) == (pytest.approx(13193.94, abs=0.01), 2)
    assert (control.verdict, thicker.verdict) == ("PASS", "FAIL")
    told = thicker.difference
    assert (told.value, told.low, told.high) == pytest.approx((1.54617, 0.79348, 3.01285), abs=2e-4)
    assert (told.df, told.verdict) == (1, "cannot be told with these batches")
    control, thicker = found.result("pH", "24 h").arms
    assert (control.mean, control.verdict, thicker.verdict) == (pytest.approx(4.45), "PASS", "PASS")
    told = thicker.difference
    assert (told.value, told.low, told.high) == pytest.approx((0.15, -0.51023, 0.81023), abs=2e-5)


def test_the_write_up_holds_what_was_made_and_what_was_not_recorded(pages):
    """Propanediol 12.50 + 2.50 g in 250.00 + 2.50 g: 15.00 / 252.50 = 5.94 %; water 211.50 / 252.50 = 83.76 %."""
    assert re.search(r"A \| [^|]*propanediol[^|]*\|[^|]*\| 5\.00 \| 5\.94 \| 15\.00 \| L-7 \|", pages[0], re.IGNORECASE)
    assert re.search(r"A \| Water, deionised \|[^|]*\| 84\.60 \| 83\.76 \| 211\.50 \| L-7 \|", pages[0])
    assert "Oat drops in glycerin" in pages[0]
    assert re.search(r"cooling log \| NOT RECORDED", pages[0])
    assert "Serious eye damage" in pages[0]
    assert "prototype, not for sale" in pages[0]


def test_the_comparison_page_holds_the_same_numbers(pages):
    rows = [line for line in pages[1].splitlines() if line.lstrip().startswith("viscosity, 72 h")]
    assert re.search(r"SAG-01 \| 13190 mPa\.s.*2 batches.*\| PASS \| the control", rows[0])
    assert re.search(r"SAG-02 \| 20400 mPa\.s.*1 batch.*\| FAIL \| ratio 1\.55.*0\.793 to 3\.01", rows[1])
    assert re.search(r"Cetyl alcohol[^|]*\| B \| 4\.00 \|[^|]*5\.50", pages[1], re.IGNORECASE)
