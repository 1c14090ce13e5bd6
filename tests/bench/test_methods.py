"""Named methods and age windows; the numbers are common practice and their source stands in the data."""

from decimal import Decimal

import pytest

from kit.bench.methods import AgeWindow, Method, age_window, default_windows, method, methods, nearest_window
from kit.errors import KitError, UnitError

D = Decimal


def test_the_viscosity_method_as_printed():
    viscosity = method("viscosity")
    assert (viscosity.temp_c, viscosity.temp_tolerance_c) == (25, D("0.5"))
    assert (viscosity.rpm, viscosity.reading_time_s, viscosity.spindle, viscosity.container) == (
        10,
        60,
        "disc 5",
        "100 mL jar",
    )
    assert (viscosity.torque_low, viscosity.torque_high, viscosity.constant_tolerance_pct) == (10, 100, 2)
    assert set(viscosity.needs) == {"instrument", "spindle", "rpm", "torque_pct", "reading_time", "container"}
    assert viscosity.rotational
    assert viscosity.words() == "viscosity: disc 5, 10 rpm, 60 s, 25 ± 0.5 degC, 100 mL jar"


def test_the_ph_method_as_printed():
    neat = method("pH neat")
    assert (neat.slope_low, neat.slope_high, neat.offset_low, neat.offset_high) == (95, 102, -20, 20)
    assert (neat.temp_c, neat.temp_tolerance_c) == (25, 1)
    assert not neat.rotational


def test_a_method_comes_back_from_its_row():
    for known in methods().values():
        assert Method.from_row(known.row()) == known


def test_a_studys_own_method():
    own = Method.read(
        {
            "name": "pH 10 %",
            "property": "pH",
            "unit": "1",
            "temp": {"value": "77", "unit": "degF"},
            "reading_time": "2 min",
        }
    )
    assert own.temp_c == 25  # 77 degF
    assert own.reading_time_s == 120
    assert method("pH 10 %", {"pH 10 %": own}) is own


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({"property": "pH"}, "method.key"),
        ({"name": "x"}, "method.key"),
        ({"name": "x", "property": "pH", "rmp": "10"}, "method.key"),
        ({"name": "x", "property": "pH", "needs": ["speed"]}, "method.needs"),
        ({"name": "x", "property": "pH", "needs": "rpm"}, "method.needs"),
        ({"name": "x", "property": "pH", "torque": {"low": "ten"}}, "method.value"),
    ],
)
def test_methods_that_are_refused(row, code):
    with pytest.raises(KitError) as caught:
        Method.read(row)
    assert caught.value.code == code


def test_an_unknown_method_lists_the_known():
    with pytest.raises(KitError) as caught:
        method("viscosty")
    assert caught.value.code == "method.unknown"
    assert "viscosity" in str(caught.value)


def test_the_default_windows():
    assert [(window.label, window.age_h, window.tolerance_h) for window in default_windows()] == [
        ("1 h", 1, D("0.25")),
        ("24 h", 24, 2),
        ("72 h", 72, 4),
        ("7 d", 168, 12),
    ]
    assert [str(window) for window in default_windows()] == ["1 h ± 15 min", "24 h ± 2 h", "72 h ± 4 h", "7 d ± 12 h"]


@pytest.mark.parametrize(
    ("age", "label"),
    [
        ("1.25", "1 h"),
        ("1.26", None),
        ("22", "24 h"),
        ("26", "24 h"),
        ("26.1", None),
        ("68", "72 h"),
        ("76.5", None),
        ("156", "7 d"),
        ("180", "7 d"),
        ("336", None),
        ("0", None),
    ],
)
def test_the_window_an_age_lies_in(age, label):
    window = nearest_window(D(age))
    assert (window.label if window else None) == label


def test_the_nearer_of_two_windows_that_overlap():
    windows = [AgeWindow("a", D(20), D(5)), AgeWindow("b", D(26), D(5))]
    assert nearest_window(D(24), windows).label == "b"
    assert nearest_window(D(22), windows).label == "a"


def test_how_tolerances_are_written():
    assert str(age_window("2 h ± 60 min")) == "2 h ± 1 h"
    assert str(age_window("2 h ± 59 min")) == "2 h ± 59 min"


def test_windows_by_name():
    assert age_window("72 h").label == "72 h"
    assert age_window("3 d").label == "72 h"
    assert age_window("168 h").label == "7 d"
    own = age_window("14 d +- 1 d")
    assert (own.age_h, own.tolerance_h) == (336, 24)
    assert age_window("14 d ± 12 h").tolerance_h == 12
    assert AgeWindow.from_row(own.row()) == own
    with pytest.raises(KitError) as caught:
        age_window("14 d")
    assert caught.value.code == "age.unknown"
    with pytest.raises(UnitError):
        age_window("old")
