"""Two lots of one supply form in a comparison: the same percentage, another product. Sums worked by hand."""

from __future__ import annotations

import pytest

import kit
from tests.trials.test_blocks import block, weighed_batch

EVEN = {"Cetyl Alcohol": "50 %", "Stearyl Alcohol": "50 %"}
USUAL = {"Cetyl Alcohol": "30 %", "Stearyl Alcohol": "70 %"}


def compared(bench, *, second: str):
    """A control from lot C-118 and a trial with more glycerin from lot C-121, whose chains are given."""
    bench.book.add_lot("cetearyl-alcohol", "C-118", certificate={"chains": USUAL})
    bench.book.add_lot("cetearyl-alcohol", "C-121", certificate={"chains": EVEN if second == "even" else USUAL})
    for trial, changes, lot in (("LIN-03", {}, "C-118"), ("LIN-04", {"glycerin": "4.00 %"}, "C-121")):
        batch = weighed_batch(bench, trial, changes, lots={"cetearyl-alcohol": lot})
        bench.finish(batch, 1)
    return bench.compare("LIN-04")


def test_lots_certified_otherwise_are_told_with_their_chains(bench):
    comparison = compared(bench, second="even")
    made = block(comparison, "As made")
    assert made["lot of Cetearyl Alcohol (30:70)"] == [
        "C-118 (chains Cetyl Alcohol 30 : Stearyl Alcohol 70)",
        "C-121 (chains Cetyl Alcohol 50 : Stearyl Alcohol 50)",
    ]
    assert made["certified otherwise than the control's"] == [
        "–",
        "Cetearyl Alcohol (30:70): a difference may be that of the lots",
    ]
    assert any("lot and change are not separated" in note for note in comparison.notes)


def test_the_ratio_follows_the_lot(bench):
    # 5.00 % in both. 30:70 is 261.42 g/mol, 50:50 is 255.70; quat 2.00 % of 404.16 g/mol is 4.9485 mmol/100 g:
    # 19.126 / 4.9485 = 3.87 and 19.554 / 4.9485 = 3.95.
    derived = block(compared(bench, second="even"), "Worked out")
    assert derived["fatty alcohol:cationic, mol/mol"] == ["3.87", "3.95"]


def test_lots_with_the_same_certificate_are_told_and_blamed_for_nothing(bench):
    comparison = compared(bench, second="usual")
    made = block(comparison, "As made")
    assert "lot of Cetearyl Alcohol (30:70)" in made
    assert "certified otherwise than the control's" not in made
    assert not any("lot and change" in note for note in comparison.notes)
    assert block(comparison, "Worked out")["fatty alcohol:cationic, mol/mol"] == ["3.87", "3.87"]


def test_repeats_of_one_version_from_two_lots_are_told_batch_by_batch(bench):
    bench.book.add_lot("cetearyl-alcohol", "C-121", certificate={"chains": EVEN})
    for number, lot in ((1, "C-118"), (2, "C-121")):
        bench.clock.now = bench.clock.day(1)
        sheet = kit.plan_batch(bench.formula, "400 g", balances=["0.001 g"])
        batch = bench.book.start_batch(sheet, trial="LIN-03", study="LIN", number=number)
        for line in sheet.lines:
            lots = {"cetearyl-alcohol": lot}
            batch.weigh(line.material.key, f"{line.target_g} g", lot=lots.get(line.material.key, ""))
        bench.finish(batch, 1)
    made = block(bench.compare("LIN-03"), "As made")
    (cell,) = made["lot of Cetearyl Alcohol (30:70)"]
    assert cell == "LIN-03/1: C-118\nLIN-03/2: C-121 (chains Cetyl Alcohol 50 : Stearyl Alcohol 50)"
    assert made["certified otherwise than the control's"][0].startswith("Cetearyl Alcohol (30:70)")


@pytest.mark.parametrize("recorded", [True, False])
def test_without_any_certificate_nothing_is_blamed_on_the_lots(bench, recorded):
    for trial, changes, lot in (("LIN-03", {}, "C-118"), ("LIN-04", {"glycerin": "4.00 %"}, "C-121")):
        batch = weighed_batch(bench, trial, changes, lots={"cetearyl-alcohol": lot} if recorded else {})
        bench.finish(batch, 1)
    made = block(bench.compare("LIN-04"), "As made")
    assert ("lot of Cetearyl Alcohol (30:70)" in made) is recorded
    assert "certified otherwise than the control's" not in made
