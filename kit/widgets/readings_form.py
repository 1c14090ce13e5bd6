"""The readings form: a part for each method with a column for each reading, and a part for coded observations."""

from __future__ import annotations

from kit.labbook.batch import Batch
from kit.widgets.entry_form import EntryForm
from kit.widgets.method_part import MethodPart
from kit.widgets.observed_part import OBSERVED, ObservedPart
from kit.widgets.parts import FormView, Outcome

_CAUTIONS = (
    (
        "Reading",
        "Let a jar cool to its temperature before you open it: hot product splashes. Readings say nothing about "
        "preservation. Calibration buffers and cleaners: goggles and gloves, as their safety data sheets say.",
    ),
)


class ReadingsForm(EntryForm):
    """Readings and observations of one batch.

    Rows are "method/condition", such as "viscosity/torque_pct" or "pH neat/value"; columns are "new" or the number of a
    reading's entry. A reading is recorded when its value is committed, with the conditions noted before; what is typed
    later is written in by a correction.

    Parameters
    ----------
    batch : Batch       The batch that was measured.
    operator : str      Who reads.
    """

    def __init__(self, batch: Batch, *, operator: str = "") -> None:
        super().__init__(batch)
        methods = sorted(batch.study.methods.values(), key=lambda method: (method.property != "pH", method.name))
        self._methods = {method.name: MethodPart(self, method, operator) for method in methods}
        self._observed = ObservedPart(self)

    def _view(self) -> FormView:
        source = self.batch.source()
        parts = [part.view(source) for part in self._methods.values()]
        if self._observed.names():
            parts.append(self._observed.view())
        made = "made; ages count from the end of making" if self.batch.view.finished_at else "making is not finished"
        return FormView(f"Readings of {self.batch.name} ({made})", tuple(parts), _CAUTIONS)

    def _take(self, row: str, column: str, text: str, choice: str, why: str) -> Outcome:
        place, _, name = row.rpartition("/")
        if place == OBSERVED:
            return self._observed.take(name, column, text, choice)
        if place not in self._methods:
            raise self.unknown_cell(row, column)
        return self._methods[place].take(name, column, text, choice, why)
