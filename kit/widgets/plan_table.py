"""The planning table on the screen: the same cells as at the bench, over a plan instead of a batch."""

from __future__ import annotations

import anywidget

from kit.show import Block
from kit.widgets.entry_table import EntryTable


class PlanTable(EntryTable):
    """A `PlanForm` as tables to type into; as plain tables where no script runs."""

    def _repr_mimebundle_(self, **options: object):
        shown = anywidget.AnyWidget._repr_mimebundle_(self, **options)
        data, metadata = shown if isinstance(shown, tuple) else (shown, {})
        block = Block(("As typed when this page was made; what is kept is in the lab book.",
                       *self.form.view().block().parts))  # fmt: skip
        return {**data, "text/plain": str(block), "text/html": block._repr_html_()}, metadata
