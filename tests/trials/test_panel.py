"""What a panel found, in words: verdicts with intervals and power, and no verdict where answers are missing.

Referees: tables of the standards for the numbers needed, arithmetic by hand for shares, scipy for probabilities.
"""

from __future__ import annotations

import random

import pytest
from scipy import stats

import kit
from kit.errors import KitError
from kit.trials import panel_finding as said
from tests.panel_bench import PanelBench, code_of, odd, twin


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    bench = PanelBench(tmp_path_factory.mktemp("made"))
    for place in range(1, 5):
        bench.make(f"WOO-0{place}")
    bench.book.close()
    return bench


@pytest.fixture
def woodruff(made, tmp_path):
    bench = PanelBench(tmp_path, made)
    yield bench
    bench.book.close()


def triangle(bench, assessors: int, right: int, **more: object):
    bench.plan("triangle", assessors=assessors, **more)
    bench.answer(lambda place, serving: odd(serving) if place < right else twin(serving))
    return kit.panel(bench.book, "P-1")


def test_the_question_ends_before_the_verdict_begins_and_the_answers_are_counted_of_those_planned(woodruff):
    woodruff.plan("triangle", question="Name the odd one")
    assert kit.panel(woodruff.book, "P-1").words.startswith(
        "Panel P-1 (triangle, 0 of 12 assessors). Name the odd one. No verdict: nobody has answered."
    )


def test_a_difference_is_shown_at_the_minimum_of_the_standard_and_not_below(woodruff):
    """24 assessors, 5 %: 13. 13 of 24 is pc 0.5417, pd = 1.5 x 0.5417 - 0.5 = 0.3125."""
    result = triangle(woodruff, 24, 13)
    assert (result.verdict, result.reason, result.assessors) == (said.SHOWN, "", 24)
    assert "13 of 24 named the odd sample." in result.words
    assert f"13 are needed at a risk of 5 % (p = {stats.binom.sf(12, 24, 1 / 3):.2g})" in result.words
    assert "31 % (95 % interval" in result.words
    assert result.words.endswith("is not tested.")


def test_not_shown_says_what_could_have_been_found(woodruff):
    result = triangle(woodruff, 24, 12)
    assert result.verdict == said.NOT_SHOWN
    assert "That is no proof that there is none." in result.words
    assert "Found four times in five with 24 assessors: 41 % who tell the two apart" in result.words
    # 13 needed of 24: P(X >= 13) is 0.8 where pc is 0.607, so pd is 0.41
    assert stats.binom.sf(12, 24, 1 / 3 + 0.41 * 2 / 3) == pytest.approx(0.8, abs=0.01)


def test_likeness_is_said_only_where_the_bound_lies_below_the_limit_stated_before(woodruff):
    """20 of 60: pc 1/3, pd 0. The exact one-sided bound of 20 of 60 is 0.446, pd 0.17: below 0.3, not below 0.15."""
    alike = triangle(woodruff, 60, 20, similar_below="30 %")
    assert alike.verdict == said.ALIKE
    bound = stats.binomtest(20, 60, alternative="less").proportion_ci(0.95).high
    assert f"At most {100 * (1.5 * bound - 0.5):.0f} % tell the two apart (one-sided 95 %)" in alike.words
    assert "the limit stated before is 30 %" in alike.words


def test_not_shown_to_be_alike_is_no_difference(woodruff):
    result = triangle(woodruff, 12, 4, similar_below="20 %")
    assert result.verdict == said.NOT_ALIKE
    assert "the chance of that is" in result.words


@pytest.mark.parametrize("right", [10, 9])
def test_preference_counts_both_sides(woodruff, right):
    """12 assessors, two-sided 5 %: 10 in agreement (ISO 5495)."""
    woodruff.plan("preference")
    woodruff.answer(lambda place, serving: code_of(serving, "B" if place < right else "A"))
    result = kit.panel(woodruff.book, "P-1")
    assert result.verdict == (said.PREFERRED if right == 10 else said.NOT_PREFERRED)
    assert f"{12 - right} of 12 preferred WOO-01/1, {right} WOO-02/1." in result.words
    assert "50 % is chance" in result.words


def test_paired_counts_one_side_only_where_it_was_stated_before(woodruff):
    """12 of one side: 9 are needed one-sided at 5 % (P = 0.073 fails, so 10), 10 two-sided (ISO 5495)."""
    for name, expected, right in (("P-1", "B", 10), ("P-2", "B", 2), ("P-3", (), 2)):
        woodruff.plan("paired", name, expected=expected)
        woodruff.answer(lambda place, serving, right=right: code_of(serving, "B" if place < right else "A"), name)
    verdicts = [kit.panel(woodruff.book, name).verdict for name in ("P-1", "P-2", "P-3")]
    assert verdicts == [said.SHOWN, said.NOT_SHOWN, said.SHOWN]


def test_duo_trio_is_right_where_the_reference_was_found(woodruff):
    """12 assessors, chance 1/2, one-sided 5 %: 10 (P(X >= 10) = 79/4096 = 0.019, P(X >= 9) = 0.073)."""
    woodruff.plan("duo-trio")
    woodruff.answer(
        lambda place, serving: next(
            code for code, letter in serving.letters.items() if (letter == serving.reference) == (place < 10)
        )
    )
    result = kit.panel(woodruff.book, "P-1")
    assert result.verdict == said.SHOWN and result.finding.test.right == 10
    assert result.finding.test.p == pytest.approx(79 / 4096)


def test_a_ranking_has_rank_sums_pairs_and_the_order_expected_before(woodruff):
    """Everybody ranks B > A > C > D but one, who swaps C and D: sums 24, 12, 37, 47 of A to D."""
    woodruff.plan("ranking", samples="ABCD", expected="B > A > C > D")
    woodruff.answer(lambda place, serving: [code_of(serving, letter) for letter in ("BACD" if place else "BADC")])
    result = kit.panel(woodruff.book, "P-1")
    assert result.finding.test.rank_sums == (24, 12, 37, 47)
    assert "Rank sums: WOO-01/1 24, WOO-02/1 12, WOO-03/1 37, WOO-04/1 47." in result.words
    assert result.verdict == said.SHOWN
    assert f"{12 * 1 + 24 * 2 + 37 * 3 + 47 * 4} needed" not in result.words
    assert f"L = {12 * 1 + 24 * 2 + 37 * 3 + 47 * 4}" in result.words and "is shown" in result.words
    pairs = next(table for table in result.tables() if "differences" in table.title)
    assert {row[0]: row[1] for row in pairs.rows}["WOO-02/1, WOO-04/1"] == "35"
    assert "12.4 for one pair, 16.2 for all pairs" in pairs.note


def test_ratings_of_two_are_signed_ranks_and_of_more_friedman(woodruff):
    """Steps of 1 for all 12: p = 2 / 4096, shift 1."""
    woodruff.plan("rating", scale=(1, 5))
    woodruff.answer(lambda place, serving: {code: 3 + (letter == "A") for code, letter in serving.letters.items()})
    result = kit.panel(woodruff.book, "P-1")
    assert result.verdict == said.SHOWN
    assert result.finding.test.p == pytest.approx(2 / 4096)
    assert "Middle shift of WOO-01/1 against WOO-02/1: +1 (95 % interval +1 to +1)" in result.words
    woodruff.plan("rating", "P-2", "ABC", scale=(1, 5))
    woodruff.answer(
        lambda place, serving: {code: "CAB".index(letter) + 1 for code, letter in serving.letters.items()}, "P-2"
    )
    assert kit.panel(woodruff.book, "P-2").finding.test.rank_sums == (24, 36, 12)


def test_nobody_differing_is_no_verdict(woodruff):
    woodruff.plan("rating", scale=(1, 5))
    woodruff.answer(lambda place, serving: dict.fromkeys(serving.codes, 3))
    result = kit.panel(woodruff.book, "P-1")
    assert result.verdict == said.CANNOT_TELL
    assert "every assessor rated the two the same" in result.reason


def test_before_the_last_answer_nothing_is_told(woodruff):
    woodruff.plan("triangle")
    assert "nobody has answered" in kit.panel(woodruff.book, "P-1").words
    woodruff.answer(lambda place, serving: odd(serving), count=11)
    early = kit.panel(woodruff.book, "P-1")
    assert early.verdict == said.CANNOT_TELL and early.finding is None
    assert "1 answer still to come (P12)" in early.words
    assert "named the odd" not in str(early)
    woodruff.book.panel_absent("P-1", ["P12"], why="ill")
    late = kit.panel(woodruff.book, "P-1")
    assert late.verdict == said.SHOWN and late.assessors == 11
    assert "P12, one of 12 assessors planned, did not answer: ill." in late.words


def test_answers_missing_unevenly_leave_no_verdict(woodruff):
    """Both assessors of one order stay away: 0 of that order, 2 of the others."""
    woodruff.plan("triangle")
    panel = woodruff.panel()
    away = [serving.assessor for serving in panel.servings if serving.order == panel.servings[0].order]
    rest = {item.assessor: odd(item) for item in panel.servings if item.assessor not in away}
    woodruff.book.panel_answers("P-1", rest)
    woodruff.book.panel_absent("P-1", away, why="did not come")
    result = kit.panel(woodruff.book, "P-1")
    assert (len(away), result.verdict) == (2, said.CANNOT_TELL)
    assert "2 answers missing or not whole leave the serving uneven" in result.words and "stand-ins" in result.words
    assert "needed" not in result.words and "is shown" not in result.words
    woodruff.book.panel_answers("P-1", {name: odd(panel.serving(name)) for name in away})  # stand-ins
    assert kit.panel(woodruff.book, "P-1").verdict == said.SHOWN


def test_a_void_panel_and_one_too_small_have_no_verdict(woodruff):
    small = triangle(woodruff, 2, 2)
    assert small.verdict == said.CANNOT_TELL and "not even if all of them agree" in small.reason
    woodruff.book.void_panel("P-1", why="the key lay open")
    assert "No verdict: it is void: the key lay open." in kit.panel(woodruff.book, "P-1").words


def test_corrections_and_voids_are_told_with_the_result(woodruff):
    woodruff.plan("triangle")
    woodruff.answer(lambda place, serving: odd(serving))
    first = woodruff.panel().servings[0]
    woodruff.book.correct_panel_answer("P-1", "P01", twin(first), why="wrong line")
    result = kit.panel(woodruff.book, "P-1")
    assert result.finding.test.right == 11
    assert "Answer of P01 put right: wrong line." in result.words
    woodruff.book.void_panel_answer("P-1", "P02", why="served twice")
    assert "1 answer still to come (P02)" in kit.panel(woodruff.book, "P-1").words


@pytest.mark.parametrize("kind", ["triangle", "duo-trio", "paired", "preference", "ranking", "rating"])
def test_the_order_in_which_answers_come_in_changes_nothing(woodruff, kind):
    drawn = random.Random(3)
    samples = "ABC" if kind in ("ranking", "rating") else "AB"
    servings = []
    for name in ("P-1", "P-2"):
        woodruff.plan(kind, name, samples)
        servings = woodruff.panel(name).servings

    def said_by(serving) -> object:
        mixed = drawn.sample(serving.codes, len(serving.codes))
        if kind == "ranking":
            return mixed
        return {code: drawn.randint(1, 9) for code in mixed} if kind == "rating" else mixed[0]

    answers = {serving.assessor: said_by(serving) for serving in servings}
    woodruff.book.panel_answers("P-1", answers)
    for name in drawn.sample(list(answers), len(answers)):
        woodruff.book.panel_answers("P-2", {name: answers[name]})
    one, other = (kit.panel(woodruff.book, name) for name in ("P-1", "P-2"))
    assert one.finding.test == other.finding.test
    assert one.words == other.words.replace("P-2", "P-1")


def test_what_is_not_there_is_said_with_the_nearest_name(woodruff):
    woodruff.plan("triangle")
    with pytest.raises(KitError) as caught:
        kit.panel(woodruff.book, "P-11")
    assert caught.value.code == "panel.unknown" and "P-1" in caught.value.allowed


def test_a_result_shows_itself_and_typed_text_is_no_markup(woodruff):
    woodruff.plan("triangle", question="Which <b>one</b>?")
    woodruff.answer(lambda place, serving: odd(serving))
    shown = kit.panel(woodruff.book, "P-1")._repr_html_()
    assert "&lt;b&gt;" in shown and "<b>one" not in shown
    assert "&lt;b&gt;" in woodruff.panel().sheets()._repr_html_()


def test_a_sample_that_was_not_judged_is_said_and_its_assessor_is_in_no_rank_sum(woodruff):
    """11 whole rankings A > B > C of 12: sums 11, 22, 33. P01 judged two: the test with gaps takes it in."""
    woodruff.plan("ranking", samples="ABC")
    panel = woodruff.panel()
    first = panel.servings[0]
    woodruff.answer(
        lambda place, serving: {
            code: None if (place, letter) == (0, "C") else "ABC".index(letter) + 1
            for code, letter in serving.letters.items()
        }
    )
    result = kit.panel(woodruff.book, "P-1")
    assert result.finding.test.rank_sums == (11, 22, 33)
    assert f"{first.assessor} did not judge every sample and is in no rank sum" in result.words
    assert "12 assessors): chi-square" in result.words
    woodruff.plan("rating", "P-2", scale=(1, 5))
    woodruff.answer(
        lambda place, serving: {
            code: None if (place, letter) == (0, "A") else 2 + (letter == "A")
            for code, letter in serving.letters.items()
        },
        "P-2",
    )
    rated = kit.panel(woodruff.book, "P-2")
    assert rated.finding.test.assessors == 11 and "did not judge every sample" in rated.words


def test_gaps_that_unbalance_the_serving_leave_no_verdict(woodruff):
    """Both assessors of one of six orders skip a sample: each sample stood in each place 4 times, now 2 apart."""
    woodruff.plan("ranking", samples="ABC")
    panel = woodruff.panel()
    away = [serving.assessor for serving in panel.servings if serving.order == panel.servings[0].order]
    woodruff.answer(
        lambda place, serving: {
            code: None if serving.assessor in away and letter == "C" else "ABC".index(letter) + 1
            for code, letter in serving.letters.items()
        }
    )
    result = kit.panel(woodruff.book, "P-1")
    assert result.verdict == said.CANNOT_TELL and "not whole leave the serving uneven" in result.words
    assert not any(word in result.words for word in ("is shown", "Friedman", "Skillings", "p ="))


def test_what_a_panel_can_find_is_said_when_it_is_planned(woodruff):
    notes = woodruff.plan("triangle", assessors=24).notes
    assert any("with 24 assessors: 41 % who tell the two apart; half that share takes" in note for note in notes)
    alike = woodruff.plan("triangle", "P-2", assessors=60, similar_below="30 %").notes
    assert any("right answers or fewer of 60" in note for note in alike)
    assert not any("four times" in note for note in woodruff.plan("ranking", "P-3", "ABC").notes)
