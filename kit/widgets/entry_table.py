"""The table on the screen: shows what a form says, hands it every committed cell, answers by number."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files

import anywidget
import traitlets

from kit.show import TOKENS, Block
from kit.widgets.entry_form import EntryForm

_KEPT_ANSWERS = 500  # a message that comes twice does so within seconds


def _style() -> str:
    """The style sheet, after the theme's tokens as variables."""
    names = ("ink", "quiet", "rule", "shade", "font")
    tokens = "".join(f"--kit-{name}:{TOKENS[name]};" for name in names)
    return f".kit-entry{{{tokens}--kit-accent:{TOKENS['series'][0]}}}\n" + _file("entry_table.css")


def _file(name: str) -> str:
    return files("kit.widgets").joinpath(name).read_text(encoding="utf-8")


class EntryTable(anywidget.AnyWidget):
    """A form as a table to type into. What it shows comes from the form, which reads it from the lab book.

    Parameters
    ----------
    form : EntryForm   What the cells mean.

    Attributes
    ----------
    view : dict        What is shown, as plain JSON.

    Notes
    -----
    The screen sends {kind: "commit", client, number, row, column, text, choice, why}. The answer {kind: "answer",
    client, number, state, words, code} is sent when the entry is on disk or was refused, after the view that shows it.
    A message that comes twice is answered twice and taken once.
    """

    _esm = _file("entry_cells.js") + _file("entry_table.js")
    _css = _style()
    view = traitlets.Dict().tag(sync=True)

    def __init__(self, form: EntryForm) -> None:
        self.form = form
        self._answers: dict[tuple[str, int], Mapping] = {}
        super().__init__(view=form.view().as_json())
        self.on_msg(self._received)

    def refresh(self) -> None:
        """Show what the lab book holds now."""
        self.view = self.form.view().as_json()

    def _received(self, _widget: object, message: Mapping, _buffers: object) -> None:
        if message.get("kind") != "commit":
            return
        key = (str(message["client"]), int(message["number"]))
        if key not in self._answers:
            self._answers[key] = self._commit(message)
            self.refresh()
            while len(self._answers) > _KEPT_ANSWERS:
                del self._answers[next(iter(self._answers))]
        self.send({"kind": "answer", "client": key[0], "number": key[1], **self._answers[key]})

    def _commit(self, message: Mapping) -> Mapping:
        outcome = self.form.commit(
            message["row"],
            message["column"],
            message["text"],
            choice=message.get("choice", ""),
            why=message.get("why", ""),
        )
        return {"state": outcome.state, "words": outcome.words, "code": outcome.code}

    def _repr_mimebundle_(self, **options: object):
        """The table to type into; as plain tables where no script runs: on paper, in a viewer, in a terminal."""
        shown = super()._repr_mimebundle_(**options)
        data, metadata = shown if isinstance(shown, tuple) else (shown, {})
        count = len(self.form.batch.view.entries)
        words = f"As it stood at entry {count} of the batch. What came later is in the lab book: run the cell again."
        block = Block((words, *self.form.view().block().parts))
        return {**data, "text/plain": str(block), "text/html": block._repr_html_()}, metadata

    def __str__(self) -> str:
        return str(self.form.view().block())
