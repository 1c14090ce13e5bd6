"""The plan of a panel as it is typed: samples, assessors, what is stated before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from kit.errors import RecordError
from kit.science.serving_orders import DUO_TRIO, PAIRED, RANKING, RATING, TRIANGLE
from kit.units import number, read

_LONGEST_CODE = 12
_MOST_MARK = 100
_DEFAULT_SCALE = (1, 9)


def typed_samples(samples: Mapping[str, str], kind: str, question: str, where: str) -> dict[str, str]:
    """Letters and batches, in the order of the letters.

    Parameters
    ----------
    samples : mapping            Letter to batch.
    kind, question, where : str

    Raises
    ------
    RecordError   `panel.samples`, `panel.question`.
    """
    if not isinstance(samples, Mapping):
        raise RecordError(
            f"{samples!r} says no batch to a letter",
            where=where,
            allowed='{"A": "TEA-02/1", "B": "TEA-09/1"}',
            mend="name each batch by its letter",
            code="panel.samples",
        )
    if not isinstance(question, str) or not question.strip():
        raise RecordError(
            f"a {kind} test without a question",
            where=where,
            mend='say what is asked: question="Which tress feels smoother when wet?"',
            code="panel.question",
        )
    lettered = {str(letter).strip(): str(samples[letter]).strip() for letter in sorted(samples, key=str)}
    if not all(len(letter) == 1 for letter in lettered) or len(set(lettered.values())) < len(lettered):
        raise RecordError(
            f"samples {lettered} are not one letter each, or one batch stands there twice",
            where=where,
            mend='name each batch once: {"A": "TEA-02/1", "B": "TEA-09/1"}',
            code="panel.samples",
        )
    return lettered


def assessor_codes(assessors: int | Sequence[str], where: str) -> list[str]:
    """Codes of the assessors: P01 to P24 for 24, or the ones given.

    Parameters
    ----------
    assessors : int or sequence of str
    where : str

    Raises
    ------
    RecordError   `panel.assessor` for codes that are long, empty or not different, for what is no number and no list.
    """
    if isinstance(assessors, str) and assessors.strip().isdecimal():
        assessors = int(assessors)
    if isinstance(assessors, int) and not isinstance(assessors, bool):
        width = max(2, len(str(assessors)))
        return [f"P{place:0{width}}" for place in range(1, assessors + 1)]
    if not isinstance(assessors, Iterable):
        raise RecordError(
            f"{assessors!r} is no number of assessors",
            where=where,
            allowed="a whole number, or a list of codes",
            mend="give the number of assessors alone, and P01, P02 ... are used",
            code="panel.assessor",
        )
    codes = [assessors.strip()] if isinstance(assessors, str) else [str(code).strip() for code in assessors]
    bad = [code for code in codes if not code or len(code) > _LONGEST_CODE or " " in code]
    if bad or len(set(codes)) < len(codes):
        raise RecordError(
            f"{bad[0]!r} is no code of an assessor" if bad else "two assessors have one code",
            where=where,
            allowed=f"codes of up to {_LONGEST_CODE} letters and digits, all different; no names of people",
            mend="give the number of assessors alone, and P01, P02 ... are used",
            code="panel.assessor",
        )
    return codes


def typed_risk(alpha: object, where: str) -> Decimal:
    """The risk stated before, between 0 and 1/2.

    Parameters
    ----------
    alpha : object   "0.05".
    where : str

    Raises
    ------
    RecordError   `panel.alpha`.
    """
    risk = number(alpha, where=f"{where}, alpha")
    if not 0 < risk <= Decimal("0.5"):
        raise RecordError(
            f"a risk of {alpha}", where=where, allowed="above 0, such as 0.05", mend="", code="panel.alpha"
        )
    return risk


def share_or_none(text: str, kind: str, where: str) -> Decimal | None:
    """The share of discriminators that is still taken as alike; None where none is stated.

    Parameters
    ----------
    text : str          "30 %".
    kind, where : str

    Raises
    ------
    RecordError   `panel.limit`.
    """
    if not text:
        return None
    share = read(text, "%", where=f"{where}, similar_below") / 100
    if kind not in (TRIANGLE, DUO_TRIO) or not 0 < share < 1:
        raise RecordError(
            f"similar_below={text!r} for a {kind} test",
            where=where,
            allowed="above 0 and below 100 %, for a triangle or duo-trio test",
            mend="state the share of assessors that may tell the two apart",
            code="panel.limit",
        )
    return share


def expected_order(expected: str | Sequence[str], kind: str, letters: Sequence[str], where: str) -> tuple[str, ...]:
    """What was expected before: for a paired test a letter, for a ranking every letter, the most first.

    Parameters
    ----------
    expected : str or sequence of str   "B", "B > A > C" or ["B", "A", "C"].
    kind : str
    letters : sequence of str
    where : str

    Raises
    ------
    RecordError   `panel.expected`.
    """
    parts = expected.replace(">", " ").replace(",", " ").split() if isinstance(expected, str) else _listed(expected)
    fits = (kind == PAIRED and len(parts) == 1) or (kind == RANKING and len(parts) == len(letters))
    if parts and not (fits and set(parts) <= set(letters) and len(set(parts)) == len(parts)):
        raise RecordError(
            f"expected {expected!r} cannot be told from a {kind} test",
            where=where,
            allowed="paired: one letter; ranking: every letter once, the most first; other kinds: nothing",
            mend="leave it out where nothing was expected before",
            code="panel.expected",
        )
    return tuple(parts)


def typed_scale(scale: Sequence[int], kind: str, where: str) -> tuple[int, ...]:
    """Least and largest mark of a rating, 1 to 9 where none is given; nothing for other kinds.

    Parameters
    ----------
    scale : sequence of int
    kind, where : str

    Raises
    ------
    RecordError   `panel.scale`.
    """
    marks = tuple(_listed(scale)) or (_DEFAULT_SCALE if kind == RATING else ())
    whole = all(isinstance(mark, int) and not isinstance(mark, bool) and abs(mark) <= _MOST_MARK for mark in marks)
    if (kind != RATING and marks) or (kind == RATING and not (len(marks) == 2 and whole and marks[0] < marks[1])):
        raise RecordError(
            f"scale {marks} for a {kind} test",
            where=where,
            allowed="the least and the largest mark of a rating, (1, 9)",
            mend="give two whole numbers, for a rating only",
            code="panel.scale",
        )
    return marks


def typed_seed(seed: object, where: str) -> int:
    """The seed of the draw, a whole number.

    Parameters
    ----------
    seed : int
    where : str

    Raises
    ------
    RecordError   `panel.seed`.
    """
    if isinstance(seed, bool) or not isinstance(seed, int):
        raise RecordError(
            f"a seed of {seed!r}", where=where, allowed="a whole number", mend="seed=1", code="panel.seed"
        )
    return seed


def _listed(typed: object) -> list:
    """What was typed as a list; one thing alone is a list of one, nothing is an empty one."""
    if typed is None:
        return []
    return list(typed) if isinstance(typed, Iterable) else [typed]
