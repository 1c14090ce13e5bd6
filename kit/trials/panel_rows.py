"""Ranks and marks of a panel by sample, and how much of them can be tested."""

from __future__ import annotations

from kit.bench.panel import PanelKept
from kit.science.ranking_incomplete import skillings_mack
from kit.trials.panel_finding import p_words
from kit.trials.wording import plural

Rows = list[list[float | None]]


def ranks_of(kept: PanelKept) -> Rows:
    """Place given by each assessor to each sample, 1 for the most, level samples the mean of theirs; None: not judged.

    Parameters
    ----------
    kept : PanelKept   Of a ranking.
    """
    rows = []
    for name, found in kept.counted.items():
        letters, row, before = kept.serving(name).letters, {}, 0
        for group in found.answer:
            row |= dict.fromkeys((letters[code] for code in group), before + (len(group) + 1) / 2)
            before += len(group)
        rows.append([row.get(letter) for letter in kept.letters])
    return rows


def marks_of(kept: PanelKept) -> Rows:
    """Mark given by each assessor to each sample; None: not judged.

    Parameters
    ----------
    kept : PanelKept   Of a rating.
    """
    rows = []
    for name, found in kept.counted.items():
        letters = kept.serving(name).letters
        row = {letters[code]: float(mark) for code, mark in found.answer.items()}
        rows.append([row.get(letter) for letter in kept.letters])
    return rows


def incomplete_words(kept: PanelKept) -> tuple[str, ...]:
    """Who did not judge every sample; nothing where all did.

    Parameters
    ----------
    kept : PanelKept
    """
    left = [name for name in kept.counted if name not in kept.whole]
    what = "in no shift" if len(kept.letters) == 2 else "in no rank sum"
    told = f"{', '.join(left)} did not judge every sample and {'is' if len(left) == 1 else 'are'} {what}."
    return (told,) if left else ()


def gaps_words(kept: PanelKept, rows: Rows) -> tuple[str, ...]:
    """What the test says that takes in the ranks of those who did not judge every sample; nothing where all did.

    Parameters
    ----------
    kept : PanelKept
    rows : list of rows   Of ranks or marks.
    """
    if len(kept.whole) == len(kept.counted) or len(kept.letters) == 2:
        return ()
    found = skillings_mack(rows)
    if found.statistic is None:
        return (f"With the gaps taken in nothing can be told: {found.reason}.",)
    return (
        f"With the gaps taken in (Skillings and Mack, {plural(found.assessors, 'assessor')}): chi-square "
        f"{found.statistic:.2f} ({p_words(found.p)}).",
    )
