"""Checks of a viscometer with a certified oil, in a lab book."""

from __future__ import annotations

from collections.abc import Sequence

from kit.bench.proposed_constants import ProposedConstants, proposed_constants
from kit.errors import RecordError
from kit.labbook.book_record import BookRecord, plain_name
from kit.labbook.oil_check_entry import OIL_CHECK
from kit.labbook.receipt import Receipt
from kit.units import number, plain, read


class OilCheckKeeping(BookRecord):
    """The calls that propose the constants of a viscometer and record a check with a certified oil."""

    def check_with_oil(
        self,
        instrument: str,
        name: str,
        *,
        spindle: str,
        rpm: object,
        certified: str,
        found: str,
        temp: str = "",
        oil: str = "",
        oil_accuracy: str = "",
        at: str = "",
    ) -> Receipt:
        """Record a certified oil read on a viscometer; the receipt says whether it is consistent, which is no proof.

        Parameters
        ----------
        instrument, name : str   The viscometer, with its constants, and a name of its own for the check.
        spindle : str            One of the instrument's.
        rpm : object             Speed.
        certified, found : str   "12500 mPa.s": by the bottle at the temperature of the check, and as read.
        temp : str               Of the oil, "25 degC".
        oil : str                Name and lot of the bottle.
        oil_accuracy : str       By its certificate, "0.5 %"; 1 % of the value where omitted.
        at : str                 When; now where omitted.

        Raises
        ------
        RecordError   `labbook.instrument` for an unknown one, `oil_check.constant` where it has no constant for the
                      spindle, `labbook.oil-check_exists`.
        KitError      `science.not_positive`, `science.negative`.
        UnitError     For text that cannot be read.
        """
        where = f"check_with_oil() of {instrument}"
        constant = self._constant(instrument, spindle, where)
        body = {
            "instrument": instrument,
            "name": name,
            "spindle": spindle,
            "constant": plain(constant),
            "rpm": plain(number(rpm, where=where)),
            "certified_mpa_s": plain(read(certified, "mPa*s", where=f"{where}, certified")),
            "found_mpa_s": plain(read(found, "mPa*s", where=f"{where}, found")),
            "temp_c": plain(read(temp, "degC", where=where)) if temp else "",
            "oil": oil,
            "oil_pct": plain(read(oil_accuracy, "%", where=where)) if oil_accuracy else "",
            "at": at,
        }
        _refuse_impossible(body)
        mend = "give the new check a name of its own"
        stream = f"{OIL_CHECK}/{plain_name(name, 'check')}"
        receipt = self._define(stream, OIL_CHECK, body, f"oil check {name} of {instrument}", mend=mend, at=at)
        checked = next(check for check in self.source().oil_checks(instrument) if check.name == name)
        return Receipt(receipt.stream, receipt.seq, receipt.kind, receipt.words, (checked.words,), receipt.new)

    @staticmethod
    def propose_constants(spring: str, spindles: Sequence[str]) -> ProposedConstants:
        """Constants of some spindles on a spring as makers print them, to be checked; see `add_instrument(constants=)`.

        Parameters
        ----------
        spring : str          "LV", "RV", "HA", "HB".
        spindles : sequence   "disc 5" ...

        Raises
        ------
        KitError   `viscometer.spring`, `viscometer.spindle`.
        """
        return proposed_constants(spring, spindles)

    def _constant(self, instrument: str, spindle: str, where: str):
        found = self.source().instrument(instrument)
        if found is None:
            raise RecordError(
                f"there is no instrument {instrument!r}",
                where=where,
                mend="enter it with add_instrument()",
                code="labbook.instrument",
            )
        if spindle not in found.constants:
            raise RecordError(
                f"{instrument} has no constant for {spindle}",
                where=where,
                allowed=", ".join(found.constants) or "none yet",
                mend="name a spindle of the instrument",
                code="oil_check.constant",
            )
        return found.constants[spindle]


def _refuse_impossible(body: dict[str, str]) -> None:
    """A check that cannot be worked out is not kept."""
    from kit.science.viscometer_oil import check_with_oil

    names = ("certified_mpa_s", "found_mpa_s", "constant", "rpm")
    check_with_oil(*(float(body[name]) for name in names), oil_pct=float(body["oil_pct"]) if body["oil_pct"] else None)
