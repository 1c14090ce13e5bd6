"""A panel test as it is kept: its plan, and what was answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from kit.bench.panel_plan import PanelPlan
from kit.bench.panel_sheet import key, sheets
from kit.show import Block, Fielded

Answer = str | list | dict
"""As kept: the code chosen; for a ranking lists of codes from most to least; for ratings the mark by code."""


@dataclass(frozen=True, slots=True, repr=False)
class PanelAnswer(Fielded):
    """What one assessor answered, as it stands now.

    Parameters
    ----------
    entry : int           Its number in the panel's stream.
    assessor : str
    answer : Answer       By code, as it was said.
    at : str              When, ISO 8601.
    note : str
    corrected : str       Why it was put right; empty where it was not.
    void : str            Why it was voided; empty where it stands.
    """

    entry: int
    assessor: str
    answer: Answer
    at: str
    note: str = ""
    corrected: str = ""
    void: str = ""


@dataclass(frozen=True)
class PanelKept(PanelPlan):
    """A panel test of the record: `PanelPlan` with its answers.

    Parameters
    ----------
    answers : tuple of PanelAnswer   In order of entry, voided ones too.
    absent : dict                    Assessor who will not answer to the reason.
    void : str                       Why the panel as a whole was voided; empty where it stands.
    """

    answers: tuple[PanelAnswer, ...] = ()
    absent: Mapping[str, str] = field(default_factory=dict)
    void: str = ""

    @property
    def counted(self) -> dict[str, PanelAnswer]:
        """The answers that stand, by assessor."""
        return {found.assessor: found for found in self.answers if not found.void}

    @property
    def whole(self) -> tuple[str, ...]:
        """Assessors whose answer takes in every sample they were served."""
        return tuple(name for name, found in self.counted.items() if self._judged(found) == len(self.letters))

    def _judged(self, found: PanelAnswer) -> int:
        if isinstance(found.answer, str):
            return len(self.letters)
        return sum(len(group) for group in found.answer) if isinstance(found.answer, list) else len(found.answer)

    @property
    def missing(self) -> tuple[str, ...]:
        """Assessors without an answer that stands."""
        counted = self.counted
        return tuple(serving.assessor for serving in self.servings if serving.assessor not in counted)

    @property
    def awaited(self) -> tuple[str, ...]:
        """Those of them who are not known to stay away."""
        return tuple(assessor for assessor in self.missing if assessor not in self.absent)

    def sheets(self) -> Block:
        """A serving sheet for each assessor: codes, what is asked, cautions. Nothing on it tells what is what."""
        return sheets(self)

    def key(self) -> Block:
        """Which code is which batch. To be kept from the assessors and from whoever serves."""
        return key(self)

    @property
    def words(self) -> str:
        """What it is and how far it is, without saying which code is which."""
        served = f"{len(self.servings)} assessors, {len(self.counted)} answered."
        state = f"VOID: {self.void}." if self.void else served
        return f"Panel {self.name}, {self.kind}: {self.question} {state} {self.balance_words}"

    def __str__(self) -> str:
        return self.words

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return Block((self.words,))._repr_html_()
