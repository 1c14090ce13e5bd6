"""The trial picker on the screen: check boxes, control, age, and under them the tables and the charts."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets

from kit.show import Block
from kit.widgets.picker_form import PickerForm

_TOUCH = {"min_height": "44px", "width": "auto", "margin": "0"}


class TrialPicker(ipywidgets.VBox):
    """Tick trials of a study; the comparison below follows.

    Parameters
    ----------
    form : PickerForm   What can be ticked and what is shown for it.
    """

    def __init__(self, form: PickerForm) -> None:
        self.form = form
        layout = ipywidgets.Layout(**_TOUCH)
        ticked = [form.control, *form.names()[-1:]]
        self.boxes = {
            trial.name: ipywidgets.Checkbox(
                value=trial.name in ticked, description=trial.words, indent=False, layout=layout
            )
            for trial in form.trials
        }
        self.control = self._choice("Control", form.names(), form.control)
        self.age = self._choice("Age", form.ages, form.ages[0])
        self.shown = ipywidgets.Output()
        for widget in (*self.boxes.values(), self.control, self.age):
            widget.observe(self._changed, names="value")
        question = ipywidgets.Label(f"{form.study}: {form.question}")
        chosen = ipywidgets.HBox([self.control, self.age], layout=ipywidgets.Layout(flex_flow="row wrap"))
        super().__init__([question, *self.boxes.values(), chosen, self.shown])
        self._changed()

    def ticked(self) -> list[str]:
        """Names of the ticked trials."""
        return [name for name, box in self.boxes.items() if box.value]

    def _choice(self, words: str, options: Sequence[str], value: str) -> ipywidgets.Dropdown:
        return ipywidgets.Dropdown(
            options=list(options),
            value=value if value in options else None,
            description=words,
            layout=ipywidgets.Layout(height="44px", width="20em", margin="0 16px 0 0"),
            style={"description_width": "5em"},
        )

    def _changed(self, _change: object = None) -> None:
        picked = self.form.pick(self.ticked(), self.control.value or "", self.age.value)
        pieces = [Block(picked.words), *picked.tables[:1], *picked.figures, *picked.tables[1:]]
        self.shown.outputs = tuple(_output(piece) for piece in pieces)

    def _repr_mimebundle_(self, **options: object):
        """The picker; as plain text where no script runs."""
        shown = super()._repr_mimebundle_(**options)
        return {**shown, "text/plain": str(self)} if isinstance(shown, dict) else shown

    def __str__(self) -> str:
        picked = self.form.pick(self.ticked(), self.control.value or "", self.age.value)
        return str(Block((*picked.words, *picked.tables[:1])))


def _output(piece: object) -> dict:
    """One piece as the notebook shows it: a chart by its own type, the rest as escaped HTML and text."""
    if hasattr(piece, "_repr_mimebundle_"):
        data = piece._repr_mimebundle_()
    else:
        data = {"text/html": piece._repr_html_(), "text/plain": str(piece)}
    return {"output_type": "display_data", "data": data, "metadata": {}}
