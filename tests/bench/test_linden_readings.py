"""The linden readings, typed out: exactly one is suspect in itself; which of the others may be compared."""

from decimal import Decimal

from kit.bench.comparability import against_method, compare_pair
from kit.bench.methods import age_window, method
from kit.bench.readings import Instrument, Reading, flags, usable

D = Decimal
VISCOSITY = method("viscosity")
VISCOMETER = Instrument("VIS-1", "viscometer", {"disc 4": D(2000), "disc 5": D(4000), "disc 6": D(10000)})
AGES_H = {"1 h": D(1), "24 h": D(24), "72 h": D(72), "7 d": D(168)}

# Invented data: viscosity in mPa.s (torque in %, spindle) at 10 rpm; "!" marks the one read over range.
TABLE = """
LIN-01 | 2600 (13.0, disc 4) | 4200 (21.0, disc 4) | 4900 (24.5, disc 4) | 5000 (25.0, disc 4)
LIN-02 | 5200 (13.0) | 8880 (22.2) | 10800 (27.0) | 11200 (28.0)
LIN-03 | 8800 (22.0) | 15600 (39.0) | 19000 (47.5) | 19600 (49.0)
LIN-04 | 13600 (34.0) | 24800 (62.0) | 29600 (74.0) | 30400 (76.0)
LIN-05 | 19520 (48.8) | 35200 (88.0) | 40600 (101.5) ! | 43000 (43.0, disc 6)
LIN-06 | 8320 (20.8) | 16720 (41.8) | 20080 (50.2) | 20400 (51.0)
LIN-07 | 8000 (20.0) | 16400 (41.0) | 20600 (51.5) | 21520 (53.8)
"""


def _readings():
    readings, marked = {}, set()
    for row in TABLE.strip().splitlines():
        trial, *cells = (part.strip() for part in row.split("|"))
        for label, cell in zip(AGES_H, cells, strict=True):
            value, inside = cell.rstrip(" !").rstrip(")").split(" (")
            torque, _, spindle = inside.partition(", ")
            if cell.endswith("!"):
                marked.add((trial, label))
            readings[trial, label] = Reading(
                len(readings) + 1,
                f"{trial}/1",
                "viscosity",
                D(value),
                "mPa.s",
                age_h=AGES_H[label],
                temp_c=D(25),
                method="viscosity",
                instrument="VIS-1",
                spindle=spindle or "disc 5",
                rpm=D(10),
                torque_pct=D(torque),
                reading_time_s=D(60),
                container="100 mL jar",
            )
    return readings, marked


READINGS, MARKED = _readings()


def test_exactly_the_marked_reading_is_flagged():
    found = {
        place: [flag.code for flag in flags(reading, VISCOSITY, VISCOMETER)] for place, reading in READINGS.items()
    }
    assert len(READINGS) == 28
    assert {("LIN-05", "72 h")} == MARKED
    assert {place for place, codes in found.items() if codes} == MARKED
    assert found["LIN-05", "72 h"] == ["reading.torque_high"]
    assert not usable(READINGS["LIN-05", "72 h"], flags(READINGS["LIN-05", "72 h"], VISCOSITY, VISCOMETER))


def test_two_batches_of_one_version_at_one_age():
    assert compare_pair(READINGS["LIN-03", "72 h"], READINGS["LIN-06", "72 h"], VISCOSITY).comparable


def test_one_hour_is_never_set_against_twenty_four():
    verdict = compare_pair(READINGS["LIN-06", "1 h"], READINGS["LIN-03", "24 h"], VISCOSITY)
    assert verdict.state == "not comparable"
    assert [reason.code for reason in verdict.reasons] == ["compare.age"]


def test_another_disc_is_not_comparable_and_not_flagged():
    seventh_day = READINGS["LIN-05", "7 d"]
    assert flags(seventh_day, VISCOSITY, VISCOMETER) == ()
    verdict = compare_pair(seventh_day, READINGS["LIN-03", "7 d"], VISCOSITY)
    assert [reason.code for reason in verdict.reasons] == ["compare.spindle"]
    assert "disc 6" in verdict.words()
    assert [reason.code for reason in against_method(seventh_day, VISCOSITY, age_window("7 d")).reasons] == [
        "compare.spindle"
    ]
    for label in AGES_H:
        assert flags(READINGS["LIN-01", label], VISCOSITY, VISCOMETER) == ()
        assert compare_pair(READINGS["LIN-01", label], READINGS["LIN-03", label], VISCOSITY).state == "not comparable"


def test_the_reading_again_on_the_smaller_disc_is_clean():
    again = Reading(
        99,
        "LIN-05/1",
        "viscosity",
        D(42000),
        "mPa.s",
        age_h=D("72.5"),
        temp_c=D(25),
        method="viscosity",
        instrument="VIS-1",
        spindle="disc 6",
        rpm=D(10),
        torque_pct=D("42.0"),
        reading_time_s=D(60),
        container="100 mL jar",
    )
    assert flags(again, VISCOSITY, VISCOMETER) == ()


def test_only_the_72_hour_readings_on_disc_5_meet_the_limit():
    # The spec is on viscosity at 72 h by the method "viscosity", disc 5.
    window = age_window("72 h")
    judged = {
        trial for (trial, _), reading in READINGS.items() if against_method(reading, VISCOSITY, window).comparable
    }
    assert judged == {"LIN-02", "LIN-03", "LIN-04", "LIN-05", "LIN-06", "LIN-07"}
    assert sum(against_method(reading, VISCOSITY, window).comparable for reading in READINGS.values()) == 6
