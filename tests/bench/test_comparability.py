"""Which readings may be set against one another: three states, stable codes, the same whichever stands first."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.bench.comparability import against_method, compare_pair
from kit.bench.methods import AgeWindow, age_window, method
from kit.bench.readings import Reading

D = Decimal
VISCOSITY, NEAT = method("viscosity"), method("pH neat")
A = Reading(
    7,
    "LIN-03/1",
    "viscosity",
    D(15600),
    "mPa.s",
    age_h=D(24),
    temp_c=D(25),
    method="viscosity",
    instrument="VIS-1",
    spindle="disc 5",
    rpm=D(10),
    torque_pct=D("39.0"),
    reading_time_s=D(60),
    container="100 mL jar",
    storage="25 degC",
)
B = replace(A, entry=3, batch="LIN-06/1", value=D(16720), torque_pct=D("41.8"), age_h=D("25.5"))
PH_A = Reading(
    8,
    "LIN-03/1",
    "pH",
    D("4.60"),
    "1",
    age_h=D(24),
    temp_c=D(25),
    method="pH neat",
    instrument="PH-1",
    calibration="CAL-1",
)
PH_B = replace(PH_A, entry=4, batch="LIN-06/1", value=D("4.58"))

DIFFERENCES = [
    ({"age_h": D(1)}, "compare.age"),
    ({"age_h": D("26.5")}, "compare.age"),
    ({"method": "viscosity T-bar"}, "compare.method"),
    ({"instrument": "VIS-2"}, "compare.instrument"),
    ({"spindle": "disc 6"}, "compare.spindle"),
    ({"rpm": D(20)}, "compare.rpm"),
    ({"temp_c": D("31.6")}, "compare.temperature"),
    ({"reading_time_s": D(10)}, "compare.reading_time"),
    ({"container": "250 mL beaker"}, "compare.container"),
    ({"storage": "40 degC"}, "compare.storage"),
    ({"property": "yield"}, "compare.property"),
    ({"unit": "Pa"}, "compare.unit"),
    ({"value": None, "text": "thick"}, "compare.unit"),
]
HELD_BACK = [
    ({"container": ""}, "compare.missing"),
    ({"temp_c": None}, "compare.missing"),
    ({"reading_time_s": None}, "compare.missing"),
    ({"instrument": ""}, "compare.missing"),
    ({"method": ""}, "compare.missing"),
    ({"age_h": None}, "compare.missing"),
    ({"declared": frozenset({"reading_time_s"})}, "compare.declared"),
    ({"declared": frozenset({"reading_time"})}, "compare.declared"),
    ({"declared": frozenset({"method"})}, "compare.declared"),
    ({"age_h": None, "age_typed_h": D(24)}, "compare.age_typed"),
]


def test_two_batches_read_alike_are_comparable():
    assert compare_pair(A, B, VISCOSITY).state == "comparable"
    assert compare_pair(PH_A, PH_B, NEAT).state == "comparable"
    assert compare_pair(A, B, VISCOSITY).words() == "comparable"


@pytest.mark.parametrize(("changes", "code"), DIFFERENCES)
def test_one_difference_forbids(changes, code):
    verdict = compare_pair(A, replace(B, **changes), VISCOSITY)
    assert verdict.state == "not comparable"
    assert [reason.code for reason in verdict.reasons] == [code]
    assert "LIN-06/1" in verdict.words()


@pytest.mark.parametrize(("changes", "code"), HELD_BACK)
def test_a_missing_or_declared_condition_leaves_it_shown(changes, code):
    verdict = compare_pair(A, replace(B, **changes), VISCOSITY)
    assert verdict.state == "shown, not tested"
    assert [reason.code for reason in verdict.reasons] == [code]


@settings(deadline=None)
@given(
    st.sampled_from([{}, *(changes for changes, _ in DIFFERENCES + HELD_BACK)]),
    st.sampled_from([{}, *(changes for changes, _ in DIFFERENCES + HELD_BACK)]),
)
def test_the_order_of_the_two_does_not_matter(first, second):
    one, other = replace(A, **first), replace(B, **second)
    assert compare_pair(one, other, VISCOSITY) == compare_pair(other, one, VISCOSITY)


@settings(deadline=None)
@given(st.sampled_from([{}, *(changes for changes, _ in DIFFERENCES)]))
def test_a_reading_is_never_set_apart_from_itself(changes):
    one = replace(A, **changes)
    verdict = compare_pair(one, replace(one, entry=99, batch="LIN-06/1"), None)
    assert verdict.state == "comparable"


def test_a_forbidding_reason_outweighs_a_missing_condition():
    verdict = compare_pair(A, replace(B, spindle="disc 6", container=""), VISCOSITY)
    assert verdict.state == "not comparable"
    assert [reason.code for reason in verdict.reasons] == ["compare.spindle", "compare.missing"]


def test_spelling_is_not_a_difference():
    assert compare_pair(A, replace(B, spindle="Disc  5", unit="cP", rpm=D("10.0")), VISCOSITY).comparable


def test_another_ph_meter_is_no_obstacle():
    assert compare_pair(PH_A, replace(PH_B, instrument="PH-2", calibration="CAL-9"), NEAT).comparable


def test_temperatures_inside_the_method_are_equal():
    assert compare_pair(replace(A, temp_c=D("24.5")), replace(B, temp_c=D("25.5")), VISCOSITY).comparable


def test_temperatures_outside_the_method_but_alike():
    # Both are suspect in themselves, which the flags say; against one another they are alike.
    assert compare_pair(replace(A, temp_c=D("31.6")), replace(B, temp_c=D("31.9")), VISCOSITY).comparable
    assert compare_pair(replace(A, temp_c=D("25.5")), replace(B, temp_c=D("26.0")), VISCOSITY).comparable  # 0.5 apart
    assert not compare_pair(replace(A, temp_c=D("25.5")), replace(B, temp_c=D("26.1")), VISCOSITY).comparable


def test_a_number_without_a_unit():
    assert compare_pair(PH_A, replace(PH_B, unit=""), NEAT).comparable
    verdict = compare_pair(A, replace(B, unit=""), VISCOSITY)
    assert "LIN-03/1 is in mPa.s, LIN-06/1 in no unit" in verdict.words()
    assert against_method(replace(PH_A, unit=""), NEAT, None).comparable
    assert "no unit" in against_method(replace(A, unit=""), VISCOSITY, None).words()


def test_without_a_method_a_torque_tells_a_viscometer():
    bare = replace(A, spindle="", method="by hand")
    other = replace(B, spindle="", method="by hand", rpm=D(20))
    assert compare_pair(bare, other, None).reasons[0].code == "compare.rpm"
    assert compare_pair(replace(bare, torque_pct=None), replace(other, torque_pct=None), None).comparable


def test_ages_outside_every_window():
    fortnight = replace(A, age_h=D(336))
    assert compare_pair(
        fortnight, replace(B, age_h=D(345)), VISCOSITY
    ).comparable  # 9 h apart, the closest window allows 12 h
    assert compare_pair(fortnight, replace(B, age_h=D(349)), VISCOSITY).reasons[0].code == "compare.age"
    assert compare_pair(fortnight, replace(B, age_h=D(348)), VISCOSITY).comparable  # exactly 12 h
    assert (
        compare_pair(replace(A, age_h=D("25.9")), replace(B, age_h=D("26.1")), VISCOSITY).reasons[0].code
        == "compare.age"
    )
    assert compare_pair(fortnight, replace(B, age_h=D(336)), VISCOSITY, []).comparable  # no windows: the same age only
    assert compare_pair(fortnight, replace(B, age_h=D("336.5")), VISCOSITY, []).reasons[0].code == "compare.age"
    own = [AgeWindow("14 d", D(336), D(2))]
    assert compare_pair(fortnight, replace(B, age_h=D(345)), VISCOSITY, own).reasons[0].code == "compare.age"


def test_words_with_no_method():
    grain = Reading(1, "LIN-03/1", "grain", None, "", text="none", age_h=D(168), method="by eye")
    assert compare_pair(grain, replace(grain, entry=2, batch="LIN-04/1", text="grains"), None).comparable
    assert compare_pair(grain, replace(grain, entry=2, age_h=D(24)), None).reasons[0].code == "compare.age"


def test_against_a_limit():
    reading = replace(A, age_h=D("70.5"))
    assert against_method(reading, VISCOSITY, age_window("72 h")).comparable
    assert against_method(reading, None, None).state == "comparable"
    assert against_method(replace(A, age_h=None), VISCOSITY, None).comparable  # a limit without an age
    assert against_method(replace(reading, temp_c=D("25.5")), VISCOSITY, None).comparable


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"age_h": D(24)}, "compare.age"),
        ({"spindle": "disc 6"}, "compare.spindle"),
        ({"rpm": D(20)}, "compare.rpm"),
        ({"container": "beaker"}, "compare.container"),
        ({"reading_time_s": D(10)}, "compare.reading_time"),
        ({"temp_c": D("26")}, "compare.temperature"),
        ({"method": "viscosity T-bar"}, "compare.method"),
        ({"property": "pH"}, "compare.property"),
        ({"unit": "Pa"}, "compare.unit"),
    ],
)
def test_a_reading_that_a_limit_does_not_speak_of(changes, code):
    verdict = against_method(replace(A, age_h=D(72)) if "age_h" not in changes else A, VISCOSITY, age_window("72 h"))
    assert verdict.comparable is ("age_h" not in changes)
    verdict = against_method(replace(A, **{"age_h": D(72), **changes}), VISCOSITY, age_window("72 h"))
    assert verdict.state == "not comparable"
    assert [reason.code for reason in verdict.reasons] == [code]


@pytest.mark.parametrize(("changes", "code"), HELD_BACK)
def test_a_limit_is_not_tested_on_half_a_reading(changes, code):
    changes = {key: D(72) if key == "age_typed_h" else value for key, value in changes.items()}
    verdict = against_method(replace(A, **{"age_h": D(72), **changes}), VISCOSITY, age_window("72 h"))
    assert verdict.state == "shown, not tested"
    assert [reason.code for reason in verdict.reasons] == [code]
