"""A batch at the bench: every weighing, step, reading and decision goes into the lab book at once."""

from __future__ import annotations

from kit.bench.balances import Balance
from kit.bench.proposed import next_version
from kit.bench.sheet import Sheet, plan_batch
from kit.errors import BatchError
from kit.formula.composition import Composition, side_by_side
from kit.formula.rules import Review
from kit.labbook.batch_challenge import Challenged
from kit.labbook.batch_making import Making
from kit.labbook.batch_structure import StructureMeasuring
from kit.labbook.entry_bodies import corrected_body
from kit.labbook.ledger import CORRECTION, VOID
from kit.labbook.next_version import NextVersion
from kit.labbook.receipt import Receipt
from kit.show import Block, Table, listing
from kit.units import plain


class Batch(Making, StructureMeasuring, Challenged):
    """One making of a formula, open at the bench or reopened later.

    Calling the same thing twice never doubles an entry: the receipt says "already recorded". Where two entries really
    are alike (two equal portions, two equal readings), `portion=2` or `replicate="2"` tells them apart.
    """

    def correct(self, entry: object, *, why: str, **changes: object) -> Receipt:
        """Put an entry right: the old one stays, the new content counts.

        Parameters
        ----------
        entry : Receipt or int   The entry to put right.
        why : str                The reason.
        changes                  The parts that were wrong: mass="20.04 g", value=4.59, temp="25 degC", lot="C-118",
                                 at="..." ...

        Raises
        ------
        BatchError   `batch.no_entry`, `batch.why`, `batch.correct` for a part that the entry does not have.
        """
        old = self._entry(entry)
        if not why.strip():
            raise BatchError(
                "a correction needs a reason",
                where=f"correct() of {self.name}",
                mend='give why="..."',
                code="batch.why",
            )
        current = next(item.body for item in self._ledger.effective() if item.seq == old.seq)
        body = corrected_body(
            old.kind, current, changes, study=self.study, where=f"correct() of {self.name}, entry {old.seq}"
        )
        record = {"corrects": old.seq, "body": body, "why": why}
        receipt = self._record(CORRECTION, record, f"entry {old.seq} put right: {why}", at=str(changes.get("at", "")))
        if old.kind == "reading":
            return self._with_notes(receipt, self._reading_notes(old.seq))
        return self._with_notes(receipt, self._corrected_lot_notes(old.seq) if "lot" in changes else [])

    def _corrected_lot_notes(self, seq: int) -> list[str]:
        use = next((use for use in self.view.lot_uses if use.entry == seq), None)
        return [] if use is None else self._lot_notes(use.material, use.lot, use.mass_g, use.day)

    def void(self, entry: object, *, why: str) -> Receipt:
        """Undo an entry: it stays in the record with the reason, and counts no more."""
        old = self._entry(entry)
        if not why.strip():
            raise BatchError(
                "a void needs a reason", where=f"void() of {self.name}", mend='give why="..."', code="batch.why"
            )
        if old.kind == "start":
            raise BatchError(
                "the start of a batch cannot be voided",
                where=f"void() of {self.name}",
                mend='decide("drop", why="...") instead; the batch stays in the record',
                code="batch.start",
            )
        return self._record(VOID, {"voids": old.seq, "why": why}, f"entry {old.seq} voided: {why}")

    def composition(self, state: str = "made") -> Composition:
        """The composition as made (or "meant")."""
        return self.view.composition(state)

    def meant_and_made(self) -> Block:
        """Meant and made beside each other, the lots that drove what was made, the mass balance, and the water lost."""
        view = self.view
        columns = {"meant": view.composition("meant"), "made": view.composition("made")}
        lots = [listing("Lots that drove the composition as made", view.lot_words)] if view.lot_words else []
        table = side_by_side(columns, title=f"{self.name}: meant and made")
        return Block((table, *lots, view.made.balance_table(), self.water_loss().words))

    def review(self) -> Review:
        """The composition as made held against every coded rule, with its lots and its cooling log."""
        found = self.view.review()
        return Review(found.title, (*found.findings, *self._cooling_findings()), found.closing)

    def lots_table(self) -> Table:
        """Every lot used: grams, what it is by its certificate, and its date."""
        return self.view.lots_table()

    def as_next_version(self, *, why: str, version: str = "", carry: str = "all") -> NextVersion:
        """The next version of the formula from what was really made, with its weigh sheet.

        Parameters
        ----------
        why : str     The reason, kept with the version.
        carry : str   "all": every line as made. "adjusters": the lines as meant, with what was poured in at the end.
                      Percentages are of supply forms as weighed; certificates of lots are not carried forward.

        Returns
        -------
        NextVersion   `.formula`, `.sheet`, and a table meant | made | proposed, each 100.00 %.
        """
        view = self.view
        formula = next_version(view.formula, view.made, carry=carry, why=why, version=version or None)
        sheet = plan_batch(formula, f"{plain(self.sheet.batch_g)} g", balances=_shelf(self.sheet))
        return NextVersion(view.name, view.composition("meant"), view.composition("made"), formula, sheet)


def _shelf(sheet: Sheet) -> list[Balance]:
    """The balances of a sheet, each once, as `plan_batch` takes them."""
    return list({str(line.balance): line.balance for line in sheet.lines}.values())
