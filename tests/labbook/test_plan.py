"""A plan of trials in the lab book: kept once, read back whole, set beside what was made.

Expected: what was planned, typed and made on a clock that the test moves.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from decimal import Decimal

import pytest

import kit
from kit.errors import KitError
from kit.formula.composition import Step
from kit.formula.files import read_formula
from kit.labbook.backup import back_up, check_file
from kit.labbook.exchange import export_csv, export_json, import_csv, import_json
from kit.labbook.restore import restore
from kit.labbook.snapshot import freeze
from kit.trials.plan import Plan
from tests.labbook.conftest import FORMULA

LEVELS = ["cetearyl-alcohol: 4.00, 5.00, 6.00 %"]


@pytest.fixture(scope="module")
def formula():
    return read_formula(FORMULA, kit.load_library())


@pytest.fixture(scope="module")
def plan(formula):
    """Three levels with the control, 5.00 %, on each of two days: two control batches and two others."""
    return kit.plan_variations(formula, "levels", LEVELS, days=2, seed=3, history="8 % with 10 df")


@pytest.fixture
def kept(bench, plan):
    bench.book.add_plan(plan, study="MEA", name="MEA-levels")
    return bench


def make(bench, plan, order: int, trial: str, number: int = 1, batch: str = "400 g"):
    """Weigh a planned batch as its sheet says, and finish it."""
    bench.clock.later(hours=1)
    sheet = kit.plan_batch(plan.formula(order), batch)
    made = bench.book.start_batch(sheet, trial=trial, study="MEA", number=number)
    for line in sheet.lines:
        made.weigh(line.material.key, f"{line.target_g} g", phase=line.phase)
    made.finish()
    return made


def test_a_plan_comes_back_as_it_was(kept, plan):
    with kit.open_source(kept.path) as source:
        (found,) = source.plans("MEA")
        assert source.plans("none") == ()
        assert Plan.from_row(found.row, found.formulas).row() == plan.row()
        assert str(Plan.from_row(found.row, found.formulas)) == str(plan)
    assert [run.order for run in found.runs] == [1, 2, 3, 4]
    assert {formula.fingerprint for formula in found.formulas.values()} == {one.fingerprint for one in plan.formulas()}


def test_its_formulas_stand_in_their_own_streams(kept, plan):
    source = kept.book.source()
    for formula in plan.formulas():
        (entry,) = source.entries(f"formula/{formula.fingerprint[:16]}")
        assert entry.body["version"] == formula.version


def test_the_same_plan_again_is_not_doubled_and_another_needs_its_name(kept, plan, formula):
    count = len(kept.book.store.outline())
    assert not kept.book.add_plan(plan, study="MEA", name="MEA-levels").new
    assert len(kept.book.store.outline()) == count
    other = kit.plan_variations(formula, "levels", LEVELS, days=2, seed=4, history="8 % with 10 df")
    with pytest.raises(KitError) as caught:
        kept.book.add_plan(other, study="MEA", name="MEA-levels")
    assert caught.value.code == "labbook.plan_exists"
    assert kept.book.add_plan(other, study="MEA", name="MEA-second").new


def test_a_plan_with_a_stop_is_not_kept(bench, formula):
    spoiled = kit.plan_variations(formula, "levels", ["phenoxyethanol: 0.80, 1.40 %"], days=1, repair=False)
    with pytest.raises(KitError) as caught:
        bench.book.add_plan(spoiled, study="MEA", name="MEA-spoiled")
    assert caught.value.code == "labbook.plan_stop"
    assert bench.book.source().plans() == ()


@pytest.mark.parametrize(
    ("given", "code"),
    [({"study": "NO"}, "labbook.study"), ({"name": "a/b"}, "labbook.name"), ({"plan": "levels"}, "labbook.plan")],
)
def test_what_cannot_be_kept_is_refused(bench, plan, given, code):
    with pytest.raises(KitError) as caught:
        bench.book.add_plan(
            given.get("plan", plan), study=given.get("study", "MEA"), name=given.get("name", "MEA-levels")
        )
    assert caught.value.code == code
    assert bench.book.source().plans() == ()


def test_an_unknown_plan_names_those_there_are(kept):
    with pytest.raises(KitError) as caught:
        kit.plan_made(kept.book, "MEA-level")
    assert caught.value.code == "plan.unknown" and "MEA-levels" in caught.value.allowed


# ---------------------------------------------------------------- planned against made


def test_nothing_made_yet_is_said(kept):
    made = kit.plan_made(kept.book)
    assert made.made == 0 and "4 not yet" in made.words
    assert str(made).count("NOT MADE YET") == 4


def test_made_as_planned(kept, plan):
    for place, order in enumerate((1, 2), start=1):
        make(kept, plan, order, f"MEA-1{place}")
    kept.clock.later(days=1)
    for place, order in enumerate((3, 4), start=1):
        make(kept, plan, order, f"MEA-2{place}")
    made = kit.plan_made(kept.book, "MEA-levels")
    assert [one.batch.name for one in made.runs] == ["MEA-11/1", "MEA-12/1", "MEA-21/1", "MEA-22/1"]
    assert all(one.as_planned for one in made.runs)
    assert made.words == "4 of 4 planned batches are made."


def test_a_batch_that_counts_in_two_plans_is_told_in_both(kept, formula):
    """The second plan has the 6.00 % of the first, and 7.00 %; one batch of each, and one of 4.00 %."""
    second = kit.plan_variations(formula, "levels", ["cetearyl-alcohol: 6.00, 7.00 %"], days=1, control=False)
    kept.book.add_plan(second, study="MEA", name="MEA-second")
    for place, pct in enumerate(("6.00 %", "4.00 %", "7.00 %"), start=1):
        kept.clock.later(hours=1)
        trial, version = f"MEA-3{place}", formula.change({"cetearyl-alcohol": pct})
        kept.book.start_batch(kit.plan_batch(version, "400 g"), trial=trial, study="MEA").finish()
    for name, other in (("MEA-levels", "MEA-second"), ("MEA-second", "MEA-levels")):
        made = kit.plan_made(kept.book, name)
        assert made.made == 2 and made.shared == {other: ("MEA-31/1",)}
        assert made.words.endswith(f" MEA-31/1 counts as made in plan {other} too: both plans hold its version.")


def test_another_order_another_day_and_another_mass_are_told(kept, plan):
    make(kept, plan, 2, "MEA-12")
    make(kept, plan, 1, "MEA-11", batch="500 g")
    kept.clock.later(days=1)
    make(kept, plan, 4, "MEA-22")
    kept.clock.later(days=1)
    make(kept, plan, 3, "MEA-21")
    found = {one.run.order: "; ".join(one.differs) for one in kit.plan_made(kept.book).runs}
    assert "planned as number 1 of the day, made as number 2" in found[1] and "500 g instead of 400 g" in found[1]
    assert "planned as number 2 of the day, made as number 1" in found[2]
    assert found[3] == "planned for day 2, made on day 3"
    assert found[4] == "planned as number 2 of the day, made as number 1"


def test_two_batches_of_the_control_are_told_apart_by_their_day(kept, plan):
    """One control a day is planned; both are one version."""
    controls = [batch.order for batch in plan.batches if batch.version == plan.control]
    assert len(controls) == 2
    first = make(kept, plan, controls[0], "MEA-01")
    kept.clock.later(days=1)
    second = make(kept, plan, controls[1], "MEA-01", number=2)
    found = {one.run.order: one.batch.name for one in kit.plan_made(kept.book).runs if one.batch}
    assert found == {controls[0]: first.view.name, controls[1]: second.view.name}


def test_what_was_weighed_otherwise_and_what_is_not_in_the_plan_is_told(kept, plan, formula):
    kept.clock.later(hours=1)
    sheet = kit.plan_batch(plan.formula(1), "400 g")
    batch = kept.book.start_batch(sheet, trial="MEA-11", study="MEA")
    for line in sheet.lines:
        more = 2 if line.material.key == "glycerin" else 0
        batch.weigh(line.material.key, f"{line.target_g + more} g", phase=line.phase)
    batch.finish()
    other = formula.change({"glycerin": "6.00 %"})
    kept.clock.later(hours=1)
    kept.book.start_batch(kit.plan_batch(other, "400 g"), trial="MEA-99", study="MEA").finish()
    made = kit.plan_made(kept.book)
    assert any("weighed 18.00 g against 16.00 g" in words for words in made.runs[0].differs)
    assert [batch.name for batch in made.others] == ["MEA-99/1"]


def test_batches_made_before_the_plan_are_none_of_its_own(bench, plan):
    make(bench, plan, 1, "MEA-01")
    bench.clock.later(days=1)
    bench.book.add_plan(plan, study="MEA", name="MEA-levels")
    made = kit.plan_made(bench.book)
    assert made.made == 0 and made.others == ()


def test_a_setting_that_was_varied_is_set_beside_what_was_recorded(bench, formula):
    stirred = formula.with_steps((Step("combine", rpm=Decimal(6500), minutes=Decimal(7)),), version="1s")
    plan = kit.plan_variations(stirred, "levels", ["combine rpm: 4000, 6500, 9000 rpm"], days=1, control=False)
    bench.book.add_plan(plan, study="MEA", name="MEA-speed")
    bench.clock.later(hours=1)
    batch = bench.book.start_batch(kit.plan_batch(plan.formula(1), "400 g"), trial="MEA-31", study="MEA")
    batch.combine(
        temps={"A": "78 degC", "B": "80 degC", "after": "76 degC"}, order="oil into water", rpm=5000, minutes=7
    )
    batch.finish()
    planned = dict(plan.version(plan.batches[0].version).levels)["combine rpm"]
    assert f"combine rpm: 5000 instead of {planned}" in kit.plan_made(bench.book).runs[0].differs


def test_a_factor_that_was_made_to_coincide_with_the_day_is_said(bench, formula):
    """Planned on one day in drawn order; the short hold was then made on one day and the long one on the next."""
    held = formula.with_steps((Step("combine", rpm=Decimal(6500), minutes=Decimal(7)),), version="1h")
    plan = kit.plan_variations(held, "levels", ["combine minutes: 3, 12 min"], days=1, control=False)
    bench.book.add_plan(plan, study="MEA", name="MEA-hold")
    for order, trial in ((1, "MEA-41"), (2, "MEA-42")):
        make(bench, plan, order, trial)
        bench.clock.later(days=1)
    made = kit.plan_made(bench.book, "MEA-hold")
    assert plan.power.cannot == ("There is no control: days and operators are not carried by anything.",)
    assert any("combine minutes coincides with the day wholly" in words for words in made.days_and_factors())
    assert "coincides with the day" in str(made)


# ---------------------------------------------------------------- out and in


@pytest.mark.parametrize("way", ["json", "csv"])
def test_out_and_in_again_gives_the_same_bytes(kept, plan, tmp_path, way):
    make(kept, plan, 1, "MEA-11")
    kept.book.close()
    out, back = {"json": (export_json, import_json), "csv": (export_csv, import_csv)}[way]
    suffix = ".json" if way == "json" else ""
    out(kept.path, tmp_path / f"first{suffix}")
    back(tmp_path / f"first{suffix}", tmp_path / "again.labbook")
    out(tmp_path / "again.labbook", tmp_path / f"second{suffix}")
    files = [tmp_path / f"first{suffix}", tmp_path / f"second{suffix}"]
    if way == "json":
        assert files[0].read_bytes() == files[1].read_bytes()
    else:
        first, second = ({file.name: file.read_bytes() for file in folder.iterdir()} for folder in files)
        assert first == second
    again = kit.plan_made(tmp_path / "again.labbook", "MEA-levels")
    assert again.plan.row() == plan.row() and again.runs[0].batch.name == "MEA-11/1"


def test_a_backup_and_a_check_hold_it(kept, plan, tmp_path):
    assert kept.book.check().ok
    saved = back_up(kept.path, tmp_path / "backups")
    kept.book.close()
    assert check_file(saved.path).ok
    restore(saved.path, tmp_path / "back.labbook")
    assert kit.plan_made(tmp_path / "back.labbook").plan.row() == plan.row()


def test_an_edited_plan_is_found(kept):
    kept.book.close()
    with closing(sqlite3.connect(kept.path, isolation_level=None)) as raw:
        for (name,) in raw.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            raw.execute(f"drop trigger {name}")
        changed = raw.execute("update entry set text = replace(text, '4.00', '4.50') where kind = 'plan'").rowcount
    assert changed == 1
    with pytest.raises(KitError) as caught:
        kit.plan_made(kept.path, "MEA-levels")
    assert caught.value.code == "labbook.edited"


def test_a_snapshot_of_a_trial_holds_the_plan_it_came_from_and_no_later_one(kept, plan, formula, tmp_path):
    make(kept, plan, 1, "MEA-11")
    before = freeze(kept.book.source(), ["MEA-11"])
    kept.clock.later(days=9)
    later = kit.plan_variations(formula, "levels", LEVELS, days=2, seed=9)
    kept.book.add_plan(later, study="MEA", name="MEA-later")
    assert freeze(kept.book.source(), ["MEA-11"]) == before
    path = tmp_path / "frozen.json"
    path.write_text(json.dumps(before), encoding="utf-8")
    found = kit.plan_made(path)
    assert found.plan.row() == plan.row() and found.made == 1


def test_a_snapshot_of_a_plan_needs_no_trial(kept, plan, tmp_path):
    path = tmp_path / "frozen.json"
    path.write_text(json.dumps(freeze(kept.book.source(), [], plans=["MEA-levels"])), encoding="utf-8")
    found = kit.plan_made(path, "MEA-levels")
    assert found.plan.row() == plan.row() and found.made == 0
