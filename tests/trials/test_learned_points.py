"""Learning from readings on known compositions: signs and sizes, what holds at one age only, what is remarked."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kit.errors import KitError
from kit.trials.learned_points import Point, learn
from tests.trials.simulated_benches import BY_THE_SHEETS, CONCENTRATED_LACTIC, EXTRACTS, composition, true_ph

EXTRACT = EXTRACTS[0]
OFFSET, LATENT = "offset of the base", f"latent share of {CONCENTRATED_LACTIC}"
QUAT = {"behentrimonium-chloride-80": 2.5, "cetearyl-alcohol": 5.0, "phenoxyethanol": 0.8}
AMIDOAMINE = {"stearamidopropyl-dimethylamine": 2.0, "cetearyl-alcohol": 5.0}


def points(formulas, truth=BY_THE_SHEETS, **more) -> list[Point]:
    """What an electrode without any error shows on these formulas, a day after making."""
    return [
        Point(f"batch {number}", made, true_ph(made, truth, EXTRACT), **({"age": "24 h", "age_h": 24.0} | more))
        for number, made in enumerate(map(composition, formulas), start=1)
    ]


def quats(*citric: float, extract: float = 0.0) -> list[dict[str, float]]:
    more = {EXTRACT: extract} if extract else {}
    return [{**QUAT, **more, "citric-acid": pct} for pct in citric]


def mean(knowledge, name: str) -> float:
    return knowledge.mean[knowledge.names.index(name)]


@pytest.mark.parametrize("hidden", [3.0, -2.0])
def test_acid_hidden_in_the_base_is_found_with_its_sign_and_nearly_its_size(hidden):
    knowledge = learn(points(quats(0.05, 0.10, 0.15, 0.20), replace(BY_THE_SHEETS, base_offset_meq_kg=hidden)))
    assert 0.6 < mean(knowledge, OFFSET) / hidden <= 1.0  # the prior, 0 ± 1.5, holds it back a little
    assert knowledge.sd(OFFSET) < 1.0
    assert all(abs(reading.residual_after) < 0.5 * abs(reading.residual_before) for reading in knowledge.readings)
    # hidden acid: read lower than predicted
    assert all(reading.residual_before * hidden < 0 for reading in knowledge.readings)


def test_latent_acid_is_found():
    lactic = [{**AMIDOAMINE, CONCENTRATED_LACTIC: pct} for pct in (0.70, 0.75, 0.80, 0.85)]
    little, much = (
        mean(learn(points(lactic, replace(BY_THE_SHEETS, latent_share=share)), age_h=24.0), LATENT)
        for share in (0.03, 0.14)
    )
    assert 0.02 < little < 0.065
    assert 0.10 < much < 0.15


def test_what_is_latent_at_another_age_teaches_nothing_of_this_one():
    formulas = [{**AMIDOAMINE, CONCENTRATED_LACTIC: pct} for pct in (0.70, 0.85)]
    fresh = points(formulas, replace(BY_THE_SHEETS, latent_share=0.25), age="in process", age_h=0.0, other_age=True)
    knowledge = learn(fresh, age_h=24.0)
    assert not any("latent" in name for name in knowledge.names)
    assert len(knowledge.readings) == 2


def test_readings_of_one_sitting_share_the_error_of_its_calibration():
    apart = points(quats(0.10, 0.10, 0.10))
    together = [replace(point, sitting="one calibration") for point in apart]
    assert learn(apart[:1]).sd(OFFSET) > learn(together).sd(OFFSET) > learn(apart).sd(OFFSET)


def test_the_order_of_readings_does_not_matter():
    found = points([*quats(0.05, extract=2.0), {**AMIDOAMINE, CONCENTRATED_LACTIC: 0.8}])
    one, other = learn(found), learn(found[::-1])
    assert {name: mean(one, name) for name in one.names} == {
        name: pytest.approx(mean(other, name), abs=1e-5) for name in other.names
    }


def test_an_extract_that_buffers_less_than_nothing_does_not_stop_the_search():
    steep = [quats(0.03, extract=3.0)[0], quats(0.20, extract=3.0)[0]]
    high, low = points(steep)
    knowledge = learn([replace(high, ph=high.ph + 0.15), replace(low, ph=low.ph - 0.15)])
    assert not any("did not settle" in words for words in knowledge.words)
    assert mean(knowledge, f"buffering of {EXTRACT}") < 0.01  # the prior's mean


def test_a_reading_that_does_not_fit_the_others_is_named():
    found = points(quats(0.05, 0.10, 0.15, 0.20))
    odd = replace(found[2], ph=found[2].ph + 0.8)
    words = " ".join(learn([*found[:2], odd, found[3]]).words)
    assert "batch 3 (reading) does not fit the others, still off by +0." in words
    assert "batch 1 (reading)" not in words
    assert "does not fit" not in " ".join(learn(found).words)


def test_extract_and_base_are_told_apart_only_where_one_varies():
    same = learn(points(quats(0.05, 0.10, 0.15, extract=2.0))).words
    varied = [quats(0.1, extract=pct)[0] for pct in (0.3, 0.3, 0.3, 6.0, 6.0, 6.0)]
    assert any('acid it brings" from "rest of the base: acid it brings"' in words for words in same)
    assert not any(EXTRACT in words for words in same)  # its name, not its key
    assert not any("hardly tell" in words for words in learn(points(varied)).words)


def test_how_well_it_fits_is_said():
    knowledge = learn(points(quats(0.05, 0.10), replace(BY_THE_SHEETS, base_offset_meq_kg=3.0)))
    assert knowledge.words[0].startswith("Learned from 2 readings of 2 batches: off by 0.")


def test_no_point_and_nothing_open_are_refused():
    with pytest.raises(KitError) as refused:
        learn([])
    assert refused.value.code == "learn.nothing"
