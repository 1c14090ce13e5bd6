"""The read-only view of a batch: everything that the record holds of it, as it stands now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property

from kit.bench.challenge import ChallengeTest
from kit.bench.made import Made, as_made
from kit.bench.readings import Reading
from kit.bench.sheet import Sheet
from kit.errors import BatchError
from kit.formula.composition import Composition, Step
from kit.formula.formula import Formula
from kit.formula.rules import Review, review
from kit.formula.rules.facts import merged_unknowns
from kit.labbook.batch_entries import (
    Decision,
    Observation,
    age_h,
    decision_of,
    event_of,
    material_of,
    observation_of,
    reading_of,
    step_of,
)
from kit.labbook.challenge_entry import KIND as CHALLENGE
from kit.labbook.challenge_entry import challenge_test_of
from kit.labbook.ledger import CORRECTION, VOID, Effective, effective
from kit.labbook.lot_history import WITH_LOTS, LotHistory, Read, lots_named, read_histories
from kit.labbook.lot_uses import LotUse, driving_words, lot_use, lots_table, review_uses
from kit.labbook.streams import Entry
from kit.labbook.times import show_time
from kit.show import Table, Worded
from kit.units import plain


@dataclass(frozen=True, repr=False)
class BatchView(Worded):
    """One making of a formula: everything recorded about it, as it stands now.

    `entries` are the raw entries; `effective` are the same with corrections made and voids marked; `histories` are the
    certificates of the lots it names, by stream.
    """

    study: str
    trial: str
    number: int
    formula: Formula
    sheet: Sheet
    operator: str
    started_at: str
    why: str
    entries: tuple[Entry, ...]
    effective: tuple[Effective, ...]
    note: str = ""
    _phase_kinds: Mapping[str, str] = field(default_factory=dict, repr=False)
    histories: Mapping[str, LotHistory] = field(default_factory=dict, repr=False)

    @property
    def name(self) -> str:
        """Trial and number, "LIN-03/1"."""
        return f"{self.trial}/{self.number}"

    @property
    def stream(self) -> str:
        """The stream that holds it."""
        return batch_stream(self.name)

    @property
    def words(self) -> str:
        """Which batch of what, how far it is, what is recorded of it and what was decided."""
        finished = f"finished {show_time(self.finished_at)}" if self.finished_at else "making not finished"
        made = f"{plain(self.batch_g)} g, started {show_time(self.started_at)}, {finished}"
        held = (
            (len(self.standing("weigh")), "weighing", "weighings"),
            (sum(not reading.void for reading in self.readings), "reading", "readings"),
            (sum(not seen.void for seen in self.observations), "observation", "observations"),
        )
        recorded = ", ".join(f"{count} {one if count == 1 else many}" for count, one, many in held)
        told = (
            f"Batch {self.name} of study {self.study}: {self.formula.title}",
            f"{made}{f', by {self.operator}' if self.operator else ''}",
            recorded,
            f"why: {self.why}" if self.why else "",
            f"note: {self.note}" if self.note else "",
            *(f"decided: {decision.words}" for decision in self.decisions),
        )
        return "\n  ".join(line for line in told if line)

    @property
    def batch_g(self) -> Decimal:
        """Planned mass. [g]"""
        return self.sheet.batch_g

    def standing(self, *kinds: str) -> tuple[Effective, ...]:
        """Entries of these kinds that are not voided."""
        return tuple(item for item in self.effective if item.kind in kinds and item.stands)

    @cached_property
    def finished_at(self) -> str:
        """The end of making, from which ages count; empty while the batch is open."""
        done = self.standing("finish")
        return done[-1].measured_at if done else ""

    @cached_property
    def combined_at(self) -> str:
        """When the phases were combined; empty when that was not recorded."""
        done = self.standing("combine")
        return done[-1].measured_at if done else ""

    @cached_property
    def events(self) -> tuple:
        """What happened to the masses, for the mass balance."""
        lots = {use.entry: use.as_lot for use in self.lot_uses}
        found = (
            event_of(item, self.formula, self._phase_kinds, lots.get(item.seq))
            for item in self.effective
            if item.stands
        )
        return tuple(event for event in found if event is not None)

    @cached_property
    def lot_uses(self) -> tuple[LotUse, ...]:
        """Every weighing, adjuster and water make-up with its lot, and the certificate that held on that day."""
        return tuple(_lot_use(item, self) for item in self.standing(*WITH_LOTS))

    @cached_property
    def lot_words(self) -> tuple[str, ...]:
        """Which certificates drove the composition as made, a sentence each: "active 81.2 % by certificate B-042"."""
        return driving_words(self.lot_uses)

    def lots_table(self) -> Table:
        """Every lot used: grams, what it is by its certificate against the typical value, and its date."""
        return lots_table(self.lot_uses, f"{self.name}: lots")

    def review(self) -> Review:
        """The composition as made held against every coded rule, and the lots against theirs on the day of weighing."""
        found = review(self.composition("made"), self.formula.spec, title=f"{self.name} as made")
        findings = merged_unknowns([*found.findings, *review_uses(self.lot_uses).findings])
        return Review(found.title, tuple(findings), found.closing)

    @cached_property
    def steps_done(self) -> tuple[Step, ...]:
        """The steps as recorded, with actual temperatures, speeds and times."""
        return tuple(step_of(item) for item in self.standing("combine", "add", "step", "temperature"))

    @cached_property
    def made(self) -> Made:
        """The mass balance and what it leaves in the product."""
        return as_made(self.events, self.formula, steps=self.steps_done)

    def composition(self, state: str = "made") -> Composition:
        """The composition meant or made."""
        return self.formula.composition() if state == "meant" else self.made.composition

    @cached_property
    def readings(self) -> tuple[Reading, ...]:
        """All readings, voided ones marked."""
        return tuple(reading_of(item, self.name, self.finished_at) for item in self.effective if item.kind == "reading")

    @cached_property
    def observations(self) -> tuple[Observation, ...]:
        """All coded observations, voided ones marked."""
        return tuple(observation_of(item, self.finished_at) for item in self.effective if item.kind == "observation")

    @cached_property
    def challenge_tests(self) -> tuple[ChallengeTest, ...]:
        """Challenge tests a laboratory made on it, voided ones marked; of the meant formula until all is weighed."""
        return tuple(
            challenge_test_of(
                item,
                batch=self.name,
                formula=self.formula,
                composition=self._made_or_meant(),
                age_h=age_h(self.finished_at, item.measured_at),
            )
            for item in self.effective
            if item.kind == CHALLENGE
        )

    def _made_or_meant(self) -> Composition:
        try:
            return self.composition("made")
        except BatchError:
            return self.composition("meant")

    @cached_property
    def decisions(self) -> tuple[Decision, ...]:
        """Decisions in the order they were taken."""
        return tuple(decision_of(item) for item in self.standing("decide"))

    def lots(self) -> dict[str, tuple[str, ...]]:
        """Lots by material key, in order of use; an empty tuple where none was recorded."""
        lots: dict[str, list[str]] = {}
        for item in self.standing("weigh", "adjust", "top-up"):
            held = lots.setdefault(item.body["material"], [])
            if item.body.get("lot") and item.body["lot"] not in held:
                held.append(item.body["lot"])
        return {key: tuple(held) for key, held in lots.items()}


def batch_stream(name: str) -> str:
    """The stream that holds a batch, "LIN-03/1"."""
    return f"batch/{name}"


def formula_stream(fingerprint: str) -> str:
    """The stream that holds a formula version; 16 hexadecimal digits of its fingerprint tell versions apart."""
    return f"formula/{fingerprint[:16]}"


def batch_view(
    entries: tuple[Entry, ...],
    formula: Formula,
    sheet: Sheet | None = None,
    *,
    read: Read | None = None,
    before: BatchView | None = None,
) -> BatchView:
    """The view of a batch from its entries; the first is its start and holds the sheet.

    `read` gives the entries of the streams of its lots; without it nothing is certified. `before` is an earlier view of
    the batch, given where no certificate has come since: with the same lots theirs are not read again.
    """
    start, standing = entries[0].body, _grown(before, entries)
    named = lots_named(standing)
    if before is not None and lots_named(before.effective) == named:
        histories = before.histories
    else:
        histories = read_histories(named, read) if read is not None else {}
    return BatchView(
        study=start["study"],
        trial=start["trial"],
        number=start["number"],
        formula=formula,
        sheet=sheet or Sheet.from_row(start["sheet"], formula),
        operator=start.get("operator", ""),
        started_at=entries[0].measured_at or entries[0].recorded_at,
        why=start.get("why", ""),
        note=start.get("note", ""),
        entries=entries,
        effective=standing,
        _phase_kinds={phase.name: phase.kind for phase in formula.phases},
        histories=histories,
    )


def _grown(before: BatchView | None, entries: tuple[Entry, ...]) -> tuple[Effective, ...]:
    """The entries as they stand; those of an earlier view stand unless a correction or a void came since."""
    if before is None or any(entry.kind in (CORRECTION, VOID) for entry in entries[len(before.entries) :]):
        return effective(entries)
    return (*before.effective, *effective(entries[len(before.entries) :]))


def _lot_use(item: Effective, batch: BatchView) -> LotUse:
    material, lot = material_of(item.body, batch.formula), str(item.body.get("lot") or "").strip()
    return lot_use(item.seq, material, lot, item.measured_at[:10], Decimal(item.body["mass_g"]), batch.histories)
