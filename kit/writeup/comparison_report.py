"""Versions side by side, section by section."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from kit.errors import ParameterError
from kit.figures.figure import Figure
from kit.figures.results import against_the_control, at_one_age, over_age
from kit.labbook.source import open_source
from kit.show import Block, Table
from kit.trials.compare import compare, margin_lines
from kit.writeup.cautions import cautions_table
from kit.writeup.results_report import read_at_several_ages
from kit.writeup.study_rows import spec_rows

if TYPE_CHECKING:
    from kit.formula.prices import Price

FEWEST, MOST = 2, 8
NO_MARGIN = "none stated: nothing is called the same"


class ComparisonReport:
    """The sections of a comparison, from a lab book or a snapshot.

    Parameters
    ----------
    source : str, Source or Labbook   What to read.
    trials : sequence of str          Two to eight trials of one study, the control among them or not.
    control : str                     The control; the study's own when empty.
    materials : str                   Own materials with prices, a file or a folder; empty when none are known.
    margin : sequence of str          What is too small to matter, stated before the data were seen: ["20 %"] for all
                                      that is compared by ratios, or ["viscosity: 20 %", "pH: 0.1"]; what the study has
                                      on its record when empty.
    properties, ages : sequence of str   Such as "viscosity" and "72 h"; every one when empty.

    Raises
    ------
    ParameterError   `compare.how_many` for fewer than two or more than eight trials.
    KitError         As `compare`: a property or an age that is not there, a margin that is no number.
    """

    def __init__(
        self,
        source: object,
        trials: Sequence[str],
        control: str = "",
        materials: str | None = None,
        *,
        margin: Sequence[str] = (),
        properties: Sequence[str] = (),
        ages: Sequence[str] = (),
    ) -> None:
        self.source = open_source(source)
        named = list(dict.fromkeys([*([control] if control else []), *trials]))
        if not FEWEST <= len(named) <= MOST:
            raise ParameterError(
                f"{len(named)} trials were named: {', '.join(named) or 'none'}",
                where="compare_versions, trials",
                allowed=f"{FEWEST} to {MOST}",
                mend="name the trials to set side by side",
                code="compare.how_many",
            )
        self.comparison = compare(
            self.source,
            named,
            control=control or None,
            prices=_prices(materials),
            margin=margin,
            properties=list(properties) or None,
            ages=list(ages) or None,
        )

    def identity(self) -> Table:
        """The study, its question and the spec the versions are judged by."""
        study = self.comparison.study
        rows = [
            ("study", study.name),
            ("question", study.question or "NOT RECORDED"),
            *spec_rows(study),
            *(("margin", line) for line in margin_lines(self.comparison.results) or [NO_MARGIN]),
            ("versions", "; ".join(arm.label for arm in self.comparison.arms)),
        ]
        return Table(("item", "entry"), rows, title="What is compared")

    def changes(self) -> Table:
        """Lines that differ from the control."""
        return self.comparison.changes_table()

    def results(self) -> Block:
        """Results against the spec and the control, short and then in words."""
        return Block((self.comparison.results_table(), self.comparison.verdicts_table()))

    def against_the_control(self) -> list[Figure]:
        """How far each version is from the control: each judged property at its age; every one where none is judged."""
        results = self.comparison.results
        judged = [result for result in results if result.spec is not None] or results
        return [figure for figure in map(against_the_control, judged) if figure is not None]

    def scatter(self) -> Table:
        """Batches, readings, both scatters and the days."""
        return self.comparison.scatter_table()

    def not_used(self) -> Table:
        """Readings that are shown and in no mean, with the reason."""
        return self.comparison.not_used_table()

    def side_by_side(self) -> Table:
        """Everything in one table, the control first."""
        return self.comparison.table()

    def figures(self) -> list[Figure]:
        """Each judged property at its age, then each that was read at several ages over age."""
        results = [
            result for result in self.comparison.results if any(arm.batch_values or arm.left_out for arm in result.arms)
        ]
        judged = [at_one_age(self.comparison, result) for result in results if result.spec is not None]
        ages = [over_age(self.comparison, property) for property in read_at_several_ages(results)]
        return [*judged, *(figure for figure in ages if figure is not None)]

    def cautions(self) -> Block:
        """The cautions for whoever makes one of these versions."""
        return Block((cautions_table(batch for arm in self.comparison.arms for batch in arm.batches),))


def _prices(materials: str | None) -> Mapping[str, Price]:
    """The prices in a file or folder of own materials; none without one."""
    if not materials:
        return {}
    from kit.formula.library import load_library

    return load_library(materials).prices
