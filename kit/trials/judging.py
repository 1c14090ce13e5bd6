"""One reading judged: does it stand, has it an age, is it flagged, is it by the method, is it like the control's?

Every no carries its state, a stable code and words.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from kit.bench.comparability import COMPARABLE, Reason, Verdict, against_method, compare_pair
from kit.bench.methods import AgeWindow, Method, nearest_window
from kit.bench.property_scale import fold, scale_of
from kit.bench.readings import Flag, Reading, flags
from kit.bench.storage import REFERENCE, storage_key, storage_words
from kit.trials.results import FLAG, IN_PROCESS, LN, NOT_COMPARABLE, SHOWN, VOID, LeftOut

__all__ = [
    "STORAGE_CODES",
    "STORAGE_UNKNOWN",
    "age_of",
    "by_the_method",
    "flagged",
    "fold",
    "held_back",
    "pair_verdict",
    "placeless",
    "scale_of",
    "window_of",
    "word_left_out",
]

STORAGE_UNKNOWN = "compare.storage_unknown"
STORAGE_CODES = frozenset({"compare.storage", STORAGE_UNKNOWN})


def age_of(reading: Reading) -> Decimal | None:
    """The age by the clock, else as typed, else None. [h]"""
    return reading.age_h if reading.age_h is not None else reading.age_typed_h


def window_of(reading: Reading, windows: Sequence[AgeWindow]) -> AgeWindow | None:
    """The age window a reading lies in; None outside all of them or without an age."""
    age = age_of(reading)
    return None if age is None else nearest_window(age, windows)


def placeless(reading: Reading, windows: Sequence[AgeWindow], *, finished: bool) -> LeftOut | None:
    """Why a reading has no place at any age of the study: void, without an age, or outside every window.

    Parameters
    ----------
    finished : bool   Whether the making of its batch is finished.
    """
    if reading.void:
        return _out(reading, VOID, "reading.void", f"voided: {reading.void}")
    age = age_of(reading)
    if age is None and reading.measured_at is None:
        return _out(reading, SHOWN, "compare.missing", "neither its time nor its age was recorded")
    if age is None:
        when = "read before the end of making" if finished else "making is not finished"
        return _out(reading, IN_PROCESS, "reading.in_process", f"{when}: it has no age")
    if window_of(reading, windows) is None:
        known = ", ".join(str(window) for window in windows)
        return _out(reading, NOT_COMPARABLE, "compare.age", f"{age:.1f} h old: in none of {known}")
    return None


def by_the_method(reading: Reading, found: Sequence[Flag], method: Method | None, window: AgeWindow) -> LeftOut | None:
    """Why a number does not stand up to the method of the study: flagged, no such method, or other conditions.

    Parameters
    ----------
    found : sequence of Flag   What is suspect in it.
    method : Method            None where the study has no such method.
    """
    if found:
        return flagged(reading, found, window)
    if method is None and reading.method:
        return _out(reading, SHOWN, "compare.no_method", f"{reading.method} is not a method of the study", window)
    if reading.value <= 0 and scale_of(reading.property, method) == LN:
        return _out(reading, NOT_COMPARABLE, "compare.not_positive", "a ratio needs a value above zero", window)
    verdict = against_method(reading, method, window)
    return None if verdict.comparable else held_back(reading, verdict, window)


def word_left_out(reading: Reading, windows: Sequence[AgeWindow], *, finished: bool) -> LeftOut | None:
    """Why a coded reading does not count (void, in process, no or a typed age, flagged); None when it does."""
    nowhere = placeless(reading, windows, finished=finished)
    if nowhere is not None:
        return nowhere
    window = window_of(reading, windows)
    found = flags(reading, None, windows=windows)
    if found:
        return flagged(reading, found, window)
    if storage_key(reading.storage) not in ("", REFERENCE):
        words = f"its jar was kept at {storage_words(storage_key(reading.storage))}"
        return _out(reading, NOT_COMPARABLE, "compare.storage", words, window)
    if reading.age_h is None:
        return _out(reading, SHOWN, "compare.age_typed", "its age was typed, without a clock time to check it", window)
    return None


def pair_verdict(reading: Reading, reference: Reading, method: Method | None, windows: Sequence[AgeWindow]) -> Verdict:
    """Whether a reading may be averaged with, or set against, the reference reading.

    Stricter than `compare_pair` in one thing: a jar whose storage is known is not taken for alike with one of unknown
    storage, so that a jar kept warm never slips into a mean.
    """
    if reading == reference:
        return Verdict(COMPARABLE)
    verdict = compare_pair(reading, reference, method, windows)
    if verdict.comparable and bool(reading.storage) != bool(reference.storage):
        known, other = (reading, reference) if reading.storage else (reference, reading)
        words = f"{known.title} was stored at {known.storage}, the storage of {other.title} was not recorded"
        return Verdict(SHOWN, (Reason(STORAGE_UNKNOWN, words),))
    return verdict


def held_back(reading: Reading, verdict: Verdict, window: AgeWindow) -> LeftOut:
    """A reading that is left out by a verdict of comparability."""
    codes = _unique(reason.code for reason in verdict.reasons)
    words = "; ".join(reason.words for reason in verdict.reasons)
    return LeftOut(reading.batch, reading, verdict.state, codes, words, window.label)


def flagged(reading: Reading, found: Sequence[Flag], window: AgeWindow) -> LeftOut:
    """A reading that is left out for its flags."""
    words = " ".join(flag.words for flag in found)
    return LeftOut(reading.batch, reading, FLAG, _unique(flag.code for flag in found), words, window.label)


def _unique(codes: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(codes))


def _out(reading: Reading, state: str, code: str, words: str, window: AgeWindow | None = None) -> LeftOut:
    return LeftOut(reading.batch, reading, state, (code,), words, window.label if window else "")
