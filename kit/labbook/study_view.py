"""Read-only views of a study and of a trial, as the record holds them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kit.bench.methods import AgeWindow, Method
from kit.formula.formula import Formula
from kit.formula.model import SpecLine
from kit.labbook.margin_entry import StatedMargin
from kit.show import Worded


@dataclass(frozen=True, slots=True, repr=False)
class StudyView(Worded):
    """A study: question, dated spec, methods, control, studies whose repeat batches tell the scatter, margins."""

    name: str
    question: str
    spec: tuple[SpecLine, ...]
    spec_dated: str
    methods: Mapping[str, Method]
    windows: tuple[AgeWindow, ...]
    control: str = ""
    history: tuple[str, ...] = ()
    reference_product: str = ""
    note: str = ""
    margins: tuple[StatedMargin, ...] = ()

    @property
    def words(self) -> str:
        """Question, control, spec, margins and methods, a line each."""
        spec = "; ".join(f"{line.property} {line.words()}{f' at {line.age}' if line.age else ''}" for line in self.spec)
        told = (
            ("control", self.control or self.reference_product),
            (f"spec of {self.spec_dated}", spec or "none"),
            ("too small to matter", "; ".join(stated.words for stated in self.margins)),
            ("methods", "; ".join(method.words() for method in self.methods.values())),
            ("ages", ", ".join(map(str, self.windows))),
            ("scatter also from", ", ".join(self.history)),
            ("note", self.note),
        )
        return "\n".join([f"Study {self.name}: {self.question}", *(f"  {name}: {text}" for name, text in told if text)])


@dataclass(frozen=True, slots=True, repr=False)
class TrialView(Worded):
    """A trial: which formula version it tries, and why."""

    name: str
    study: str
    formula: Formula
    why: str = ""
    note: str = ""

    @property
    def words(self) -> str:
        """The trial, what it tries and why."""
        told = "; ".join(part for part in (self.formula.title, self.why, self.note) if part)
        return f"Trial {self.name} of study {self.study}: {told}"
