"""What a pH adjustment is about: a formula or a batch, its mass, its pH now, its target."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kit.errors import ParameterError
from kit.formula.composition import Composition
from kit.formula.files import load_formula
from kit.formula.formula import Formula
from kit.formula.library import Library, load_library
from kit.formula.model import SpecLine
from kit.formula.ph_spec import ph_lines
from kit.formula.predict import hours
from kit.labbook.source import Source
from kit.labbook.view import BatchView
from kit.trials.as_made import made_of
from kit.units import plain, read

WHERE = "ph_adjustment"
_PER_100_G = Decimal(100)
_HUNDREDTH = Decimal("0.01")


@dataclass(frozen=True)
class Subject:
    """What is adjusted.

    Parameters
    ----------
    title : str                Trial, batch or formula, with how its composition is known.
    formula : Formula          As meant.
    composition : Composition  That is adjusted: as made where a batch was weighed.
    batch : BatchView          The batch; None for a formula.
    mass_g : Decimal           In the vessel now. [g]
    mass_words : str           Where that mass comes from.
    spec : SpecLine            The pH line it is judged by; None without one.
    spec_from : str            Whose spec that is.
    measured_ph : Decimal      pH read on this batch; None where it was not. [-]
    measured_words : str       Which reading that is.
    measured_age_h : Decimal   Its age; None where that is not known. [h]
    library : Library          In which stock solutions are looked up.
    """

    title: str
    formula: Formula
    composition: Composition
    batch: BatchView | None
    mass_g: Decimal
    mass_words: str
    spec: SpecLine | None
    spec_from: str
    measured_ph: Decimal | None
    measured_words: str
    measured_age_h: Decimal | None
    library: Library

    @property
    def name(self) -> str:
        """The batch, or the formula with its version."""
        return self.batch.name if self.batch else self.formula.title

    @property
    def limits(self) -> tuple[float | None, float | None]:
        """Low and high of the spec; None for a side without. [-]"""
        if self.spec is None:
            return None, None
        return tuple(None if limit is None else float(limit) for limit in (self.spec.low, self.spec.high))


def read_subject(
    source: Source,
    *,
    trial: str = "",
    batch: str = "",
    formula_file: str | None = None,
    materials: str | None = None,
    size: str = "",
    measured: float | None = None,
    measured_age: str = "",
) -> Subject:
    """The subject that these names stand for.

    Parameters
    ----------
    source : Source        A lab book or a snapshot.
    trial : str            Trial whose formula is adjusted, as meant.
    batch : str            Batch that is adjusted, "LIN-03/1", as made; with it no trial is needed.
    formula_file : str     A formula file instead; None for none.
    materials : str        Own materials, a file or a folder; None for none.
    size : str             Mass in the vessel, "400 g"; that of the batch when empty, else 100 g.
    measured : float       pH as read; the last reading of the batch when None. [-]
    measured_age : str     Age of the batch when `measured` was read, "1 h"; settled when empty.

    Returns
    -------
    Subject   Frozen.

    Raises
    ------
    ParameterError   `ph.nothing` when nothing is named, `ph.two_subjects` when more than one thing is,
                     `ph.size` for a mass that is none, `ph.measured` for a pH outside 0 to 14 or an age of no reading.
    RecordError      `labbook.trial`, `labbook.batch` for a name that is not there.
    KitError         As `load_formula` and `load_library`.
    """
    named = [name for name, value in (("trial", trial), ("batch", batch), ("formula_file", formula_file)) if value]
    if batch and trial and batch.startswith(f"{trial}/"):
        named.remove("trial")
    if len(named) != 1:
        raise _not_one(named)
    library = load_library(materials or None)
    if formula_file:
        made, formula = None, load_formula(formula_file, library)
    else:
        made = source.batch(batch) if batch else None
        formula = made.formula if made else source.trial(trial).formula
    composition, state = _composition(formula, made)
    mass_g, mass_words = _mass(size, made)
    spec, spec_from = _spec(source, formula, trial, made)
    ph, ph_words, age_h = _measured(source, made, measured, measured_age)
    title = f"{made.name}, {formula.title}" if made else f"{trial}, {formula.title}" if trial else formula.title
    return Subject(
        f"{title}, {state}",
        formula,
        composition,
        made,
        mass_g,
        mass_words,
        spec,
        spec_from,
        ph,
        ph_words,
        age_h,
        library,
    )


def _not_one(named: list[str]) -> ParameterError:
    if not named:
        return ParameterError(
            "neither a trial, a batch nor a formula file was named",
            where=WHERE,
            mend='name one: trial = "LIN-03", batch = "LIN-03/1", or formula_file = "linden.toml"',
            code="ph.nothing",
        )
    return ParameterError(
        f"{' and '.join(named)} were named together",
        where=WHERE,
        allowed="one of them",
        mend="leave the others empty",
        code="ph.two_subjects",
    )


def _composition(formula: Formula, batch: BatchView | None) -> tuple[Composition, str]:
    if batch is None:
        return formula.composition(), "as meant"
    made, why_not = made_of(batch)
    return (made.composition, "as made") if made else (formula.composition(), f"as meant: made {why_not}")


def _mass(size: str, batch: BatchView | None) -> tuple[Decimal, str]:
    if size:
        mass = read(size, "g", where=f"{WHERE}, size")
        if mass <= 0:
            raise ParameterError(
                f"a batch of {size}",
                where=f"{WHERE}, size",
                allowed='a mass above 0, such as "400 g"',
                mend="name the mass that is in the vessel",
                code="ph.size",
            )
        return mass, "as given"
    if batch is None:
        return _PER_100_G, "no size was given: read every dose as g per 100 g"
    made, _ = made_of(batch)
    if made is None:
        return batch.batch_g, "as planned"
    found = made.yield_g
    mass = (Decimal(found.numerator) / Decimal(found.denominator)).quantize(_HUNDREDTH)
    return mass, "by the mass balance: weighed, less what was lost or taken out"


def _spec(source: Source, formula: Formula, trial: str, batch: BatchView | None) -> tuple[SpecLine | None, str]:
    """The first pH line of the study, else of the formula."""
    study_name = batch.study if batch else source.trial(trial).study if trial else ""
    study = source.study(study_name) if study_name else None
    for spec, whose in ((study.spec if study else (), f"study {study_name}"), (formula.spec, "the formula")):
        if lines := ph_lines(spec):
            return lines[0], whose
    return None, ""


def _measured(
    source: Source, batch: BatchView | None, measured: float | None, age: str
) -> tuple[Decimal | None, str, Decimal | None]:
    """The pH that doses start from, which reading that is, and its age."""
    if age and measured is None:
        raise ParameterError(
            f"an age of {age} was given, and no measured pH that it could be of",
            where=f"{WHERE}, measured_age",
            mend="type the pH as measured, or leave the age empty: a reading of the lab book has its own",
            code="ph.measured",
        )
    if measured is not None:
        ph = Decimal(repr(measured))
        if not 0 <= ph <= 14:
            raise ParameterError(
                f"a measured pH of {measured}",
                where=f"{WHERE}, measured",
                allowed="0 to 14",
                mend="type the pH as the meter shows it, such as 5.31",
                code="ph.measured",
            )
        return ph, f"as given, at an age of {age}" if age else "as given", _hours(age)
    if batch is None:
        return None, "", None
    changed = max((item.seq for item in batch.standing("adjust", "top-up", "weigh")), default=0)
    study = source.study(batch.study)
    counts = [
        reading
        for reading in batch.readings
        if reading.property == "pH"
        and reading.value is not None
        and not reading.void
        and reading.entry > changed
        and not source.flags(reading, study)
    ]
    if not counts:
        return None, "", None
    last = max(counts, key=lambda reading: (reading.measured_at or "", reading.entry))
    age = f" at an age of {plain(last.age_h.quantize(Decimal('0.1')).normalize())} h" if last.age_h is not None else ""
    return last.value, f"the last reading that counts, entry {last.entry}{age}", last.age_h


def _hours(age: str) -> Decimal | None:
    found = hours(age or None)
    return None if found is None else Decimal(repr(found))
