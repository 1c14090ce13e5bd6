"""A comparison as tables: the one side by side, its blocks one by one, and what is in no mean."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kit.formula.composition import show_pct
from kit.formula.versions import FormulaDiff
from kit.labbook.times import show_time
from kit.show import Cell, Table
from kit.trials.arms import Arm, day_made
from kit.trials.as_made import Row, derived_rows, made_rows
from kit.trials.batch_ph import PH_ROWS
from kit.trials.compared import Compared
from kit.trials.judging import age_of
from kit.trials.process import process_rows
from kit.trials.results import FAIL, FLAGGED, PASS, ArmResult, ArmWords, CodedResult, LeftOut, PropertyResult
from kit.trials.scatter_words import analysis_lines, sd_text
from kit.trials.verdicts import brief
from kit.trials.wording import ABSENT, NOT_RECORDED, counts, decimals, in_lines, joined, plural, value_text
from kit.units import plain

_TONES = {PASS: "pass", FAIL: "fail", FLAGGED: "flag"}


_BRIEF = 14  # what fits a cell of the results; longer reasons stand with the verdicts


def side_by_side(comparison: Compared) -> Table:
    """Everything in one table, the control first, a block under the other."""
    blocks = block_rows(comparison, brief_results=True)
    rows: list[tuple[object, ...]] = []
    for title, found in blocks.items():
        rows.append((Cell(title, "strong"), *("" for _ in comparison.arms)))
        rows += [(label, *cells) for label, cells in found]
    return Table(("", *_heads(comparison.arms)), rows, title=_title(comparison), note="\n".join(comparison.notes))


def plain_text(comparison: Compared) -> str:
    """The same for a terminal, where long cells do not stand side by side: a row's label, then a line an arm."""
    heads = _heads(comparison.arms)
    lines = [_title(comparison)]
    for title, rows in block_rows(comparison).items():
        lines += ["", title]
        for label, cells in rows:
            lines += _plain_row(label.replace("\n", ", "), heads, [str(cell).replace("\n", "; ") for cell in cells])
    return "\n".join([*lines, *(["", *comparison.notes] if comparison.notes else [])])


def _plain_row(label: str, heads: Sequence[str], cells: Sequence[str]) -> list[str]:
    if len(set(cells)) == 1:
        return [f"  {label}: {cells[0]}{' (all)' if len(cells) > 1 else ''}" if cells[0] else f"  {label}"]
    return [f"  {label}", *(f"    {head}: {cell}" for head, cell in zip(heads, cells, strict=True) if cell)]


def block_tables(comparison: Compared) -> tuple[Table, ...]:
    """The same blocks, a table each."""
    return tuple(
        Table(("", *_heads(comparison.arms)), [(label, *cells) for label, cells in found], title=title)
        for title, found in block_rows(comparison).items()
    )


def block_rows(comparison: Compared, *, brief_results: bool = False) -> dict[str, list[tuple[str, tuple[object, ...]]]]:
    """The rows of each block by its title; a block without anything to say is left out.

    Parameters
    ----------
    comparison : Compared   With its results.
    brief_results : bool    Whether a difference is told in a few lines, where many versions stand side by side.
    """
    arms = comparison.arms
    process, identical = process_rows(arms)
    same = f"{plural(identical, 'subject')} identical" if identical else ""
    blocks = {
        "Trials": list(_header_rows(arms)),
        "Changed lines, control → trial": list(_change_rows(comparison)),
        "As made": list(made_rows(arms)),
        f"Process{f' ({same})' if same else ''}": list(process),
        "Worked out": list(derived_rows(arms, comparison.prices, ph_rows(comparison))),
        "Results": [
            (_result_label(result), tuple(_result_cell(result, arm, brief_results) for arm in result.arms))
            for result in comparison.results
        ],
        "Observations": [
            (_coded_label(result), tuple(_coded_cell(arm) for arm in result.arms)) for result in comparison.observations
        ],
        "Decisions": list(_decision_rows(arms)),
    }
    return {title: rows for title, rows in blocks.items() if rows}


def ph_rows(comparison: Compared) -> tuple[Row, ...]:
    """Predicted pH beside measured, and what follows from the pH, a row a subject; nothing here is tested."""
    phs = comparison.phs
    return tuple(
        (label, tuple(joined({batch.name: say(phs[batch.name]) for batch in arm.batches}) for arm in comparison.arms))
        for label, say in PH_ROWS
    )


def changes_table(comparison: Compared) -> Table:
    """Changed lines only, largest first, the absorbing line last; the total under them."""
    changes = comparison.changes
    rows = [
        (f"{line.material}{' (takes up the change)' if line.absorbs else ''}", line.phase, *line.words)
        for line in changes.lines
    ]
    rows.append(("total", "", *(show_pct(total) for total in changes.totals)))
    return Table(
        ("material", "phase", *(f"{head}, % w/w" for head in _heads(comparison.arms))),
        rows,
        title="Changed lines, control → trial",
        note=_identical(comparison),
    )


def results_table(comparison: Compared) -> Table:
    """Every property at every age, a row an arm: mean, n, verdict against the spec, difference to the control."""
    rows = [
        (
            _result_label(result),
            arm.arm_label,
            _mean_cell(result, arm),
            counts(arm.batch_values).replace(", ", "\n"),
            _verdict_word(arm),
            _difference_cell(arm),
        )
        for result in comparison.results
        for arm in result.arms
    ]
    rows += [
        (_coded_label(coded), arm.arm_label, _words_of(arm), _batches_seen(arm), _verdict_word(arm), ABSENT)
        for coded in comparison.observations
        for arm in coded.arms
    ]
    heads = ("property, age", "trials", "mean", "n", "against the spec", "against the control")
    return Table(heads, rows, title="Results", note=_conditions(comparison))


def verdicts_table(comparison: Compared) -> Table:
    """Every verdict in words: what it rests on, and why there is none where there is none; the analysis below."""
    rows = [
        (result.title, arm.arm_label, _verdict_cell(arm), _against_control(arm))
        for result in comparison.results
        for arm in result.arms
        if arm.verdict or arm.difference is not None or len(arm.difference_why) >= _BRIEF
    ]
    rows += [
        (coded.title, arm.arm_label, _verdict_cell(arm), ABSENT)
        for coded in comparison.observations
        for arm in coded.arms
    ]
    return Table(
        ("property, age", "trials", "against the spec", "against the control"),
        rows,
        title="The verdicts in words",
        note="\n".join(analysis_lines(comparison)),
    )


def not_used_table(comparison: Compared) -> Table:
    """Every reading that is in no mean: batch, value, state, code and words."""
    rows = [
        (
            item.batch,
            item.reading.property,
            item.age or _age_text(item),
            _value_of(item),
            Cell(item.state, "flag" if item.state == FLAGGED else "quiet"),
            item.code,
            item.words,
        )
        for item in comparison.not_used
    ]
    return Table(
        ("batch", "property", "age", "value", "state", "code", "why"),
        rows,
        title="Shown, and in no mean",
        note="" if rows else _all_used(comparison),
        numeric=frozenset({3}),
    )


def _all_used(comparison: Compared) -> str:
    held = any(arm.batch_values for result in comparison.results for arm in result.arms)
    return "Every reading is in a mean." if held else "There is no reading."


def mean_text(result: PropertyResult, arm: ArmResult) -> str:
    """The mean of an arm with its unit, or a dash with the reason."""
    if arm.mean is None:
        return f"{ABSENT} ({_nothing(arm)})"
    readings = [reading for value in arm.batch_values for reading in value.readings]
    return value_text(arm.mean, result.unit, result.scale, decimals(readings) + (len(readings) > 1))


def _title(comparison: Compared) -> str:
    question = f": {comparison.study.question}" if comparison.study.question else ""
    return f"{comparison.study.name}{question}"


def _heads(arms: Sequence[Arm]) -> list[str]:
    return [f"{arm.label} (control)" if arm.is_control else arm.label for arm in arms]


def _header_rows(arms: Sequence[Arm]) -> Iterable[Row]:
    for label, say in (
        ("formula", lambda arm: arm.formula.title),
        ("formula version", lambda arm: arm.formula.fingerprint[:12]),
        ("made on", lambda arm: joined({batch.name: day_made(batch) for batch in arm.batches})),
        ("batch size", lambda arm: joined({batch.name: f"{plain(batch.batch_g)} g" for batch in arm.batches})),
        ("operator", lambda arm: joined({batch.name: batch.operator or NOT_RECORDED for batch in arm.batches})),
        ("batches", lambda arm: f"{len(arm.batches)}: {', '.join(batch.name for batch in arm.batches)}"),
    ):
        yield label, tuple(say(arm) for arm in arms)


def _change_rows(comparison: Compared) -> Iterable[Row]:
    changes = comparison.changes
    for line in changes.lines:
        yield f"{line.material}{' (takes up the change)' if line.absorbs else ''}, % w/w", line.words
    yield (
        _identical(comparison),
        tuple(
            "" if arm.is_control else _not_lines(found)
            for arm, found in zip(comparison.arms, changes.diffs, strict=True)
        ),
    )
    yield "total as meant, % w/w", tuple(show_pct(total) for total in changes.totals)


def _not_lines(found: FormulaDiff) -> str:
    told = [
        word for word, differs in (("steps differ", found.steps), ("product type differs", found.product)) if differs
    ]
    return "; ".join(told) or ("" if found.lines else "same formula")


def _identical(comparison: Compared) -> str:
    return f"{plural(comparison.changes.identical, 'line')} identical"


def _result_label(result: PropertyResult) -> str:
    spec = f"\nspec {result.spec.words()}" if result.spec else ""
    return f"{result.title}{spec}"


def _result_cell(result: PropertyResult, arm: ArmResult, brief_results: bool) -> Cell:
    judged = f"{arm.verdict}: {arm.verdict_why}"
    lines = (
        [judged]
        if arm.verdict in (PASS, FAIL)
        else [mean_text(result, arm), *([f"n = {counts(arm.batch_values)}"] if arm.batch_values else [])]
    )
    if arm.sd_batches is not None:
        lines.append(f"SD of batches {sd_text(result, arm)}")
    if arm.verdict and arm.verdict not in (PASS, FAIL):
        lines.append(judged)
    if arm.difference is not None:
        lines.append(arm.difference.brief if brief_results else in_lines(arm.difference.words))
    elif arm.verdict in (PASS, FAIL) and arm.difference_why and not arm.is_control:
        lines.append(arm.difference_why)
    elif not arm.verdict:
        lines += [brief(item) for item in arm.left_out if arm.batch_values]
    return Cell("\n".join(lines), _TONES.get(arm.verdict, ""))


def _coded_label(result: CodedResult) -> str:
    return f"{result.title}{f'{chr(10)}spec {result.spec.words()}' if result.spec else ''}"


def _coded_cell(arm: ArmWords) -> Cell:
    return Cell(
        f"{_words_of(arm)}{f'{chr(10)}{arm.verdict}: {arm.verdict_why}' if arm.verdict else ''}",
        _TONES.get(arm.verdict, ""),
    )


def _words_of(arm: ArmWords) -> str:
    told: dict[str, list[str]] = {}
    for word in arm.words:
        told.setdefault(word.batch, []).append(word.word if word.counts else f"{word.word} ({word.why_not})")
    return joined({batch: ", ".join(words) for batch, words in told.items()}) if told else f"{ABSENT} (not observed)"


def _decision_rows(arms: Sequence[Arm]) -> Iterable[Row]:
    told = {
        batch.name: "; ".join(
            f"{item.verdict}{f': {item.why}' if item.why else ''} (by {item.by or NOT_RECORDED}, {show_time(item.at)})"
            for item in batch.decisions
        )
        or NOT_RECORDED
        for arm in arms
        for batch in arm.batches
    }
    yield "decision", tuple(joined({batch.name: told[batch.name] for batch in arm.batches}) for arm in arms)


def _mean_cell(result: PropertyResult, arm: ArmResult) -> str:
    sd = "" if arm.sd_batches is None else f"\nSD of batches {sd_text(result, arm)}"
    return f"{mean_text(result, arm)}{sd}".replace("; ", ";\n")  # a long cell would take the room of the others


def _batches_seen(arm: ArmWords) -> str:
    return plural(len({word.batch for word in arm.words if word.counts}), "batch", "batches")


def _verdict_word(arm: ArmResult | ArmWords) -> Cell:
    return Cell(arm.verdict or ABSENT, _TONES.get(arm.verdict, ""))


def _difference_cell(arm: ArmResult) -> str:
    if arm.difference is None:
        return arm.difference_why if len(arm.difference_why) < _BRIEF else ABSENT
    return arm.difference.short


def _verdict_cell(arm: ArmResult | ArmWords) -> Cell:
    told = in_lines(f"{arm.verdict}: {arm.verdict_why}") if arm.verdict else f"{ABSENT} (no spec line)"
    return Cell(told, _TONES.get(arm.verdict, ""))


def _against_control(arm: ArmResult) -> str:
    return in_lines(arm.difference.words) if arm.difference is not None else arm.difference_why


def _nothing(arm: ArmResult) -> str:
    if arm.left_out:
        return "; ".join(f"{item.state}: {_value_of(item)}" for item in arm.left_out)
    return "no reading"


def _value_of(item: LeftOut) -> str:
    reading = item.reading
    if reading.value is None:
        return reading.text or ABSENT
    return plain(reading.value) if reading.unit in ("", "1") else f"{plain(reading.value)} {reading.unit}"


def _age_text(item: LeftOut) -> str:
    age = age_of(item.reading)
    return ABSENT if age is None else f"{age:.1f} h"


def _conditions(comparison: Compared) -> str:
    used = dict.fromkeys(result.conditions for result in comparison.results if result.conditions)
    rests = dict.fromkeys(f"{told}" for result in comparison.results for told in result.scatter.rests_on)
    scatter = [f"Batch scatter from {'; '.join(rests)}."] if rests else []
    geometric = (
        ["Viscosities: geometric means, and ratios to the control."]
        if any(result.scale == "ln" for result in comparison.results)
        else []
    )
    return "\n".join([*(f"{line}." for line in used), *geometric, *scatter, *comparison.notes])
