"""Rankings and ratings of a panel: rank sums with their least significant difference, shifts with their interval."""

from __future__ import annotations

import math
from collections.abc import Sequence

from kit.bench.panel import PanelKept
from kit.science.number_text import short
from kit.science.ranking import Ranking, Trend, friedman, page
from kit.science.ratings import SignedRank, signed_rank
from kit.science.statistics import mean_sd
from kit.science.student_t import t_quantile
from kit.show import Table
from kit.trials.panel_finding import CANNOT_TELL, NOT_SHOWN, SHOWN, PanelFinding, p_number, p_words
from kit.trials.panel_rows import Rows, gaps_words, incomplete_words, marks_of, ranks_of
from kit.trials.wording import signed

_FOUR_IN_FIVE = 0.8416  # normal deviate below which 80 % lie
_NO_PROOF = "That is no proof that there is none."


def ranking(kept: PanelKept) -> PanelFinding:
    """What a ranking found.

    Parameters
    ----------
    kept : PanelKept   With at least one answer.
    """
    rows = ranks_of(kept)
    found, trend = friedman(rows), _trend(kept, rows)
    counts = (_sums_table(kept, found, "rank sum", "1 = most: the smaller the sum, the more."),)
    numbers = (_sums_words(kept, found), *incomplete_words(kept))
    if found.reason:
        return PanelFinding(CANNOT_TELL, found, numbers, (), counts, reason=f"{found.reason}.")
    judged = (*_rank_sentences(kept, found), *gaps_words(kept, rows), *_trend_words(kept, trend))
    verdict, tables = _verdict(kept, found, trend), (_pairs_table(kept, found),)
    return PanelFinding(verdict, found, numbers, judged, counts, tables, trend=trend)


def rating(kept: PanelKept) -> PanelFinding:
    """What ratings found: two samples by signed ranks, more by Friedman.

    Parameters
    ----------
    kept : PanelKept   With at least one answer.
    """
    marks = marks_of(kept)
    counted = (_marks_words(kept, marks), *incomplete_words(kept))
    if len(kept.letters) == 2:
        return _two_rated(kept, [row for row in marks if None not in row], counted)
    found = friedman(marks)
    counts = (_marks_table(kept, marks), _sums_table(kept, found, "rank sum of the marks", "The larger, the more."))
    if found.reason:
        return PanelFinding(CANNOT_TELL, found, counted, (), counts, reason=f"{found.reason}.")
    judged = (_sums_words(kept, found), *_rank_sentences(kept, found), *gaps_words(kept, marks))
    return PanelFinding(_verdict(kept, found, None), found, counted, judged, counts, (_pairs_table(kept, found),))


def _trend(kept: PanelKept, rows: Rows) -> Trend | None:
    return page(rows, [kept.letters.index(letter) for letter in kept.expected]) if kept.expected else None


def _verdict(kept: PanelKept, found: Ranking, trend: Trend | None) -> str:
    """By the order expected before where there is one: that is the question which was asked."""
    p = found.p if trend is None else trend.p
    return SHOWN if p <= float(kept.alpha) else NOT_SHOWN


def _sums_words(kept: PanelKept, found: Ranking) -> str:
    told = ", ".join(
        f"{kept.samples[letter]} {total:g}" for letter, total in zip(kept.letters, found.rank_sums, strict=True)
    )
    return f"Rank sums: {told}."


def _rank_sentences(kept: PanelKept, found: Ranking) -> tuple[str, ...]:
    alpha = float(kept.alpha)
    how = "exact" if found.p_exact is not None else "chi-square"
    told = [f"Friedman {found.statistic:.2f} with {found.df} degrees of freedom ({p_words(found.p)}, {how})."]
    least = found.least_difference(alpha)
    if found.p > alpha:
        told.append(f"No two samples are told apart. {_NO_PROOF}")
    else:
        told.append(f"Told apart, each pair at {short(100 * alpha)} %: {_pair_words(kept, found, least)}.")
        every = found.least_difference_of_all(alpha)
        told.append(f"Of these with one risk for all pairs together: {_pair_words(kept, found, every)}.")
    found_in = least * (1 + _FOUR_IN_FIVE / _deviate(alpha))
    told.append(
        f"Found four times in five with {found.assessors} assessors: two samples whose rank sums differ by about "
        f"{found_in:.0f}, in mean place by {found_in / found.assessors:.1f}."
    )
    return tuple(told)


def _deviate(alpha: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(1 - alpha / 2))


def _pair_words(kept: PanelKept, found: Ranking, difference: float) -> str:
    names = [kept.samples[letter] for letter in kept.letters]
    return "; ".join(f"{names[one]} and {names[other]}" for one, other in found.pairs(difference)) or "none"


def _trend_words(kept: PanelKept, trend: Trend | None) -> tuple[str, ...]:
    if trend is None:
        return ()
    order, alpha = " > ".join(kept.samples[letter] for letter in kept.expected), float(kept.alpha)
    shown = "is shown" if trend.p <= alpha else "is not shown"
    return (
        f"The order expected before, {order}, {shown}: L = {trend.statistic:g}, {trend.critical(alpha):.1f} needed "
        f"({p_words(trend.p)}, one-sided).",
    )


def _two_rated(kept: PanelKept, marks: Rows, counted: tuple[str, ...]) -> PanelFinding:
    if not marks:
        return PanelFinding(CANNOT_TELL, None, counted, (), (), reason="no assessor rated both samples.")
    first, second = (kept.samples[letter] for letter in kept.letters)
    found = signed_rank(*zip(*marks, strict=True))
    counts, tables = (_marks_table(kept, marks),), (_signed_table(kept, found),)
    told = f"{found.higher} rated {first} higher, {found.lower} {second}, {found.equal} both the same."
    if found.reason:
        return PanelFinding(CANNOT_TELL, found, (*counted, told), (), counts, reason=f"{found.reason}.")
    shown = found.p <= float(kept.alpha)
    judged = [f"Signed ranks: {p_words(found.p)}, both sides, exact.", _shift_words(found, first, second)]
    judged += [] if shown else [_NO_PROOF]
    judged += _detectable(marks)
    return PanelFinding(SHOWN if shown else NOT_SHOWN, found, (*counted, told), tuple(judged), counts, tables)


def _shift_words(found: SignedRank, first: str, second: str) -> str:
    if found.low is None:
        return f"{found.assessors} assessors are too few for an interval of the shift."
    low, high = (signed(f"{part:g}") if part else "0" for part in (found.low, found.high))
    return (
        f"Middle shift of {first} against {second}: {signed(f'{found.shift:g}') if found.shift else '0'} "
        f"({short(100 * found.confidence)} % interval {low} to {high}), the steps of the scale taken as equal."
    )


def _detectable(marks: Rows) -> list[str]:
    differences = [row[0] - row[1] for row in marks]
    sd, n = mean_sd(differences).sd, len(differences)
    if not sd:
        return []
    found = (t_quantile(n - 1, 0.95) + _FOUR_IN_FIVE) * sd / math.sqrt(n)
    return [f"Found four times in five with {n} assessors: a shift of about {found:.1f} steps."]


def _marks_words(kept: PanelKept, marks: Rows) -> str:
    told = ", ".join(f"{kept.samples[letter]} {_middle(column):g}" for letter, column in _columns(kept, marks))
    return f"Middle marks on {kept.scale[0]} to {kept.scale[1]}: {told}."


def _columns(kept: PanelKept, marks: Rows) -> list[tuple[str, list[float]]]:
    """Letter and the marks it was given, of those that were given one."""
    columns = ([mark for mark in column if mark is not None] for column in zip(*marks, strict=True))
    return [(letter, column) for letter, column in zip(kept.letters, columns, strict=True) if column]


def _middle(values: Sequence[float]) -> float:
    ordered, half = sorted(values), len(values) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def _marks_table(kept: PanelKept, marks: Rows) -> Table:
    scale = range(kept.scale[0], kept.scale[1] + 1)
    rows = [
        (kept.samples[letter], f"{_middle(column):g}", *(str(column.count(mark)) for mark in scale))
        for letter, column in _columns(kept, marks)
    ]
    heads = ("sample", "middle mark", *(str(mark) for mark in scale))
    note = "How often each mark was given. Marks are an order, not a measure."
    return Table(heads, rows, title=f"Panel {kept.name}: marks", note=note, numeric=frozenset(range(1, len(heads))))


def _signed_table(kept: PanelKept, found: SignedRank) -> Table:
    rows = [
        ("first higher", str(found.higher)),
        ("second higher", str(found.lower)),
        ("the same", str(found.equal)),
        ("sum of ranks", "–" if found.statistic is None else f"{found.statistic:g}"),
        ("p, both sides", "–" if found.p is None else p_number(found.p)),
    ]
    return Table(("number", "value"), rows, title=f"Panel {kept.name}: signed ranks")


def _sums_table(kept: PanelKept, found: Ranking, head: str, note: str) -> Table:
    each = max(1, found.assessors)
    rows = [
        (kept.samples[letter], f"{total:g}", f"{total / each:.2f}")
        for letter, total in zip(kept.letters, found.rank_sums, strict=True)
    ]
    title = f"Panel {kept.name}: ranks of {found.assessors} assessors"
    return Table(("sample", head, "mean"), rows, title=title, note=note, numeric=frozenset({1, 2}))


def _pairs_table(kept: PanelKept, found: Ranking) -> Table:
    alpha, names = float(kept.alpha), [kept.samples[letter] for letter in kept.letters]
    least, every = found.least_difference(alpha), found.least_difference_of_all(alpha)
    rows = []
    for one, other in found.pairs(0.0):
        apart = found.rank_sums[other] - found.rank_sums[one]
        interval = f"{apart - least:.1f} to {apart + least:.1f}".replace("-", "−")
        rows.append((f"{names[one]}, {names[other]}", f"{apart:g}", interval, _yes(apart, least), _yes(apart, every)))
    share = short(100 * (1 - alpha))
    return Table(
        ("pair, the smaller sum first", "difference", f"{share} % interval", "each pair", "all pairs"),
        rows,
        title=f"Panel {kept.name}: differences of rank sums",
        note=f"Least significant difference: {least:.1f} for one pair, {every:.1f} for all pairs together (ISO 8587); "
        "they count only where the Friedman test shows a difference.",
        numeric=frozenset({1, 2}),
    )


def _yes(apart: float, least: float) -> str:
    return "beyond" if apart >= least else "within"
