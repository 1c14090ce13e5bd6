"""Results that show themselves as their sentence."""

from __future__ import annotations

from kit.show import paragraph


class Worded:
    """Shown by the sentence in `words`, in a terminal and in a notebook alike."""

    __slots__ = ()
    words: str

    def __str__(self) -> str:
        return self.words

    def _repr_html_(self) -> str:
        return paragraph(self.words)
