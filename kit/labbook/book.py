"""A lab book: studies, instruments, calibrations and batches, kept in one append-only file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from kit.bench.geometry import read_geometry
from kit.bench.methods import Method, default_windows
from kit.bench.methods import methods as kit_methods
from kit.bench.sheet import Sheet
from kit.errors import RecordError
from kit.formula.diffs import refuse_edited
from kit.formula.formula import Formula
from kit.formula.library import Library
from kit.formula.model import SpecLine, formula_row, spec_row
from kit.formula.setting import SettingTemperature
from kit.labbook.batch import Batch
from kit.labbook.book_record import plain_name
from kit.labbook.calibration_keeping import CalibrationKeeping
from kit.labbook.lot_keeping import LotKeeping
from kit.labbook.margin_entry import MARGINS, checked_margins
from kit.labbook.margin_keeping import MarginKeeping
from kit.labbook.oil_check_keeping import OilCheckKeeping
from kit.labbook.panel_keeping import PanelKeeping
from kit.labbook.plan_keeping import PlanKeeping
from kit.labbook.printed_heads import read_heads
from kit.labbook.projecting import rows_of_entry
from kit.labbook.readings_file import Preview, preview_readings
from kit.labbook.receipt import Receipt
from kit.labbook.settings_measured import settings_measured
from kit.labbook.source import Source
from kit.labbook.stability_protocol_keeping import StabilityProtocolKeeping
from kit.labbook.store import CheckReport, Store
from kit.labbook.streams import Head
from kit.labbook.study_view import StudyView, TrialView
from kit.labbook.times import Clock, read_time, stamp
from kit.labbook.view import batch_stream, formula_stream
from kit.units import number, plain, read


def new_labbook(
    path: str | Path, *, title: str = "", clock: Clock | None = None, library: Library | None = None
) -> Labbook:
    """Make a new lab book file and open it.

    Parameters
    ----------
    path : str or Path   The file, such as "linden.labbook". An existing file is never touched.
    title : str          A title for people.
    clock : callable     Gives the present as an aware datetime; the computer's own clock when omitted.
    library : Library    Materials for adjusters; the starter materials when omitted.

    Raises
    ------
    RecordError   `labbook.exists`, `labbook.not_found` for the folder.
    """
    return Labbook(Store.create(Path(path), clock=clock, title=title), library)


def open_labbook(path: str | Path, *, clock: Clock | None = None, library: Library | None = None) -> Labbook:
    """Open an existing lab book; a missing one is never created.

    Raises
    ------
    RecordError   `labbook.not_found`, `labbook.not_a_labbook`, `labbook.newer`, `labbook.damaged`.
    """
    return Labbook(Store.open(Path(path), clock=clock), library)


class Labbook(
    MarginKeeping,
    StabilityProtocolKeeping,
    PlanKeeping,
    PanelKeeping,
    OilCheckKeeping,
    LotKeeping,
    CalibrationKeeping,
):
    """An open lab book. Every call that records something returns only when the entry is on disk."""

    def __enter__(self) -> Labbook:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"Labbook({self.store.path.name}: {', '.join(self.source().studies()) or 'no study yet'})"

    def close(self) -> None:
        """Close the file; everything acknowledged is already in it."""
        self.store.close()

    def check(self, against: str | Path | Mapping[str, Mapping] | None = None) -> CheckReport:
        """Check every chain, and against the heads printed on a write-up when one is given.

        Parameters
        ----------
        against : path of a write-up page, or its heads   Shows a cut tail and a batch that is gone.
        """
        heads = _printed_heads(against) if isinstance(against, (str, Path)) else against
        return self.store.check(
            {name: Head(head["seq"], head["hash"]) for name, head in (heads or {}).items()} or None,
            rebuild=rows_of_entry,
        )

    def new_study(
        self,
        name: str,
        *,
        question: str,
        spec: Sequence[SpecLine] = (),
        control: str = "",
        methods: Iterable[Method] | None = None,
        history: Sequence[str] = (),
        reference_product: str = "",
        note: str = "",
        margins: Mapping[str, str] | Sequence[str] | None = None,
    ) -> Receipt:
        """Open a study: its question, its dated spec and its methods, frozen from now on.

        Parameters
        ----------
        name : str             Short name, such as "LIN".
        question : str         What the study is to answer.
        spec : SpecLine        What the product must meet, usually `formula.spec`.
        control : str          The trial that is the control.
        methods : Method       The kit's default methods when omitted; one given here replaces the default of its name.
        history : str          Earlier studies whose repeated batches tell how much batches scatter.
        reference_product : str  A bought product used as control; its composition is unknown.
        margins : dict         What is too small to matter, so that "the same within the margin" is stated beforehand:
                               {"viscosity": "20 %", "pH at 24 h": "0.1"}. Later ones are stated with `state_margins`.

        Raises
        ------
        RecordError   `labbook.study_exists` when the name is taken by another content, `labbook.study` for an unknown
                      history.
        KitError      `study.margin` for a margin that cannot be used.
        """
        for earlier in history:
            self.source().study(earlier)
        chosen = {**kit_methods(), **{method.name: method for method in methods or ()}}
        body = {
            "name": name,
            "question": question,
            "spec": [spec_row(line) for line in spec],
            "control": control,
            "methods": [chosen[key].row() for key in sorted(chosen)],
            "windows": [window.row() for window in default_windows()],
            "history": list(history),
            "reference_product": reference_product,
            "note": note,
        }
        if margins:  # a study without any keeps the content it always had
            windows, where = default_windows(), f"new_study() {name}, margins"
            body[MARGINS] = checked_margins(margins, spec, chosen.values(), windows, where=where)
        return self._define(
            f"study/{plain_name(name, 'study')}",
            "study",
            body,
            f"study {name}",
            mend="open a new study under another name, as a study's spec is not changed afterwards; margins are stated "
            "with state_margins()",
        )

    def add_instrument(
        self,
        name: str,
        *,
        kind: str,
        constants: Mapping[str, object] | None = None,
        geometry: Mapping[str, str | Mapping[str, object]] | None = None,
        division: str = "",
        note: str = "",
    ) -> Receipt:
        """Enter an instrument: a balance, a pH meter, a viscometer with its constants by spindle.

        Parameters
        ----------
        constants : dict   Spindle to K, where viscosity [mPa.s] = K x torque [%] / speed [rpm].
        geometry : dict    Spindle to its class, "disc", "T-bar", "cylinder in a beaker" or "coaxial cylinders", the
                           last with its radii; see `kit.bench.geometry.read_geometry`. Only coaxial cylinders give
                           true shear rates.
        division : str     Smallest step of a balance, "0.01 g".

        Raises
        ------
        KitError   `instrument.geometry` and those of `read_geometry`.
        """
        body = {
            "name": name,
            "kind": kind,
            "note": note,
            "division": plain(read(division, "g", where=f"{name}, division")) if division else "",
            "constants": {
                spindle: plain(number(value, where=f"{name}, {spindle}"))
                for spindle, value in (constants or {}).items()
            },
        }
        if geometry:  # an instrument without one keeps the content it always had
            found = {spindle: read_geometry(spindle, typed, where=name) for spindle, typed in geometry.items()}
            body["geometry"] = {spindle: shape.row() for spindle, shape in found.items()}
        return self._define(
            f"instrument/{plain_name(name, 'instrument')}",
            "instrument",
            body,
            f"{kind} {name}",
            mend="enter the changed instrument under a new name, so that old readings keep their constants",
        )

    def start_batch(
        self,
        sheet: Sheet,
        *,
        trial: str,
        operator: str = "",
        study: str = "",
        number: int = 1,
        why: str = "",
        note: str = "",
        at: str = "",
    ) -> Batch:
        """Start a batch of a trial from its weigh sheet. The trial is opened with it when it is new.

        Starting the very same batch again gives it back as it stands. To make a trial again pass the next `number`.

        Raises
        ------
        RecordError   `batch.open` when the operator has another batch open (it is named), `batch.taken` when the number
                      has another sheet, `labbook.trial_formula` when the trial tries another formula version.
        FormulaError  `formula.version_edited` when the version label is known here with another content.
        """
        source = self.source()
        study_name = source.study(study or source.study_of(trial)).name
        name = f"{plain_name(trial, 'trial')}/{number}"
        body = {
            "study": study_name,
            "trial": trial,
            "number": number,
            "formula": sheet.formula.fingerprint,
            "sheet": sheet.row(),
            "operator": operator,
            "why": why,
            "note": note,
            "at": at,
        }
        existing = source.entries(batch_stream(name))
        if existing:
            return self._same_batch(name, existing[0].body, body)
        self._refuse_second_open(operator, source)
        self._check_trial(trial, study_name, sheet.formula, source)
        self._refuse_edited(sheet.formula, source)
        self._record_start(name, body, sheet.formula, source, at)
        return Batch(self.store, self.source(), name, library=sheet.formula.library or self.library)

    def setting_temperature(self, formula: Formula) -> SettingTemperature:
        """What earlier batches of this formula version showed while they cooled; for `heat(setting=...)` of a sheet."""
        return settings_measured(self.source(), formula)

    def batch(self, name: str) -> Batch:
        """Reopen a batch, "LIN-03/1", open or finished."""
        source = self.source()
        return Batch(self.store, source, source.batch(name).name, reopened=True, library=self.library)

    def import_readings(self, path: str | Path, **options: object) -> Preview:
        """Read a CSV file or a workbook of readings and show what it would bring; `commit()` records all or nothing.

        Options are those of `kit.labbook.readings_file.preview_readings`: decimal_mark, delimiter, method, declared,
        timezone, units, column_map, sheet.

        Raises
        ------
        ReadingsFileError   When the file as a whole cannot be read.
        """
        return preview_readings(self, path, **options)

    def study(self, name: str = "") -> StudyView:
        """A study by name, or the only one."""
        return self.source().study(name)

    def trial(self, name: str) -> TrialView:
        """A trial by name."""
        return self.source().trial(name)

    def open_batches(self) -> list[str]:
        """Names of the batches that are started and not finished."""
        return [stream.removeprefix("batch/") for stream in self.store.streams_without("batch", ("finish",))]

    def _same_batch(self, name: str, old: Mapping, new: Mapping) -> Batch:
        if {**old, "at": ""} == {**new, "at": ""}:
            return Batch(self.store, self.source(), name, reopened=True, library=self.library)
        raise RecordError(
            f"{name} is already recorded with another sheet, operator or reason",
            where="start_batch()",
            mend=f'reopen it with book.batch("{name}"), or make the trial again with number={new["number"] + 1}',
            code="batch.taken",
        )

    def _refuse_second_open(self, operator: str, source: Source) -> None:
        for name in self.open_batches():
            if source.batch(name).operator == operator:
                raise RecordError(
                    f"batch {name} is still open",
                    where="start_batch()",
                    allowed="one open batch an operator",
                    mend=f'reopen it with book.batch("{name}") and finish it first, or name another operator',
                    code="batch.open",
                )

    def _check_trial(self, trial: str, study: str, formula: Formula, source: Source) -> None:
        if not source.entries(f"trial/{trial}"):
            return
        known = source.trial(trial)
        if known.study != study:
            raise RecordError(
                f"trial {trial} belongs to study {known.study}",
                where="start_batch()",
                mend="give the trial a name of its own",
                code="labbook.trial_study",
            )
        if known.formula.fingerprint != formula.fingerprint:
            raise RecordError(
                f"trial {trial} tries {known.formula.title}; this sheet is of another version ({formula.title})",
                where="start_batch()",
                mend="give the changed formula a trial of its own",
                code="labbook.trial_formula",
            )

    def _refuse_edited(self, formula: Formula, source: Source) -> None:
        for row in self.store.rows("formula_version", name=formula.name, version=formula.version):
            refuse_edited(source.formula(row["fingerprint"]), formula, known_from="this lab book")

    def _record_start(self, name: str, body: Mapping, formula: Formula, source: Source, at: str) -> None:
        measured = stamp(read_time(at, self.store.clock, where="start_batch()")) if at else None
        drafts = []
        if not source.entries(formula_stream(formula.fingerprint)):
            drafts += self._opening(formula_stream(formula.fingerprint), "formula", formula_row(formula))
        if not source.entries(f"trial/{body['trial']}"):
            opened = {key: body[key] for key in ("study", "trial", "formula", "why", "note")}
            drafts += self._opening(f"trial/{body['trial']}", "trial", opened)
        drafts += self._opening(batch_stream(name), "batch", dict(body), kind="start", measured_at=measured)
        self.store.append_many(drafts)


def _printed_heads(page: str | Path) -> dict:
    try:
        return read_heads(Path(page).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):
        raise RecordError(
            f"the page {Path(page).name} cannot be read",
            where=str(Path(page).parent),
            mend="check the name and the folder",
            code="labbook.no_heads",
        ) from None
