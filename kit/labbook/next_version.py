"""The next version of a formula, taken from what was really made."""

from __future__ import annotations

from dataclasses import dataclass

from kit.bench.sheet import Sheet
from kit.formula.composition import Composition, side_by_side
from kit.formula.formula import Formula
from kit.show import Block, Table

_OF_FORMS = (
    "Percentages are of supply forms as weighed: what the certificates of the lots say is in the composition as made, "
    "and is not carried into the proposed version."
)


@dataclass(frozen=True)
class NextVersion:
    """Meant, made and proposed beside one another, with the weigh sheet of what is proposed."""

    batch: str
    meant: Composition
    made: Composition
    formula: Formula
    sheet: Sheet

    def table(self) -> Table:
        """Meant | made | proposed, each adding up to 100.00 %."""
        columns = {"meant": self.meant, "made": self.made, "proposed": self.formula.composition()}
        lots = any(line.material.lot for line in self.made.lines)
        return side_by_side(
            columns,
            title=f"{self.batch}: meant, made, proposed",
            note=f"proposed: {self.formula.title}. {self.formula.why}".strip() + (f"\n{_OF_FORMS}" if lots else ""),
        )

    def _repr_html_(self) -> str:
        return Block((self.table(), self.sheet))._repr_html_()

    def __str__(self) -> str:
        return f"{self.table()}\n\n{self.sheet}"

    __repr__ = __str__
