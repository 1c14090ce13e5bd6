"""Lots and lab-made solutions in a lab book: their certificates, which drive the composition of a batch as made."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from kit.errors import MaterialError, RecordError
from kit.formula.lots import LOT_KINDS, Lot
from kit.formula.material import Material
from kit.formula.rules import review_lots
from kit.labbook.book_record import BookRecord
from kit.labbook.lot_history import LOT_STREAM, Certificate, LotHistory, lot_stream
from kit.labbook.lot_typed import stated_words, typed_lot
from kit.labbook.lot_uses import lot_use
from kit.labbook.receipt import Receipt
from kit.labbook.streams import Draft, Entry
from kit.labbook.times import stamp
from kit.show import Table

CERTIFICATE, STOCK = "certificate", "stock"


class LotKeeping(BookRecord):
    """The calls that record what a lot is."""

    def add_lot(
        self,
        material: str,
        lot: str,
        *,
        certificate: Mapping[str, object] | None = None,
        expiry: str = "",
        made_on: str = "",
        supplier: str = "",
        note: str = "",
        valid_from: str = "",
        why: str = "",
    ) -> Receipt:
        """Enter a lot with the values of its certificate. Every weighing that names it then counts with these values.

        The first certificate holds for every weighing of the lot, earlier ones too. A later one needs `why`: without
        `valid_from` it puts the first right, with a day it holds from that day on.

        Parameters
        ----------
        material : str      Key, name or INCI of the supply form.
        lot : str           Number on the label.
        certificate : dict  What it states, such as {"active": "81.2 %", "amine_value": "157.2", "density": "0.98 g/mL",
                            "chains": {"Cetyl Alcohol": "50 %", "Stearyl Alcohol": "50 %"}}, or "parts" by INCI.
        expiry : str        "2027-03-31", or "2027-03" for the last day of a month.
        made_on : str       YYYY-MM-DD.
        valid_from : str    Day from which a further certificate holds, YYYY-MM-DD.
        why : str           Why the lot is entered again.

        Raises
        ------
        MaterialError   `material.lot`, `material.certificate` and those of the library.
        RecordError     `labbook.lot_exists` when the lot is there with another content and no reason is given.
        """
        form = self.library.find(material, where=f"add_lot(), lot {lot}")
        words = {"expiry": expiry, "made_on": made_on, "supplier": supplier, "note": note}
        found = typed_lot(form, lot, certificate, **words)
        return self._record_lot(form, found, CERTIFICATE, valid_from=valid_from, why=why)

    def make_stock(
        self,
        material: str,
        lot: str,
        *,
        strength: str,
        made_on: str,
        from_lots: Mapping[str, str] | None = None,
        expiry: str = "",
        note: str = "",
        valid_from: str = "",
        why: str = "",
    ) -> Receipt:
        """Enter a stock solution made in the lab, with the strength it was weighed or titrated to.

        What is poured in of it books to what it was mixed from, at this strength. A later titration is entered with
        `valid_from` and `why`; a slip is put right with `why` alone.

        Parameters
        ----------
        material : str      Key, name or INCI of the solution, "citric-acid-10-solution".
        lot : str           Number on its label.
        strength : str      Content of its one active part, "10.02 %".
        made_on : str       YYYY-MM-DD.
        from_lots : dict    Material to the lot it was made from.
        expiry : str        Last day it is used, YYYY-MM-DD or a month.

        Raises
        ------
        MaterialError   `material.not_a_solution`, `material.from_lots`, and as `add_lot`.
        RecordError     `labbook.lot_exists`.
        """
        form = self.library.find(material, where=f"make_stock(), {lot}")
        bases = _bases(form, lot)
        taken = {self._base(name, form, bases, lot): str(number).strip() for name, number in (from_lots or {}).items()}
        words = {"made_on": made_on, "expiry": expiry, "note": note, "kind": LOT_KINDS[1]}
        found = typed_lot(form, lot, {"strength": strength}, **words)
        return self._record_lot(form, found, STOCK, valid_from=valid_from, why=why, from_lots=taken)

    def lots(self) -> Table:
        """Every lot and solution entered: what it states, and whether it is in date today."""
        today = self.store.clock().date()
        rows = [
            self._row(history, certificate, today)
            for history in self.source().lots()
            for certificate in history.standing()
        ]
        return Table(
            ("supply form", "lot", "kind", "states", "made on", "expiry", "today", "supplier", "note"),
            rows,
            title="Lots and solutions",
            note="" if rows else "None entered yet: every batch rests on the typical values of its supply forms.",
        )

    def lot(self, material: str, lot: str) -> LotHistory | None:
        """The certificates of one lot in the order they were entered; None when nothing is known of it."""
        return self.source().lot(self.library.find(material, where="lot()").key, str(lot).strip())

    def _row(self, history: LotHistory, certificate: Certificate, today: date) -> tuple[str, ...]:
        lot = certificate.lot
        known = self.library.materials.get(history.material)
        state = "no date known" if not lot.expiry else "PAST ITS DATE" if lot.is_expired(today) else "in date"
        made = "; ".join(f"from {base} lot {number}" for base, number in certificate.from_lots.items())
        return (
            known.name if known is not None else history.material,
            certificate.label,
            lot.kind,
            stated_words(lot),
            lot.made_on or "–",
            lot.expiry or "–",
            state,
            lot.supplier or "–",
            "; ".join(filter(None, [made, lot.note, certificate.why])) or "–",
        )

    def _base(self, name: str, form: Material, bases: list[str], lot: str) -> str:
        key = self.library.find(name, where=f"make_stock(), {lot}, from_lots").key
        if key not in bases:
            raise MaterialError(
                f"{form.name} is not made from {key}",
                where=f"make_stock(), {lot}, from_lots",
                allowed=", ".join(bases),
                mend="name what it was mixed from, or enter another solution as a material of its own",
                code="material.from_lots",
            )
        return key

    def _record_lot(
        self,
        form: Material,
        lot: Lot,
        kind: str,
        *,
        valid_from: str,
        why: str,
        from_lots: Mapping[str, str] | None = None,
    ) -> Receipt:
        stream = lot_stream(form.key, lot.lot)
        body = {
            "certificate": lot.row(),
            "valid_from": _day(valid_from, lot),
            "from_lots": dict(from_lots or {}),
            "why": why.strip(),
        }
        words = f"lot {lot.lot} of {form.name}: {stated_words(lot)}"
        held = self.store.read(stream) if self.store.has(stream) else ()
        same = _same(held, body)
        if same is not None:
            return Receipt(stream, same.seq, kind, words, new=False)
        if held and not body["why"]:
            raise _exists(held[-1], body, form, lot)
        if held:
            drafts = [Draft(stream, kind, body, stream_kind=LOT_STREAM, expect=held[-1].head)]
        else:
            drafts = self._opening(stream, LOT_STREAM, body, kind=kind)
        entry = self.store.append_many(drafts)[0]
        return Receipt(stream, entry.seq, kind, words, self._notes(form, lot, entry))

    def _notes(self, form: Material, lot: Lot, entry: Entry) -> tuple[str, ...]:
        """What the certificate changes, and what is odd about it."""
        history = self.source().lot(form.key, lot.lot)
        today = stamp(self.store.clock())[:10]
        day = max(today, history.certificates[-1].valid_from)
        use = lot_use(entry.seq, form, lot.lot, day, Decimal(0), {entry.stream: history})
        found = review_lots([form], [lot], on=today)
        return (use.words(), *(finding.words for finding in found.cautions))


def _same(held: tuple[Entry, ...], body: Mapping) -> Entry | None:
    """The entry that holds this content: the very same at any place, or what counts now whatever its reason."""
    for entry in held:
        if entry.body == body:
            return entry
    counting = [entry for entry in held if entry.body["valid_from"] == body["valid_from"]][-1:]
    return next((entry for entry in counting if {**entry.body, "why": ""} == {**body, "why": ""}), None)


def _exists(last: Entry, body: Mapping, form: Material, lot: Lot) -> RecordError:
    old = last.body["certificate"]
    new = body["certificate"]
    differs = sorted(name for name in {*old, *new} if old.get(name) != new.get(name)) or ["valid_from or from_lots"]
    return RecordError(
        f"lot {lot.lot} of {form.key} is already recorded with another content ({', '.join(differs)})",
        where="lots of the lab book",
        mend='give why="..." to put it right; for a new certificate also valid_from="YYYY-MM-DD"',
        code="labbook.lot_exists",
    )


def _bases(form: Material, lot: str) -> list[str]:
    if not form.made_from:
        raise MaterialError(
            f"{form.name} is no solution that the lab makes: what it is mixed from is not known",
            where=f"make_stock(), {lot}",
            allowed="a material with made_from, such as citric-acid-10-solution",
            mend="enter a delivery with add_lot(), or the solution in a materials file of your own",
            code="material.not_a_solution",
        )
    return [base.key for base, _ in form.made_from]


def _day(text: str, lot: Lot) -> str:
    if not text:
        return ""
    try:
        return date.fromisoformat(str(text).strip()).isoformat()
    except ValueError:
        raise lot.refused(f"valid_from is {text!r}", "YYYY-MM-DD", 'write for example "2027-03-31"') from None
