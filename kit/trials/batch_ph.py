"""The pH of a batch as it was read, beside what is predicted from what is in it, and what follows from that pH.

A prediction is shown and never tested: no verdict and no difference rests on one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from kit.formula.charge_at_ph import charge_at_ph
from kit.formula.charge_balance import ChargeBalance
from kit.formula.composition import Composition, Share
from kit.formula.material import Fact
from kit.formula.predict import Prediction, predict_ph
from kit.formula.rules.preservation import acid_preservatives, unionised_pct
from kit.labbook.view import BatchView
from kit.show import Fielded
from kit.trials.as_made import made_of
from kit.trials.judging import fold
from kit.trials.results import BatchValue, PropertyResult
from kit.trials.wording import ABSENT

PH = "ph"
_DILUTED = ("dilut", "%", " in water")  # in the name of a method that does not read the product as it is
INSIDE, OUTSIDE = "inside the band", "OUTSIDE the band"

_HUNDREDTH = Decimal("0.01")


@dataclass(frozen=True, repr=False)
class BatchPh(Fielded):
    """The pH of one batch.

    Parameters
    ----------
    batch : str                The batch, "CHA-04/1".
    composition : Composition  As made where it was weighed, else as meant.
    state : str                "as made", or "as meant: nothing was weighed".
    measured : float, None     Mean of the readings that count at one age, None without one. [-]
    age : str                  Label of that age, "24 h"; empty without a reading.
    age_h : float, None        Mean age of those readings. [h]
    """

    batch: str
    composition: Composition
    state: str
    measured: float | None = None
    age: str = ""
    age_h: float | None = None

    @cached_property
    def settled(self) -> Prediction:
        """The prediction once every acid has come free."""
        return predict_ph(self.composition)

    @cached_property
    def beside(self) -> Prediction:
        """The prediction for the age of the reading; the settled one without a reading."""
        return self.predicted(self.age_h)

    def predicted(self, age_h: float | None) -> Prediction:
        """The prediction for an age; the settled one for None. [h]"""
        return self.settled if age_h is None else predict_ph(self.composition, age_h=age_h)

    @property
    def moves(self) -> bool:
        """Whether the prediction for the age of the reading is another than the settled one."""
        told = [(found.value, found.low, found.high) for found in (self.beside, self.settled)]
        return told[0] != told[1]

    @property
    def ph(self) -> Decimal | None:
        """The pH everything else is told at: measured, else predicted, else None. [-]"""
        if self.measured is None:
            return self.settled.value
        return Decimal(repr(self.measured)).quantize(_HUNDREDTH)

    @property
    def at_words(self) -> str:
        """ "pH 4.60, measured at 24 h", "pH 4.44, predicted and not measured", or why there is none."""
        if self.ph is None:
            return f"no pH: none was measured that counts, none can be predicted ({self.settled.reason})"
        how = "predicted and not measured" if self.measured is None else f"measured at {self.age}"
        return f"pH {self.ph}, {how}"

    @property
    def against(self) -> str:
        """Whether the reading lies inside the band of the prediction for its age; empty without one of the two."""
        found = self.beside
        if self.measured is None or not found.is_known:
            return ""
        return INSIDE if found.low <= self.ph <= found.high else OUTSIDE

    @cached_property
    def charge(self) -> ChargeBalance | None:
        """The charge of the composition at its pH; None without a pH."""
        title = f"{self.batch} ({self.state})"
        return None if self.ph is None else charge_at_ph(self.composition, self.ph, title=title)

    @cached_property
    def acids(self) -> tuple[tuple[Share, Fact, Decimal], ...]:
        """Acid preservatives with their constant and what of each is un-ionised at the pH; none without a pH. [%]"""
        if self.ph is None:
            return ()
        return tuple((share, pka, unionised_pct(pka, self.ph)) for share, pka in acid_preservatives(self.composition))


def batch_phs(batches: Iterable[BatchView], results: Sequence[PropertyResult]) -> dict[str, BatchPh]:
    """The pH of each batch by its name.

    Parameters
    ----------
    batches : iterable of BatchView       Whose pH is asked for.
    results : sequence of PropertyResult  Of a comparison, unfiltered: only readings that count are in them.

    Returns
    -------
    dict   The reading is that at the age of the spec; where it has none, the last one read.
    """
    neat = [result for result in results if fold(result.property) == PH and reads_undiluted(result.method)]
    return {batch.name: _of(batch, neat) for batch in batches}


def reads_undiluted(method: str) -> bool:
    """Whether a method of this name reads the product as it is, which is what a prediction speaks of.

    Parameters
    ----------
    method : str   "pH neat", "pH 10 % in water"; a name that tells of no dilution is taken at its word.
    """
    return not any(word in fold(method) for word in _DILUTED)


def predicted_words(found: Prediction) -> str:
    """The value with its band, "4.44 (4.17 to 4.72)", or NOT COMPUTED."""
    return f"{found.value} ({found.low} to {found.high})" if found.is_known else "NOT COMPUTED"


def predicted_cell(ph: BatchPh) -> str:
    """The prediction for the age of the reading, then the settled one where it is another; the reason for none."""
    if not ph.settled.is_known:
        return f"NOT COMPUTED: {ph.settled.reason}"
    settled, memory = predicted_words(ph.settled), "; constants from memory" if ph.settled.memory else ""
    told = f"{predicted_words(ph.beside)} at {ph.age}, {settled} settled" if ph.moves else settled
    return f"{told}{memory}"


def measured_cell(ph: BatchPh) -> str:
    """The reading with its age, and whether it lies in the band of the prediction."""
    if ph.measured is None:
        return f"{ABSENT} (no reading of the undiluted product that counts)"
    return f"{ph.ph} at {ph.age}" + (f", {ph.against}" if ph.against else "")


def unionised_cell(ph: BatchPh) -> str:
    """What of each acid preservative is un-ionised at the pH, and at which pH."""
    if ph.ph is None:
        return f"{ABSENT} (no pH)"
    if not ph.acids:
        return f"{ABSENT} (no acid preservative)"
    told = [
        f"{share.substance.inci} {_short(pct)} %{' (pKa from memory)' if pka.kind == 'memory' else ''}"
        for share, pka, pct in ph.acids
    ]
    return f"{', '.join(told)} at {_ph_word(ph)}"


def charge_cell(ph: BatchPh) -> str:
    """The net charge of the large ions at the pH, with what is missing in it. [meq/100 g]"""
    if ph.charge is None:
        return f"{ABSENT} (no pH)"
    if not ph.charge.lines:
        return "no large ion"
    lacking = f"; not known, and missing: {', '.join(ph.charge.unknown)}" if ph.charge.unknown else ""
    return f"{ph.charge.net.words()} at {_ph_word(ph)}{lacking}"


# What a comparison tells of the pH of its arms, label and cell; a prediction is no result.
PH_ROWS = (
    ("predicted pH, nine readings in ten (predicted, not tested)", predicted_cell),
    ("measured pH beside it", measured_cell),
    ("un-ionised share of acid preservatives", unionised_cell),
    ("net charge of large ions, meq/100 g", charge_cell),
)


def _of(batch: BatchView, results: Sequence[PropertyResult]) -> BatchPh:
    made, _ = made_of(batch)
    composition = made.composition if made else batch.formula.composition()
    state = "as made" if made else "as meant: nothing was weighed"
    found = _reading(batch.name, results)
    if found is None:
        return BatchPh(batch.name, composition, state)
    result, value = found
    age_h = value.age_h if value.age_h is not None else float(result.window.age_h)
    return BatchPh(batch.name, composition, state, value.mean, result.age, age_h)


def _reading(batch: str, results: Sequence[PropertyResult]) -> tuple[PropertyResult, BatchValue] | None:
    held = [
        (result, value)
        for result in results
        if result.window is not None
        for arm in result.arms
        for value in arm.batch_values
        if value.batch == batch
    ]
    judged = [item for item in held if item[0].spec is not None]
    return max(judged or held, key=lambda item: item[0].window.age_h, default=None)


def _ph_word(ph: BatchPh) -> str:
    return f"pH {ph.ph}" + (" (predicted)" if ph.measured is None else "")


def _short(pct: Decimal) -> str:
    return f"{pct:.0f}" if pct >= 10 else f"{pct:.1f}"
