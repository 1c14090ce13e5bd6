"""The sections of a write-up about preservation: what the pH leaves free, and what a laboratory found. Never a pass."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kit.bench.challenge import ChallengeTest
from kit.errors import KitError
from kit.formula.free_preservatives import LOW_RISK_ACTIVITY, NO_PASS, Preservation
from kit.formula.preservation import preservation
from kit.labbook.view import BatchView
from kit.show import Block, Cell, Table, listing
from kit.trials.batch_ph import BatchPh
from kit.writeup.report_formula import NOT_RECORDED

NONE_RECORDED = (
    f"Challenge test: {NOT_RECORDED}. No laboratory's challenge test is recorded for this trial; nothing here shows "
    "that it is preserved."
)


def preservation_block(phs: Sequence[BatchPh]) -> Block:
    """Un-ionised and free share of each preservative at the pH of each batch, and the water activity.

    Parameters
    ----------
    phs : sequence of BatchPh   The batches.

    Returns
    -------
    Block   A table a batch, or the reason for none; then what they rest on. What no number replaces is always said.
    """
    found = {ph.batch: _found(ph) for ph in phs}
    parts = [part for ph in phs for part in _shown(ph, found[ph.batch])]
    known = [item for item in found.values() if isinstance(item, Preservation) and item.preservatives]
    return Block((*parts, *([_facts(known)] if known else [NO_PASS])))


def challenge_block(batches: Sequence[BatchView], phs: Sequence[BatchPh], others: Sequence[BatchView] = ()) -> Block:
    """Every challenge test of these batches: criteria, what the report leaves out, and for what it holds.

    Parameters
    ----------
    batches : sequence of BatchView   Batches of one trial.
    phs : sequence of BatchPh         The pH of each.
    others : sequence of BatchView    Of the trials beside it: whether their tests hold for this one is told in words.

    Returns
    -------
    Block   A plain sentence where the trial has none.
    """
    now = {ph.batch: ph for ph in phs}
    tests = [test for batch in batches for test in batch.challenge_tests]
    parts = [part for test in tests for part in _tested(test, batches, now)]
    elsewhere = [_elsewhere(test, phs) for batch in others for test in batch.challenge_tests if not test.void]
    if elsewhere:
        parts.append(listing("Tests of other batches, and whether they hold for this trial", elsewhere))
    return Block((*([] if tests else [NONE_RECORDED]), *parts))


def challenge_words(batches: Sequence[BatchView]) -> str | Cell:
    """The decision of each standing challenge test in a line, NOT RECORDED without one.

    Parameters
    ----------
    batches : sequence of BatchView   Batches of one trial.

    Returns
    -------
    str or Cell   For a table.
    """
    told = [
        f"{test.batch}, {test.method}: {test.evaluate().decision}"
        for batch in batches
        for test in batch.challenge_tests
        if not test.void
    ]
    return "\n".join(told) or NOT_RECORDED


def _found(ph: BatchPh) -> Preservation | str:
    """What is known of the preservatives of a batch, or why nothing is."""
    if ph.ph is None:
        return ph.at_words
    try:
        return preservation(ph.composition, float(ph.ph))
    except KitError as problem:
        return problem.what


def _shown(ph: BatchPh, found: Preservation | str) -> Iterable[object]:
    if isinstance(found, str):
        yield f"{ph.batch}: nothing is said of its preservatives: {found}."
        return
    activity = found.water_activity
    yield f"{ph.batch}, {ph.state}, at {ph.at_words}. " + (
        "Water activity: not known."
        if activity is None
        else f"Water activity {activity:.3f}, worked out from the humectants, an upper estimate; low risk begins at "
        f"{LOW_RISK_ACTIVITY} and below."
    )
    if found.preservatives:
        yield found.table()
    yield from (f"{note}." for note in found.notes)


def _facts(known: Sequence[Preservation]) -> Table:
    by_form: dict[str, dict[str, None]] = {}
    for one in (one for found in known for one in found.preservatives):
        held = by_form.setdefault(one.form, {})
        held |= dict.fromkeys(words.removeprefix(f"{one.form}: ") for words in one.rests_on)
    rows: list[tuple[str, str]] = [(form, "\n".join(words)) for form, words in by_form.items()]
    memory = dict.fromkeys(fact for found in known for fact in found.memory)
    rows += [("from memory, to be checked", "; ".join(memory))] if memory else []
    rows.append(("cannot know", "\n".join(dict.fromkeys(item for found in known for item in found.cannot_know))))
    return Table(("item", "entry"), rows, title="What these shares rest on and cannot know")


def _tested(test: ChallengeTest, batches: Sequence[BatchView], now: dict[str, BatchPh]) -> Iterable[object]:
    if test.void:
        yield f"{test.batch}, challenge test in entry {test.entry}: VOID, {test.void}."
        return
    result = test.evaluate()
    yield result.table()
    yield _scope_table(test, batches, now)
    yield listing("In words", result.words())
    yield test.report_table()
    if test.note:
        yield f"Remark: {test.note}"


def _elsewhere(test: ChallengeTest, phs: Sequence[BatchPh]) -> str:
    held = "; ".join(f"{ph.batch}, {_ph_words(ph)}: {test.holds_for(ph.composition, ph.ph).words()}" for ph in phs)
    return f"{test.batch}, {test.method}: {test.evaluate().decision}. {held}"


def _scope_table(test: ChallengeTest, batches: Sequence[BatchView], now: dict[str, BatchPh]) -> Table:
    """For what the result holds: each batch as made at its pH, and the formula as meant at that of the last batch."""
    last, formula = now[batches[-1].name], batches[-1].formula
    asked = [(f"{ph.batch}, {ph.state}", ph.composition, ph) for ph in now.values()]
    asked.append((f"{formula.title}, as meant", formula.composition(), last))
    rows = [
        (f"{title}, {_ph_words(ph)}", test.holds_for(composition, ph.ph).words()) for title, composition, ph in asked
    ]
    predicted = any(ph.measured is None for ph in now.values())
    return Table(
        ("now", "does the result hold for it?"),
        rows,
        title=f"What the test of {test.batch} holds for",
        note="A predicted pH is not a measured one: read the pH before you rely on it." if predicted else "",
    )


def _ph_words(ph: BatchPh) -> str:
    return "pH not known" if ph.ph is None else f"pH {ph.ph}" + (" (predicted)" if ph.measured is None else "")
