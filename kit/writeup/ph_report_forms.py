"""What the pH means for preservatives and amines: ionised shares, free ranges, and no pass."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from kit.errors import FormulaError
from kit.figures.figure import Figure
from kit.figures.ionised import PROTONATED, UNIONISED, FormCurve, FreeRange, PhMark, forms_against_ph, free_against_ph
from kit.formula.charge import shares_of
from kit.formula.composition import Composition, Share
from kit.formula.free_preservatives import NO_PASS, FreePreservative
from kit.formula.material import Fact
from kit.formula.partition_facts import acid_form
from kit.formula.preservation import preservation
from kit.formula.rules.preservation import acid_preservatives
from kit.science.ionisation import unionised_fraction
from kit.show import Block, listing
from kit.writeup.ph_report_subject import Subject

_LOWEST, _HIGHEST, _STEPS_PER_PH = 3.0, 8.0, 4
GRID = tuple(_LOWEST + step / _STEPS_PER_PH for step in range(int((_HIGHEST - _LOWEST) * _STEPS_PER_PH) + 1))
_AT_ZERO = "Constants are those at zero ionic strength; the salts of a product lower an acid's pKa by about 0.1."
_AMINE = "An amine's pKa on a charged bilayer is lower than in water by an amount that is not known."


def forms_figures(subject: Subject, now_ph: float | None, now_how: str) -> list[Figure]:
    """Ionised shares and free ranges against pH; empty where nothing in the composition has them.

    Parameters
    ----------
    subject : Subject   What is adjusted.
    now_ph : float      Its pH; None where that is not known. [-]
    now_how : str       "measured" or "predicted".

    Returns
    -------
    list of Figure   At most two: shares that are un-ionised or protonated, and what is free in the water.
    """
    mark = PhMark(subject.name, now_ph, now_how, subject.limits)
    shares, free = _ionising(subject.composition), _free(subject.composition, now_ph)
    curves = [_curve(share, form, now_ph) for share, form in shares]
    ranges = [_range(one, now_ph is not None) for one in free]
    amine = any(form == PROTONATED for _, form in shares)
    constants = (f"{share.substance.inci} {fact.words()}" for share, _ in shares for fact in _remembered(share))
    notes = (_AT_ZERO, *([_AMINE] if amine else []), *_memory_note("pKa of", constants))
    limits = (_AT_ZERO, *_memory_note("", (fact for one in free for fact in one.memory)), NO_PASS)
    return [
        *([forms_against_ph(curves, mark, notes)] if curves else []),
        *([free_against_ph(ranges, mark, limits)] if ranges else []),
    ]


def _remembered(share: Share) -> Iterator[Fact]:
    yield from (fact for fact in share.substance.pka if fact.kind == "memory")


def _memory_note(what: str, facts: Iterable[str]) -> tuple[str, ...]:
    listed = "; ".join(dict.fromkeys(facts))
    return (f"From memory, to be checked: {f'{what} {listed}'.strip()}.",) if listed else ()


def preservation_block(subject: Subject, now_ph: float | None, target_ph: float) -> Block:
    """Preservatives at the pH now and at the target, what that rests on, and that it is never a pass.

    Parameters
    ----------
    subject : Subject    What is adjusted.
    now_ph : float       Its pH; None where that is not known. [-]
    target_ph : float    [-]

    Returns
    -------
    Block   A table and lists of sentences.
    """
    import numpy as np

    at = sorted({round(ph, 2) for ph in (now_ph, target_ph) if ph is not None})
    try:
        found = preservation(subject.composition, np.array(at))
    except FormulaError as problem:
        return Block((f"Nothing is said of preservation: {problem.what}.", NO_PASS))
    if not found.preservatives:
        return Block(("No preservative is known in this composition.", *found.notes, NO_PASS))
    lists = (
        ("Rests on", _by_preservative(found.preservatives)),
        ("From memory, to be checked", found.memory),
        ("Cannot know", found.cannot_know),
    )
    return Block((found.table(), *found.notes, *(listing(title, items) for title, items in lists if items)))


def _by_preservative(preservatives: Sequence[FreePreservative]) -> list[str]:
    """What the ranges rest on, a line a preservative."""
    return [
        f"{one.form}: {'; '.join(words.removeprefix(f'{one.form}: ') for words in one.rests_on)}"
        for one in preservatives
    ]


def _ionising(composition: Composition) -> list[tuple[Share, str]]:
    """Acid preservatives and amines, with the form of each that is drawn."""
    amines = [share for share in shares_of(composition, "amine surfactant") if share.substance.pka]
    acids = [(share, UNIONISED) for share, _ in acid_preservatives(composition)]
    return acids + [(share, PROTONATED) for share in amines]


def _curve(share: Share, form: str, now_ph: float | None) -> FormCurve:
    return FormCurve(
        acid_form(share.substance.inci),
        form,
        GRID,
        [_share_pct(share, ph) for ph in GRID],
        None if now_ph is None else _share_pct(share, now_ph),
    )


def _share_pct(share: Share, ph: float) -> float:
    """Share that holds all its protons: un-ionised of an acid, protonated of an amine. [%]"""
    return 100 * float(unionised_fraction(ph, _constants(share)))


def _constants(share: Share) -> Sequence[float]:
    """Lowest first; the middle of a constant that is given as a range."""
    found = []
    for fact in share.substance.pka:
        ends = [float(value) for value in (fact.value, fact.low, fact.high) if value is not None]
        found.append(ends[0] if fact.value is not None else sum(ends) / len(ends))
    return found


def _free(composition: Composition, now_ph: float | None) -> list[FreePreservative]:
    """Acids alone: what does not ionise is the same at every pH, and stands in the table."""
    import numpy as np

    acids = {share.substance.inci for share, _ in acid_preservatives(composition)}
    try:
        found = preservation(composition, np.array([*GRID, *([] if now_ph is None else [now_ph])]))
    except FormulaError:
        return []
    return [one for one in found.preservatives if one.inci in acids]


def _range(one: FreePreservative, with_now: bool) -> FreeRange:
    """The range of one preservative; the last of its numbers is that at the pH now, where there is one."""
    high = _listed(one.free_high_pct)
    low = [] if one.free_low_pct is None else _listed(one.free_low_pct)
    count = len(GRID)
    now = (low[-1] if low else None, high[-1]) if with_now else None
    return FreeRange(one.form, GRID, high[:count], low[:count], now)


def _listed(values) -> list[float]:
    """Plain floats for a drawing, from an array."""
    return [float(value) for value in values]
