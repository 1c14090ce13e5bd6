"""Stability protocols in a lab book: put down before the data, and frozen."""

from __future__ import annotations

from collections.abc import Iterable

from kit.bench.stability_protocol import StabilityProtocol
from kit.errors import RecordError
from kit.labbook.book_record import BookRecord, plain_name
from kit.labbook.receipt import Receipt
from kit.labbook.stability_protocol_entry import PROTOCOL, ProtocolKept, data_before
from kit.labbook.times import stamp


class StabilityProtocolKeeping(BookRecord):
    """The call that records a stability protocol."""

    def add_stability_protocol(
        self, protocol: StabilityProtocol, *, study: str = "", name: str, after_data: str = ""
    ) -> Receipt:
        """Record a stability protocol; its limits are frozen from now on.

        Parameters
        ----------
        protocol : StabilityProtocol   Of `kit.plan_stability`.
        study : str                    The study; the only one when empty.
        name : str                     A name of its own, such as "CHA-stability".
        after_data : str               Why it is recorded although batches that it covers were read at its baseline or
                                       later: it is then kept, and every verdict says so.

        Raises
        ------
        RecordError   `labbook.study`, `labbook.name`, `labbook.protocol_exists` for another content under the name,
                      `stability.after_data` where data are there and no reason is given, `stability.protocol` for
                      anything but a protocol, `stability.method` for a limit by a method that the study does not have.
        """
        where = f"add_stability_protocol() {name}"
        if not isinstance(protocol, StabilityProtocol):
            raise RecordError(
                f"{type(protocol).__name__} is no stability protocol",
                where=where,
                mend="plan it with kit.plan_stability()",
                code="stability.protocol",
            )
        source = self.source()
        view = source.study(study)
        owner = view.name
        _refuse_unknown_methods(protocol, view.methods, where)
        stream = f"{PROTOCOL}/{plain_name(name, 'protocol')}"
        body = {"name": name, "study": owner, "protocol": protocol.row(), "after_data": after_data.strip()}
        if not self.store.has(stream):
            kept = ProtocolKept(name, owner, protocol, stamp(self.store.clock()), after_data)
            body["after_data"] = self._after_data(
                kept, data_before(kept, source.batches(study=owner), kept.recorded_at)
            )
        else:  # asked again: with the reason that it was kept with
            body["after_data"] = self.store.read(stream)[0].body["after_data"]
        receipt = self._define(
            stream,
            PROTOCOL,
            body,
            f"stability protocol {name}",
            mend="record the changed protocol under another name; limits are not changed afterwards",
        )
        loud = (f"PROTOCOL DATED AFTER DATA: {body['after_data']}",) if body["after_data"] else ()
        return Receipt(receipt.stream, receipt.seq, receipt.kind, receipt.words, (protocol.words, *loud), receipt.new)

    @staticmethod
    def _after_data(kept: ProtocolKept, older: list[str]) -> str:
        """The reason as it is kept; empty where there are no data, whatever was given."""
        if not older:
            return ""
        if not kept.after_data.strip():
            raise RecordError(
                f"{len(older)} readings are older than this protocol, the first {older[0]}",
                where=f"add_stability_protocol() {kept.name}",
                mend='limits set after the data are not decided beforehand; after_data="why" keeps it all the same, '
                "and every verdict will say so",
                code="stability.after_data",
            )
        return f"{len(older)} readings were there; {kept.after_data.strip()}"


def _refuse_unknown_methods(protocol: StabilityProtocol, known: Iterable[str], where: str) -> None:
    """A limit by a method that nobody can read by would never be judged, and is frozen."""
    strange = [limit for limit in protocol.limits if limit.method and limit.method not in known]
    if strange:
        raise RecordError(
            f"the study has no method {strange[0].method!r}, by which {strange[0].property} is to be read",
            where=where,
            allowed=", ".join(known),
            mend='plan it with one of these: plan_stability(methods={"pH": "pH neat"})',
            code="stability.method",
        )
