"""Margins on the record of a study: stated beforehand, changed with their day, carried wherever the record goes."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest

import kit
from kit.errors import KitError, RecordError
from kit.labbook.exchange import export_csv, export_json, import_csv, import_json
from kit.labbook.readers import SnapshotReader
from kit.labbook.snapshot import freeze
from kit.labbook.source import Source

PH = {"pH": "0.1"}


def texts(bench) -> dict[str, tuple[str, str]]:
    """Name to text and day of the margins that stand."""
    return {stated.margin.name: (stated.margin.text, stated.day) for stated in bench.book.study("MEA").margins}


def test_a_study_without_margins_keeps_the_content_it_always_had(bench):
    (entry,) = bench.book.store.read("study/MEA")
    assert "margins" not in entry.body
    assert entry.hash == hashlib.sha256(entry.text.encode()).hexdigest()
    assert bench.book.study("MEA").margins == ()


def test_margins_are_spelled_as_the_study_spells_them(bench):
    bench.book.new_study(
        "TWO", question="?", spec=bench.formula.spec, margins={"PH at 24h": "0.10", " Viscosity ": "20%"}
    )
    (entry,) = bench.book.store.read("study/TWO")
    assert entry.body["margins"] == {"pH at 24 h": "0.1", "viscosity": "20 %"}
    again = bench.book.new_study(
        "TWO", question="?", spec=bench.formula.spec, margins=["pH at 24 h: 0.10", "viscosity: 20 %"]
    )
    assert not again.new


def test_another_margin_is_not_taken_by_opening_the_study_again(bench):
    with pytest.raises(RecordError) as refused:
        bench.book.new_study(
            "MEA", question="Does it hold its pH?", spec=bench.formula.spec, control="MEA-01", margins=PH
        )
    assert refused.value.code == "labbook.study_exists"
    assert "(margins)" in str(refused.value) and "state_margins()" in str(refused.value)
    bench.book.state_margins(PH)
    bench.book.new_study("TWO", question="?", margins=PH)
    with pytest.raises(RecordError, match=r"\(margins\)"):
        bench.book.new_study("TWO", question="?")


def test_each_margin_has_the_day_since_when_it_stands(bench):
    first = bench.book.state_margins({"pH": "0.1", "viscosity": "20 %"})
    assert first.new
    assert first.notes == ("pH: 0.1, stated 2026-03-02", "viscosity: 20 %, stated 2026-03-02")
    bench.clock.now += timedelta(days=3)
    second = bench.book.state_margins({"pH": "0.1", "viscosity": "25 %"}, why="the client asks for no more")
    assert second.new
    assert texts(bench) == {"pH": ("0.1", "2026-03-02"), "viscosity": ("25 %", "2026-03-05")}
    entry = bench.book.store.read("study/MEA")[-1]
    assert (entry.kind, entry.body["why"]) == ("margins", "the client asks for no more")
    assert bench.book.check().ok


def test_the_same_again_adds_nothing_and_one_can_be_withdrawn(bench):
    bench.book.state_margins({"pH": "0.1", "viscosity": "20 %"})
    again = bench.book.state_margins({"pH": "0.1"})
    assert not again.new and len(bench.book.store.read("study/MEA")) == 2
    gone = bench.book.state_margins({"PH": None}, why="no longer asked")
    assert gone.new and list(texts(bench)) == ["viscosity"]
    with pytest.raises(KitError, match="withdrawn"):
        bench.book.state_margins({"pH": None})


@pytest.mark.parametrize(
    ("margins", "part"),
    [
        ({"pH": "20 %"}, "differences, so its margin is in its unit"),
        ({"viscosity": "500"}, "ratios, so its margin is a percentage"),
        ({"pH": "a little"}, "a number above zero"),
        ({"pH": "-0.1"}, "a number above zero"),
        ({"softness": "1"}, "a property with a method or a spec line: pH, viscosity"),
        ({"pH at 5 h": "0.1"}, "an age of the study: 1 h, 24 h, 72 h, 7 d"),
        ({"pH at noon": "0.1"}, 'an age such as "viscosity at 72 h"'),
        ("20 %", "without a property"),
        ({"pH": "0.1", "ph": "0.2"}, "one a property"),
    ],
)
def test_a_margin_that_cannot_be_used_is_refused_and_nothing_is_stored(bench, margins, part):
    before = bench.book.store.heads()
    for call in (
        lambda: bench.book.new_study("TWO", question="?", spec=bench.formula.spec, margins=margins),
        lambda: bench.book.state_margins(margins if isinstance(margins, dict) else {"": margins}),
    ):
        with pytest.raises(KitError) as refused:
            call()
        assert refused.value.code == "study.margin"
        assert part in str(refused.value)
    assert bench.book.store.heads() == before


def test_the_study_still_reads_as_it_was_opened(bench):
    before = bench.book.study("MEA")
    bench.book.state_margins(PH)
    after = bench.book.study("MEA")
    assert (after.spec, after.spec_dated, after.methods, after.control) == (
        before.spec, before.spec_dated, before.methods, before.control
    )  # fmt: skip
    assert bench.book.source().studies() == ["MEA"]


@pytest.mark.parametrize(
    ("out", "back", "name"), [(export_json, import_json, "a.json"), (export_csv, import_csv, "a.zip")]
)
def test_an_export_carries_them(bench, tmp_path, out, back, name):
    bench.book.new_study("TWO", question="?", spec=bench.formula.spec, margins={"viscosity at 72 h": "15 %"})
    bench.book.state_margins(PH, study="MEA", why="late")
    out(bench.book, tmp_path / name)
    back(tmp_path / name, tmp_path / "copy.labbook")
    with kit.open_source(tmp_path / "copy.labbook") as copy:
        for study in ("MEA", "TWO"):
            assert copy.study(study).margins == bench.book.study(study).margins != ()


def test_a_snapshot_carries_them(bench, finished):
    bench.book.state_margins(PH)
    frozen = freeze(bench.book.source(), ["MEA-01"])
    assert Source(SnapshotReader(frozen, "x.json")).study("MEA").margins == bench.book.study("MEA").margins != ()
