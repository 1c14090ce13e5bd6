"""Typed quantities. Expected values are exact definitions: the SI Brochure (9th ed.) for prefixes and degC, NIST SP 811
for the degree Fahrenheit, t/degC = (t/degF - 32)/1.8; 1 cP = 1 mPa.s (NIST SP 811, table B.8)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import UnitError
from kit.units import minutes, number, percent, plain, read, same_unit, split


@pytest.mark.parametrize(
    ("text", "to", "expected"),
    [
        ("250 g", "g", "250"),
        ("20.04 g", "g", "20.04"),
        ("0.25 kg", "g", "250"),
        ("250 mg", "g", "0.25"),
        ("1,5 g", "g", "1.5"),
        ("12 345,6 g", "g", "12345.6"),
        ("12\u202f345,6 g", "g", "12345.6"),
        ("1'234.5 g", "g", "1234.5"),
        ("78 degC", "degC", "78"),
        ("78 °C", "degC", "78"),
        ("25 C", "degC", "25"),
        ("185 degF", "degC", "85"),  # (185 - 32) / 1.8 = 153 / 1.8 = 85
        ("77 F", "degC", "25"),  # 45 / 1.8 = 25
        ("298.15 K", "degC", "25"),
        ("19000 mPa.s", "mPa*s", "19000"),
        ("19000 cP", "mPa*s", "19000"),
        ("19 Pa.s", "mPa*s", "19000"),
        ("24 h", "min", "1440"),
        ("90 s", "min", "1.5"),
        ("7 d", "h", "168"),
        ("6500 rpm", "rpm", "6500"),
        ("2 rev/s", "rpm", "120"),
        ("250 ML", "mL", "250"),  # capitals typed on a phone, not megalitres
        ("5 L", "mL", "5000"),
        ("6.00 %", "%", "6.00"),
        ("\u22123 mV", "mV", "-3"),
        (".5 g", "g", "0.5"),
    ],
)
def test_a_quantity_is_read_exactly(text, to, expected):
    assert read(text, to) == Decimal(expected)


@pytest.mark.parametrize(
    ("text", "to", "code"),
    [
        ("250", "g", "units.missing"),
        (250, "g", "units.missing"),
        ("1,234 g", "g", "units.ambiguous_comma"),
        ("1.234,5 g", "g", "units.mixed_marks"),
        ("250 mL", "g", "units.wrong_kind"),
        ("5 %", "g", "units.wrong_kind"),
        ("20 rpm", "1/s", "units.wrong_kind"),  # a turn is not a radian: the registry would make 2.09 of it
        ("5 grammm", "g", "units.unknown"),
        ("5 gr", "g", "units.unknown"),  # gram or grain
        ("2 5 g", "g", "units.not_a_number"),  # two numbers, or a slip: never 25
        ("1 23 g", "g", "units.not_a_number"),
        ("about 5 g", "g", "units.not_a_number"),
        ("", "g", "units.not_a_number"),
        (None, "g", "units.not_a_number"),
        (True, "g", "units.not_a_number"),
        ("nan g", "g", "units.not_a_number"),
        (float("inf"), "g", "units.not_a_number"),
    ],
)
def test_what_cannot_be_read_says_why(text, to, code):
    with pytest.raises(UnitError) as caught:
        read(text, to, where="weigh()")
    assert caught.value.code == code
    assert "Where: weigh()" in str(caught.value)
    assert caught.value.mend


@pytest.mark.parametrize(
    "unit",
    ["g(", "g*", "kg 2", "²", "g+m", "mdB", "g/0", "g/0_1j", "g^0", "g" + "/g" * 3000, "g**m", "_1j", "日", "g/(kg"],
)
def test_a_unit_that_cannot_be_read_is_refused_whatever_the_registry_raises(unit):
    with pytest.raises(UnitError) as caught:
        read(f"5 {unit}", "g")
    assert caught.value.code == "units.unknown"


def test_a_comma_before_three_digits_names_both_readings_and_a_declared_mark_settles_it():
    with pytest.raises(UnitError, match=r"1234 or 1\.234"):
        read("1,234 g", "g")
    assert read("1,234 g", "g", decimal_mark=",") == Decimal("1.234")
    with pytest.raises(UnitError) as caught:
        read("1,234 g", "g", decimal_mark=".")
    assert caught.value.code == "units.mixed_marks"


def test_a_percentage_may_go_without_its_sign_but_grams_are_refused():
    assert percent("6,00") == percent("6.00 %") == percent(Decimal("6")) == 6
    for text in ("6.00 g", "6 % v/v"):
        with pytest.raises(UnitError) as caught:
            percent(text)
        assert caught.value.code == "units.wrong_kind"


def test_minutes_and_split_and_same_unit():
    assert minutes("4") == minutes("240 s") == 4
    assert split("20.04 g") == (Decimal("20.04"), "g")
    assert same_unit("mPa.s", "cP")
    assert not same_unit("mPa.s", "Pa.s")


@given(st.decimals(allow_nan=False, allow_infinity=False, places=4, min_value=-(10**6), max_value=10**6))
def test_a_number_survives_being_written_and_read(value):
    assert number(plain(value), decimal_mark=".") == value
    assert number(plain(value).replace(".", ","), decimal_mark=",") == value


@given(st.decimals(allow_nan=False, allow_infinity=False, places=2, min_value=-200, max_value=500))
def test_fahrenheit_there_and_back(fahrenheit):
    celsius = read(f"{plain(fahrenheit)} degF", "degC")
    assert abs(celsius * Decimal("1.8") + 32 - fahrenheit) < Decimal("1e-9")


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_in_words(text):
    try:
        value = read(text, "g")
    except UnitError as problem:
        assert problem.code.startswith("units.")
    else:
        assert value.is_finite()


@pytest.mark.parametrize("text", ["5 g?", "5 g\\", "5 g!", "5 g;"])
def test_a_stray_sign_is_not_passed_over(text):
    with pytest.raises(UnitError) as caught:
        read(text, to="kg")
    assert caught.value.code == "units.unknown"
