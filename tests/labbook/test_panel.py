"""Panels in the lab book: orders and codes before answers, what is refused, corrections, and the way out and back."""

from __future__ import annotations

import json
import re
from decimal import Decimal

import pytest

import kit
from kit.errors import KitError
from kit.labbook.backup import back_up, check_file
from kit.labbook.exchange import export_csv, export_json, import_csv, import_json
from kit.labbook.snapshot import freeze
from tests.panel_bench import COUNTS, PanelBench, code_of, odd, twin


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    bench = PanelBench(tmp_path_factory.mktemp("made"))
    bench.make("WOO-01")
    bench.make("WOO-02", {"cetearyl-alcohol": "6.00 %"})
    bench.make("WOO-03")
    bench.book.close()
    return bench


@pytest.fixture
def woodruff(made, tmp_path):
    bench = PanelBench(tmp_path, made)
    yield bench
    bench.book.close()


def refused(call, code: str) -> KitError:
    with pytest.raises(KitError) as caught:
        call()
    assert caught.value.code == code, str(caught.value)
    assert "\n" not in str(caught.value)
    return caught.value


def test_orders_and_codes_are_kept_before_anybody_answers(woodruff):
    receipt = woodruff.plan("triangle")
    assert "Each of 6 serving orders is served 2 times." in receipt.notes
    panel = woodruff.panel()
    assert [serving.assessor for serving in panel.servings] == [f"P{place:02}" for place in range(1, 13)]
    codes = [code for serving in panel.servings for code in serving.codes]
    assert len(set(codes)) == len(codes) == 36
    assert (panel.samples, panel.alpha, panel.answers) == ({"A": "WOO-01/1", "B": "WOO-02/1"}, Decimal("0.05"), ())
    (entry,) = woodruff.book.source().entries("panel/P-1")
    assert [row["codes"] for row in entry.body["servings"]] == [list(serving.codes) for serving in panel.servings]


def test_the_same_plan_again_is_not_doubled_and_another_needs_its_name(woodruff):
    woodruff.plan("triangle")
    assert not woodruff.plan("triangle").new
    refused(lambda: woodruff.plan("triangle", seed=8), "labbook.panel_exists")
    woodruff.plan("triangle", "P-2", seed=8)
    one, other = woodruff.panel("P-1"), woodruff.panel("P-2")
    assert one.servings != other.servings
    assert [panel.name for panel in woodruff.book.source().panels("WOO")] == ["P-1", "P-2"]


def test_a_cell_run_again_is_not_judged_by_later_readings(woodruff):
    """The pH drifts out of its limit after the panel was planned: the plan as it was kept stays what it was."""
    passed = {"served": {"A": "WOO-01/1", "B": "WOO-03/1"}, "on": "hair", "consent": "forms 1 to 12"}
    woodruff.book.batch("WOO-01/1").challenge_test(COUNTS, ph="4.5", age="21 d")
    woodruff.plan("triangle", **passed)
    woodruff.book.batch("WOO-03/1").read_ph("5.60", temp="25 degC", method="pH neat", instrument="PH-1", at="")
    assert not woodruff.plan("triangle", **passed).new


def test_answers_are_kept_once_and_another_answer_is_refused(woodruff):
    woodruff.plan("triangle")
    first, second = woodruff.panel().servings[:2]
    receipt = woodruff.book.panel_answers("P-1", {first.assessor: odd(first)}, notes={first.assessor: "unsure"})
    assert receipt.new and receipt.words == "1 answer of panel P-1"
    assert "still to answer: P02, P03" in receipt.notes[0]
    assert not woodruff.book.panel_answers("P-1", {first.assessor: odd(first)}).new
    found = refused(lambda: woodruff.book.panel_answers("P-1", {first.assessor: twin(first)}), "panel.answered")
    assert "correct_panel_answer" in found.mend
    refused(lambda: woodruff.book.panel_answers("P-1", {second.assessor: first.codes[0]}), "panel.answer")
    refused(lambda: woodruff.book.panel_answers("P-1", {"P99": first.codes[0]}), "panel.assessor")
    refused(lambda: woodruff.book.panel_answers("P-9", {}), "panel.unknown")
    (answer,) = woodruff.panel().answers
    assert (answer.assessor, answer.answer, answer.note) == ("P01", odd(first), "unsure")


def test_all_or_none_of_a_call_is_kept(woodruff):
    woodruff.plan("triangle")
    first, second = woodruff.panel().servings[:2]
    refused(lambda: woodruff.book.panel_answers("P-1", {"P01": odd(first), "P02": "000"}), "panel.answer")
    refused(
        lambda: woodruff.book.panel_answers("P-1", {"P02": odd(second)}, at="2026-03-01 09:00"), "panel.before_plan"
    )
    assert woodruff.panel().answers == ()


def test_corrections_voids_and_those_who_stay_away(woodruff):
    woodruff.plan("triangle")
    book, (first, second) = woodruff.book, woodruff.panel().servings[:2]
    book.panel_answers("P-1", {"P01": twin(first), "P02": odd(second)})
    book.correct_panel_answer("P-1", "P01", odd(first), why="copied from the line below")
    assert not book.correct_panel_answer("P-1", "P01", odd(first), why="again").new
    book.void_panel_answer("P-1", "P02", why="took the consent back")
    panel = woodruff.panel()
    assert {name: found.answer for name, found in panel.counted.items()} == {"P01": odd(first)}
    assert panel.answers[0].corrected == "copied from the line below"
    assert panel.answers[1].void == "took the consent back"
    assert "P02" in panel.missing and "P02" in panel.awaited
    book.panel_absent("P-1", ["P02"], why="left")
    assert not book.panel_absent("P-1", ["P02"], why="left").new
    assert woodruff.panel().absent == {"P02": "left"} and "P02" not in woodruff.panel().awaited
    book.panel_answers("P-1", {"P02": twin(second)})  # came back, and answered anew
    assert woodruff.panel().counted["P02"].answer == twin(second)
    refused(lambda: book.void_panel_answer("P-1", "P05", why="x"), "panel.no_answer")
    refused(lambda: book.void_panel_answer("P-1", "P01", why=" "), "panel.reason")
    refused(lambda: book.panel_absent("P-1", ["P01"], why="left"), "panel.assessor")
    book.void_panel("P-1", why="the key was seen")
    assert woodruff.panel().void == "the key was seen"
    refused(lambda: book.panel_answers("P-1", {"P03": "111"}), "panel.void")
    assert book.check().ok


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"samples": {"A": "WOO-01/1", "B": "WOO-09/1"}}, "labbook.batch"),
        ({"samples": {"A": "WOO-01/1", "B": "WOO-01/1"}}, "panel.samples"),
        ({"samples": {"A": "WOO-01/1"}}, "panel.samples"),
        ({"kind": "tetrad"}, "panel.kind"),
        ({"question": " "}, "panel.question"),
        ({"assessors": 0}, "panel.assessors"),
        ({"assessors": ["P1", "P1"]}, "panel.assessor"),
        ({"assessors": ["Somebody With A Name"]}, "panel.assessor"),
        ({"assessors": 301}, "panel.codes"),
        ({"alpha": "0"}, "panel.alpha"),
        ({"similar_below": "120 %"}, "panel.limit"),
        ({"kind": "preference", "similar_below": "30 %"}, "panel.limit"),
        ({"kind": "triangle", "expected": "A"}, "panel.expected"),
        ({"kind": "paired", "expected": "C"}, "panel.expected"),
        ({"kind": "ranking", "expected": "A"}, "panel.expected"),
        ({"kind": "rating", "scale": (5, 1)}, "panel.scale"),
        ({"kind": "triangle", "scale": (1, 5)}, "panel.scale"),
        ({"on": "tongue"}, "panel.place"),
        ({"on": "hair"}, "panel.consent"),
        ({"name": "a/b"}, "labbook.name"),
        ({"study": "ZZZ"}, "labbook.study"),
    ],
)
def test_what_is_no_plan_is_refused_and_not_kept(woodruff, changes, code):
    told = {
        "study": "WOO",
        "name": "P-1",
        "kind": "triangle",
        "samples": {"A": "WOO-01/1", "B": "WOO-02/1"},
        "assessors": 12,
        "seed": 7,
        "question": "Which is the odd one?",
    }
    refused(lambda: woodruff.book.add_panel(**(told | changes)), code)
    assert woodruff.book.source().panels() == ()


def test_unfinished_or_stopped_batches_are_not_served(woodruff):
    woodruff.make("WOO-05", finish=False)
    woodruff.make("WOO-04", {"phenoxyethanol": "0 %", "sodium-benzoate": "0 %"})
    unfinished, bare = ({"A": "WOO-01/1", "B": name} for name in ("WOO-05/1", "WOO-04/1"))
    refused(lambda: woodruff.plan("triangle", served=unfinished, override="never mind"), "panel.not_finished")
    found = refused(lambda: woodruff.plan("triangle", served=bare), "panel.stop")
    assert "preservation.none" in found.what and "override" in found.mend
    receipt = woodruff.plan("triangle", served=bare, override="rinsed tresses only, thrown away on the day")
    assert any("preservation.none" in note for note in receipt.notes)
    panel = woodruff.panel()
    assert panel.override == "rinsed tresses only, thrown away on the day"
    assert "preservation.none" in panel.overridden[0]


def test_on_people_nothing_stopped_unread_or_outside_a_limit_whatever_the_reason(woodruff):
    woodruff.make("WOO-06", {"phenoxyethanol": "0 %", "sodium-benzoate": "0 %"})
    woodruff.make("WOO-04", ph="5.40")
    woodruff.make("WOO-05", ph="")
    people = {"on": "forearm", "consent": "forms 1 to 12, study director", "override": "it will be all right"}
    for name, said in (("WOO-06/1", "preservation.none"), ("WOO-04/1", "pH 5.4, asked"), ("WOO-05/1", "was not read")):
        told = people | {"served": {"A": "WOO-01/1", "B": name}}
        found = refused(lambda told=told: woodruff.plan("triangle", **told), "panel.people")
        assert said in found.what and name in found.what


def test_on_people_only_what_a_challenge_test_has_passed(woodruff):
    people = {"on": "hair", "consent": "forms 1 to 12, study director"}
    found = refused(lambda: woodruff.plan("triangle", **people), "panel.challenge")
    assert "a good look is not preservation" in found.what
    for name in ("WOO-01/1", "WOO-02/1"):
        woodruff.book.batch(name).challenge_test(COUNTS, ph="4.5", age="21 d")
    receipt = woodruff.plan("triangle", **people)
    assert receipt.new and woodruff.panel().overridden == ()
    sheet = str(woodruff.panel().sheets())
    assert "informed consent given in writing" in sheet and "Consent: forms 1 to 12, study director." in sheet


def test_the_bought_reference_may_be_served(woodruff):
    samples = {"A": "WOO-01/1", "B": "bought rinse, lot 77"}
    receipt = woodruff.plan("preference", served=samples)
    assert any("bought product" in note for note in receipt.notes)
    assert woodruff.panel().trials == ("WOO-01",)


def test_another_studys_batch_is_not_served(woodruff):
    woodruff.book.new_study("ZZZ", question="?", spec=())
    refused(
        lambda: woodruff.book.add_panel(
            study="ZZZ", name="P", kind="triangle", samples={"A": "WOO-01/1", "B": "WOO-02/1"}, assessors=6, seed=1,
            question="?",
        ),
        "panel.study",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "choose"),
    [
        ("triangle", lambda place, serving: odd(serving)),
        ("duo-trio", lambda place, serving: code_of(serving, serving.reference)),
        ("ranking", lambda place, serving: " > ".join(sorted(serving.codes))),
        ("ranking", lambda place, serving: [[serving.codes[0], serving.codes[1]], serving.codes[2]]),
        ("rating", lambda place, serving: {code: place % 9 + 1 for code in serving.codes}),
    ],
)
@pytest.mark.parametrize("way", ["json", "csv"])
def test_out_and_back_it_is_the_same(woodruff, tmp_path, kind, choose, way):
    woodruff.plan(kind, samples="ABC" if kind in ("ranking", "rating") else "AB")
    woodruff.answer(choose)
    woodruff.book.void_panel_answer("P-1", "P03", why="served wrongly")
    out, back = {"json": (export_json, import_json), "csv": (export_csv, import_csv)}[way]
    out(woodruff.book, tmp_path / "record")
    back(tmp_path / "record", tmp_path / "new.labbook")
    with kit.open_source(tmp_path / "new.labbook") as source:
        assert source.panel("P-1") == woodruff.panel()
        assert str(kit.panel(source, "P-1")) == str(kit.panel(woodruff.book, "P-1"))
        out(source, tmp_path / "again")
    first, second = (
        {file.name: file.read_bytes() for file in path.iterdir()} if path.is_dir() else path.read_bytes()
        for path in (tmp_path / "record", tmp_path / "again")
    )
    assert first == second


def test_a_backup_and_a_check_hold_it(woodruff, tmp_path):
    woodruff.plan("triangle")
    woodruff.answer(lambda place, serving: odd(serving))
    saved = back_up(woodruff.path, tmp_path / "backups")
    assert check_file(saved.path).ok
    with kit.open_source(saved.path) as source:
        assert source.panel("P-1") == woodruff.panel()


def test_a_snapshot_holds_the_panels_of_its_trials_and_no_others(woodruff, tmp_path):
    before = freeze(woodruff.book.source(), ["WOO-03"])
    woodruff.plan("triangle")
    assert freeze(woodruff.book.source(), ["WOO-03"]) == before
    path = tmp_path / "snapshot.json"
    path.write_text(json.dumps(freeze(woodruff.book.source(), ["WOO-02"])), encoding="utf-8")
    source = kit.open_source(path)
    assert source.panels("WOO", trials=["WOO-02"]) == (woodruff.panel(),)
    assert str(kit.panel(source, "P-1")) == str(kit.panel(woodruff.book, "P-1"))


def test_panels_of_other_trials_are_not_among_the_heads_that_are_printed(woodruff):
    woodruff.plan("triangle")
    source = woodruff.book.source()
    assert source.panels("WOO", trials=["WOO-03"]) == ()
    assert "panel/P-1" not in source.heads()
    assert source.panels("WOO", trials=["WOO-01"]) and "panel/P-1" in source.heads()


def test_no_name_of_a_person_and_no_batch_is_on_a_sheet(woodruff):
    woodruff.plan("triangle")
    sheets, key = str(woodruff.panel().sheets()), str(woodruff.panel().key())
    assert "WOO-0" not in sheets and re.search(r"\b[AB]{3}\b", sheets) is None
    assert "WOO-01/1" in key and "WOO-02/1" in key
