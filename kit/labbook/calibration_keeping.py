"""Calibrations in a lab book, and the checks that close them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from kit.bench.calibration import Calibration
from kit.errors import RecordError
from kit.labbook.book_record import BookRecord, plain_name
from kit.labbook.calibration_typed import calibration_body, closing_body
from kit.labbook.calibration_view import CLOSING, calibration_stream
from kit.labbook.ledger import VOID, effective
from kit.labbook.receipt import Receipt
from kit.labbook.streams import Draft
from kit.labbook.times import read_time, stamp


class CalibrationKeeping(BookRecord):
    """The calls that record a calibration and what became of it."""

    def calibrate(
        self,
        instrument: str,
        name: str,
        *,
        slope_pct: object = None,
        offset_mv: object = None,
        buffers: Sequence[object] = (),
        millivolts: Sequence[object] = (),
        table: str = "",
        temp: str = "",
        at: str = "",
        note: str = "",
    ) -> Receipt:
        """Enter a calibration: the millivolts in each buffer, or slope and offset as the meter shows them.

        Parameters
        ----------
        instrument, name : str  The meter, and a name of its own for the calibration.
        slope_pct, offset_mv    As the meter shows them; they follow from the millivolts where these are given, and are
                                refused where they contradict them.
        buffers : sequence      pH of each buffer at that temperature as its bottle says, "4.01"; or the bottle's table,
                                {"20 degC": "4.00", "25 degC": "4.01"}; or with table="nbs" the names of primary
                                buffers, "phthalate", "phosphate".
        millivolts : sequence   Read in each buffer, in the same order.
        table : str             "bottle" or "nbs". A bottle is never given the values of a primary buffer.
        temp : str              Of the buffers, "25 degC"; needed with millivolts.

        Raises
        ------
        RecordError   `labbook.instrument` for an unknown instrument, `labbook.calibration_exists`, `calibration.table`,
                      `calibration.temperature`, `calibration.contradicts`.
        KitError      `buffer.unknown`, `buffer.temperature`, `electrode.pairs`, `electrode.buffers`,
                      `electrode.slope_sign`, `electrode.temperature`.
        """
        if self.source().instrument(instrument) is None:
            raise RecordError(
                f"there is no instrument {instrument!r}",
                where="calibrate()",
                mend="enter it with add_instrument()",
                code="labbook.instrument",
            )
        body = calibration_body(
            instrument,
            name,
            slope_pct=slope_pct,
            offset_mv=offset_mv,
            buffers=buffers,
            millivolts=millivolts,
            table=table,
            temp=temp,
            at=at,
            note=note,
        )
        return self._define(
            calibration_stream(plain_name(name, "calibration")),
            "calibration",
            body,
            f"calibration {name} of {instrument}",
            mend="give the new calibration a name of its own",
            at=at,
        )

    def close_calibration(
        self, name: str, *, buffer: object, read: object, temp: str = "", at: str = "", note: str = ""
    ) -> Receipt:
        """Enter the check after the run: a buffer read again. Readings beside a check that is out are flagged.

        Parameters
        ----------
        name : str     The calibration, "CAL-07".
        buffer, read   What the buffer's table says, "4.01", and what the meter showed, "4.05".
        at : str       When, now if empty. The same check entered again is not doubled; give its time to tell two apart.

        Raises
        ------
        RecordError   `labbook.calibration` for an unknown one, `calibration.closing_time` for a check from before it.
        """
        found, words = self._calibration(name, "close_calibration()"), f"closing check of {name}"
        body = closing_body(buffer, read, temp=temp, at=at, note=note, where=words)
        stream = calibration_stream(name)
        for item in effective(self.store.read(stream)):
            if item.kind == CLOSING and item.stands and item.body == body:
                return Receipt(stream, item.seq, CLOSING, words, new=False)
        moment = read_time(at, self.store.clock, where=words) if at else self.store.clock()
        if moment < datetime.fromisoformat(found.at):
            raise RecordError(
                f"the check ({stamp(moment)}) comes before the calibration ({found.at})",
                where=words,
                mend="correct the time, or name the calibration that was in force",
                code="calibration.closing_time",
            )
        return self._add(stream, CLOSING, body, words, measured=stamp(moment) if at else None)

    def void_closing(self, name: str, entry: int | Receipt, *, why: str) -> Receipt:
        """Void a closing check that was typed wrong; it stays in the record with the reason.

        Parameters
        ----------
        name : str               The calibration.
        entry : int or Receipt   The check, as `close_calibration` gave it.
        why : str                The reason.

        Raises
        ------
        RecordError   `labbook.calibration`, `calibration.closing` when there is no such check or no reason is given.
        """
        found = self._calibration(name, "void_closing()")
        seq = entry.seq if isinstance(entry, Receipt) else entry
        if not why.strip() or seq not in [check.entry for check in found.closings]:
            raise RecordError(
                f"calibration {name} has no closing check {seq} to void" if why.strip() else "the reason is missing",
                where="void_closing()",
                allowed=", ".join(f"entry {check.entry}: {check.words()}" for check in found.closings) or "none yet",
                mend="name one of these and say why",
                code="calibration.closing",
            )
        words = f"void of closing check {seq} of {name}"
        if next(check for check in found.closings if check.entry == seq).void:
            return Receipt(calibration_stream(name), seq, VOID, words, new=False)
        return self._add(calibration_stream(name), VOID, {"voids": seq, "why": why.strip()}, words)

    def _calibration(self, name: str, where: str) -> Calibration:
        source = self.source()
        found = source.calibration(name)
        if found is None:
            raise RecordError(
                f"there is no calibration {name!r}",
                where=where,
                allowed=", ".join(known.name for known in source.calibrations()) or "none yet",
                mend="name one of these, or enter it with calibrate()",
                code="labbook.calibration",
            )
        return found

    def _add(self, stream: str, kind: str, body: dict, words: str, *, measured: str | None = None) -> Receipt:
        draft = Draft(stream, kind, body, stream_kind="calibration", measured_at=measured)
        return Receipt(stream, self.store.append_many([draft])[0].seq, kind, words)
