"""How the versions were set against the control, and how far readings and batches scatter: in words and as a table."""

from __future__ import annotations

from kit.show import Table
from kit.trials.compared import Compared
from kit.trials.results import LN, ArmResult, PropertyResult
from kit.trials.values import on_scale
from kit.trials.wording import ABSENT, decimals, value_text


def analysis_lines(comparison: Compared) -> list[str]:
    """Which analysis the verdicts rest on, and why; results that were treated alike share a line.

    Parameters
    ----------
    comparison : Compared   With its results.
    """
    alike: dict[str, list[str]] = {}
    for result in comparison.results:
        if result.analysis:
            margin = f"{result.margin_words[:1].upper()}{result.margin_words[1:]}." if result.margin_words else ""
            told = (f"{result.analysis}.", result.multiplicity, margin, *result.notes)
            alike.setdefault(" ".join(words for words in told if words), []).append(result.title)
    return [f"{'; '.join(titles)}: {words}" for words, titles in alike.items()]


def scatter_table(comparison: Compared) -> Table:
    """Batches, readings, both scatters and the days, a row a property, age and version that has a value.

    Parameters
    ----------
    comparison : Compared   With its results.
    """
    rows = [
        (
            result.title,
            arm.arm_label.replace(", ", ",\n"),
            str(arm.n_batches),
            str(arm.n_readings),
            _within_text(result, arm),
            sd_text(result, arm) if arm.n_batches > 1 else "single batch",
            "\n".join(dict.fromkeys(value.day for value in arm.batch_values)),
        )
        for result in comparison.results
        for arm in result.arms
        if arm.n_batches
    ]
    heads = ("property, age", "trials", "batches", "readings", "SD within a batch", "SD between batches", "made on")
    return Table(heads, rows, title="Scatter and days", note=_pooled(comparison), numeric=frozenset({2, 3}))


def sd_text(result: PropertyResult, arm: ArmResult) -> str:
    """The SD of an arm's batches as printed, a dash below two of them."""
    return ABSENT if arm.sd_batches is None else _spread(result, arm, arm.sd_batches)


def _spread(result: PropertyResult, arm: ArmResult, sd: float) -> str:
    """An SD in the unit, or in percent where scatter grows with the value."""
    if result.scale == LN:
        return f"{100 * sd:.1f} % (ln)"
    readings = [reading for value in arm.batch_values for reading in value.readings]
    return value_text(sd, result.unit, result.scale, decimals(readings) + 1)


def _within_text(result: PropertyResult, arm: ArmResult) -> str:
    """Pooled SD of the readings of one batch at this age; a dash where no batch was read twice."""
    from kit.science.statistics import pooled_sd

    read = [[on_scale(one, result.scale) for one in value.values] for value in arm.batch_values]
    pool = pooled_sd([values for values in read if len(values) > 1])
    return ABSENT if pool.sd is None else _spread(result, arm, pool.sd)


def _pooled(comparison: Compared) -> str:
    from kit.science.scatter_known import ENOUGH_DF

    known = [
        f"{result.title}: {_spread(result, result.arms[0], result.scatter.sd)}, {result.scatter.df} df"
        f"{', itself poorly known' if result.scatter.df < ENOUGH_DF else ''}"
        for result in comparison.results
        if result.scatter.sd is not None
    ]
    if not known:
        return "No version was made twice and no earlier study is named: how far batches scatter is not known."
    return f"SD between batches, pooled over all versions made more than once: {'; '.join(known)}."
