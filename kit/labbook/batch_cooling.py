"""Heat and cooling of a batch while it is made and afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from kit.bench.cooling_log import addition_findings, additions_found
from kit.bench.cooling_state import CoolingState, CoolTarget, cooling_state, waiting_targets
from kit.errors import KitError
from kit.formula.pour import Pour
from kit.formula.pour_findings import compare_after, with_read_after
from kit.formula.pour_plan import read_setting
from kit.formula.rules.findings import Finding
from kit.formula.setting import SettingTemperature
from kit.labbook.batch_record import BatchRecord
from kit.labbook.cooling_record import cooling_log, pour_of, read_after_c
from kit.labbook.settings_measured import settings_measured
from kit.units import read


class Cooling(BatchRecord):
    """The calls that say how warm the batch is, was and will be."""

    def heat(self, *, setting: str | SettingTemperature = "") -> Pour:
        """The heat balance of the pour from what was weighed and read, with what was read after it set against it.

        Parameters
        ----------
        setting : str   Setting temperature measured on an earlier batch of this formula, "58 degC"; that of the last
                        batches of this formula version in the lab book where omitted.

        Raises
        ------
        FormulaError   `pour.nothing`.
        """
        known = setting or settings_measured(self.source(), self.formula, without=self.name)
        pour = pour_of(self.view, *read_setting(known, f"heat() of {self.name}"))
        read_c = read_after_c(self.view)
        return pour if read_c is None else with_read_after(pour, read_c)

    def cooling(
        self, *, ambient: str = "", targets: str | Sequence[str] = (), setting: str | SettingTemperature = ""
    ) -> CoolingState:
        """When the batch is cool enough for what is still to go in, and how warm it was when the rest went in.

        Parameters
        ----------
        ambient : str              Of the room or bath, "22 degC"; that noted with temperature(..., place="room"), else
                                   fitted from the log.
        targets : str or sequence  Temperatures asked for, "40 degC"; those of the steps that add what is not in yet
                                   where omitted.
        setting : str              Setting temperature measured on an earlier batch of this formula.

        Raises
        ------
        UnitError   For text that cannot be read.
        KitError    `cooling.readings`.
        """
        view, where = self.view, f"cooling() of {self.name}"
        asked = [targets] if isinstance(targets, str) else list(targets)
        added = [item.body["phase"] for item in view.standing("add")]
        wanted = [CoolTarget(float(read(text, "degC", where=where)), "asked for") for text in asked]
        return cooling_state(
            cooling_log(view),
            wanted or ([] if view.finished_at else waiting_targets(self.formula, added)),
            room_c=float(read(ambient, "degC", where=f"{where}, ambient")) if ambient else None,
            room_from="as given" if ambient else "",
            setting_c=read_setting(setting, where)[0],
        )

    def _cooling_findings(self) -> tuple[Finding, ...]:
        """What the log says of the additions beyond the temperatures noted with them: those the review has already."""
        log = cooling_log(self.view)
        noted = {addition.phase for addition in log.additions if addition.read_c is not None}
        without = replace(log, additions=tuple(item for item in log.additions if item.phase not in noted))
        differing = (finding for finding in addition_findings(log) if finding.code == "cooling.addition_differs")
        return (*addition_findings(without), *differing)

    def _logged_addition_notes(self, phase: str) -> list[str]:
        """What the cooling log says of an addition whose temperature was not noted, and of its lines."""
        log = cooling_log(self.view)
        last = replace(log, additions=tuple(item for item in log.additions if item.phase == phase)[-1:])
        hot = [finding.words for finding in addition_findings(last) if finding.severity == "caution"]
        told = [
            f"by the cooling log {found.temp_c:.1f} °C ({found.low_c:.1f} to {found.high_c:.1f})"
            for found in additions_found(last)
            if found.temp_c is not None
        ]
        return [*told, *hot]

    def _pour_notes(self) -> list[str]:
        """What to say of the temperature after combining while it can still be read again."""
        read_c = read_after_c(self.view)
        if read_c is None:
            several = len(self.view.standing("combine")) > 1
            return [] if several else ["temperature after combining NOT RECORDED"]
        try:
            finding = compare_after(pour_of(self.view), read_c)
        except KitError:  # a mistyped temperature is told where it was typed; the pour itself is recorded
            return []
        return [finding.words] if finding else []
