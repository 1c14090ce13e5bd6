"""The dose of a stock solution to a pH, against titration curves and arithmetic worked by hand."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest

import kit
from kit.errors import KitError, MaterialError
from kit.formula.aqueous import aqueous, stock_of
from kit.formula.composition import Composition, CompositionLine
from kit.formula.dosing import dose_to_ph
from kit.formula.knowledge import Knowledge

LIBRARY = kit.load_library()


@pytest.fixture(scope="module")
def linden():
    return kit.load_formula(str(kit.__path__[0]) + "/demo/linden.toml", LIBRARY)


@pytest.fixture(scope="module")
def chamomile():
    return kit.load_formula(str(kit.__path__[0]) + "/demo/formulas/chamomile.toml", LIBRARY)


def composition(**pcts: str) -> Composition:
    """A composition from keys with underscores for hyphens."""
    lines = (CompositionLine(LIBRARY.find(key.replace("_", "-")), Decimal(pct)) for key, pct in pcts.items())
    return Composition(tuple(lines))


def test_the_dose_brings_the_batch_to_its_target(linden):
    """The as-dosed batch, put together again as one composition of batch and stock solution, has the pH asked for."""
    answer = linden.dose_to_ph("4.30", using="citric acid 10 %", batch="400 g")
    lines = tuple(
        CompositionLine(line.material, line.pct * 400 / 100, line.phase) for line in linden.composition().lines
    )
    dosed = Composition((*lines, CompositionLine(LIBRARY.find("citric acid 10 %"), answer.dose_g)))
    assert aqueous(dosed).mixture().solve().ph == pytest.approx(4.30, abs=0.003)
    assert answer.ph_after == Decimal("4.30")
    assert answer.ph_before == linden.predict_ph().value


def test_a_strong_base_by_hand():
    """10 mmol of lactic acid in 100 g of water, half of it to be neutralised: 5 mmol, 2.00 g of NaOH 10 % at 2.5002
    mmol/g. At half neutralisation the pH is the constant 3.86 less the activity of lactate, 0.085 at I = 0.05.
    """
    water = composition(water_deionised="99.0", lactic_acid_90="1.0008")
    answer = dose_to_ph(water, "3.775", using="sodium hydroxide 10 %", batch="100.0008 g")
    assert float(answer.dose_g) == pytest.approx(5 / 2.5002, abs=0.06)
    assert answer.water_g == pytest.approx(Decimal("0.9") * answer.dose_g, abs=Decimal("0.01"))
    assert answer.drop_before > 0 and answer.drop_after > 0
    assert answer.ionic_strength_after == pytest.approx(0.05, abs=0.003)


def test_seven_tenths_go_in_first(linden):
    answer = linden.dose_to_ph("4.30", batch="5 kg")
    assert float(answer.first_g) == pytest.approx(0.7 * float(answer.dose_g), abs=0.006)
    assert answer.batch_g == 5000


def test_twice_the_batch_needs_twice_the_dose_and_feels_half_a_drop(linden):
    one, two = (linden.dose_to_ph("4.30", batch=batch) for batch in ("400 g", "800 g"))
    assert float(two.dose_g) == pytest.approx(2 * float(one.dose_g), abs=0.012)
    assert float(two.drop_before) == pytest.approx(float(one.drop_before) / 2, abs=0.001)
    assert one.drop_before < 0


def test_what_a_drop_does_is_the_buffer_capacity_at_work(linden):
    """0.05 g of citric acid 10 % are 0.026 mmol that give up about 1.5 protons here: 0.039 meq on 400 g."""
    answer = linden.dose_to_ph("4.30", batch="400 g")
    capacity = answer.buffer_capacity_mmol_per_100g * 4
    assert float(answer.drop_before) == pytest.approx(-0.039 / capacity, abs=0.002)


def test_it_starts_at_the_ph_that_was_read(linden):
    """Read 0.20 higher than predicted: more acid is needed, and its band is narrower, because the offset is known."""
    blind, read = linden.dose_to_ph("4.30"), linden.dose_to_ph("4.30", measured="4.76")
    assert read.ph_before == Decimal("4.76")
    assert read.measured == Decimal("4.76")
    assert read.dose_g > blind.dose_g
    assert read.high_g - read.low_g < blind.high_g - blind.low_g
    assert read.low_g < read.dose_g < read.high_g
    assert "starts at the pH read" in read.reason


def test_the_band_of_a_dose_holds_the_scatter_of_the_reading():
    """10 g of benzoate buffer in 100 g at its constant, nothing in doubt but the reading: 0.05 pH times 1.645 and a
    capacity of ln 10 / 4 x 69.4 mmol are 3.3 mmol either way; lye 10 % has 2.50 mmol/g.
    """
    buffer = composition(water_deionised="90", sodium_benzoate="10")
    known = Knowledge(
        tuple(item.name for item in aqueous(buffer).unknowns),
        tuple(item.mean for item in aqueous(buffer).unknowns),
        tuple(tuple(0.0 for _ in aqueous(buffer).unknowns) for _ in aqueous(buffer).unknowns),
    )
    answer = dose_to_ph(buffer, "4.6", using="sodium hydroxide 10 %", batch="100 g", measured="4.1", knowing=known)
    half = float(answer.high_g - answer.low_g) / 2
    assert half == pytest.approx(3.3 / 2.5, rel=0.1)


def test_at_the_target_already_nothing_is_added(linden):
    answer = linden.dose_to_ph("4.60", measured="4.60")
    assert answer.dose_g == 0
    assert answer.ph_after == Decimal("4.60")

    assert any("nothing needs to be added" in note for note in answer.notes)
    assert "nothing (some are there already) to" in str(answer)
    away = linden.dose_to_ph("4.60", measured="4.70")
    assert not any("nothing needs to be added" in note for note in away.notes)


def test_a_target_within_the_band_of_the_prediction_asks_for_a_reading_first(linden):
    """The linden base is predicted at 4.56 (4.38 to 4.77): a batch may be at 4.45 already, at 3.80 it is not."""
    within, beyond = linden.dose_to_ph("4.45"), linden.dose_to_ph("3.80")
    assert linden.predict_ph().low < Decimal("4.45") < within.ph_before
    assert within.notes[0].startswith("measure first: the predicted pH may be anything from ")
    assert within.low_g == 0
    assert "nothing (some are there already)" in str(within)
    assert beyond.low_g > 0 and not any("measure first" in note for note in beyond.notes)
    assert not any("measure first" in note for note in linden.dose_to_ph("4.45", measured="4.60").notes)


def test_the_wrong_stock_within_the_band_asks_for_a_reading_and_beyond_it_for_a_base(linden):
    refused = {}
    for target in ("4.65", "6.00"):
        with pytest.raises(KitError) as caught:
            linden.dose_to_ph(target, using="citric acid 10 %")
        assert caught.value.code == "ph.unreachable"
        refused[target] = caught.value.mend
    assert refused["4.65"].startswith("measure first")
    assert refused["6.00"].startswith("take a base to raise the pH")


def test_more_of_a_strong_base_than_water_can_hold_is_not_looked_at(linden):
    """400 g of lye pellets in 400 g of batch would be some 30 mol/kg. To pH 9 it takes as much as of the 10 % solution,
    ten times less by mass."""
    neat, solution = (
        linden.dose_to_ph("9.0", using=key) for key in ("sodium-hydroxide", "sodium-hydroxide-10-solution")
    )
    for part in ("dose_g", "low_g", "high_g"):
        assert float(getattr(neat, part)) == pytest.approx(float(getattr(solution, part)) / 10, abs=0.01)


def test_a_batch_below_target_by_half_the_guesses_is_counted_by_the_way_asked(linden):
    """Sodium lactate alone settles near pH 6 to 7: to 5.0 it raises every batch that is below, none is above."""
    answer = linden.dose_to_ph("5.0", using="sodium-lactate-60")
    assert 0 < answer.low_g < answer.dose_g < answer.high_g


def test_the_way_the_stock_does_not_lead_is_refused(linden):
    with pytest.raises(KitError) as caught:
        linden.dose_to_ph("5.0", using="citric acid 10 %", measured="4.6")
    assert caught.value.code == "ph.unreachable"
    assert "lowers the pH" in caught.value.what


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        ({"target": "19"}, "ph.target"),
        ({"target": "4.3", "measured": "-1"}, "ph.target"),
        ({"target": "4.3", "using": "glycerin"}, "ph.stock"),
        ({"target": "4.3", "using": "citric acid"}, "material.ambiguous"),
        ({"target": "4.3", "using": "vinegar"}, "material.unknown"),
        ({"target": "4.3", "batch": "400"}, "units.missing"),
        ({"target": "4.3", "batch": "0 g"}, "ph.batch"),
        ({"target": "4.3", "batch": "-7 kg"}, "ph.batch"),
        ({"target": "4.3", "batch": "400 mL"}, "units.wrong_kind"),
        ({"target": "4.3", "temp": "120 degC"}, "ph.temperature"),
        ({"target": "4.3", "age": "-1 h"}, "ph.age"),
        ({"target": "nan"}, "units.not_a_number"),
    ],
)
def test_what_cannot_be_asked_is_refused(linden, wrong, code):
    with pytest.raises((KitError, MaterialError)) as caught:
        linden.dose_to_ph(**wrong)
    assert caught.value.code == code


def test_a_batch_that_cannot_be_modelled_has_no_dose():
    with pytest.raises(KitError) as caught:
        dose_to_ph(composition(water_deionised="90", glycerin="10"), "4.5")
    assert caught.value.code == "ph.not_computed"


def test_a_line_below_zero_has_no_dose():
    with pytest.raises(KitError) as caught:
        dose_to_ph(composition(water_deionised="99", sodium_benzoate="0.4", citric_acid="-0.2"), "4.5")
    assert caught.value.code == "ph.not_computed"
    assert "Citric Acid (anhydrous) -0.2 %" in caught.value.what


def test_corrosives_carry_their_caution(linden):
    lye = linden.dose_to_ph("5.0", using="sodium hydroxide 10 %")
    assert any(text.startswith("Corrosive") for text in lye.cautions)
    mild = linden.dose_to_ph("4.3", using="citric acid 10 %")
    assert mild.cautions and not any(text.startswith("Corrosive") for text in mild.cautions)


def test_a_large_dose_and_a_steep_place_are_told(linden):
    weak = Composition((*linden.composition().lines,))
    answer = dose_to_ph(weak, "2.9", using="citric acid 10 %", batch="400 g", library=LIBRARY)
    assert any("more than 5 % of the batch" in note for note in answer.notes)
    steep = dose_to_ph(weak, "7.5", using="sodium hydroxide 10 %", batch="100 g", library=LIBRARY)
    assert any("steep here" in note for note in steep.notes)


def test_concentrated_lactic_acid_is_told_to_go_on_working(linden):
    answer = linden.dose_to_ph("4.3", using="lactic-acid-88")
    assert any("lets go of more acid for days" in note for note in answer.notes)
    assert not any("lets go" in note for note in linden.dose_to_ph("4.3", using="lactic acid 10 %").notes)


def test_a_fresh_reading_of_a_batch_that_lets_go_of_acid_is_told_to_fall_by_itself(chamomile):
    """CHA-04 was read at 4.96 fresh and at 4.61 after 7 d, with nothing added: a fall of 0.35."""
    asked = {"using": "lactic acid 10 %", "measured": "4.96"}
    without_age = chamomile.dose_to_ph("4.3", **asked)
    (asks,) = [note for note in without_age.notes if "lets go of acid for days" in note]
    assert asks.startswith("Lactic Acid (88 %)") and 'age="1 h"' in asks
    told = [note for note in chamomile.dose_to_ph("4.3", **asked, age="1 h").notes if "by itself" in note]
    assert len(told) == 1 and "Lactic Acid (88 %)" in told[0]
    assert float(re.search(r"by about (\d\.\d+)", told[0])[1]) == pytest.approx(0.35, abs=0.15)
    aged = chamomile.change({"lactic-acid-88": "0", "lactic-acid-10-solution": "5.80"}, phase="A")
    assert not any("lets go" in note or "by itself" in note for note in aged.dose_to_ph("4.3", **asked).notes)
    assert not any("lets go" in note for note in chamomile.dose_to_ph("4.3", using="citric acid 10 %").notes)


def test_what_is_not_in_the_model_is_listed_with_the_dose(chamomile):
    answer = chamomile.dose_to_ph("4.3", measured="4.6")
    assert answer.unmodelled == chamomile.predict_ph().unmodelled and len(answer.unmodelled) == 2
    text = str(answer)
    assert "Not in the model" in text and "Chamomilla Recutita Flower Extract (1.00 %)" in text
    assert "Tetrasodium Glutamate Diacetate, pKa 2.6, 3.5, 5.0, 9.4" in text.split("From memory")[1]


def test_where_some_batches_do_not_get_there_the_upper_end_is_open():
    """Arginine with as much of the stock solution as there is batch ends at pH 2.97: 2.99 is out of reach for many."""
    answer = dose_to_ph(
        composition(water_deionised="95", arginine="4.0", citric_acid="0.10"),
        "2.99",
        using="citric acid 10 %",
        batch="30 g",
    )
    assert answer.high_g is None
    assert "more than the batch can take" in str(answer)


def test_the_answer_shows_itself(linden):
    answer = linden.dose_to_ph("4.30", measured="4.70")
    text = str(answer)
    for words in ("pH before, read", "add first, then read again", "one drop of 0.05 g", "water it brings", "Cautions"):
        assert words in text
    assert "<table" in answer._repr_html_()


def test_the_dose_agrees_with_a_hand_made_titration(linden):
    """Stirring in 0.1 g at a time: the target is passed between the two steps that enclose the dose."""
    mixture, stock = aqueous(linden.composition()).mixture(400.0), stock_of(LIBRARY.find("citric acid 10 %"))
    answer = linden.dose_to_ph("4.40", batch="400 g")
    steps = [mixture.plus(stock, 0.1 * step).solve().ph for step in range(40)]
    passed = next(step for step, ph in enumerate(steps) if ph <= 4.40)
    assert 0.1 * (passed - 1) - 0.01 <= float(answer.dose_g) <= 0.1 * passed + 0.01
