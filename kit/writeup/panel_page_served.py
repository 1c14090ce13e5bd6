"""How a panel was served: its plan, places and codes as they were kept before the answers, and who has answered.

Which code was which sample is printed only where no answer can come any more.
"""

from __future__ import annotations

from collections.abc import Sequence

from kit.bench.panel import Answer, PanelKept
from kit.bench.panel_plan import PLACE_WORDS, Serving
from kit.errors import BatchError
from kit.labbook.source import Source
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.science.number_text import short
from kit.science.serving_orders import DUO_TRIO, PAIRED, PREFERENCE, RANKING
from kit.show import Cell, Table
from kit.trials.wording import ABSENT
from kit.writeup.report_formula import NOT_RECORDED

CLOSED = "The key stays closed until the last answer: who has seen it can no longer serve or judge."


def is_open(kept: PanelKept) -> bool:
    """Whether answers may still come, so that nobody may see which code is which.

    Parameters
    ----------
    kept : PanelKept
    """
    return bool(kept.awaited) and not kept.void


def plan_table(kept: PanelKept) -> Table:
    """What was laid down before anybody answered.

    Parameters
    ----------
    kept : PanelKept
    """
    first = min((found.at for found in kept.answers), default="")
    rows = [
        ("kind", kept.kind),
        ("question", kept.question),
        ("tried", PLACE_WORDS[kept.place]),
        ("kept", show_time(kept.at) if kept.at else NOT_RECORDED),
        ("first answer", show_time(first) if first else "none yet"),
        ("risk of seeing what is not there", f"{short(100 * float(kept.alpha))} %"),
    ]
    if kept.similar_below is not None:
        rows.append(("still taken as alike", f"below {short(100 * float(kept.similar_below))} % who tell them apart"))
    rows += [("expected before", words) for words in (_expected(kept),) if words]
    if kept.scale:
        rows.append(("scale", f"{kept.scale[0]} to {kept.scale[1]}"))
    rows += [
        ("orders and codes", f"drawn from seed {kept.seed}. {kept.balance_words}"),
        ("answers", f"{len(kept.counted)} of {len(kept.servings)}"),
    ]
    if kept.place in ("hair", "forearm"):
        rows.append(("consent", kept.consent or NOT_RECORDED))
    rows += [("set aside", f"{rule} ({kept.override})") for rule in kept.overridden]
    if kept.void:
        rows.append(("VOID", kept.void))
    return Table(("item", "entry"), rows, title=f"Panel {kept.name}: as it was planned")


def _expected(kept: PanelKept) -> str:
    """What was expected before; nothing for a kind of panel that asks for no direction."""
    told = " > ".join(kept.samples[letter] for letter in kept.expected)
    without = {PAIRED: "nothing: both sides count", PREFERENCE: "nothing: both sides count", RANKING: "no order"}
    return f"{told} more" if told and kept.kind == PAIRED else told or without.get(kept.kind, "")


def places_table(kept: PanelKept) -> Table:
    """How often each sample stands in each place, of all who were planned.

    Parameters
    ----------
    kept : PanelKept
    """
    length = len(kept.servings[0].order)
    rows = [
        (sample, *(str(sum(one.order[place] == letter for one in kept.servings)) for place in range(length)))
        for letter, sample in kept.samples.items()
    ]
    places = [f"place {place}" for place in range(1, length + 1)]
    if kept.kind == DUO_TRIO:
        places = ["open reference", *(f"coded {place}" for place in range(1, length))]
    return Table(
        ("sample", *places),
        rows,
        title=f"Panel {kept.name}: how often each sample stood where",
        numeric=frozenset(range(1, length + 1)),
    )


def servings_table(kept: PanelKept) -> Table:
    """Who was served what and what was answered; without the key while answers are awaited.

    Parameters
    ----------
    kept : PanelKept
    """
    title = f"Panel {kept.name}: servings"
    if is_open(kept):
        rows = [(one.assessor, str(len(one.codes)), _state(kept, one.assessor)) for one in kept.servings]
        return Table(("assessor", "coded samples", "answer"), rows, title=title, note=CLOSED, numeric=frozenset({1}))
    answers = kept.counted
    rows = [
        (
            one.assessor,
            "".join(one.order),
            ", ".join(f"{code} {letter}" for code, letter in one.letters.items()),
            answer_words(one, answers[one.assessor].answer)
            if one.assessor in answers
            else Cell(_state(kept, one.assessor), "quiet"),
        )
        for one in kept.servings
    ]
    note = "Codes in the order served. The reference, which has no code, stands first." if kept.kind == DUO_TRIO else ""
    return Table(("assessor", "order", "code and sample", "answer"), rows, title=title, note=note)


def _state(kept: PanelKept, assessor: str) -> str:
    if assessor in kept.counted:
        return "given"
    return f"none: {kept.absent[assessor]}" if assessor in kept.absent else "still to come" if not kept.void else "none"


def answer_words(serving: Serving, answer: Answer) -> str:
    """An answer by letters, the code beside a single choice: "512 (A)", "B > A = C", "A 4, B 3".

    Parameters
    ----------
    serving : Serving   What the assessor was served.
    answer : Answer     By code.
    """
    letters = serving.letters
    if isinstance(answer, str):
        return f"{answer} ({letters[answer]})"
    if isinstance(answer, list):
        return " > ".join(" = ".join(sorted(letters[code] for code in group)) for group in answer)
    return ", ".join(f"{letter} {answer[code]}" for letter, code in sorted((letters[code], code) for code in answer))


def batches_of(source: Source, kept: Sequence[PanelKept]) -> tuple[BatchView, ...]:
    """The batches that some panels served, once each; bought products are none.

    Parameters
    ----------
    source : Source
    kept : sequence of PanelKept
    """
    names = dict.fromkeys(name for panel in kept for name in panel.samples.values())
    known = {name for name in names if "/" in name and source.study_of(name.rpartition("/")[0])}
    return tuple(source.batch(name) for name in names if name in known)


def served_table(source: Source, kept: Sequence[PanelKept]) -> Table:
    """What was served: versions, when they were finished, what their review says as made.

    Parameters
    ----------
    source : Source
    kept : sequence of PanelKept
    """
    batches = {batch.name: batch for batch in batches_of(source, kept)}
    rows, closings = [], {}
    for name in dict.fromkeys(name for panel in kept for name in panel.samples.values()):
        batch, where = batches.get(name), ", ".join(one.name for one in kept if name in one.samples.values())
        if batch is None:
            rows.append((name, where, "bought: composition unknown", ABSENT, ABSENT))
            continue
        finished = show_time(batch.finished_at) if batch.finished_at else NOT_RECORDED
        told, closing = _review(batch)
        closings |= {closing: None} if closing else {}
        rows.append((name, where, batch.formula.title, finished, told))
    heads = ("sample", "panels", "version", "finished", "review as made")
    return Table(heads, rows, title="What was served", note=" ".join(closings))


def _review(batch: BatchView) -> tuple[str | Cell, str]:
    """What the review of a batch as made counts, and its sentence about the limits of law."""
    try:
        review = batch.review()
    except BatchError as problem:
        return Cell(f"NOT REVIEWED: {problem.what}", "fail"), ""
    return Cell(f"STOP: {review.count()}", "fail") if review.stops else review.count(), review.closing
