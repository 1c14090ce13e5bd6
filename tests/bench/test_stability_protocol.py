"""Planning a stability protocol: limits, stations and places from their words; jars and grams counted by hand."""

from __future__ import annotations

from decimal import Decimal

import pytest

import kit
from kit.bench.stability_acceptance import (
    AT_END,
    AT_START,
    DIFFERENCE,
    EVERY_PULL,
    LIMITS,
    RATIO,
    REFERENCE_JAR,
    UNCHANGED,
    WORDS,
    read_acceptance,
)
from kit.bench.stability_protocol import StabilityProtocol
from kit.bench.stability_station import read_station, storage_time_words
from kit.bench.storage import freeze_thaw_cycles, places_words, storage_key, storage_temp_c
from kit.errors import KitError


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("40 degC", "40 degC"),
        ("40°C", "40 degC"),
        ("40 C, dark", "40 degC, dark"),
        ("104 degF", "40 degC"),
        ("−10 °C", "-10 degC"),
        ("Freeze-Thaw 3 cycles", "freeze-thaw 3 cycles"),
        ("freeze thaw 1", "freeze-thaw 1 cycle"),
        (" Light ", "light"),
        ("40 cm shelf", "40 cm shelf"),
        ("", ""),
    ],
)
def test_one_place_has_one_key_however_it_is_typed(typed, key):
    assert storage_key(typed) == key == storage_key(key)


def test_a_place_tells_its_temperature_or_its_cycles():
    assert storage_temp_c("45 °C") == Decimal(45) and storage_temp_c("light") is None
    assert freeze_thaw_cycles("freeze-thaw 5 cycles") == 5 and freeze_thaw_cycles("40 degC") is None
    assert places_words(["5 degC", "40 degC", "light"]) == "5, 40 °C, light"


@pytest.mark.parametrize(
    ("typed", "kind", "low", "high"),
    [
        ("± 0.3", DIFFERENCE, "-0.3", "0.3"),
        ("+-0,3", DIFFERENCE, "-0.3", "0.3"),
        ("-0.2 to +0.5", DIFFERENCE, "-0.2", "0.5"),
        ("± 25 %", RATIO, "0.75", "1.25"),
        ("-20 % to +30 %", RATIO, "0.8", "1.3"),
        ("4.3 to 4.8", LIMITS, "4.3", "4.8"),
        ("at most 2 %", LIMITS, None, "2"),
        ("≥ 10000 mPa.s", LIMITS, "10000", None),
    ],
)
def test_a_limit_in_numbers_is_read_from_its_words(typed, kind, low, high):
    found = read_acceptance("pH", typed)
    ends = [None if end is None else Decimal(end) for end in (low, high)]
    assert (found.kind, [found.low, found.high]) == (kind, ends)
    assert read_acceptance("pH", typed).from_row(found.row()) == found


def test_a_limit_in_words_and_when_it_is_looked_at():
    assert read_acceptance("grain", "none or slight").allowed == ("none", "slight")
    assert read_acceptance("grain", "none").kind == WORDS
    assert read_acceptance("odour", "no change").kind == UNCHANGED
    whens = [read_acceptance("separation", text).when for text in ("none", "none; at the start", "none; at the end")]
    assert whens == [EVERY_PULL, AT_START, AT_END]
    beside = read_acceptance("viscosity", "± 20 % of the jar kept at 25 °C")
    assert (beside.against, beside.low) == (REFERENCE_JAR, Decimal("0.8"))
    assert beside.words == "± 20 % of the jar kept at 25 °C"


@pytest.mark.parametrize("typed", ["", "± 0.3; sometimes", "4.8 to 4.3", "± 120 %", "+0.3 to -0.2"])
def test_what_is_no_limit_is_refused(typed):
    if typed == "+0.3 to -0.2":  # a range that ends before it begins
        typed = "0.3 to -0.2"
    with pytest.raises(KitError) as caught:
        read_acceptance("pH", typed)
    assert caught.value.code == "stability.limit"


@pytest.mark.parametrize(
    ("typed", "hours", "tolerance_h"),
    [
        ("1 week", 168, 24),  # a tenth would be 17 h: a day at least
        ("4 weeks", 672, "67.2"),
        ("6 months", 4383, 168),  # 6 x 730.5; a tenth would be 18 d: a week at most
        ("90 d", 2160, 168),
        ("4 weeks ± 2 d", 672, 48),
    ],
)
def test_a_station_and_its_window(typed, hours, tolerance_h):
    found = read_station(typed)
    assert (found.hours, found.tolerance_h) == (Decimal(hours), Decimal(tolerance_h))


@pytest.mark.parametrize(
    ("hours", "words"),
    [(24, "24 h"), (72, "3 d"), (168, "1 week"), (2016, "12 weeks"), (4383, "6 months"), (240, "10 d")],
)
def test_a_time_in_storage_in_words(hours, words):
    assert storage_time_words(hours) == words


def test_jars_and_grams_are_counted():
    """Baseline 1; 5 and 40 degC 2 stations + 1 spare each; 25 degC 2 + 1 + 1 for the laboratory; freeze-thaw 1 + 1;
    the final pack at 25 degC 2 + 1. In all 1 + 3 + 3 + 4 + 2 = 13 jars of 95 g, and 3 packs of 250 g: 1985 g.
    """
    found = kit.plan_stability(
        "Yarrow rinse",
        conditions=["5 °C", "25 °C", "40 °C", "freeze-thaw 3 cycles"],
        stations=["4 weeks", "12 weeks"],
        packs={"100 mL jar": "95 g", "final pack": ("250 g", ["25 degC"])},
    )
    assert (found.jars, found.grams) == (16, Decimal(13 * 95 + 3 * 250))
    table = found.jars_table()
    assert [str(cell) for cell in table.rows[-1]][1:3] == ["16", "1985"]
    (cycles,) = found.place("freeze-thaw 3 cycles").stations
    assert cycles.hours == 144  # three cycles of 48 h
    assert StabilityProtocol.from_row(found.row()) == found
    assert "final pack is not" not in str(found)


def test_a_jar_at_25_degrees_is_always_there_and_pulled_whenever_another_is():
    found = kit.plan_stability(
        "x", conditions=["40 degC", "5 degC"], stations={"40 degC": ["2 weeks"], "5 degC": ["8 weeks"]}
    )
    names = [place.name for place in found.places]
    assert names == ["25 degC", "40 degC", "5 degC"]
    assert {"2 weeks", "8 weeks"} <= {station.label for station in found.place("25 degC").stations}
    assert "the final pack is not" in " ".join(found.notes)


def test_words_of_the_formulas_own_spec_are_taken_over(tmp_path):
    (tmp_path / "f.toml").write_text(
        'name = "F"\nversion = "1"\nproduct = "rinse-off hair"\n'
        '[[spec]]\nproperty = "grain"\nallowed = ["none", "slight"]\nage = "7 d"\n'
        '[[phase]]\nname = "A"\nkind = "water"\nline = [{ material = "water-deionised", qs = true }]\n',
        encoding="utf-8",
    )
    formula = kit.load_formula(tmp_path / "f.toml")
    found = kit.plan_stability(formula)
    assert found.limit("grain").allowed == ("none", "slight")
    assert (found.formula, found.limit("pH").method, found.limit("viscosity").method) == (
        formula.fingerprint,
        "pH neat",
        "viscosity",
    )


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"conditions": []}, "stability.condition"),
        ({"conditions": ["25 degC", ""]}, "stability.condition"),
        ({"conditions": ["freeze-thaw 0 cycles"]}, "stability.condition"),
        ({"stations": {"37 degC": ["1 week"]}}, "stability.condition"),
        ({"microbiology": ["37 degC"]}, "stability.condition"),
        ({"stations": []}, "stability.station"),
        ({"stations": ["0 d"]}, "stability.station"),
        ({"stations": ["soon"]}, "units.not_a_number"),
        ({"properties": {}}, "stability.limit"),
        ({"packs": {}}, "stability.pack"),
        ({"packs": {"jar": 95}}, "stability.pack"),
        ({"packs": {"jar": "0 g"}}, "stability.pack"),
        ({"spare": -1}, "stability.batches"),
        ({"batches": 0}, "stability.batches"),
        ({"baseline": "5 d"}, "age.unknown"),
    ],
)
def test_what_cannot_be_planned_is_refused(changes, code):
    with pytest.raises(KitError) as caught:
        kit.plan_stability("x", **changes)
    assert caught.value.code == code
