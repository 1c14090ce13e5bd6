"""Knowledge: what was learned about unknowns, kept as plain numbers, and how it takes the place of priors."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from kit.errors import KitError
from kit.formula.knowledge import Knowledge, LearnedReading, LeftOutReading, Unknown

OFFSET = Unknown("offset of the base", "base", "offset", "meq acid per kg water", 0.0, 0.8, "flakes", "own")
ACIDITY = Unknown("acidity of oat", "oat", "acidity", "meq/g", 0.0, 0.05, "sold at pH 4 to 5", "own")
PKA = Unknown("pka of Citric Acid", "Citric Acid", "pka", "1", 0.0, 0.03, "handbook", "own", "handbook")
LATENT = Unknown("latent share of lactic", "lactic", "latent", "1", 0.1, 0.05, "oligomers", "own", age_h=24.0)

LEARNED = Knowledge(
    names=("offset of the base", "acidity of oat"),
    mean=(0.5, -0.02),
    covariance=((0.04, -0.003), (-0.003, 0.0009)),
    readings=(LearnedReading("LIN-03/1", 12, "24 h", 4.60, 0.07, -0.01),),
    words=("one reading is flagged",),
    left_out=(LeftOutReading("LIN-05/1", 31, 5.62, "24 h", "reading.void", "it was voided"),),
    unknowns=(OFFSET, ACIDITY),
    age_h=24.0,
)


def test_what_was_learned_takes_the_place_of_priors_and_the_rest_keeps_theirs():
    mean, covariance = LEARNED.prior_for((PKA, ACIDITY, OFFSET))
    assert mean.tolist() == [0.0, -0.02, 0.5]
    assert covariance == pytest.approx(np.array([[0.0009, 0, 0], [0, 0.0009, -0.003], [0, -0.003, 0.04]]))


def test_without_knowledge_the_priors_stand():
    mean, covariance = Knowledge((), (), ()).prior_for((OFFSET, PKA))
    assert mean.tolist() == [0.0, 0.0]
    assert np.diag(covariance).tolist() == pytest.approx([0.64, 0.0009])
    assert Knowledge((), (), ()).prior_for(())[1].shape == (0, 0)


def test_a_latent_share_belongs_to_its_age():
    learned = Knowledge(("latent share of lactic",), (0.2,), ((0.0001,),), age_h=24.0)
    for age_h, covered in ((24.0, True), (26.0, True), (1.0, False), (168.0, False)):
        asked = Unknown(*(LATENT.name, "lactic", "latent", "1", 0.1, 0.05), age_h=age_h)
        assert learned.covers(asked) == covered, age_h
        assert learned.prior_for((asked,))[0][0] == (0.2 if covered else 0.1)
    assert Knowledge(("latent share of lactic",), (0.2,), ((0.0001,),)).covers(LATENT)  # ages were mixed


def test_it_goes_through_json_and_comes_back_the_same():
    row = json.loads(json.dumps(LEARNED.row()))
    assert Knowledge.read(row) == LEARNED
    assert Knowledge.read(json.loads(json.dumps(Knowledge.read(row).row()))) == LEARNED


def test_it_says_what_it_learned_and_from_what():
    told = LEARNED.said()
    assert told[0] == (
        "rest of the base: acid it brings, 0.00 ± 0.80 meq acid per kg water before, 0.50 ± 0.20 meq acid per kg water "
        "learned"
    )
    assert told[2] == "LIN-03/1, reading at 24 h: pH 4.60, off by +0.07 before and −0.01 after learning"
    assert told[3] == "LIN-05/1 at 24 h, pH 5.62: left out, it was voided"
    assert told[4] == "one reading is flagged"
    assert "LIN-03/1" in str(LEARNED) and "<table" in LEARNED._repr_html_()
    assert LEARNED.sd("acidity of oat") == pytest.approx(math.sqrt(0.0009))


def test_a_reading_whose_age_is_not_told_has_no_dangling_word():
    typed = LearnedReading("Base", 0, "", 4.83, 0.1, -0.001, "titration, 0.10 g Citric Acid on 20 g")
    process = LearnedReading("LIN-01/1", 9, "in process", 5.0, 0.1, 0.0, "in process, titration of the batch: before")
    left = LeftOutReading("LIN-02/1", 3, 4.8, "", "compare.missing", "its time was not recorded")
    told = Knowledge((), (), (), readings=(typed, process), left_out=(left,)).said()
    assert told == (
        "Base, titration, 0.10 g Citric Acid on 20 g: pH 4.83, off by +0.10 before and +0.00 after learning",
        "LIN-01/1, in process, titration of the batch: before: pH 5.00, off by +0.10 before and +0.00 after learning",
        "LIN-02/1, pH 4.80: left out, its time was not recorded",
    )


ASSAY = Unknown("assay of la-88", "la-88", "assay", "1", 1.0, 0.012, "", "own", subject_name="Lactic Acid (88 %)")
CITRIC = Unknown("pka of Citric Acid", "Citric Acid", "pka", "1", 0, 0.03, "", "own", constants=(3.13, 4.76, 6.4))
BOUND = Unknown("latent share of la-88", "la-88", "latent", "1", 0.1, 0.05, "", "own", "memory", 24.0, "Lactic Acid")
EXTRACT = Unknown("acidity of oat", "oat", "acidity", "meq/g", 0.0, 0.05, "", "own", subject_name="Oat Extract")


def learned(unknown: Unknown, mean: float, sd: float, *others: Unknown) -> Knowledge:
    """Knowledge in which one unknown moved and the others stand where they stood."""
    unknowns = (unknown, *others)
    means = (mean, *(other.mean for other in others))
    spreads = (sd, *(other.sd for other in others))
    covariance = np.diag(np.square(spreads)).tolist()
    return Knowledge(tuple(one.name for one in unknowns), means, covariance, unknowns=unknowns, age_h=24.0)


@pytest.mark.parametrize(
    ("unknown", "mean", "sd", "row"),
    [
        (ASSAY, 0.986, 0.0108, ("Lactic Acid (88 %): share of assay", "100.0 ± 1.2 %", "98.6 ± 1.1 %", "estimated")),
        # 3.13 - 0.02, 4.76 - 0.02, 6.40 - 0.02
        (
            CITRIC,
            -0.02,
            0.028,
            ("Citric Acid: pKa", "3.13, 4.76, 6.40 ± 0.03", "3.11, 4.74, 6.38 ± 0.03", "estimated"),
        ),
        (BOUND, 0.15, 0.02, ("Lactic Acid: share still bound at 24 h", "10.0 ± 5.0 %", "15.0 ± 2.0 %", "memory")),
        (BOUND, -0.01, 0.02, ("Lactic Acid: share still bound at 24 h", "10.0 ± 5.0 %", "0.0 ± 2.0 %", "memory")),
        (
            EXTRACT,
            -0.0204,
            0.03,
            ("Oat Extract: acid it brings", "0.000 ± 0.050 meq/g", "−0.020 ± 0.030 meq/g", "estimated"),
        ),
    ],
)
def test_each_kind_is_told_in_the_words_of_the_bench(unknown, mean, sd, row):
    (found,) = learned(unknown, mean, sd).table().rows
    assert found == row


def test_only_what_the_readings_were_felt_by_has_a_row_and_the_rest_is_counted():
    knowledge = learned(ASSAY, 0.98, 0.012, CITRIC, EXTRACT)
    assert [row[0] for row in knowledge.table().rows] == ["Lactic Acid (88 %): share of assay"]
    assert knowledge.table().note == "Mean ± standard deviation. 2 others: hardly felt by these readings."
    assert knowledge.said()[1] == "2 others: hardly felt by these readings."
    assert len(knowledge.covariance) == 3  # a band needs the others as well
    assert knowledge.prior_for((EXTRACT,))[1].tolist() == [[pytest.approx(0.0025)]]


@pytest.mark.parametrize(
    ("mean", "sd", "felt"),
    [(1.0, 0.012 * 0.94, True), (1.0, 0.012 * 0.96, False), (1.0 + 0.0025, 0.012, True), (1.0 - 0.0023, 0.012, False)],
)
def test_felt_is_a_twentieth_of_the_spread_or_a_fifth_of_it_moved(mean, sd, felt):
    rows = learned(ASSAY, mean, sd).table().rows
    assert bool(rows) == felt


def test_nothing_felt_says_so():
    table = learned(ASSAY, 1.0, 0.012).table()
    assert (list(table.rows), table.note) == ([], "1 other: hardly felt by these readings.")


def test_without_its_priors_all_of_it_shows():
    kept = Knowledge(("a", "b"), (0.5, 0.0), ((0.04, 0.0), (0.0, 1.0)))
    assert [row[:3] for row in kept.table().rows] == [
        ("a", "not kept", "0.50 ± 0.20"),
        ("b", "not kept", "0.00 ± 1.00"),
    ]


def test_names_and_constants_survive_being_kept():
    knowledge = learned(CITRIC, -0.02, 0.028, ASSAY)
    again = Knowledge.read(json.loads(json.dumps(knowledge.row())))
    assert again == knowledge
    assert again.table() == knowledge.table()


def test_a_titration_among_the_readings_is_known():
    assert not LEARNED.titrated()
    titration = LearnedReading("B", 1, "24 h", 4.4, 0.1, 0.0, "titration, 0.30 g citric acid 10 % on 20 g")
    assert Knowledge(("a",), (0.0,), ((1.0,),), (titration,)).titrated()


@pytest.mark.parametrize(
    ("names", "mean", "covariance"),
    [
        (("a", "b"), (0.0,), ((1.0,),)),
        (("a",), (0.0,), ((1.0, 0.0),)),
        (("a",), (float("nan"),), ((1.0,),)),
        (("a",), (0.0,), ((-1.0,),)),
    ],
)
def test_numbers_that_do_not_fit_are_refused(names, mean, covariance):
    with pytest.raises(KitError) as caught:
        Knowledge(names, mean, covariance)
    assert caught.value.code == "ph.knowledge"


@pytest.mark.parametrize("row", [{}, {"names": ["a"]}, {"names": ["a"], "mean": ["x"], "covariance": [[1]]}])
def test_a_row_that_is_none_is_refused(row):
    with pytest.raises(KitError) as caught:
        Knowledge.read(row)
    assert caught.value.code == "ph.knowledge"
