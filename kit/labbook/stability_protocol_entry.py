"""The entry of a stability protocol: what is kept, what is read from it, and which batches it covers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from kit.bench.stability_protocol import StabilityProtocol
from kit.bench.storage import storage_key
from kit.labbook.streams import Entry
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.show import Block

PROTOCOL = "protocol"
"""Kind of the entry and of its stream."""


@dataclass(frozen=True)
class ProtocolKept:
    """A stability protocol on the record.

    Parameters
    ----------
    name, study : str               Its name, and the study it belongs to.
    protocol : StabilityProtocol    As it was frozen.
    recorded_at : str               When it was put on the record, ISO 8601: the date that counts.
    after_data : str                Why it was recorded although data were there; empty where none were.
    """

    name: str
    study: str
    protocol: StabilityProtocol
    recorded_at: str
    after_data: str = ""

    def covers(self, batch: BatchView) -> bool:
        """Whether a batch is one that it is for.

        Parameters
        ----------
        batch : BatchView
        """
        if batch.study != self.study:
            return False
        if self.protocol.trials:
            return batch.trial in self.protocol.trials
        return self.protocol.formula in ("", batch.formula.fingerprint)

    @property
    def words(self) -> str:
        """When it was put down, and loudly if that was after data."""
        told = f"Protocol {self.name}, recorded {show_time(self.recorded_at)}: {self.protocol.words}"
        return f"{told}. PROTOCOL DATED AFTER DATA: {self.after_data}" if self.after_data else told

    def _repr_html_(self) -> str:
        return Block((self.words, self.protocol))._repr_html_()

    def __str__(self) -> str:
        return f"{self.words}\n\n{self.protocol}"

    __repr__ = __str__


def protocol_kept(entry: Entry) -> ProtocolKept:
    """The protocol that an entry holds.

    Parameters
    ----------
    entry : Entry   Of kind `PROTOCOL`.
    """
    body = entry.body
    protocol = StabilityProtocol.from_row(body["protocol"])
    return ProtocolKept(body["name"], body["study"], protocol, entry.recorded_at, body["after_data"])


def storage_start(batch: BatchView, protocol: StabilityProtocol) -> datetime | None:
    """When the baseline of a batch is read and its jars go into storage; None until its making is finished.

    Parameters
    ----------
    batch : BatchView
    protocol : StabilityProtocol
    """
    if not batch.finished_at:
        return None
    return datetime.fromisoformat(batch.finished_at) + timedelta(hours=float(protocol.baseline.age_h))


def data_before(kept: ProtocolKept, batches: Iterable[BatchView], moment: str) -> list[str]:
    """Readings and observations of the study's own kind that were made before a moment, in words; voided ones aside.

    What was read before the baseline's window, of a jar that nowhere was kept, is no stability data.

    Parameters
    ----------
    kept : ProtocolKept
    batches : iterable of BatchView
    moment : str                     ISO 8601.
    """
    before, protocol = datetime.fromisoformat(moment), kept.protocol
    named = {limit.property.lower() for limit in protocol.limits}
    found = []
    for batch in batches:
        start = storage_start(batch, protocol)
        if start is None or not kept.covers(batch):
            continue
        opens = start - timedelta(hours=float(protocol.baseline.tolerance_h))
        seen = [(one.property, one.measured_at, one.storage, one.void) for one in batch.readings]
        seen += [(one.name, one.measured_at, one.storage, one.void) for one in batch.observations]
        for property, measured_at, storage, void in seen:
            if void or not measured_at or property.lower() not in named:
                continue
            moment_read = datetime.fromisoformat(measured_at)
            if moment_read < before and (moment_read >= opens or storage_key(storage)):
                found.append(f"{batch.name}, {property}, {show_time(measured_at)}")
    return found
