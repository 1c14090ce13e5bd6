"""What to weigh, to do and to watch: on paper before the batch, or as the batch stands while it is made."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kit.bench.methods import Method, methods
from kit.bench.sheet import Sheet, plan_batch
from kit.errors import ParameterError
from kit.formula.files import load_formula
from kit.formula.formula import Formula
from kit.formula.heater import heating_table, read_heater
from kit.formula.library import load_library
from kit.formula.model import SpecLine
from kit.formula.pour import HOT_KINDS
from kit.labbook.source import Source, open_source
from kit.labbook.study_view import StudyView
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.show import Block, Cell, Table, listing
from kit.units import plain
from kit.writeup.report_process import equipment, steps_done
from kit.writeup.report_results import readings
from kit.writeup.sheet_live import progress_table, weighed_table
from kit.writeup.sheet_ph import ph_target_words
from kit.writeup.sheet_tables import blank, masses_table, measuring_table, steps_table, weighing_table
from kit.writeup.short_cautions import short_cautions
from kit.writeup.tip_speed import read_diameter, recorded_diameter

_WHERE = "batch_sheet"
_USUAL_BALANCES = ("0.01 g",)


class BatchSheetReport:
    """The sections of a batch sheet.

    Parameters
    ----------
    source : str, Source or Labbook   The lab book or a snapshot: formula version, study, methods, what was recorded.
    trial : str                       The trial; with `formula_file`, the name it will have.
    number : int                      Batch of the trial to show as it stands; 0 for a blank sheet of its formula.
    formula_file : str                A formula file (.toml) instead of a trial's formula; empty for none.
    materials : str                   Own materials the file needs, a file or a folder; empty for none.
    size : str                        Mass to make, "400 g"; that of the trial's last batch when empty.
    balances : sequence of str        Divisions, "0.01 g", or names with one, "BAL-1 0.01 g"; those of the trial's last
                                      batch when empty.
    head_diameter : str               Of the high-shear head, "25 mm", for the tip speed; as recorded when empty.
    heater : str                      Power of the heater, "1 kW", or "1 kW, 50 %" with the share that reaches the
                                      batch: energy and time to heat are then on the sheet; empty for none.

    Raises
    ------
    ParameterError   `sheet.nothing` when neither trial nor file is named, `sheet.size` when no size is known,
                     `sheet.number` for a batch that is not there, `sheet.two_formulas` when trial and file differ.
    RecordError      `labbook.trial` for an unknown trial.
    KitError         As `load_formula` and `plan_batch`.
    """

    def __init__(
        self,
        source: object,
        trial: str = "",
        number: int = 0,
        formula_file: str | None = None,
        materials: str | None = None,
        size: str = "",
        balances: Sequence[str] = (),
        head_diameter: str = "",
        heater: str = "",
    ) -> None:
        self.source = open_source(source)
        self.trial = trial
        if not trial and not formula_file:
            raise ParameterError(
                "neither a trial nor a formula file was named",
                where=_WHERE,
                mend='name one: trial = "LIN-03", or formula_file = "linden.toml"',
                code="sheet.nothing",
            )
        known = bool(self.source.entries(f"trial/{trial}")) if trial else False
        self.formula = _formula(self.source, trial, formula_file, materials, known)
        batches = self.source.batches(trial) if known else ()
        self.batch = _chosen(batches, trial, number)
        self.study = self._study(known)
        self.sheet = self.batch.sheet if self.batch else _planned(self.formula, size, balances, batches)
        self._heater = heater
        read_heater(heater, where=_WHERE)
        self._diameter_mm = read_diameter(head_diameter) or _recorded(self.batch, batches)

    def heading(self) -> Block:
        """Trial, formula version with its fingerprint, size, and blanks for date and operator; what stops it, first."""
        row = (
            self.batch.name if self.batch else self.trial or blank("", 9),
            self.formula.title,
            self.formula.fingerprint[:16],
            f"{plain(self.sheet.batch_g)} g",
            show_time(self.batch.started_at) if self.batch else "",
            (self.batch.operator or Cell("NOT RECORDED", "flag")) if self.batch else "",
            "",
        )
        heads = ("trial", "formula", "version fingerprint", "size", "date", "operator", "checked by")
        table = Table(heads, [row], title=self._title(), key="sheet-heading")
        stops = [f"{finding.words} ({finding.code})" for finding in self.formula.review().stops]
        return Block((*((listing("STOP: mend this before the batch is made", stops),) if stops else ()), table))

    def weighing(self) -> Table:
        """What to weigh; for a started batch what was weighed and what is missing."""
        return weighed_table(self.batch) if self.batch else weighing_table(self.sheet)

    def steps(self) -> Table:
        """The steps with their targets and blanks for the actual values."""
        hot = tuple(phase.name for phase in self.formula.phases if phase.kind in ("water", "oil"))
        return steps_table(self.formula.steps, hot, self._diameter_mm)

    def heating(self) -> list[Table]:
        """Energy and time to heat each phase; empty where no heater was stated or no phase is hot."""
        if not self._heater or not any(line.phase_kind in HOT_KINDS for line in self.sheet.lines):
            return []
        heated = self.sheet.heat(heater=self._heater).heating
        return [heating_table(heated, self.formula.title)] if heated else []

    def masses(self) -> Table:
        """Gross, weigh-backs, water make-up, target and pH in process, end of making and cleaning, to fill in."""
        words = ph_target_words(self.formula.composition(), self._spec(), self.sheet.batch_g)
        return masses_table(self.sheet, words)

    def progress(self) -> Block:
        """For a started batch: where it stands, what it is made with, what was done. Nothing on a blank sheet."""
        if self.batch is None:
            return Block(())
        return Block((progress_table(self.batch), equipment(self.batch), steps_done(self.batch)))

    def measuring(self) -> Block:
        """What to read and when; for a started batch also what was read."""
        asked = measuring_table(self._spec(), self._methods())
        if self.batch is None or not self.batch.readings:
            return Block((asked,))
        return Block((asked, readings(self.source, self.study, (self.batch,))))

    def cautions(self) -> Block:
        """The cautions in a few words each, and in full for the screen."""
        full = [(Cell(title, "strong"), text) for title, text in self.sheet.caution_texts()]
        return Block(
            (
                short_cautions(self.sheet.cautions),
                Table(("caution", "what to do"), full, title="The cautions in full", key="screen-cautions"),
            )
        )

    def _title(self) -> str:
        return f"Batch {self.batch.name} as it stands" if self.batch else "Batch sheet"

    def _study(self, known: bool) -> StudyView | None:
        if known:
            return self.source.study(self.source.trial(self.trial).study)
        studies = self.source.studies()
        return self.source.study(studies[0]) if len(studies) == 1 else None

    def _spec(self) -> tuple[SpecLine, ...]:
        """What the study judges by; without a study, the spec of the formula."""
        return self.study.spec if self.study and self.study.spec else self.formula.spec

    def _methods(self) -> dict[str, Method]:
        return {**methods(), **(self.study.methods if self.study else {})}


def _formula(source: Source, trial: str, file: str | None, materials: str | None, known: bool) -> Formula:
    if not file:
        return source.trial(trial).formula
    formula = load_formula(file, load_library(materials or None))
    if known and source.trial(trial).formula.fingerprint != formula.fingerprint:
        raise ParameterError(
            f"{trial} is in the record with another formula version than the file holds",
            where=_WHERE,
            mend="give the new trial another name, or leave the file out",
            code="sheet.two_formulas",
        )
    return formula


def _chosen(batches: Sequence[BatchView], trial: str, number: int) -> BatchView | None:
    if not number:
        return None
    for batch in batches:
        if batch.number == number:
            return batch
    raise ParameterError(
        f"there is no batch {trial}/{number}",
        where=f"{_WHERE}, number",
        allowed=", ".join(["0 for a blank sheet", *(str(batch.number) for batch in batches)]),
        mend="name one of these",
        code="sheet.number",
    )


def _planned(formula: Formula, size: str, balances: Sequence[str], batches: Sequence[BatchView]) -> Sheet:
    last = batches[-1] if batches else None
    mass = size or (f"{plain(last.batch_g)} g" if last else "")
    if not mass:
        raise ParameterError(
            "no batch size was given, and there is no earlier batch to take it from",
            where=f"{_WHERE}, size",
            allowed='a mass, such as "400 g"',
            mend='size = "400 g"',
            code="sheet.size",
        )
    return plan_batch(formula, mass, balances=[_balance(text) for text in balances] or _shelf(last))


def _balance(text: str) -> object:
    """ "0.01 g" as it is; "BAL-1 0.01 g" as name and division."""
    parts = text.split()
    return (" ".join(parts[:-2]), " ".join(parts[-2:])) if len(parts) > 2 else text


def _shelf(batch: BatchView | None) -> list[object]:
    if batch is None:
        return list(_USUAL_BALANCES)
    return list({str(line.balance): line.balance for line in batch.sheet.lines}.values())


def _recorded(batch: BatchView | None, batches: Sequence[BatchView]) -> Decimal | None:
    looked_at = [batch] if batch else list(reversed(batches))
    return next((found for one in looked_at if (found := recorded_diameter(one)) is not None), None)
