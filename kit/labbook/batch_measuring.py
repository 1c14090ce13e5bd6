"""Measuring at the bench: readings with their conditions, coded observations, decisions."""

from __future__ import annotations

import warnings

from kit.bench.air_flag import air_spoils, tells_of_air
from kit.bench.value_uncertainty import edge_notes
from kit.errors import RepeatedReadingWarning
from kit.labbook.batch_entries import reading_of
from kit.labbook.batch_record import BatchRecord
from kit.labbook.entry_bodies import observation_body, reading_body
from kit.labbook.receipt import Receipt
from kit.labbook.times import hours_between, show_time

_SURELY_LATER_H = 2  # readings of one age lie closer together than this


class Measuring(BatchRecord):
    """The calls that say what the batch measured."""

    def read_ph(self, value: object, *, temp: str = "", method: str = "pH neat", **conditions: object) -> Receipt:
        """Record a pH reading; see `read` for the conditions."""
        return self.read("pH", value, temp=temp, method=method, **conditions)

    def read_viscosity(self, value: str, *, method: str = "viscosity", **conditions: object) -> Receipt:
        """Record an apparent viscosity, "19000 mPa.s", with torque_pct, rpm, spindle, instrument, temp; see `read`."""
        return self.read("viscosity", value, method=method, **conditions)

    def read(
        self, property: str, value: object, *, method: str = "", age: str = "", at: str = "", **conditions: object
    ) -> Receipt:
        """Record a reading with its conditions.

        Parameters
        ----------
        property : str    "pH", "viscosity", "density" ...
        value : str       With its unit, or a bare number where the method's unit is 1.
        method : str      A method of the study.
        age : str         The age you believe it has, "24 h": checked against the clock, never used in its place.
        at : str          When it was read; now when omitted.
        conditions        temp, instrument, calibration, spindle, rpm, torque_pct, reading_time, container, storage,
                          rest (at 25 degC before it was read), sample, replicate, operator, note.

        Returns
        -------
        Receipt   With every flag that the reading raises by rule.

        Raises
        ------
        BatchError   `reading.condition`, `reading.method`, `reading.value_range`.
        """
        body = reading_body(property, value, method=method, age=age, conditions=conditions, study=self.study)
        body["at"] = at
        unit = "" if body["unit"] == "1" else f" {body['unit']}"
        receipt = self._record("reading", body, f"{property} {body['value']}{unit}", at=at)
        if not receipt.new and not (at or age):
            self._warn_if_long_ago(receipt, "reading", ' or replicate="2"')
        return self._with_notes(receipt, self._reading_notes(receipt.seq))

    def observe(
        self, name: str, word: str, *, age: str = "", note: str = "", at: str = "", storage: str = "", rest: str = ""
    ) -> Receipt:
        """Record a coded observation: observe("grain", "none"), of a jar kept elsewhere with storage="40 degC"."""
        body = observation_body(name, word, age=age, note=note, storage=storage, rest=rest)
        kept = f", kept at {body['storage']}" if "storage" in body else ""
        receipt = self._record("observation", {**body, "at": at}, f"{name}: {word}{kept}", at=at)
        if not receipt.new and not (at or age):
            self._warn_if_long_ago(receipt, "observation")
        return receipt

    def decide(self, verdict: str, *, why: str = "", by: str = "", at: str = "") -> Receipt:
        """Record a decision about the batch: "keep", "drop", "repeat"."""
        return self._record(
            "decide", {"verdict": verdict, "why": why, "by": by, "at": at}, f"decided: {verdict}", at=at
        )

    def _warn_if_long_ago(self, receipt: Receipt, what: str, more: str = "") -> None:
        """Say aloud that an equal one was not added when it may be a new one: a receipt is easily overlooked."""
        recorded = self._entry(receipt).recorded_at
        hours = hours_between(recorded, self.now())
        if hours >= _SURELY_LATER_H:
            warnings.warn(
                f"{receipt.words} was not added to {self.name}: an equal {what} was recorded {show_time(recorded)}, "
                f'{hours:.0f} h ago. If this is a new {what}, say so: age="{hours:.0f} h" or at={more}.',
                RepeatedReadingWarning,
                stacklevel=4,
            )

    def _reading_notes(self, seq: int) -> list[str]:
        view = self.view
        reading = reading_of(next(item for item in view.effective if item.seq == seq), view.name, view.finished_at)
        beside = view.readings if air_spoils(reading) or tells_of_air(reading) else ()  # nothing else looks beside it
        flags = self._source.flags(reading, self.study, beside)
        notes = [f"FLAGGED {flag.code}: {flag.words}" for flag in flags]
        if not flags:  # what is flagged is read again before it is held against anything
            calibration = self._source.calibration(reading.calibration)
            notes += edge_notes(reading, self.study.spec, calibration, self.study.windows)
        if tells_of_air(reading) and (air := self._source.air(reading, self.study, beside)):
            notes.append(air.words)
        if not view.finished_at:
            notes.append("making is not finished: an in-process reading, without an age")
        return notes
