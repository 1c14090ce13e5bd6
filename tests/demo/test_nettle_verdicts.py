"""The nettle study judged by the kit's own verdicts: what differs, what cannot be told, and what goes with the day."""

from __future__ import annotations

import math
import statistics

import pytest

import kit
from tests.trials.together import chance_together

STUDY = "nettle"
# viscosity at 72 h, mPa.s, typed from the study as it was laid down
CENTRE = (16400, 15800, 16880)
TRIALS = {"NET-01": 13800, "NET-02": 15920, "NET-03": 15120, "NET-04": 11600, "NET-08": 7920}


@pytest.fixture(scope="module")
def thick(comparison):
    """Viscosity at 72 h."""
    return comparison.result("viscosity", "72 h")


@pytest.mark.parametrize(
    ("trial", "code"),
    [
        ("NET-01", "cannot_tell"),
        ("NET-02", "cannot_tell"),
        ("NET-03", "cannot_tell"),
        ("NET-04", "real"),
        ("NET-08", "real"),
    ],
)
def test_every_version_has_its_verdict_against_the_centre(thick, trial, code):
    """Two degrees of freedom: what is not real cannot be told, for the scatter itself is poorly known."""
    found = thick.arm(trial).difference
    centre = [math.log(value) for value in CENTRE]
    assert found.code == code
    assert found.value == pytest.approx(TRIALS[trial] / math.exp(statistics.mean(centre)), rel=1e-9)
    assert found.standard_error == pytest.approx(statistics.stdev(centre) * math.sqrt(1 / 3 + 1), rel=1e-9)
    reach = math.log(found.half_width) / found.standard_error
    assert chance_together(reach, 2, 3, (1,) * 5) == pytest.approx(0.95, abs=0.001)
    # chi-square with 2 degrees of freedom, 0.975 and 0.025: 7.378 and 0.0506; SD 3.31 %: 1.7 to 21 %
    assert "scatter itself poorly known (2 df: 3.3 % of the value, 95 % between 1.7 and 21 %)" in found.words


def test_it_says_that_the_intervals_hold_for_five_versions_together(comparison, thick):
    assert thick.multiplicity.startswith("5 versions against one control")
    assert comparison.notes[0].startswith("5 versions against one control")
    assert "for all 5 versions together" in thick.arm("NET-04").difference.words


def test_the_hold_time_coincides_with_the_day_and_the_comparison_says_so(comparison):
    """3 min on the first day only, 12 min on the second only; 7 min was made on every day."""
    (note,) = [note for note in comparison.notes if note.startswith("hold time")]
    assert "coincides with the day but for the level 7" in note
    assert "3 only on 2026-07-06" in note
    assert "12 only on 2026-07-07" in note
    assert note in comparison.table().note
    assert note in str(comparison)


def test_the_speed_was_varied_within_days_and_is_not_named(comparison):
    assert not any(note.startswith("speed") for note in comparison.notes)


def test_a_margin_of_20_percent_shows_that_the_deaerated_batch_is_the_same(source, demo):
    """90 %: ln(15920 / 16355) ± 2.920 x 0.03315 x sqrt(4/3) = -0.0270 ± 0.1118, inside ± ln 1.2 = 0.1823."""
    found = kit.compare(source, demo.compared, control=demo.control, margin="20 %").result("viscosity", "72 h")
    same = found.arm("NET-02").difference
    assert same.code == "equivalent"
    assert (math.log(same.same_low), math.log(same.same_high)) == pytest.approx((-0.1388, 0.0848), abs=5e-4)
    assert found.arm("NET-08").difference.code == "real"
    assert found.arm("NET-01").difference.code == "cannot_tell"
    assert "would be found too seldom" in found.arm("NET-01").difference.words
