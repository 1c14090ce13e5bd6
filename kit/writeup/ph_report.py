"""How much acid or base, how steep is it here, and what will one drop more do?"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from functools import cached_property

from kit.errors import KitError, ParameterError
from kit.figures.figure import Figure
from kit.figures.titration_curve import titration_curve
from kit.figures.titration_words import TitrationPlot
from kit.formula.aqueous import aqueous
from kit.formula.dosing import DROP_G, FIRST_SHARE
from kit.formula.knowledge import Knowledge
from kit.formula.material import Material
from kit.formula.predict import Prediction, predict_ph
from kit.labbook.source import Source, open_source
from kit.science.titration import dilution_change
from kit.show import Block, Table
from kit.trials.learned import learn_ph
from kit.trials.learned_titration import titration
from kit.units import number, plain
from kit.writeup.ph_report_amine import amine_block
from kit.writeup.ph_report_curves import drops_each, stock_curves
from kit.writeup.ph_report_doses import (
    Adjustment,
    StockPlan,
    dose_block,
    overshoot_block,
    plan_stock,
    steepness_table,
)
from kit.writeup.ph_report_forms import forms_figures, preservation_block
from kit.writeup.ph_report_repeat import adjustment_cautions, how_to_repeat
from kit.writeup.ph_report_sample import read_sample, sample_block
from kit.writeup.ph_report_subject import WHERE, read_subject


class PhReport:
    """The sections of a pH adjustment.

    Parameters
    ----------
    source : str, Source or Labbook   A lab book or a snapshot.
    trial : str                       Trial whose formula is adjusted, as meant.
    batch : str                       Batch that is adjusted, "LIN-03/1", as made.
    formula_file : str                A formula file instead; empty for none.
    materials : str                   Own materials, a file or a folder; empty for none.
    target : float                    pH wanted; the middle of the spec when None. [-]
    stocks : sequence of str          Stock solutions, "citric acid 10 %".
    size : str                        Mass in the vessel, "400 g"; that of the batch when empty, else 100 g.
    measured : float                  pH as read; the last reading of the batch when None. [-]
    measured_age : str                Age of the batch when `measured` was read, "1 h"; settled when empty.
    sample : str                      Mass of a sample that was titrated, "20 g"; empty for none.
    sample_stock : str                Stock solution it was titrated with; the first of `stocks` when empty.
    sample_titration : sequence       "0.20 g: 5.32", all that was added so far and the pH then.
    learn_from : sequence of str      Studies, trials or batches whose readings teach the prediction; none when empty.
    learn_age : str                   Age of those readings.

    Raises
    ------
    ParameterError   `ph.nothing`, `ph.two_subjects`, `ph.size`, `ph.measured`, `ph.sample`; `ph.target` without a
                     target or for one outside 0 to 14; `ph.no_stock` without a stock solution.
    RecordError      `labbook.trial`, `labbook.batch`.
    KitError         `ph.not_computed` where no pH can be predicted; as `load_formula`, `stock_of` and `learn_ph`.
    """

    def __init__(
        self,
        source: object,
        trial: str = "",
        batch: str = "",
        formula_file: str | None = None,
        materials: str | None = None,
        target: float | None = None,
        stocks: Sequence[str] = (),
        size: str = "",
        measured: float | None = None,
        measured_age: str = "",
        sample: str = "",
        sample_stock: str = "",
        sample_titration: Sequence[object] = (),
        learn_from: Sequence[str] = (),
        learn_age: str = "24 h",
    ) -> None:
        opened = open_source(source)
        self.subject = read_subject(
            opened,
            trial=trial,
            batch=batch,
            formula_file=formula_file,
            materials=materials,
            size=size,
            measured=measured,
            measured_age=measured_age,
        )
        library = self.subject.library
        self.stocks = [library.find(name, where=f"{WHERE}, stocks") for name in stocks]
        if not self.stocks:
            raise ParameterError(
                "no stock solution was named",
                where=f"{WHERE}, stocks",
                mend='stocks = ["citric acid 10 %", "sodium hydroxide 10 %"]',
                code="ph.no_stock",
            )
        self.target = _target(target, self.subject)
        titrated_with = library.find(sample_stock, where=f"{WHERE}, sample_stock") if sample_stock else self.stocks[0]
        self.sample = read_sample(sample, titrated_with.name, sample_titration)
        self.knowledge = self._learned(opened, learn_from, learn_age, titrated_with) if learn_from else None
        self.prediction = predict_ph(self.subject.composition, knowing=self.knowledge, age_h=self._age_h)
        if not self.prediction.is_known:
            raise KitError(
                f"no dose can be worked out: {self.prediction.reason}",
                where=self.subject.title,
                mend="titrate a sample at the bench",
                code="ph.not_computed",
            )
        self.adjustment = self._adjustment()

    def _learned(self, source: Source, names: Sequence[str], age: str, stock: Material) -> Knowledge:
        """What readings of the lab teach, and the titrated sample with them."""
        titrations = []
        if self.sample:
            points = [(f"{plain(dose)} g", ph) for dose, ph in self.sample.points]
            sample = f"{plain(self.sample.sample_g)} g"
            titrations.append(
                titration(self.subject.composition, stock, points, sample=sample, name=f"sample of {self.subject.name}")
            )
        return learn_ph(source, names, age=age, titrations=titrations)

    def _adjustment(self) -> Adjustment:
        water = aqueous(self.subject.composition, self.knowledge, self._age_h)
        measured = self.subject.measured_ph
        nominal = water.mixture(batch_g=float(self.subject.mass_g))
        mixture = nominal if measured is None else nominal.at_measured_ph(float(measured))
        return Adjustment(self.subject, water, mixture, float(self.target))

    @property
    def _age_h(self) -> float | None:
        """Age of the reading that doses start from: acid still bound then counts in none of them. [h]"""
        age = self.subject.measured_age_h
        return None if age is None else float(age)

    @property
    def now_ph(self) -> float:
        """The pH that doses start from: measured where it was, else predicted. [-]"""
        return float(self.adjustment.mixture.solve().ph)

    @property
    def now_how(self) -> str:
        """ "measured" or "predicted"."""
        return "predicted" if self.subject.measured_ph is None else "measured"

    @cached_property
    def plans(self) -> list[StockPlan]:
        """What each stock solution does."""
        return [plan_stock(self.adjustment, material) for material in self.stocks]

    def identity(self) -> Table:
        """What is adjusted, from which pH to which, with what."""
        subject = self.subject
        rows = [
            ("what is adjusted", subject.title),
            ("version fingerprint", subject.formula.fingerprint[:16]),
            ("mass in the vessel", f"{plain(subject.mass_g)} g ({subject.mass_words})"),
            ("pH now", f"{self.now_ph:.2f}, {self.now_how}" + _bracketed(subject.measured_words)),
            ("predicted pH", str(self.prediction).partition(": ")[2]),
            ("spec", f"pH {subject.spec.words()} (of {subject.spec_from})" if subject.spec else "none"),
            ("target", f"pH {self.target:.2f}"),
            ("stock solutions", ", ".join(material.name for material in self.stocks)),
        ]
        return Table(("item", "entry"), rows, title="What this is about")

    def predicted(self) -> Block:
        """The predicted pH with its band, beside the measured one; what it rests on and cannot know."""
        measured = self.subject.measured_ph
        against = [] if measured is None else [_against(self.prediction, measured)]
        return Block((*against, self.prediction, *([self.knowledge] if self.knowledge else [])))

    def doses(self) -> Block:
        """How much of each stock solution, and why one does not lead to the target."""
        found = self.prediction
        band = (float(found.low), float(found.high)) if self.subject.measured_ph is None else None
        return dose_block(self.adjustment, self.plans, band)

    def steepness(self) -> Table:
        """Buffer capacity and what one drop does, now and at the target."""
        return steepness_table(self.adjustment, self.plans)

    def overshoot(self) -> Block:
        """Too far and back again, and the salt that stays; empty where the stocks lead one way only."""
        return overshoot_block(self.adjustment, self.plans)

    def curve(self) -> Figure:
        """The titration curve with the spec, the present pH, the target and single drops."""
        low, high = self.subject.limits
        bench = self.sample.scaled(self.subject.mass_g) if self.sample else ()
        words = f"sample of {plain(self.sample.sample_g)} g with {self.sample.stock}" if self.sample else ""
        return titration_curve(
            TitrationPlot(
                stock_curves(self.adjustment, self.plans),
                self.subject.name,
                self.adjustment.mass_g,
                self.now_ph,
                self.now_how,
                low,
                high,
                self.adjustment.target_ph,
                DROP_G,
                drops_each(self.adjustment, self.plans),
                float(FIRST_SHARE),
                bench,
                words,
                notes=_memory_notes(self.prediction),
            )
        )

    def sampled(self) -> Block:
        """A bench titration of a sample brought to the batch; how to do one where none was."""
        if self.sample is None:
            return Block((_NO_SAMPLE,))
        return sample_block(self.sample, self.subject.mass_g, self.target)

    def diluted(self) -> Table:
        """What a reading of a 10 % dilution would show beside the neat reading."""
        found = dilution_change(self.adjustment.mixture)
        return Table(
            ("read", "pH"),
            [("neat", f"{found.neat:.2f}"), (f"{found.pct:g} % in pure water", f"{found.diluted:.2f}")],
            title="Neat against 10 % dilution, worked out",
            note="Read every batch in the same way and never mix the two in a comparison. Carbon dioxide and poor "
            "water can move a dilution by 0.3 (common practice, no source).",
            numeric=frozenset({1}),
        )

    def amine(self) -> Block:
        """Where an amine is neutralised: how far, and how near the cliff; empty without one."""
        return amine_block(self.adjustment.water, self.adjustment.mass_g)

    def forms(self) -> list[Figure]:
        """Ionised shares and free ranges of preservatives against pH."""
        return forms_figures(self.subject, self.now_ph, self.now_how)

    def preserving(self) -> Block:
        """What the pH means for the preservatives; never a pass."""
        return preservation_block(self.subject, self.now_ph, float(self.target))

    def cautions(self) -> Table:
        """The cautions for the stock solutions and the batch."""
        return adjustment_cautions(self.stocks, self.subject)

    def repeat(self) -> Block:
        """What to do at the bench, step by step, and how it is recorded."""
        return how_to_repeat(self.plans, self.subject, self.target)


_NO_SAMPLE = (
    "No sample was titrated. To be surer than any prediction: take 20 g, add the stock solution in small steps, stir, "
    'wait, read after each, and give the readings as sample = "20 g" and sample_titration = ["0 g: 5.60", "0.05 g: '
    '5.41", ...]. A dose to the batch is the dose to the sample times batch over sample.'
)


def _target(target: float | None, subject) -> Decimal:
    if target is None:
        ends = [limit for limit in (subject.spec.low, subject.spec.high) if limit is not None] if subject.spec else []
        if not ends:
            raise ParameterError(
                "no target was given, and there is no pH spec to take the middle of",
                where=f"{WHERE}, target",
                allowed="a pH, such as 4.6",
                mend="target = 4.6",
                code="ph.target",
            )
        return sum(ends, Decimal(0)) / len(ends)
    wanted = number(target, where=f"{WHERE}, target")
    if not 0 <= wanted <= 14:
        raise ParameterError(
            f"a target of pH {plain(wanted)}",
            where=f"{WHERE}, target",
            allowed="0 to 14",
            mend="target = 4.6",
            code="ph.target",
        )
    return wanted


def _memory_notes(found: Prediction) -> tuple[str, ...]:
    return (f"Rests on constants from memory: {'; '.join(found.memory)}.",) if found.memory else ()


def _bracketed(words: str) -> str:
    return f" ({words})" if words else ""


def _against(found: Prediction, measured: Decimal) -> str:
    apart = measured - found.value
    inside = found.low <= measured <= found.high
    return (
        f"Measured {measured:.2f}: {abs(apart):.2f} {'above' if apart > 0 else 'below'} the predicted value, "
        f"{'inside' if inside else 'OUTSIDE'} its band. Doses start from the measured pH; the difference is carried as "
        "acid or base that the model did not know of."
    )
