"""Wet-combing force as it is printed: sentences and tables."""

from __future__ import annotations

from collections.abc import Sequence

from kit.science.combing import Treatment, TreatmentRatio
from kit.show import Table
from kit.trials.combing_tresses import LeftTress
from kit.trials.wording import plural

_ABSENT = "–"


def _interval(low: float | None, high: float | None, places: int) -> str:
    return "" if low is None else f"{low:.{places}f} to {high:.{places}f}"


def treated_words(found: Treatment) -> str:
    """What one batch leaves of the force, with its interval.

    Parameters
    ----------
    found : Treatment
    """
    tresses = plural(len(found.tresses), "tress", "tresses")
    if found.low is None:
        return f"{found.name}: {found.residual_pct:.0f} % of the untreated force; no interval, {found.reason}."
    notes = "".join(f"; {note}" for note in found.notes)
    return (
        f"{found.name}: {found.residual_pct:.0f} % of the untreated force on {tresses} (95 % interval "
        f"{_interval(found.low, found.high, 0)} %, SD between tresses {found.sd_pct:.0f} %){notes}."
    ).replace("95 %", f"{100 * found.confidence:g} %")


def ratio_words(found: TreatmentRatio) -> str:
    """One batch against the control, with the verdict.

    Parameters
    ----------
    found : TreatmentRatio
    """
    told = f"{found.first} against {found.second}: {found.ratio:.2f} times the force that is left"
    if found.low is None:
        return f"{told}; no interval, {found.reason}."
    verdict = "a difference is shown" if found.differs else "no difference is shown"
    return f"{told} ({100 * found.confidence:g} % interval {_interval(found.low, found.high, 2)}): {verdict}."


def treatments_table(found: Sequence[Treatment]) -> Table:
    """What each batch leaves of the force.

    Parameters
    ----------
    found : sequence of Treatment
    """
    rows = [
        (
            item.name,
            str(len(item.tresses)),
            f"{item.residual_pct:.1f}",
            _interval(item.low, item.high, 1) or _ABSENT,
            _ABSENT if item.sd_pct is None else f"{item.sd_pct:.0f}",
            "; ".join([*([item.reason] if item.reason else []), *item.notes]),
        )
        for item in found
    ]
    return Table(
        ("batch", "tresses", "force left, %", "interval, %", "SD, %", "remark"),
        rows,
        title="Combing: force left, % of the same tress untreated",
        note="Geometric mean over tresses, worked out on logarithms; strokes are averaged first and are no tresses.",
        numeric=frozenset({1, 2, 3, 4}),
    )


def ratios_table(found: Sequence[TreatmentRatio]) -> Table:
    """Each batch against the control.

    Parameters
    ----------
    found : sequence of TreatmentRatio
    """
    rows = [
        (
            item.first,
            item.second,
            f"{item.ratio:.2f}",
            _interval(item.low, item.high, 2) or _ABSENT,
            _ABSENT if item.df is None else f"{item.df:.1f}",
            item.reason or ("a difference is shown" if item.differs else "no difference is shown"),
        )
        for item in found
    ]
    return Table(
        ("batch", "against", "ratio", "interval", "df", "says"),
        rows,
        title="Combing: against the control",
        numeric=frozenset({2, 3, 4}),
    )


def tresses_table(found: Sequence[Treatment]) -> Table:
    """Every tress that counts.

    Parameters
    ----------
    found : sequence of Treatment
    """
    rows = [
        (tress.treatment, tress.name, f"{tress.residual_pct:.1f}", _strokes(tress.strokes))
        for item in found
        for tress in item.tresses
    ]
    heads = ("batch", "tress", "force left, %", "strokes before, after")
    return Table(heads, rows, title="Combing: tresses", numeric=frozenset({2}))


def _strokes(strokes: tuple[int, int]) -> str:
    return "recorded as a share" if strokes == (0, 0) else f"{strokes[0]}, {strokes[1]}"


def left_table(left: Sequence[LeftTress]) -> Table:
    """What does not count, with the reason.

    Parameters
    ----------
    left : sequence of LeftTress
    """
    rows = [(item.batch, item.what, item.why) for item in left]
    return Table(("batch", "reading", "why"), rows, title="Combing: what does not count")
