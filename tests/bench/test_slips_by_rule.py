"""Three slips of an ordinary bench, each caught by rule: a warm jar, air in the jar, a decimal slip in the torque."""

from __future__ import annotations

from decimal import Decimal

from kit.bench.air_flag import air_flags
from kit.bench.methods import method
from kit.bench.readings import Instrument, Reading, flags, usable

VIS = Instrument("VIS-1", "viscometer", {"disc 5": Decimal(4000)})


def viscosity(value: str, torque: str, temp: str = "25.0") -> Reading:
    return Reading(
        1,
        "X-1/1",
        "viscosity",
        Decimal(value),
        "mPa.s",
        age_h=Decimal(72),
        temp_c=Decimal(temp),
        method="viscosity",
        instrument="VIS-1",
        spindle="disc 5",
        rpm=Decimal(10),
        torque_pct=Decimal(torque),
        reading_time_s=Decimal(60),
        container="100 mL jar",
    )


def density(value: str, property: str) -> Reading:
    return Reading(2, "X-1/1", property, Decimal(value), "g/mL", age_h=Decimal(72))


def found(reading: Reading) -> list[str]:
    return [flag.code for flag in flags(reading, method("viscosity"), VIS)]


def test_the_warm_jar_is_flagged_and_not_corrected():
    """24.8 % at 10 rpm on K 4000 is 9,920; read at 31.6 degC, 6.6 off, over the 3 that a slope may bridge."""
    warm = viscosity("9920", "24.8", "31.6")
    (flag,) = flags(warm, method("viscosity"), VIS)
    assert flag.code == "reading.temperature"
    assert "6.6 degC off, and nothing is corrected" in flag.words
    assert not usable(warm, [flag])
    assert found(viscosity("13360", "33.4", "25.3")) == []


def test_the_torque_with_a_slipped_decimal_contradicts_the_constant():
    """6,800 at 10 rpm needs 17.0 % on K 4000; 1.70 gives K 40,000."""
    assert found(viscosity("6800", "17.0")) == []
    slipped = found(viscosity("6800", "1.70"))
    assert "reading.constant" in slipped
    assert "reading.torque_low" in slipped


def test_air_in_the_jar_is_flagged_from_its_density():
    """1 - 0.871 / 0.987 = 11.75 % by volume; 0.975 after deaerating is 1.2 %, not to be told from none."""
    beside = [density("0.871", "density"), density("0.987", "air-free density")]
    (flag,) = air_flags(viscosity("19800", "49.5"), beside)
    assert flag.code == "reading.air"
    assert "11.8 %" in flag.words
    assert air_flags(viscosity("15920", "39.8"), [density("0.975", "density"), beside[1]]) == ()
    assert air_flags(viscosity("19800", "49.5"), beside[:1]) == ()
