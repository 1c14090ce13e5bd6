"""The geometry of a spindle with its instrument, and the rules for viscosities that name no method.

Referees: the mean shear rate between two cylinders worked by hand; the shear rate that a maker prints for its small
sample adapter (0.34 a turn a minute); the window of 10 to 100 % of full scale.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import openpyxl
import pytest

import kit
from kit.bench.geometry import SpindleGeometry, geometry_of, read_geometry
from kit.bench.methods import methods
from kit.bench.readings import Instrument, Reading, flags
from kit.errors import KitError
from kit.labbook.exchange import export_json, export_xlsx, import_json

CUP = {"class": "coaxial cylinders", "inner_radius": "14.00 mm", "outer_radius": "1.518 cm", "length": "42 mm"}
VIS = Instrument("VIS-1", "viscometer", constants={"disc 5": D(4000)})
FREE = Reading(
    1, "LIN-03/1", "viscosity", D(19000), "mPa.s", instrument="VIS-1", spindle="disc 5", rpm=D(10), torque_pct=D("47.5")
)  # fmt: skip


def codes(reading: Reading) -> list[str]:
    return [flag.code for flag in flags(reading, None, instrument=VIS)]


def test_two_cylinders_give_the_mean_shear_rate_of_the_gap():
    """r = 15.18 / 14.00, r^2 = 1.175676; at 10 rpm w = 1.047198; w (r^2 + 1) / (r^2 - 1) = 12.9692."""
    cup = read_geometry("cup", CUP, where="VIS-2")
    assert cup.is_true
    assert cup.shear_rate_per_s(D(10)) == pytest.approx(12.9692, abs=5e-4)
    assert "true shear rate and stress" in cup.words
    assert SpindleGeometry.from_row("cup", cup.row()) == cup


def test_a_printed_shear_rate_goes_before_the_radii_and_one_is_known_of_the_small_sample_adapter():
    printed = read_geometry("cup", {**CUP, "shear_rate_per_rpm": "1.20"}, where="VIS-2")
    assert printed.shear_rate_per_s(D(10)) == pytest.approx(12.0)
    adapter = geometry_of("Small sample 31")
    assert adapter.is_true and adapter.shear_rate_per_s(D(10)) == pytest.approx(3.4)


@pytest.mark.parametrize(
    ("geometry", "words"),
    [
        (geometry_of("disc 5"), "disc (as makers print it)"),
        (geometry_of("T-bar C"), "T-bar (as makers print it)"),
        (geometry_of("vane"), "geometry NOT RECORDED"),
        (read_geometry("S1", "disc", where="V"), "disc (entered with the instrument)"),
        (read_geometry("S1", "coaxial cylinders", where="V"), "no radii and no printed shear rate"),
        (read_geometry("S1", {**CUP, "outer_radius": "20 mm"}, where="V"), "1.43 to 1, above 1.2"),
    ],
)
def test_everything_else_is_relative_and_says_so(geometry, words):
    assert not geometry.is_true
    assert geometry.shear_rate_per_s(D(10)) is None
    assert words in geometry.words
    assert "not a material property, comparable on the same spindle and instrument only" in geometry.words


def test_what_was_entered_goes_before_what_makers_print():
    own = {"disc 5": read_geometry("disc 5", CUP, where="V")}
    assert geometry_of("disc 5", own).is_true
    assert not geometry_of("disc 6", own).is_true


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("ball", "instrument.geometry"),
        ({"class": "disc", "inner_radius": "14 mm"}, "instrument.geometry"),
        ({**CUP, "gap": "1 mm"}, "instrument.geometry"),
        ({"class": "coaxial cylinders", "inner_radius": "14 mm"}, "instrument.geometry"),
        ({**CUP, "end_effect": "0"}, "instrument.geometry"),
        ({**CUP, "outer_radius": "13 mm"}, "viscometer.radii"),
        ({**CUP, "length": "42"}, "units.missing"),
    ],
)
def test_a_geometry_that_cannot_be_is_refused(typed, code):
    with pytest.raises(KitError) as caught:
        read_geometry("cup", typed, where="VIS-2")
    assert caught.value.code == code


def test_a_geometry_is_kept_with_its_instrument_and_travels(tmp_path):
    with kit.new_labbook(tmp_path / "a.labbook") as book:
        told = {"kind": "viscometer", "constants": {"disc 5": 4000}}
        book.add_instrument("VIS-1", **told)
        assert "geometry" not in book.store.read("instrument/VIS-1")[0].body  # as it always was
        first = book.add_instrument("VIS-2", **told, geometry={"cup": CUP, "disc 5": "disc"})
        assert first.new and not book.add_instrument("VIS-2", **told, geometry={"cup": CUP, "disc 5": "disc"}).new
        kept = book.source().instrument("VIS-2").geometry
        assert kept["cup"].inner_radius_mm == D(14) and kept["cup"].outer_radius_mm == D("15.18")
        assert kept["disc 5"].kind == "disc"
        export_json(book, tmp_path / "a.json")
        export_xlsx(book, tmp_path / "a.xlsx")
    import_json(tmp_path / "a.json", tmp_path / "b.labbook")
    with kit.open_labbook(tmp_path / "b.labbook") as book:
        assert book.source().instrument("VIS-2").geometry == kept
    rows = list(openpyxl.load_workbook(tmp_path / "a.xlsx")["instruments"].iter_rows(min_row=2, values_only=True))
    assert [(row[0], row[3], row[4]) for row in rows] == [
        ("VIS-1", "disc 5", 4000), ("VIS-2", "disc 5", 4000), ("VIS-2", "cup", None)
    ]  # fmt: skip
    assert "inner_radius_mm 14.00" in rows[2][5]


def test_a_viscosity_without_a_method_is_held_to_the_window_and_the_constant():
    """K = 4000: 47.5 % at 10 rpm is 19,000 mPa.s."""
    assert codes(FREE) == []
    assert codes(replace(FREE, value=D(40600), torque_pct=D("101.5"))) == ["reading.torque_high"]
    assert codes(replace(FREE, value=D(3960), torque_pct=D("9.9"))) == ["reading.torque_low"]
    assert codes(replace(FREE, torque_pct=D("4.75"))) == ["reading.torque_low", "reading.constant"]
    assert codes(replace(FREE, value=D(19400))) == ["reading.constant"]  # 2.1 % off
    assert codes(replace(FREE, spindle="", torque_pct=D("101.5"))) == []


def test_a_torque_or_a_speed_that_is_not_above_zero_is_told_as_that():
    method = methods()["viscosity"]
    for torque in ("0", "-1.2"):
        found = flags(replace(FREE, method="viscosity", temp_c=D(25), torque_pct=D(torque)), method)
        assert [flag.code for flag in found] == ["reading.torque_none"]
        assert "direction of turning" in found[0].words
    assert codes(replace(FREE, rpm=D(0), torque_pct=None)) == ["reading.speed"]
