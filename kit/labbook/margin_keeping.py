"""Margins of a study in a lab book: what is too small to matter, stated with the day it was stated on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from kit.bench.margins import refused
from kit.bench.property_scale import fold
from kit.labbook.book_record import BookRecord
from kit.labbook.margin_entry import MARGINS, StatedMargin, checked_margins, stated_margins
from kit.labbook.receipt import Receipt
from kit.labbook.streams import Draft

_WITHDRAWN = ""


class MarginKeeping(BookRecord):
    """The call that states margins of a study that is open already."""

    def state_margins(self, margins: Mapping[str, str | None], *, study: str = "", why: str = "") -> Receipt:
        """State or change what is too small to matter, from now on; properties that are not named keep theirs.

        A comparison says on which day its margin was stated, and whether that was before its batches were made.

        Parameters
        ----------
        margins : dict   {"viscosity": "20 %", "pH at 24 h": "0.1"}; None as text withdraws one.
        study : str      The study; the only one when empty.
        why : str        Why it is stated now, or changed.

        Raises
        ------
        RecordError   `labbook.study`.
        KitError      `study.margin` for a margin that cannot be used.
        """
        held = self.source().study(study)
        stream, where = f"study/{held.name}", f"state_margins() of {held.name}"
        standing = {stated.margin.name: stated.margin.text for stated in held.margins}
        told = {name: text for name, text in margins.items() if text is not None}
        wanted = checked_margins(told, held.spec, held.methods.values(), held.windows, where=where)
        wanted |= {_standing(name, standing, where): _WITHDRAWN for name, text in margins.items() if text is None}
        new = {name: text for name, text in wanted.items() if standing.get(name, _WITHDRAWN) != text}
        words = f"margins of study {held.name}"
        last = self.store.read(stream)[-1]
        if not new:
            return Receipt(stream, last.seq, MARGINS, words, _told(held.margins), new=False)
        body = {MARGINS: new, "why": why.strip()}
        entry = self.store.append_many([Draft(stream, MARGINS, body, stream_kind="study", expect=last.head)])[0]
        return Receipt(stream, entry.seq, MARGINS, words, _told(stated_margins(self.store.read(stream))))


def _standing(name: str, standing: Iterable[str], where: str) -> str:
    """The margin that is to be withdrawn, as it stands."""
    found = [stated for stated in standing if fold(stated) == fold(name)]
    if not found:
        stated = ", ".join(standing) or "none is stated"
        raise refused(f"{name!r}, which is to be withdrawn,", stated, where=where, code="study.margin")
    return found[0]


def _told(margins: Iterable[StatedMargin]) -> tuple[str, ...]:
    """What stands now, a line each."""
    return tuple(stated.words for stated in margins) or ("none is stated",)
