"""Making at the bench: the pour, the cooling log, additions, steps, the end of making."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from kit.errors import BatchError
from kit.labbook.batch_cooling import Cooling
from kit.labbook.batch_weighing import Weighing
from kit.labbook.receipt import Receipt
from kit.labbook.times import show_time
from kit.units import minutes as read_minutes
from kit.units import plain, read


class Making(Weighing, Cooling):
    """The calls that say how the batch was made."""

    def equipment(self, **items: str) -> Receipt:
        """Record what the batch is made with.

        As in `equipment(vessel="600 mL glass beaker", head="25 mm rotor-stator, gap 0.2 mm")`.
        """
        if not items:
            raise BatchError(
                "no equipment was named",
                where="equipment()",
                mend='equipment(vessel="600 mL glass beaker")',
                code="batch.equipment",
            )
        body = {"items": {name.replace("_", " "): str(text).strip() for name, text in sorted(items.items())}}
        return self._record("equipment", body, "; ".join(f"{name}: {text}" for name, text in body["items"].items()))

    def combine(
        self,
        *,
        temps: Mapping[str, str] | None = None,
        order: str = "",
        rpm: object = None,
        minutes: object = None,
        phases: str = "",
        note: str = "",
        at: str = "",
    ) -> Receipt:
        """Record the pour: both phase temperatures, the temperature after, the direction, speed and time in one entry.

        Parameters
        ----------
        temps : dict   Phase name to temperature, and "after": {"A": "78 degC", "B": "80 degC", "after": "76 degC"}.
        order : str    "oil into water" or "water into oil", with the rate if known.
        phases : str   Phases combined, "A, B"; all water and oil phases when omitted.
        """
        names = (
            [name.strip() for name in phases.split(",")]
            if phases
            else [phase.name for phase in self.formula.phases if phase.kind in ("water", "oil")]
        )
        for name in [*names, *(key for key in temps or {} if key != "after")]:
            self.formula.phase(name)
        body = {
            "phases": names,
            "order": order,
            **self._speed(rpm, minutes),
            "note": note,
            "at": at,
            "temps_c": {
                name: plain(read(temp, "degC", where=f"combine, {name}")) for name, temp in (temps or {}).items()
            },
        }
        receipt = self._record("combine", body, f"phases {' and '.join(names)} combined", at=at)
        return self._with_notes(receipt, self._pour_notes())

    def add(
        self, phase: str, *, temp: str = "", minutes: object = None, rpm: object = None, note: str = "", at: str = ""
    ) -> Receipt:
        """Record a cool-down phase going into the batch, with the temperature of the batch at that moment.

        `at` is "44 min" after combining, or a point in time; now when omitted.
        """
        body = {
            "phase": self.formula.phase(phase).name,
            **self._temp(temp),
            **self._speed(rpm, minutes),
            "note": note,
            **self._after(at, "add"),
        }
        words = f"phase {phase} added{f' at {temp}' if temp else ''}"
        receipt = self._record("add", body, words, at="" if "minutes_after" in body else at)
        return self._with_notes(receipt, self._heat_notes(body))

    def temperature(self, temp: str, *, at: str = "", place: str = "batch") -> Receipt:
        """Record a point of the cooling log: "55 degC", at="12 min" after combining (or a point in time)."""
        body = {**self._temp(temp), "place": place, **self._after(at, "temperature")}
        words = f"{temp} {f'{at} after combining' if 'minutes_after' in body else ''}".strip()
        return self._record("temperature", body, words, at="" if "minutes_after" in body else at)

    def step(
        self,
        text: str,
        *,
        do: str = "note",
        phase: str = "",
        temp: str = "",
        rpm: object = None,
        minutes: object = None,
        at: str = "",
    ) -> Receipt:
        """Record any other step of making, in words, with what was measured."""
        body = {
            "do": do,
            "text": text,
            "phase": self.formula.phase(phase).name if phase else "",
            **self._temp(temp),
            **self._speed(rpm, minutes),
            "at": at,
        }
        return self._record("step", body, text, at=at)

    def finish(self, *, note: str = "", at: str = "") -> Receipt:
        """Record the end of making: ages count from here. Further steps of making are refused; readings are welcome."""
        done = self.view.finished_at
        if done and self._ledger.same("finish", {"note": note, "at": at}) is None:
            raise BatchError(
                f"{self.name} was finished {show_time(done)}",
                where="finish()",
                mend="void that entry first if it was a mistake",
                code="batch.finished",
            )
        receipt = self._record("finish", {"note": note, "at": at}, "making finished; ages count from here", at=at)
        return self._with_notes(receipt, self._finish_notes())

    def _finish_notes(self) -> list[str]:
        absent = [
            line.material.key for line in self.sheet.lines if (line.phase, line.material.key) not in self._weighed()
        ]
        return [f"not weighed: {', '.join(absent)}"] if absent else []

    @staticmethod
    def _after(at: str, where: str) -> dict[str, str]:
        """When something was done, and the minutes after combining where it was typed as such."""
        after = {"minutes_after": plain(read_minutes(at, where=f"{where}, at"))} if at and _is_duration(at) else {}
        return {"at": at, **after}

    def _heat_notes(self, body: dict) -> list[str]:
        temp = Decimal(body["temp_c"]) if body.get("temp_c") else None
        if temp is None:
            return ["temperature at the addition NOT RECORDED", *self._logged_addition_notes(body["phase"])]
        hot = [
            line.material
            for line in self.formula.phase(body["phase"]).lines
            if line.material.heat_max is not None
            and line.material.heat_max.value is not None
            and temp > line.material.heat_max.value
        ]
        return [
            f"{material.name} went in at {plain(temp)} °C; its limit is {plain(material.heat_max.value)} °C"
            for material in hot
        ]


def _is_duration(text: str) -> bool:
    return "-" not in text and ":" not in text
