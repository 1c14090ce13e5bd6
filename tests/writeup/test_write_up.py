"""A whole write-up of the invented linden study: the same bytes everywhere, the numbers of the comparison, what is
absent said, what is typed inert, and no page from a record that is not whole.

Referees: the bytes of two runs; Python's own HTML and JSON readers; the plain `papermill` command; `sqlite3`.
"""

from __future__ import annotations

import json
import math
import os
import re
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

import pytest

import kit
from kit.errors import KitError
from kit.formula.files import read_formula
from kit.labbook.printed_heads import read_heads
from kit.writeup import run
from kit.writeup.kernel_process import KernelProcess
from kit.writeup.trial_report import STATUS
from kit.writeup.write_up import Chosen, publish, publish_chosen

ROOT = Path(kit.__file__).parents[1]
PARTS = (".html", ".ipynb", ".snapshot.json", ".zip")
BARE = """
name = "Bare rinse (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [{material = "water-deionised", qs = true}, {material = "glycerin", pct = "4.00"}]
[[phase]]
name = "C"
kind = "cool-down"
line = [{material = "phenoxyethanol", pct = "0.80"}]
"""
# There is no preloaded time library on every system, so the interpreter itself is told another day: `sitecustomize` is
# the file Python runs first in every process, the kernel's included.
OTHER_DAY = """
import ctypes, datetime, gc, time
SHIFT = 500 * 86400 + 12345
for name, factor in (("time", 1), ("time_ns", 10**9)):
    setattr(time, name, lambda real=getattr(time, name), factor=factor: real() + SHIFT * factor)
for name in ("localtime", "gmtime", "ctime"):
    setattr(time, name, lambda secs=None, real=getattr(time, name): real(time.time() if secs is None else secs))
time.strftime = lambda format, t=None, real=time.strftime: real(format, time.localtime() if t is None else t)
def later(kind, **methods):
    # The class itself stays, as compiled libraries know it by its layout; only its methods that ask the clock change.
    gc.get_referents(kind.__dict__)[0].update({name: classmethod(method) for name, method in methods.items()})
    ctypes.pythonapi.PyType_Modified(ctypes.py_object(kind))
later(
    datetime.datetime,
    now=lambda kind, tz=None: kind.fromtimestamp(time.time(), tz),
    today=lambda kind: kind.fromtimestamp(time.time()),
    utcnow=lambda kind: kind.fromtimestamp(time.time(), datetime.timezone.utc).replace(tzinfo=None),
)
later(datetime.date, today=lambda kind: kind.fromtimestamp(time.time()))
"""


def environment(**more: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in ("TZ", "LC_ALL", "PYTHONHASHSEED")}
    return {**kept, "PYTHONPATH": str(ROOT), **more}


def python(*arguments: str, cwd: Path, env: dict[str, str] | None = None) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, *arguments], cwd=cwd, env=env or environment(), capture_output=True, text=True,
        encoding="utf-8", timeout=300, check=False,
    )  # fmt: skip


def by_command(book: Path, cwd: Path, trial: str = "LIN-03", **more: str) -> dict[str, bytes]:
    """The files of a write-up by the command, in an environment of its own."""
    done = python("-m", "kit", "write-up", str(book), trial, "--bundle", cwd=cwd, env=environment(**more))
    assert (done.returncode, done.stderr) == (0, "")
    return files(cwd / "writeups", trial)


def files(folder: Path, name: str = "LIN-03") -> dict[str, bytes]:
    return {part: (folder / f"{name}{part}").read_bytes() for part in PARTS}


# ---------------------------------------------------------------- the same bytes


@pytest.fixture
def another_day(tmp_path) -> dict[str, str]:
    """What to set so that processes believe it is another day, kernels included; checked in both."""
    folder = tmp_path / "another day"
    folder.mkdir()
    (folder / "sitecustomize.py").write_text(OTHER_DAY, encoding="utf-8")
    return {"PYTHONPATH": os.pathsep.join([str(folder), str(ROOT)])}


@pytest.mark.slow
def test_two_write_ups_are_the_same_bytes_anywhere_at_any_time(demo, toys, tmp_path, another_day):
    told = "import datetime, time; print(datetime.datetime.now().year, datetime.date.today().year, time.localtime()[0])"
    template = toys.template(told.replace("; print", "\nprint"))
    program = (
        f"import kit; out = kit.run_template({str(template)!r}, dict(source='book', trial='LIN-01'))\n"
        f"{told}\nprint(out.notebook.cells[-1].outputs[0].text)"
    )
    asked = python("-c", program, cwd=tmp_path, env=environment(**another_day))
    years = asked.stdout.split()
    assert len(years) == 6, asked.stderr
    assert {int(year) - datetime.now().year for year in years} <= {1, 2}  # 500 days on

    here, there = tmp_path / "a", tmp_path / "another place, mit Umlaut ä"
    here.mkdir()
    there.mkdir()
    first = by_command(demo.labbook, here, TZ="UTC", LC_ALL="C", PYTHONHASHSEED="1")
    moved = there / "moved.labbook"
    moved.write_bytes(demo.labbook.read_bytes())
    second = by_command(
        moved, there, TZ="Pacific/Kiritimati", LC_ALL="tr_TR.UTF-8", PYTHONHASHSEED="4242", **another_day
    )
    assert [part for part in PARTS if first[part] != second[part]] == []
    assert str(tmp_path).encode() not in first[".html"] + first[".ipynb"] + first[".snapshot.json"]


def test_entries_that_have_nothing_to_do_with_it_change_no_byte(labbook, written, tmp_path):
    later = datetime(2027, 1, 4, 9, 0, tzinfo=timezone(timedelta(hours=1)))
    with kit.open_labbook(labbook, clock=lambda: later) as book:
        book.add_instrument("PH-9", kind="pH meter")
        book.calibrate("PH-9", "CAL-N", slope_pct=99, offset_mv=0, buffers=["4.01", "7.00"], temp="25 degC")
        book.new_study("OTH", question="Something else?", control="OTH-01")
        bare = kit.plan_batch(read_formula(BARE, kit.load_library()), "100 g")
        weighed(book.start_batch(bare, trial="OTH-01", study="OTH", operator="bench 9"))
        changed = book.trial("LIN-03").formula.change({"glycerin": "4.00 %"}, why="more glycerin")
        added = book.start_batch(kit.plan_batch(changed, "400 g"), trial="LIN-00", study="LIN", operator="bench 8")
        added.read_ph("4.44", temp="25 degC", instrument="PH-9", calibration="CAL-N")
        book.batch("LIN-04/1").observe("colour", "white")
        again = kit.write_up(book, "LIN-03", to=tmp_path / "again", bundle=True)
    assert files(again.page.parent) == files(written.trial.page.parent)
    # The other way round: an entry that does belong to it shows in every part.
    with kit.open_labbook(labbook, clock=lambda: later) as book:
        book.batch("LIN-03/1").observe("colour", "white")
        changed = kit.write_up(book, "LIN-03", to=tmp_path / "changed", bundle=True)
    before, after = files(written.trial.page.parent), files(changed.page.parent)
    assert [part for part in PARTS if before[part] == after[part]] == []


def weighed(batch):
    for line in batch.sheet.lines:
        batch.weigh(line.material.key, f"{line.target_g} g")
    return batch


# ---------------------------------------------------------------- the same numbers


NUMBER = re.compile(r"[+−-]?\d+(?:\.\d+)?")


def leading(text: str) -> tuple[float, float]:
    """The first number in a cell and half a step of its last digit."""
    found = NUMBER.search(text)[0]
    places = len(found.partition(".")[2])
    return float(found.replace("−", "-")), 0.5 * 10**-places


def agrees(text: str, value: float) -> bool:
    """Whether a printed number is the value, rounded to its last digit (or to four significant ones)."""
    printed, half = leading(text)
    return math.isclose(printed, value, rel_tol=5e-4, abs_tol=half * 1.0001) if abs(value) >= 1000 else (
        abs(printed - value) <= half * 1.0001
    )  # fmt: skip


@pytest.mark.parametrize(("which", "trials"), [("trial", ["LIN-03"]), ("pair", ["LIN-03", "LIN-04"])])
def test_means_verdicts_and_intervals_in_the_page_are_those_of_compare(demo, written, page, which, trials):
    compared = kit.compare(demo.labbook, trials, control="LIN-03")
    rows = {
        (row[0].split("\n")[0], row[1]): row for row in page.read(getattr(written, which).page).table("Results")[1:]
    }
    arms = [(result, arm) for result in compared.results for arm in result.arms]
    assert len(arms) >= 7 * len(trials)
    for result, arm in arms:
        _, _, mean, count, verdict, against = rows.pop((result.title, arm.arm_label))
        assert agrees(mean, arm.mean), (mean, arm.mean)
        assert count.split("\n") == [
            f"{arm.n_batches} batch{'es' * (arm.n_batches > 1)}",
            f"{arm.n_readings} reading{'s' * (arm.n_readings > 1)}",
        ]
        assert verdict == (arm.verdict or "–")
        if arm.difference is None:
            assert against == "the control"
            continue
        size, interval, said = re.split(r"\n| (?=\()", against)
        assert agrees(size, arm.difference.value)
        low, high = interval.strip("()").split(" to ")
        assert agrees(low, arm.difference.low) and agrees(high, arm.difference.high)
        assert said == arm.difference.verdict
    assert [key[0] for key in rows] == [coded.title for coded in compared.observations for _ in coded.arms]


def test_figures_of_the_page_draw_the_numbers_of_compare(demo, written, page):
    compared = kit.compare(demo.labbook, ["LIN-03", "LIN-04"], control="LIN-03")
    figures = page.read(written.pair.page).figures
    assert len(figures) == written.pair.figures == 6  # two judged, two over age, two against the control
    judged = [compared.result("pH", "24 h"), compared.result("viscosity", "72 h")]
    for figure, result in zip(figures[:2], judged, strict=True):
        (drawn,) = [trace for trace in figure["data"] if trace["name"].startswith("batch")]
        wanted = [(arm.arm_label, value.mean) for arm in result.arms for value in arm.batch_values]
        assert list(zip(drawn["x"], drawn["y"], strict=True)) == wanted
    # 72 h on disc 5 as entered: LIN-03 47.5 %, LIN-06 50.2 %, LIN-04 74.0 % of full scale, times 4000 / 10 rpm.
    assert sorted(drawn["y"]) == pytest.approx([19000, 20080, 29600])


def test_what_is_in_no_mean_is_listed_with_its_code(demo, page, tmp_path):
    """LIN-05 at 72 h: 101.5 % of full scale is above 100 %, and disc 6 is not the method's disc 5."""
    with kit.open_labbook(demo.labbook) as book:
        made = kit.write_up(book, "LIN-05", to=tmp_path)
    rows = page.read(made.page).table("Shown, and in no mean")[1:]
    told = {(row[0], row[3].split()[0]): (row[4], row[5]) for row in rows}
    assert told["LIN-05/1", "40600"] == ("FLAGGED", "reading.torque_high")
    assert told["LIN-05/1", "42000"] == ("not comparable", "compare.spindle")
    assert any("40600" in row[2] and row[5].startswith("FLAGGED") for row in page.read(made.page).table("All readings"))


def test_a_page_of_six_figures_stays_below_a_megabyte_and_carries_its_cautions(written, page):
    assert written.trial.figures == 6
    assert written.trial.page.stat().st_size <= 1_000_000
    for made in (written.trial, written.pair):
        cautions = dict(page.read(made.page).table("Cautions for whoever repeats")[1:])
        # What always holds, and what the materials and steps of this batch call for: melted wax, a cationic.
        assert {"A good look is not preservation", "Local law and qualified people"} <= set(cautions)
        assert {"Serious eye damage", "Hot oil, wax and water", "High-shear mixers"} <= set(cautions)
        assert all(cautions.values())
    assert STATUS in page.read(written.trial.page).text


def test_the_snapshot_gives_the_page_again(written, tmp_path):
    again = kit.write_up(written.trial.snapshot, "LIN-03", to=tmp_path, bundle=True)
    assert files(again.page.parent) == files(written.trial.page.parent)


# ---------------------------------------------------------------- the label, the cost, the tip speed


def test_the_label_is_that_of_the_meant_formula_and_says_what_as_made_would_change(demo, written, page, tmp_path):
    """LIN-03/1 took 13.80 g of glycerin for 12.00 g: 3.95 %, still below cetearyl alcohol at 4.75 %: no change."""
    made = page.read(written.trial.page)
    rows = made.table("List of ingredients")[1:]
    shares = [float(row[2]) for row in rows]
    assert [row[1] for row in rows][:5] == [
        "Aqua", "Cetearyl Alcohol", "Glycerin", "Caprylic/Capric Triglyceride", "Behentrimonium Chloride"
    ]  # fmt: skip
    above = [share for share in shares if share >= 1]
    assert above == sorted(above, reverse=True) and shares[: len(above)] == above  # Article 19(1)(g)
    assert "Ingredients: Aqua, Cetearyl Alcohol, Glycerin" in made.text
    assert "by the meant formula" in made.text and "draft for a qualified person" in made.text
    assert "LIN-03/1, as made" in made.text and "LIN-06/1, as made" not in made.text
    assert "As made: the label and the coded limits would be the same." in made.text


def test_the_speed_of_the_combination_has_its_tip_speed(written, page):
    """25 mm, 6500 rpm: pi x 0.025 x 6500 / 60 = 8.508 m/s."""
    rows = page.read(written.trial.page).table("LIN-03/1: steps as done")[1:]
    (combined,) = [row[2] for row in rows if row[1].startswith("combine")]
    assert "6500 rpm (8.5 m/s at the tip)" in combined


def test_versions_side_by_side_have_a_cost_when_prices_are_given(demo, tmp_path, page):
    """Only cetearyl alcohol has a price: 5.00 % of 4.20 EUR/kg is 0.21, 6.00 % is 0.252; the others are not zero."""
    prices = tmp_path / "own prices.toml"
    row = 'material = "cetearyl-alcohol"\nper_kg = "4.20"\ncurrency = "EUR"\ndate = "2026-11-01"\n'
    prices.write_text(f"[[price]]\n{row}", encoding="utf-8")
    given = {"trials": ["LIN-03", "LIN-04"], "control": "", "materials": str(prices)}
    made = publish(
        "compare_versions", demo.labbook, ["LIN-03", "LIN-04"], given, to=tmp_path, name="cost", title="Cost"
    )
    rows = {row[0]: row[1:] for row in page.read(made.page).table("LIN:")[1:]}
    assert rows["materials for 1 kg, as meant"] == [
        "at least 0.21 EUR/kg (14 lines without a price)", "at least 0.25 EUR/kg (14 lines without a price)"
    ]  # fmt: skip
    assert str(tmp_path) not in made.page.read_text(encoding="utf-8")
    assert "own prices.toml" in made.page.read_text(encoding="utf-8")


def test_without_prices_the_cost_is_a_dash_with_the_reason(written, page):
    rows = {row[0]: row[1:] for row in page.read(written.pair.page).table("LIN:")[1:]}
    assert rows["materials for 1 kg, as meant"] == ["– (no prices given)"] * 2


# ---------------------------------------------------------------- what is absent


def new_book(folder: Path, formula: str = BARE):
    book = kit.new_labbook(folder / "bare.labbook")
    book.new_study("BAR", question="")
    return book, kit.plan_batch(read_formula(formula, kit.load_library()), "100 g")


def test_every_absent_item_of_a_bare_batch_says_so(tmp_path, page):
    book, sheet = new_book(tmp_path)
    with book:
        weighed(book.start_batch(sheet, trial="BAR-01"))
        made = page.read(kit.write_up(book, "BAR-01", to=tmp_path).page)
    said = "NOT RECORDED"
    for caption, rows in {
        "BAR-01:": {"question", "what is tried, and why", "control", "spec", "made by (BAR-01/1)"},
        "BAR-01/1: equipment": {"vessel", "heating", "stirrer", "high-shear head", "probe"},
        "Stability": {"protocol", "stations done and due", "preservation challenge test"},
    }.items():
        assert {row[0] for row in made.table(caption) if row[1] == said} == rows
    done = {row[1] for row in made.table("BAR-01/1: steps as done") if row[2] == said}
    assert {word.split(" (")[0] for word in done} == {
        "combination", "cooling log", "gross mass", "end of making", "adding phase C"
    }  # fmt: skip
    assert {row[6] for row in made.table("BAR-01/1: formula meant and made")[1:-1]} == {said}
    assert {row[1] for row in made.table("Observations") if row[2] == said} == {
        "coded observations (grain, colour, odour)", "decision and next step"
    }  # fmt: skip
    for sentence in (
        f"The formula holds no steps: {said}.",
        f"No reading names a method: {said}.",
        f"No reading names a calibration: {said}.",
        f"No reading: {said}.",
        f"Cooling curve: {said}.",
        f"pH: no comparable reading at the age of the spec. {said}.",
        f"viscosity over age: no comparable reading. {said}.",
    ):
        assert sentence in made.text
    assert "None" not in {cell for rows in made.tables.values() for row in rows for cell in row}


def test_a_batch_of_which_nothing_was_weighed_is_still_written_up(tmp_path, page):
    book, sheet = new_book(tmp_path)
    with book:
        book.start_batch(sheet, trial="BAR-01")
        written = kit.write_up(book, "BAR-01", to=tmp_path)
    made = page.read(written.page)
    rows = made.table("BAR-01/1: formula meant and made")[1:]
    assert [row[3] for row in rows] == ["95.20", "4.00", "0.80", "100.00"]  # 100 - 4.00 - 0.80
    assert {row[4] for row in rows} == {row[5] for row in rows} == {"NOT RECORDED"}
    assert "mass balance: NOT RECORDED (nothing was weighed yet)" in made.text
    assert written.figures == 0


def test_a_second_batch_just_started_does_not_stop_the_write_up(labbook, tmp_path, page):
    with kit.open_labbook(labbook) as book:
        sheet = kit.plan_batch(book.trial("LIN-03").formula, "400 g")
        book.start_batch(sheet, trial="LIN-03", number=2, operator="bench 7")
        made = kit.write_up(book, "LIN-03", to=tmp_path)
    assert made.figures == 6
    assert "LIN-03/2, mass balance: NOT RECORDED" in page.read(made.page).text


# ---------------------------------------------------------------- what is typed


HOSTILE = (
    """<img src=x onerror="document.title='taken'"><a href="http://a.example/">go</a></script><script>1</script>"""
)
HOSTILE_FORMULA = """
name = '''{0}'''
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [{{material = "water-deionised", qs = true}}, {{material = "own", pct = "4.00"}}]
"""


@pytest.fixture
def hostile_page(tmp_path):
    materials = tmp_path / "own.toml"
    part = '{inci = "Glycerin", pct = "100", kind = "supplier-typical", source = "common-practice"}'
    materials.write_text(f"[[material]]\nkey = \"own\"\nname = '''{HOSTILE}'''\nparts = [{part}]\n", encoding="utf-8")
    library = kit.load_library(materials)
    formula = read_formula(HOSTILE_FORMULA.format(HOSTILE), library)
    with kit.new_labbook(tmp_path / "h.labbook", title=HOSTILE, library=library) as book:
        book.new_study("HOS", question=HOSTILE, control="HOS-01", note=HOSTILE)
        book.add_instrument("PH-1", kind="pH meter", note=HOSTILE)
        batch = book.start_batch(
            kit.plan_batch(formula, "100 g"), trial="HOS-01", operator=HOSTILE, why=HOSTILE, note=HOSTILE
        )
        batch.equipment(vessel=HOSTILE)
        for line in batch.sheet.lines:
            batch.weigh(line.material.key, f"{line.target_g} g", lot=HOSTILE)
        batch.step(HOSTILE)
        batch.finish(note=HOSTILE)
        batch.read_ph("4.60", temp="25 degC", instrument="PH-1", container=HOSTILE, operator=HOSTILE, note=HOSTILE)
        batch.observe("grain", HOSTILE, note=HOSTILE)
        batch.decide("keep", why=HOSTILE, by=HOSTILE)
        return kit.write_up(book, "HOS-01", to=tmp_path).page


def test_typed_text_is_shown_and_inert(hostile_page, page):
    made = page.read(hostile_page)
    frame = re.sub(r"<script\b.*?</script>", "", made.source, flags=re.DOTALL)
    assert not re.findall(r"<(?:img|iframe|object|embed|form|link)\b", frame)
    bare = re.sub(r'"[^"]*"', '""', frame)  # what stands inside quoted attributes is text
    assert not re.findall(r"<[^>]*\son\w+\s*=", bare)
    assert not re.findall(r"<a [^>]*href=\"(?!#)", frame)
    # Two scripts run: the page's own few lines and the drawing library, packed; the others are data.
    assert len(re.findall(r"<script>", made.source)) == 1
    assert made.text.count("document.title='taken'") >= 15
    # plotly obeys a little markup in text: what is typed must reach it with its brackets shown.
    drawn = json.dumps(made.figures)
    assert "&lt;img src=x" in drawn
    assert "<img" not in drawn and "<a href" not in drawn


# ---------------------------------------------------------------- the plain papermill command


@pytest.mark.slow
@pytest.mark.parametrize(
    ("template", "given", "which"),
    [
        ("trial_writeup", ["-p", "trial", "LIN-03"], "trial"),
        ("compare_versions", ["-y", "trials: [LIN-03, LIN-04]", "-p", "control", "LIN-03"], "pair"),
    ],
)
def test_the_templates_run_under_the_plain_papermill_command(demo, written, tmp_path, template, given, which):
    shown = []
    for source in (demo.labbook, getattr(written, which).snapshot):
        before, out = source.read_bytes(), tmp_path / f"{source.suffix}.ipynb"
        arguments = ["-m", "papermill", str(ROOT / "templates" / f"{template}.ipynb"), str(out)]
        done = python(*arguments, "-p", "source", str(source), *given, cwd=tmp_path)
        assert done.returncode == 0, done.stderr[-2000:]
        assert source.read_bytes() == before  # templates read, never write
        shown.append(outputs(out))
    assert shown[0] == shown[1] == outputs(getattr(written, which).notebook)
    assert sum("application/vnd.plotly.v1+json" in data for data in shown[0]) == getattr(written, which).figures


def outputs(notebook: Path) -> list[dict]:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    found = [output for cell in cells for output in cell.get("outputs", ())]
    assert {output["output_type"] for output in found} <= {"display_data", "execute_result"}
    # A notebook file may hold a text as a list of its lines.
    return [
        {kind: "".join(data) if isinstance(data, list) else data for kind, data in output["data"].items()}
        for output in found
    ]


# ---------------------------------------------------------------- a record that is not whole


def damage(path: Path, *statements: str) -> None:
    """What somebody with a database browser does: the guards off, then the change."""
    connection = sqlite3.connect(path, isolation_level=None)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    changed = [connection.execute(statement).rowcount for statement in statements]
    connection.close()
    assert all(changed), "the damage was not done"


ENTRY_OF = "stream_id = (SELECT id FROM stream WHERE name = 'batch/LIN-03/1')"


def removal(where: str) -> list[str]:
    """Statements that take entries away with what was derived from them; each removes something."""
    return [f"DELETE FROM entry WHERE {where}"]


def codes(report) -> set[str]:
    return {code for code, _ in report.problems}


def test_the_heads_of_a_page_show_a_batch_that_was_deleted(labbook, written):
    damage(labbook, *removal(ENTRY_OF), "DELETE FROM stream WHERE name = 'batch/LIN-03/1'")
    with kit.open_labbook(labbook) as book:
        told = book.check(against=written.trial.page)
    assert "labbook.stream_gone" in codes(told)
    assert any("batch/LIN-03/1" in words and "the write-up was printed" in words for _, words in told.problems)


def test_the_heads_of_a_page_show_a_cut_tail(labbook, written):
    last = f"{ENTRY_OF} AND seq = (SELECT max(seq) FROM entry WHERE {ENTRY_OF})"
    damage(labbook, *removal(last))
    with kit.open_labbook(labbook) as book:
        told = book.check(against=written.trial.page)
    printed = read_heads(written.trial.page.read_text(encoding="utf-8"))["batch/LIN-03/1"]["seq"]
    (words,) = [words for code, words in told.problems if code == "labbook.tail_missing"]
    assert f"entry {printed}" in words and f"entry {printed - 1}" in words


def test_an_undamaged_lab_book_agrees_with_its_pages_also_when_it_has_grown(labbook, written):
    with kit.open_labbook(labbook) as book:
        book.batch("LIN-03/1").observe("colour", "white")
        for made in (written.trial, written.pair):
            assert book.check(against=made.page).problems == ()


@pytest.mark.parametrize(
    ("statements", "code"),
    [
        ([f"UPDATE entry SET text = replace(text, '13.8', '12.0') WHERE {ENTRY_OF} AND text LIKE '%13.8%'"], "edited"),
        (removal(f"{ENTRY_OF} AND seq = 9"), "gap"),
    ],
)
def test_a_record_that_is_not_whole_is_not_written_up_and_an_old_page_stays(labbook, tmp_path, statements, code):
    made = kit.write_up(labbook, "LIN-03", to=tmp_path / "w", bundle=True)
    before = {path.name: path.read_bytes() for path in made.page.parent.iterdir()}
    damage(labbook, *statements)
    with pytest.raises(KitError) as caught:
        kit.write_up(labbook, "LIN-03", to=tmp_path / "w", bundle=True)
    assert caught.value.code == f"labbook.{code}"
    assert "batch/LIN-03/1" in str(caught.value)
    assert {path.name: path.read_bytes() for path in made.page.parent.iterdir()} == before
    with pytest.raises(KitError):
        kit.write_up(labbook, "LIN-03", to=tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_an_edited_snapshot_is_not_written_up(written, tmp_path):
    text = written.trial.snapshot.read_text(encoding="utf-8")
    snapshot = tmp_path / "s.json"
    snapshot.write_text(text.replace("19000", "20000"), encoding="utf-8")
    assert snapshot.read_text(encoding="utf-8") != text
    with pytest.raises(KitError) as caught:
        kit.write_up(snapshot, "LIN-03", to=tmp_path / "w")
    assert caught.value.code == "labbook.edited"


# ---------------------------------------------------------------- what is asked for wrongly


def refused(call, *arguments, **named) -> str:
    with pytest.raises(KitError) as caught:
        call(*arguments, **named)
    assert "\n" not in str(caught.value)
    return caught.value.code


def test_a_mistake_is_told_with_its_code(demo, tmp_path):
    to, book = tmp_path / "w", demo.labbook
    assert refused(kit.write_up, book, "LIN-33", to=to) == "labbook.trial"
    assert refused(kit.write_up, book, "LIN-03", against=["LIN-44"], to=to) == "labbook.trial"
    assert refused(kit.write_comparison, book, ["LIN-03", "LIN-33"], to=to) == "labbook.trial"
    assert refused(kit.write_comparison, book, ["LIN-03"], to=to) == "compare.how_many"
    assert refused(kit.write_comparison, book, ["LIN-03", "LHC-01"], to=to) == "compare.two_studies"
    assert refused(kit.run_template, "trial_writeup", {"source": str(book), "trail": "LIN-03"}) == (
        "template.parameter_unknown"
    )
    assert refused(kit.run_template, "trial_writeup", {"source": str(book), "trial": 3}) == "template.parameter_type"
    assert refused(kit.write_up, tmp_path / "none.labbook", "LIN-03", to=to) == "labbook.not_found"
    assert not to.exists()


# ---------------------------------------------------------------- the kernel is started before the record is read


@pytest.fixture
def kernels(monkeypatch, short_folder):
    """Every kernel process started in the test, and the folder that all scratch folders are made in."""
    started: list[KernelProcess] = []
    monkeypatch.setattr("tempfile.tempdir", str(short_folder))

    class Recorded(KernelProcess):
        def __init__(self, *arguments, **options):
            super().__init__(*arguments, **options)
            started.append(self)

    monkeypatch.setattr(run, "KernelProcess", Recorded)
    return SimpleNamespace(started=started, scratch=short_folder)


def ended(kernels) -> list[bool]:
    assert list(kernels.scratch.iterdir()) == []
    return [kernel.exit_code() is not None for kernel in kernels.started]


def test_the_kernel_comes_up_while_the_record_is_read(demo, kernels, tmp_path):
    alive = []

    def choose(record):
        alive.extend(kernel.is_alive() for kernel in kernels.started)
        return Chosen(["LIN-03"], f"Of {record.trial('LIN-03').name}")

    given = {"trial": "LIN-03", "against": []}
    made = publish_chosen("trial_writeup", demo.labbook, choose, given, to=tmp_path / "w", name="one")
    assert alive == [True]
    assert ended(kernels) == [True]
    assert "<h1>Of LIN-03</h1>" in made.page.read_text(encoding="utf-8")


def interrupted(record):
    raise KeyboardInterrupt


def broken(record):
    raise KitError("no such plan", code="x.y")


def unreadable(record):
    raise PermissionError(13, "Permission denied", "linden.labbook")


@pytest.mark.parametrize(
    ("choose", "error", "code"),
    [
        (interrupted, KeyboardInterrupt, ""),
        (broken, KitError, "x.y"),
        (unreadable, KitError, "writeup.record"),
        (lambda record: Chosen(["LIN-33"], "T"), KitError, "labbook.trial"),
    ],
)
def test_a_record_that_cannot_be_frozen_leaves_no_kernel_and_no_scratch_folder(
    demo, kernels, tmp_path, choose, error, code
):
    given = {"trial": "LIN-33", "against": []}
    with pytest.raises(error) as caught:
        publish_chosen("trial_writeup", demo.labbook, choose, given, to=tmp_path / "w", name="one")
    assert getattr(caught.value, "code", "") == code
    assert ended(kernels) == [True]
    assert not (tmp_path / "w").exists()


def test_a_missing_trial_or_lab_book_leaves_nothing_behind(demo, kernels, tmp_path):
    to = tmp_path / "w"
    assert refused(kit.write_up, demo.labbook, "LIN-33", to=to) == "labbook.trial"
    assert refused(kit.write_up, tmp_path / "none.labbook", "LIN-03", to=to) == "labbook.not_found"
    assert ended(kernels) == [True, True]
    assert not to.exists()


def test_what_is_wrong_with_template_or_parameters_is_told_before_a_kernel_starts(demo, kernels, tmp_path):
    def ask(template, **parameters):
        return refused(publish, template, demo.labbook, ["LIN-03"], parameters, to=tmp_path / "w", name="n", title="T")

    assert ask("trial_write_up", trial="LIN-03") == "template.unknown"
    assert ask("trial_writeup", trail="LIN-03") == "template.parameter_unknown"
    assert ask("trial_writeup", trial=3) == "template.parameter_type"
    assert ask("compare_versions", trials=["LIN-03"], materials=str(tmp_path / "none.toml")) == "template.file_missing"
    assert ended(kernels) == []


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="finds the kernel where Linux tells of processes")
def test_a_killed_command_leaves_no_kernel_when_the_record_was_not_read_yet(demo, tmp_path):
    program = (
        "import os, sys, time\nfrom pathlib import Path\nfrom kit.writeup.write_up import publish_chosen\n"
        "def choose(record):\n"
        "    started = Path(f'/proc/self/task/{os.getpid()}/children').read_text()\n"
        "    Path('draft').write_text(started)\n    os.rename('draft', 'kernel')\n    time.sleep(600)\n"
        "publish_chosen('trial_writeup', sys.argv[1], choose, {'trial': 'LIN-03'}, to='w', name='n')\n"
    )
    command = [sys.executable, "-c", program, str(demo.labbook)]
    process = subprocess.Popen(command, cwd=tmp_path, env=environment(TMPDIR=str(tmp_path)))
    try:
        until(lambda: (tmp_path / "kernel").exists() or process.poll() is not None)
        kernel = Path("/proc", (tmp_path / "kernel").read_text().strip())
        assert "kernel.py" in (kernel / "cmdline").read_text()
    finally:
        process.kill()
        process.wait()
    until(lambda: not kernel.exists() or not (kernel / "cmdline").read_text())  # ended, or waiting to be buried


def until(true, seconds: float = 60) -> None:
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def test_nothing_that_reads_a_record_is_loaded_before_the_kernel_starts(tmp_path):
    program = (
        "import sys, kit.writeup.write_up\n"
        "print([name for name in sys.modules if name.startswith(('kit.labbook', 'kit.formula', 'numpy', 'nbformat'))])"
    )
    assert python("-c", program, cwd=tmp_path).stdout == "[]\n"


@pytest.mark.parametrize(
    ("module", "without"),
    [
        ("kit.labbook.snapshot", ("numpy", "scipy", "pandas")),
        ("kit.writeup.trial_report", ("kit.trials.stability", "kit.trials.panel", "kit.trials.combing", "scipy")),
    ],
)
def test_neither_freezing_nor_a_template_loads_what_most_trials_have_no_use_for(tmp_path, module, without):
    program = f"import sys, {module}\nprint([name for name in {without!r} if name in sys.modules])"
    assert python("-c", program, cwd=tmp_path).stdout == "[]\n"


def test_a_file_taken_along_does_not_take_the_place_of_the_snapshot(demo, tmp_path):
    """Prices in a file that happens to have the snapshot's own name."""
    prices = tmp_path / "snapshot.json"
    prices.write_text("[]", encoding="utf-8")
    given = {"trials": ["LIN-03", "LIN-04"], "control": "LIN-03", "materials": str(prices)}
    seen = []

    def look(done, cells):
        (scratch,) = {Path(path) for path in (tmp_path / "scratch").glob("kit-*") if (path / "snapshot.json").exists()}
        seen.append(
            ((scratch / "snapshot.json").read_text()[:12], (scratch / "materials" / "snapshot.json").read_text())
        )
        raise KeyboardInterrupt

    (tmp_path / "scratch").mkdir()
    with pytest.MonkeyPatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr("tempfile.tempdir", str(tmp_path / "scratch"))
        publish("compare_versions", demo.labbook, ["LIN-03", "LIN-04"], given, to=tmp_path, name="n", title="T",
                progress=look)  # fmt: skip
    assert seen == [('{\n "batches"', "[]")]


# ---------------------------------------------------------------- what cannot be written up


def test_a_trial_without_a_batch_is_told(written, tmp_path):
    """Only a snapshot can hold one: in a lab book a trial opens with its first batch."""
    frozen = json.loads(written.trial.snapshot.read_text(encoding="utf-8"))
    frozen["batches"] = [row for row in frozen["batches"] if row[1] != "LIN-03"]
    del frozen["streams"]["batch/LIN-03/1"]
    (tmp_path / "s.json").write_text(json.dumps(frozen), encoding="utf-8")
    assert refused(kit.write_up, tmp_path / "s.json", "LIN-03", to=tmp_path / "w") == "writeup.no_batch"


def test_a_folder_that_cannot_be_written_is_told_and_the_old_page_stays(demo, written, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert refused(kit.write_up, demo.labbook, "LIN-03", to=tmp_path / "file") == "writeup.store"
    to = tmp_path / "w"
    to.mkdir()
    (to / "LIN-03.html").write_text("old", encoding="utf-8")
    chmod, count = os.chmod, []

    def full(path, mode):
        """The disk is full at the third of the four files."""
        count.append(path)
        if len(count) == 3:
            raise OSError(28, "No space left on device")
        chmod(path, mode)

    monkeypatch.setattr("os.chmod", full)
    assert refused(kit.write_up, demo.labbook, "LIN-03", to=to, bundle=True) == "writeup.store"
    assert len(count) == 3
    assert {path.name: path.read_text(encoding="utf-8") for path in to.iterdir()} == {"LIN-03.html": "old"}


def test_names_out_of_the_order_of_recording_read_the_same_from_a_snapshot(tmp_path):
    """The control is recorded first and has the last name; the page from the snapshot must be that of the lab book."""
    moment = [datetime(2026, 3, 2, 9, 0, tzinfo=UTC)]
    formula = read_formula(BARE, kit.load_library())
    with kit.new_labbook(tmp_path / "z.labbook", clock=lambda: moment[0]) as book:
        book.new_study("ZED", question="?", control="ZED-09")
        for trial, changes in (("ZED-09", {}), ("ZED-05", {"glycerin": "5.00 %"}), ("ZED-02", {}), ("ZED-10", {})):
            moment[0] += timedelta(days=1)
            made = formula.change(changes, why="level") if changes else formula
            batch = weighed(book.start_batch(kit.plan_batch(made, "100 g"), trial=trial, operator="bench 1"))
            batch.finish()
            moment[0] += timedelta(hours=24)
            batch.read_ph(Decimal("4.50") + len(trial) * Decimal("0.01"), temp="25 degC")
        open_now = kit.compare(book, ["ZED-05", "ZED-02"])
        made = kit.write_comparison(book, ["ZED-05", "ZED-02"], to=tmp_path)
    assert str(kit.compare(made.snapshot, ["ZED-05", "ZED-02"])) == str(open_now)
    assert [arm.label for arm in open_now.arms] == ["ZED-09, ZED-02, ZED-10", "ZED-05"]
