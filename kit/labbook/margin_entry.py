"""Margins on the record of a study: what is too small to matter, and since when that has been stated."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from kit.bench.margins import Margin, read_margins, refused
from kit.bench.methods import AgeWindow, Method, age_window
from kit.bench.property_scale import fold, scale_of
from kit.errors import KitError
from kit.formula.model import SpecLine
from kit.labbook.streams import Entry
from kit.science.arm_batches import LN
from kit.show import Worded

MARGINS = "margins"
"""Kind of the entry that states margins of a study after it was opened, and their key in the study's own entry."""

_CODE = "study.margin"


@dataclass(frozen=True, slots=True, repr=False)
class StatedMargin(Worded):
    """A margin of a study.

    Parameters
    ----------
    margin : Margin   What it is.
    stated_at : str   When it was recorded, ISO 8601; of one that was stated again unchanged, the first time.
    """

    margin: Margin
    stated_at: str

    @property
    def day(self) -> str:
        """The day it was stated, "2026-03-02"."""
        return self.stated_at[:10]

    @property
    def words(self) -> str:
        """The margin and its day: "viscosity: 20 %, stated 2026-03-02"."""
        return f"{self.margin.words}, stated {self.day}"


def checked_margins(
    typed: str | Mapping[str, str] | Sequence[str],
    spec: Sequence[SpecLine],
    methods: Iterable[Method],
    windows: Sequence[AgeWindow],
    *,
    where: str,
) -> dict[str, str]:
    """Margins as a study keeps them: name to text, both spelled as the study spells them.

    Parameters
    ----------
    typed : str, dict or list      {"viscosity": "20 %", "pH at 24 h": "0.1"}, or the same as text.
    spec : sequence of SpecLine    Of the study.
    methods : iterable of Method   Of the study.
    windows : sequence             Of the study.
    where : str                    For errors.

    Raises
    ------
    KitError   `study.margin` for a margin of no property, of one that the study has neither method nor spec line for,
               at an age that it does not have, in percent where differences are compared or the other way about.
    """
    methods = tuple(methods)
    kept: dict[str, str] = {}
    for margin in read_margins(typed, where=where, code=_CODE):
        name = f"{_property(margin, spec, methods, where)}{_age(margin, spec, windows, where)}"
        _refuse_scale(margin, methods, where)
        kept[name] = margin.text
    return kept


def opening_entry(entries: Sequence[Entry]) -> Entry:
    """The entry that a study was opened with.

    Parameters
    ----------
    entries : sequence of Entry   Of the study's stream.
    """
    return next(entry for entry in reversed(entries) if entry.kind != MARGINS)


def stated_margins(entries: Iterable[Entry]) -> tuple[StatedMargin, ...]:
    """The margins of a study as they stand, each with the day since when it has stood unchanged.

    Parameters
    ----------
    entries : iterable of Entry   Of the study's stream.
    """
    standing: dict[str, tuple[str, str]] = {}
    for entry in entries:
        for name, text in entry.body.get(MARGINS, {}).items():
            if not text:
                standing.pop(name, None)
            elif standing.get(name, ("", ""))[0] != text:
                standing[name] = (text, entry.recorded_at)
    return tuple(StatedMargin(read_margins({name: text})[0], at) for name, (text, at) in standing.items())


def _property(margin: Margin, spec: Sequence[SpecLine], methods: Sequence[Method], where: str) -> str:
    known = {fold(name): name for name in (*(line.property for line in spec if not line.allowed),
                                           *(method.property for method in methods))}  # fmt: skip
    if fold(margin.property) not in known:
        whose = f"{margin.text} of {margin.property!r}" if margin.property else f"{margin.text} without a property"
        named = ", ".join(dict.fromkeys(known.values()))
        raise refused(whose, f"a property with a method or a spec line: {named}", where=where, code=_CODE)
    return known[fold(margin.property)]


def _age(margin: Margin, spec: Sequence[SpecLine], windows: Sequence[AgeWindow], where: str) -> str:
    if margin.age_h is None:
        return ""
    ages = {window.age_h: window.label for window in (*windows, *_own_windows(spec, windows))}
    if margin.age_h not in ages:
        told = f"{margin.text} of {margin.name}"
        raise refused(told, f"an age of the study: {', '.join(ages.values())}", where=where, code=_CODE)
    return f" at {ages[margin.age_h]}"


def _own_windows(spec: Sequence[SpecLine], windows: Sequence[AgeWindow]) -> Iterable[AgeWindow]:
    """The windows that a spec line gives with a tolerance of its own."""
    for line in spec:
        try:
            if line.age:
                yield age_window(line.age, windows)
        except KitError:
            continue  # a spec line at no age of the study is said where the study is judged


def _refuse_scale(margin: Margin, methods: Sequence[Method], where: str) -> None:
    own = [method for method in methods if fold(method.property) == fold(margin.property)]
    scales = {scale_of(margin.property, method) for method in own or (None,)}
    if not any(margin.fits(scale) for scale in scales):
        ratios = scales == {LN}
        allowed = "ratios, so its margin is a percentage" if ratios else "differences, so its margin is in its unit"
        raise refused(
            f"{margin.text} of {margin.property}",
            f"{margin.property} is compared by {allowed}",
            where=where,
            code=_CODE,
        )
