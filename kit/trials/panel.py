"""What a panel found: in words with intervals, and what it could have found. No verdict on an unbalanced panel."""

from __future__ import annotations

from dataclasses import dataclass

from kit.bench.exact import upper_first
from kit.bench.panel import PanelKept
from kit.labbook.source import open_source
from kit.science.serving_orders import RANKING, RATING
from kit.show import Block, Table, listing
from kit.trials.panel_choice import choice
from kit.trials.panel_finding import CANNOT_TELL, PanelFinding
from kit.trials.panel_ranks import ranking, rating
from kit.trials.wording import plural

ONE_BATCH = (
    "One batch of each sample was served: the panel tells these batches apart or not; whether another batch of either "
    "formula would do the same is not tested."
)
_SHOWN_MISSING = 8


@dataclass(frozen=True)
class PanelResult:
    """What a panel found.

    Parameters
    ----------
    panel : PanelKept
    finding : PanelFinding, None   Numbers and sentences; None where the panel is void or answers are still to come.
    reason : str                   Why there is no verdict; empty where there is one.
    """

    panel: PanelKept
    finding: PanelFinding | None
    reason: str = ""

    @property
    def verdict(self) -> str:
        """One of the verdicts of `kit.trials.panel_finding`; "cannot be told" where there is a reason."""
        return CANNOT_TELL if self.reason or self.finding is None else self.finding.verdict

    @property
    def assessors(self) -> int:
        """Answers that count."""
        return len(self.panel.counted)

    def _answers_words(self) -> str:
        planned = plural(len(self.panel.servings), "assessor")
        return planned if self.assessors == len(self.panel.servings) else f"{self.assessors} of {planned}"

    @property
    def sentences(self) -> tuple[str, ...]:
        """The result in words, the verdict first."""
        panel = self.panel
        title = f"Panel {panel.name} ({panel.kind}, {self._answers_words()}). {_ended(panel.question)}"
        told = [f"{title} No verdict: {self.reason}" if self.reason else f"{title} {upper_first(self.verdict)}."]
        if self.finding is not None:
            told += self.finding.sentences if not self.reason else self.finding.numbers
        told += [*_heard(panel), ONE_BATCH]
        told += [f"Set aside when it was planned ({panel.override}): {rule}." for rule in panel.overridden]
        return tuple(told)

    @property
    def words(self) -> str:
        """The result in words, one paragraph."""
        return " ".join(self.sentences)

    def tables(self) -> tuple[Table, ...]:
        """The samples, what was answered, and what the verdict rests on where there is one."""
        found = self.finding
        if found is None:
            return (_samples(self.panel),)
        return (_samples(self.panel), *found.counts, *(() if self.reason else found.tables))

    def __str__(self) -> str:
        return "\n".join([*self.sentences, *(f"\n{table}" for table in self.tables())])

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return Block((listing(f"Panel {self.panel.name}", self.sentences), *self.tables()))._repr_html_()


def panel(source: object, name: str) -> PanelResult:
    """What a panel found, by the plan that was kept before it.

    Parameters
    ----------
    source : object   What `open_source` takes: a lab book, its file, a snapshot.
    name : str        Of the panel.

    Returns
    -------
    PanelResult   Without a verdict, and with the reason, where the panel is void, nobody answered, or so many answers
                  are missing that the samples no longer stand equally often in each place.

    Raises
    ------
    RecordError   `panel.unknown`, and those of `open_source`.
    """
    return evaluated(open_source(source).panel(name))


def evaluated(kept: PanelKept) -> PanelResult:
    """What a panel of the record found.

    Parameters
    ----------
    kept : PanelKept
    """
    if kept.void or kept.awaited or not kept.counted:
        return PanelResult(kept, None, _why_none(kept))
    judge = {RANKING: ranking, RATING: rating}.get(kept.kind, choice)
    finding = judge(kept)
    return PanelResult(kept, finding, _why_uneven(kept) or finding.reason)


def _why_none(kept: PanelKept) -> str:
    """Why nothing is worked out: a look before the last answer would be a look at the result."""
    if kept.void:
        return f"it is void: {kept.void}."
    if not kept.counted:
        return "nobody has answered."
    return (
        f"{plural(len(kept.awaited), 'answer')} still to come ({_some(kept.awaited)}). Looking early and stopping when "
        "it suits raises the risk; record who will not answer with panel_absent()."
    )


def _why_uneven(kept: PanelKept) -> str:
    found, fewer = kept.balance(kept.whole), len(kept.servings) - len(kept.whole)
    uneven = found.positions if kept.kind in (RANKING, RATING) else found.uneven
    if uneven < 2:
        return ""
    again = f" Serve the sheets of {_some(kept.missing)} to stand-ins." if kept.missing else ""
    what = "a sample stood in one place" if kept.kind in (RANKING, RATING) else "one serving order was answered"
    return (
        f"{plural(fewer, 'answer')} missing or not whole leave the serving uneven: {what} {uneven} times more than "
        f"another, so that order and sample are mixed up.{again}"
    )


def _heard(kept: PanelKept) -> list[str]:
    """Who has not answered, and what was put right or voided."""
    told = [
        f"{name}, one of {len(kept.servings)} assessors planned, did not answer: {kept.absent[name]}."
        for name in kept.missing
        if name in kept.absent
    ]
    corrected = [found for found in kept.answers if found.corrected and not found.void]
    told += [f"Answer of {found.assessor} put right: {found.corrected}." for found in corrected]
    told += [f"Answer of {found.assessor} voided: {found.void}." for found in kept.answers if found.void]
    return told


def _ended(question: str) -> str:
    return question if question.endswith((".", "?", "!")) else f"{question}."


def _some(names: tuple[str, ...]) -> str:
    more = len(names) - _SHOWN_MISSING
    return ", ".join(names[:_SHOWN_MISSING]) + (f" and {more} more" if more > 0 else "")


def _samples(kept: PanelKept) -> Table:
    rows = list(kept.samples.items())
    note = f"{kept.balance_words} Seed {kept.seed}. Risk stated before: {kept.alpha}."
    return Table(("letter", "sample"), rows, title=f"Panel {kept.name}: samples", note=note)
