"""Errors a formulator can act on: what went wrong, where, what is allowed, how to mend it.

Every error the kit raises on purpose is a `KitError`. It carries a stable code, so that a test, a script
or a colleague on the telephone can name it, and its text is one paragraph in plain words.
"""

from __future__ import annotations


class KitError(Exception):
    """A mistake or a limit, said so that the reader can mend it.

    Parameters
    ----------
    what : str      What is wrong, a sentence in the reader's words, with the offending value in it.
    where : str     File, line, cell, call or entry the sentence is about.
    allowed : str   What would have been accepted.
    mend : str      The next thing to do.
    code : str      Stable code such as `units.missing`; defaults to the class's own.

    Examples
    --------
    >>> print(KitError("The mass is 250 with no unit.", where="weigh()", mend='write "250 g"', code="units.missing"))
    The mass is 250 with no unit. Where: weigh(). To mend: write "250 g". [units.missing]
    """

    default_code = "kit.error"

    def __init__(self, what: str, *, where: str = "", allowed: str = "", mend: str = "", code: str = "") -> None:
        self.what = what
        self.where = where
        self.allowed = allowed
        self.mend = mend
        self.code = code or self.default_code
        super().__init__(self.paragraph())

    def paragraph(self) -> str:
        """The whole error as one paragraph, the code last in square brackets."""
        parts = [_sentence(self.what)]
        for label, text in (("Where", self.where), ("Allowed", self.allowed), ("To mend", self.mend)):
            if text:
                parts.append(_sentence(f"{label}: {text}"))
        return " ".join(parts) + f" [{self.code}]"

    def __reduce__(self):
        """Keep every part through pickling, so that a worker process reports as well as the main one."""
        return _rebuild, (type(self), self.what, self.where, self.allowed, self.mend, self.code)

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows in place of a traceback: the paragraph, nothing else."""
        return [f"{type(self).__name__}: {self.paragraph()}"]


def _rebuild(kind, what, where, allowed, mend, code):
    return kind(what, where=where, allowed=allowed, mend=mend, code=code)


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "!", "?", ":")) else text + "."


class RepeatedReadingWarning(UserWarning):
    """An equal reading was recorded hours ago and this one was not added: the same cell run again, or a new reading?"""


class UnitError(KitError):
    """A quantity that cannot be read: no unit, an unknown unit, the wrong kind, an ambiguous comma."""

    default_code = "units.unreadable"


class MaterialError(KitError):
    """A material that is unknown, or a name that fits several supply forms."""

    default_code = "material.unknown"


class FormulaError(KitError):
    """A formula file or object that cannot be read or used as asked."""

    default_code = "formula.invalid"


class BatchError(KitError):
    """A bench step that does not fit the batch as it stands."""

    default_code = "batch.invalid"


class RecordError(KitError):
    """A lab book that cannot be opened, read or written safely."""

    default_code = "labbook.invalid"


class TableError(KitError):
    """A spreadsheet, a CSV file or pasted text that cannot be read as a table, or a column map that does not fit it."""

    default_code = "table.unreadable"


class ReadingsFileError(KitError):
    """A file of readings that was not taken in; nothing of it was stored."""

    default_code = "import.refused"


class ParameterError(KitError):
    """A template parameter that is unknown, missing or of the wrong kind."""

    default_code = "template.parameter"


class RunError(KitError):
    """A template that stopped before its end, or a page that would not be whole."""

    default_code = "template.run"
