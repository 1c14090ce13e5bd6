"""The sections of a write-up about pH: predicted beside measured, the charge at it, its drift over age."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

from kit.formula.predict import Prediction
from kit.labbook.source import Source
from kit.show import Block, Table
from kit.trials.batch_ph import BatchPh, predicted_words
from kit.trials.wording import plural

if TYPE_CHECKING:
    from kit.trials.drift import DriftSeries

_DRIFT_AGES = 3  # two ages cannot tell a drift from scatter
_DRIFT_NOTE = (
    "Change from the first age to the last. Readings that are flagged, void or under other conditions do not count."
)
_NO_TEST = (
    "In brackets the band that should hold nine readings in ten. Predicted and not tested: no verdict, no difference "
    "rests on a prediction."
)


def predicted_block(phs: Sequence[BatchPh]) -> Block:
    """Predicted pH with its band beside the measured one, a row a batch; what it rests on and cannot know.

    Parameters
    ----------
    phs : sequence of BatchPh   The batches.

    Returns
    -------
    Block   Two tables; a remark that does not hold for all batches names those it holds for.
    """
    table = Table(
        ("batch", "predicted pH", "measured pH"),
        [row for ph in phs for row in _rows(ph)],
        title="Predicted pH beside measured",
        note=_NO_TEST,
    )
    return Block((table, _facts(phs)))


def charge_block(phs: Sequence[BatchPh]) -> Block:
    """The charge of each batch at its pH, with the small counter-ions; the reason where there is no pH.

    Parameters
    ----------
    phs : sequence of BatchPh   The batches.

    Returns
    -------
    Block   Two tables a batch, or a sentence.
    """
    return Block(tuple(part for ph in phs for part in _charge_of(ph)))


def drift_table(source: Source, trials: Sequence[str], study: str) -> Table:
    """How the pH moves over age, a row a trial and method, in words; what was read at fewer than three ages says so.

    Parameters
    ----------
    source : Source          A lab book or a snapshot.
    trials : sequence        Names of trials of one study.
    study : str              The study.

    Returns
    -------
    Table
    """
    from kit.trials.drift import ph_drift  # brings the fits along, which no other section needs

    rows = [_drift_row(series) for series in ph_drift(source, list(trials), study=study).series]
    return Table(
        ("trial", "change, pH", "in words"),
        rows,
        title="pH over age",
        note=_DRIFT_NOTE if rows else "No pH was read: NOT RECORDED.",
        numeric=frozenset({1}),
    )


def _rows(ph: BatchPh) -> Iterable[tuple[object, ...]]:
    measured = "none of the undiluted product that counts" if ph.measured is None else f"{ph.ph} at {ph.age}"
    if not ph.settled.is_known:
        yield (ph.batch, f"NOT COMPUTED: {ph.settled.reason}", measured)
        return
    at = f", for {ph.age}" if ph.moves else ""
    against = f"\n{ph.against}" if ph.against else ""
    yield (ph.batch, f"{predicted_words(ph.beside)}\n{ph.state}{at}", f"{measured}{against}")
    if ph.moves:
        yield (ph.batch, f"{predicted_words(ph.settled)}\n{ph.state}, once all acid has come free", "–")


def _facts(phs: Sequence[BatchPh]) -> Table:
    subjects = (
        ("how far it may miss", lambda found: [found.reason] if found.is_known else []),
        ("rests on", lambda found: found.rests_on),
        ("from memory, to be checked", lambda found: found.memory),
        ("not in the model", lambda found: found.unmodelled),
        ("cannot know", lambda found: (*found.cannot_know, *found.notes)),
    )
    told = [(subject, _each(phs, say)) for subject, say in subjects]
    rows = [(subject, "\n".join(lines)) for subject, lines in told if lines]
    return Table(("item", "entry"), rows, title="What the prediction rests on and cannot know")


def _each(phs: Sequence[BatchPh], say: Callable[[Prediction], Iterable[str]]) -> list[str]:
    """What is said of the predictions, each once; with the batches where it does not hold for all of them."""
    told: dict[str, list[str]] = {}
    for ph in phs:
        for words in say(ph.settled):
            told.setdefault(words, []).append(ph.batch)
    return [words if len(names) == len(phs) else f"{', '.join(names)}: {words}" for words, names in told.items()]


def _charge_of(ph: BatchPh) -> tuple[object, ...]:
    if ph.charge is None:
        return (f"{ph.batch}, charge: {ph.at_words}.",)
    if not ph.charge.lines:
        return (f"{ph.batch}, charge: no large ion in it.",)
    told = [f"{ph.batch}: charge at {ph.at_words}."] if ph.measured is None else []
    return (*told, ph.charge.table(), *([ph.charge.counter_table()] if ph.charge.counter_ions else []))


def _drift_row(series: DriftSeries) -> tuple[object, ...]:
    ages = list(dict.fromkeys(_age_words(age) for age in series.ages_d))
    change, told = series.judged.change, series.judged.words
    if ages and len(ages) < _DRIFT_AGES:
        change, told = None, f"only {plural(len(ages), 'age')} with a reading that counts; three tell a drift"
    named = [series.trial, series.method or "method NOT RECORDED", *([series.storage] if series.storage else [])]
    return (
        "\n".join(named),
        "–" if change is None else f"{change:+.2f}".replace("-", "−"),
        f"{told}. Read at {', '.join(ages)}." if ages else f"{told}.",
    )


def _age_words(age_d: float) -> str:
    """ "0.97 h", "24 h", "7 d" """
    hours = 24 * age_d
    if hours < 10:
        return f"{hours:.2g} h"
    return f"{hours:.0f} h" if hours < 96 else f"{age_d:.0f} d"
