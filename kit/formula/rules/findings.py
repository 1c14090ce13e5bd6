"""What a review says: findings with a stable code, the worst first, and a closing sentence about the limits of law."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.composition import CompositionLine, Share
from kit.formula.material import Fact, Material
from kit.show import Block, Cell, Table, Worded, paragraph
from kit.sources import sources

SEVERITIES = ("stop", "caution", "note")

# Inside one severity: what makes the numbers meaningless first, then law, then what ruins the batch, then the rest.
_SUBJECTS = (
    *("formula", "cap", "charge", "preservation", "heat", "network", "range"),
    *("ph", "supply", "lot", "acid", "facts"),
)
_TONES = {"stop": "fail", "caution": "flag", "note": "quiet"}
PRACTICE = "common practice, no source"
# What a finding rests on that is no document.
_NO_DOCUMENT = {PRACTICE: "common practice", "arithmetic": "arithmetic"}


@dataclass(frozen=True, slots=True, repr=False)
class Finding(Worded):
    """One thing the review has to say.

    Parameters
    ----------
    severity : str           "stop" (do not make it so), "caution" (look again) or "note" (know it).
    code : str               Stable code such as `cap.quat_sum`.
    words : str              What, the number, the limit, and what to do.
    materials : tuple        Keys of the supply forms it is about.
    value, limit : Decimal   The number found and what it was held against, in the unit the words name; may be None.
    source : str             Keys of the sources of the limit, apart by "; ", or "common practice, no source".
    """

    severity: str
    code: str
    words: str
    materials: tuple[str, ...] = ()
    value: Decimal | None = None
    limit: Decimal | None = None
    source: str = ""

    def __post_init__(self) -> None:
        if self.severity not in SEVERITIES:
            raise ValueError(f"severity {self.severity!r} is none of {', '.join(SEVERITIES)}")

    @property
    def subject(self) -> str:
        """The part of the code before the first dot."""
        return self.code.partition(".")[0]

    @property
    def excess(self) -> Decimal:
        """How far the value is from the limit, relative to the limit; 0 without both."""
        return abs(self.value - self.limit) / abs(self.limit) if self.value is not None and self.limit else Decimal(0)

    @property
    def sources(self) -> tuple[str, ...]:
        """What the limit rests on, one by one, as it is printed beside the finding."""
        return tuple(_NO_DOCUMENT.get(name, name) for name in self.source.split("; ") if name)

    def __str__(self) -> str:
        return f"{self.severity.upper()} {self.words} [{self.code}]"


@dataclass(frozen=True)
class Review:
    """A composition held against every coded rule; `findings` in order: stop, caution, note, the weightiest first."""

    title: str
    findings: tuple[Finding, ...]
    closing: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "findings", tuple(sorted(self.findings, key=_rank)))

    @property
    def stops(self) -> tuple[Finding, ...]:
        """What must be mended before the batch is made."""
        return self._of("stop")

    @property
    def cautions(self) -> tuple[Finding, ...]:
        """What to look at again."""
        return self._of("caution")

    @property
    def notes(self) -> tuple[Finding, ...]:
        """What to know."""
        return self._of("note")

    @property
    def ok(self) -> bool:
        """Whether there is no stop. It does not say that the product is safe, stable or preserved."""
        return not self.stops

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of the findings, in their order."""
        return tuple(finding.code for finding in self.findings)

    def table(self) -> Table:
        """The findings as a table, the worst first."""
        rows = [
            (
                Cell(finding.severity.upper(), _TONES[finding.severity]),
                finding.words,
                finding.code,
                ", ".join(finding.sources) or "–",
            )
            for finding in self.findings
        ]
        return Table(
            ("severity", "finding", "code", "source"),
            rows,
            title=f"Review of {self.title}: {self.count()}",
            note="\n".join([*([self.closing] if self.closing else []), *self.citations()]),
        )

    def citations(self) -> tuple[str, ...]:
        """Every document the findings name, once: its key and its citation, with the day it was read."""
        used = dict.fromkeys(name for finding in self.findings for name in finding.sources)
        return tuple(f"{name}: {cite(name)}." for name in used if name not in _NO_DOCUMENT.values())

    def count(self) -> str:
        """ "1 stop, no caution, 2 notes" """
        return ", ".join(_counted(len(self._of(severity)), severity) for severity in SEVERITIES)

    def _of(self, severity: str) -> tuple[Finding, ...]:
        return tuple(finding for finding in self.findings if finding.severity == severity)

    def _repr_html_(self) -> str:
        return Block((self.table(),))._repr_html_() if self.findings else paragraph(str(self))

    def __str__(self) -> str:
        lines = [f"Review of {self.title}: {self.count()}"]
        for finding in self.findings:
            lines += ["", f"{finding.severity.upper():<8} {finding.code}", *_wrapped(finding.words, "  ")]
            lines += _wrapped(f"Source: {', '.join(finding.sources)}.", "  ") if finding.sources else []
        lines += ["", *_wrapped(self.closing)] if self.closing else []
        cited = [line for citation in self.citations() for line in _wrapped(citation)]
        return "\n".join([*lines, *(["", *cited] if cited else [])])

    __repr__ = __str__


def cite(key: str) -> str:
    """The citation of a source key; a key of the lab's own materials file has none here, and that is said."""
    source = sources().get(key)
    return str(source) if source is not None else "named in the lab's own materials file"


def keys(materials: Iterable[Material]) -> tuple[str, ...]:
    """Keys of materials, each once, in order."""
    return tuple(dict.fromkeys(material.key for material in materials))


def line_keys(lines: Iterable[CompositionLine]) -> tuple[str, ...]:
    """Keys of the supply forms on these lines, each once."""
    return keys(line.material for line in lines)


def brought(shares: Iterable[Share]) -> tuple[str, ...]:
    """Keys of the supply forms that bring these INCI parts, each once."""
    return tuple(dict.fromkeys(key for share in shares for key in share.brought_by))


def source_of(fact: Fact) -> str:
    """Source key of a fact, or that it is common practice."""
    return PRACTICE if fact.source == "common-practice" else fact.source


def names(items: Iterable[str], most: int = 4) -> str:
    """ "A, B and C"; past `most` the rest is counted: "A, B, C, D and 5 more"."""
    listed = list(dict.fromkeys(items))
    if len(listed) > most:
        return f"{', '.join(listed[:most])} and {len(listed) - most} more"
    return " and ".join(filter(None, [", ".join(listed[:-1]), *listed[-1:]]))


def digits(value: Decimal, limit: Decimal | None = None, places: int = 2) -> str:
    """A number for reading; as many decimals as it takes for it not to read like the limit it differs from."""
    text = f"{value:.{places}f}"
    if limit is None or value == limit or Decimal(text) != limit or places >= 8:
        return text
    return digits(value, limit, places + 1)


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, 110, initial_indent=indent, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )


def subject_rank(code: str) -> int:
    """Place of a code's subject among findings of one severity."""
    subject = code.partition(".")[0]
    return _SUBJECTS.index(subject) if subject in _SUBJECTS else len(_SUBJECTS)


def _rank(finding: Finding) -> tuple:
    severity = SEVERITIES.index(finding.severity)
    return severity, subject_rank(finding.code), -finding.excess, finding.code, finding.words


def _counted(count: int, word: str) -> str:
    return f"{count or 'no'} {word}{'s' if count > 1 else ''}"
