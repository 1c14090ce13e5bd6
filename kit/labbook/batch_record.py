"""What every call of a batch does: record once, answer with a receipt."""

from __future__ import annotations

import difflib
from dataclasses import replace
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING

from kit.bench.sheet import Sheet
from kit.errors import BatchError
from kit.formula.formula import Formula
from kit.formula.library import Library
from kit.formula.material import Material
from kit.labbook.ledger import Ledger
from kit.labbook.lot_history import LOT_STREAM, lot_stream, read_histories
from kit.labbook.lot_uses import LotUse, lot_use
from kit.labbook.projecting import rows_of
from kit.labbook.receipt import Receipt
from kit.labbook.source import LabbookReader, Source
from kit.labbook.streams import Entry
from kit.labbook.study_view import StudyView
from kit.labbook.times import read_time, show_time, stamp
from kit.labbook.view import BatchView, batch_stream, batch_view
from kit.units import minutes as read_minutes
from kit.units import number, plain, read

if TYPE_CHECKING:
    from kit.labbook.store import Store

_MAKING = ("weigh", "weigh-back", "combine", "add", "temperature", "gross", "top-up", "adjust", "take", "over-weighing")


class BatchRecord:
    """The record of one batch and the rules for adding to it."""

    def __init__(
        self, store: Store, source: Source, name: str, *, reopened: bool = False, library: Library | None = None
    ) -> None:
        self._store = store
        self._source = source
        self.name = name
        self.reopened = reopened
        self._ledger = Ledger.of(source.entries(batch_stream(name)))
        start = self._ledger.entries[0].body
        self.formula: Formula = replace(source.formula(start["formula"]), library=library)
        self.sheet: Sheet = Sheet.from_row(start["sheet"], self.formula)
        self._study_name: str = start["study"]
        self._view: BatchView | None = None
        self._newest_lot = 0

    def __repr__(self) -> str:
        state = f"finished {show_time(self.view.finished_at)}" if self.view.finished_at else "open"
        return (
            f"Batch {self.name} ({state}{', reopened' if self.reopened else ''}; {len(self._ledger.entries)} entries)"
        )

    def refresh(self) -> None:
        """Take in what was recorded meanwhile through another object or by another program."""
        self._ledger = Ledger.of(self._store.read(batch_stream(self.name)))
        self._view = None

    def source(self) -> Source:
        """A fresh read-only view of the lab book the batch is in."""
        return Source(LabbookReader(self._store, self._store.path.name))

    @cached_property
    def study(self) -> StudyView:
        """The study the batch belongs to."""
        return self._source.study(self._study_name)

    @property
    def view(self) -> BatchView:
        """Everything recorded about the batch, as it stands now, the certificates of its lots included."""
        if self._view is None or len(self._view.entries) != len(self._ledger.entries) or self._lots_moved():
            entries = tuple(self._ledger.entries)
            with self._store.snapshot():
                before = None if self._view is None or self._lots_moved() else self._view
                self._view = batch_view(entries, self.formula, self.sheet, read=self._read_lot, before=before)
                self._newest_lot = self._store.newest(LOT_STREAM)
        return self._view

    def _lots_moved(self) -> bool:
        """Whether a certificate was entered since: no entry of the batch's own tells that."""
        return self._store.newest(LOT_STREAM) != self._newest_lot

    def _read_lot(self, stream: str) -> tuple[Entry, ...]:
        return self._store.read(stream) if self._store.has(stream) else ()

    def _lot_notes(self, material: Material, lot: str | None, mass_g: Decimal, at: str) -> list[str]:
        """What there is to say of a lot while it is still in the hand: its date, and what the composition rests on."""
        lot = str(lot or "").strip()
        if not lot:
            return []
        histories = read_histories([(material.key, lot)], self._read_lot)
        use = lot_use(0, material, lot, (self._moment(at) or self.now())[:10], mass_g, histories)
        late = use.date_words()
        return [*([late] if late else []), use.words(), *self.like_lots(use)]

    def like_lots(self, use: LotUse) -> list[str]:
        """Lots of the same form with a certificate whose number is spelled almost alike."""
        if use.certificate is not None or use.problem:
            return []
        start = lot_stream(use.material.key, "")
        known = [name.removeprefix(start) for name in self._store.stream_names(LOT_STREAM) if name.startswith(start)]
        near = difflib.get_close_matches(use.lot, known, n=2, cutoff=0.7)
        return [f"a certificate is recorded for lot {' and '.join(near)} of it: is it that one?"] if near else []

    def _record(self, kind: str, body: dict, words: str, *, at: str = "") -> Receipt:
        same = self._ledger.same(kind, body)
        if same is not None:
            return Receipt(f"batch/{self.name}", same.seq, kind, words, self._why_not_again(same), new=False)
        if kind in _MAKING and self._is_finished():
            raise BatchError(
                f"{self.name} is finished: {kind} belongs to making",
                where=f"batch {self.name}",
                mend="void the finish entry first if making went on",
                code="batch.finished",
            )
        moment = self._moment(at) or self.now()
        entry = self._store.append(
            batch_stream(self.name),
            kind,
            body,
            stream_kind="batch",
            measured_at=moment,
            project=rows_of(kind, body, moment),
            expect=self._ledger.head,
        )
        self._ledger.add(entry)
        return Receipt(entry.stream, entry.seq, kind, words)

    def _why_not_again(self, entry: Entry) -> tuple[str, ...]:
        standing = next((item for item in self._ledger.effective() if item.seq == entry.seq), None)
        notes = [f"the same entry was recorded {show_time(entry.recorded_at)}"]
        if standing is not None and standing.void:
            notes.append(
                f"it was voided since: {standing.void}. To record it anew, say what tells it apart "
                '(portion=2, replicate="2", at="...")'
            )
        elif standing is not None and standing.corrected_by:
            notes.append(f"it was put right since by entry {standing.corrected_by}: {standing.why_corrected}")
        elif entry.kind == "reading":
            notes.append('a second reading that is really equal needs replicate="2", or its own at= or age=')
        elif entry.kind in ("weigh", "adjust"):
            notes.append("a second equal portion needs portion=2 (adjust: dose=2)")
        return tuple(notes)

    def _with_notes(self, receipt: Receipt, notes: list[str]) -> Receipt:
        return Receipt(receipt.stream, receipt.seq, receipt.kind, receipt.words, (*receipt.notes, *notes), receipt.new)

    def _entry(self, entry: object) -> Entry:
        seq = entry.seq if isinstance(entry, Receipt) else entry
        found = self._ledger.entry(seq) if isinstance(seq, int) and not isinstance(seq, bool) else None
        if found is None:
            raise BatchError(
                f"{entry!r} is not an entry of {self.name}",
                allowed=f"a receipt, or a number from 1 to {len(self._ledger.entries)}",
                mend="look it up in batch.view.effective",
                code="batch.no_entry",
            )
        return found

    def now(self) -> str:
        """The present by the lab book's clock, as the record keeps it."""
        return stamp(self._store.clock())

    def _moment(self, at: str) -> str:
        return stamp(read_time(at, self._store.clock, where=f"batch {self.name}")) if at else ""

    def _is_finished(self) -> bool:
        return any(entry.kind == "finish" for entry in self._ledger.entries) and bool(self.view.finished_at)

    def _mass(self, text: str, where: str) -> Decimal:
        grams = read(text, "g", where=f"{where} ({self.name})")
        if grams <= 0:
            raise BatchError(
                f"{text} is not a mass",
                where=f"{where} ({self.name})",
                allowed="more than 0 g",
                mend="type what the balance shows",
                code="batch.mass",
            )
        return grams

    def _speed(self, rpm: object, minutes: object) -> dict:
        turned = (
            {}
            if rpm is None
            else {
                "rpm": plain(
                    read(rpm, "rpm", where="rpm")
                    if isinstance(rpm, str) and not rpm.strip().isdigit()
                    else number(rpm, where="rpm")
                )
            }
        )
        return {**turned, **({} if minutes is None else {"minutes": plain(read_minutes(minutes, where="minutes"))})}

    def _temp(self, temp: str) -> dict:
        return {"temp_c": plain(read(temp, "degC", where=f"temperature ({self.name})"))} if temp else {}
