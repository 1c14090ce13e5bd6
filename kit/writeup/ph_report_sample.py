"""A titration of a sample at the bench, brought to the batch: g to the batch = g to the sample x batch / sample."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from kit.errors import ParameterError
from kit.show import Block, Table
from kit.units import number, plain, read
from kit.writeup.ph_report_subject import WHERE

_PAIR = re.compile(r"^(?P<dose>.*?\d\s*[a-zA-Z]+)\s*(?:[:=]|->|→|\s)\s*(?:pH\s*)?(?P<ph>[\d.,]+)$")
_EXAMPLE = '"0.20 g: 5.32"'


@dataclass(frozen=True)
class SampleTitration:
    """pH of a sample after each dose of one stock solution.

    Parameters
    ----------
    sample_g : Decimal               Mass of the sample. [g]
    stock : str                      Name of the stock solution.
    points : tuple of (g, pH)        All that was added so far, and the pH then; doses rise.
    """

    sample_g: Decimal
    stock: str
    points: tuple[tuple[Decimal, Decimal], ...]

    def scaled(self, batch_g: Decimal) -> tuple[tuple[float, float], ...]:
        """The same pH against the dose the batch would need.

        Parameters
        ----------
        batch_g : Decimal   What is in the vessel, the sample already out. [g]

        Returns
        -------
        tuple of (g, pH)   g of stock to the batch.
        """
        return tuple((float(dose * batch_g / self.sample_g), float(ph)) for dose, ph in self.points)

    def dose_g(self, target_ph: Decimal) -> Decimal | None:
        """Dose to the sample at the target, on the straight line between the two readings about it.

        Parameters
        ----------
        target_ph : Decimal   [-]

        Returns
        -------
        Decimal or None   None where the readings do not reach the target. [g to the sample]
        """
        for (low_g, start), (high_g, end) in pairwise(self.points):
            if start == target_ph:
                return low_g
            if min(start, end) <= target_ph <= max(start, end):
                return low_g + (high_g - low_g) * (target_ph - start) / (end - start)
        return None


def read_sample(sample: str, stock: str, pairs: Sequence[object]) -> SampleTitration | None:
    """A bench titration as typed.

    Parameters
    ----------
    sample : str         Mass of the sample, "20 g".
    stock : str          The stock solution.
    pairs : sequence     "0.20 g: 5.32", or pairs of g and pH: what was added so far, and the pH then.

    Returns
    -------
    SampleTitration   None without readings.

    Raises
    ------
    ParameterError   `ph.sample` for a reading that is no dose with a pH, doses that do not rise, fewer than two
                     readings, or readings without the mass of the sample.
    UnitError        As `kit.units.read`.
    """
    if not pairs:
        return None
    points = tuple(_point(pair) for pair in pairs)
    if not sample:
        raise _refused("readings of a sample, but not its mass", 'sample = "20 g"')
    sample_g = read(sample, "g", where=f"{WHERE}, sample")
    if sample_g <= 0:
        raise _refused(f"a sample of {sample}", "name the mass of the sample")
    if len(points) < 2:
        raise _refused("one reading of a sample", "read it at least twice: before the first dose and after it")
    if any(later <= earlier for (earlier, _), (later, _) in pairwise(points)):
        doses = ", ".join(f"{plain(dose)} g" for dose, _ in points)
        raise _refused(f"doses that do not rise: {doses}", "give all that was added so far, not each step")
    return SampleTitration(sample_g, stock, points)


def sample_block(titration: SampleTitration, batch_g: Decimal, target_ph: Decimal) -> Block:
    """The readings scaled to the batch, and the dose they lead to.

    Parameters
    ----------
    titration : SampleTitration   As read.
    batch_g : Decimal             In the vessel, the sample already out. [g]
    target_ph : Decimal           [-]

    Returns
    -------
    Block   A table and a sentence.
    """
    rows = [
        (plain(dose), f"{ph:.2f}", _grams(dose * batch_g / titration.sample_g), _slope(titration, at))
        for at, (dose, ph) in enumerate(titration.points)
    ]
    left = (batch_g - titration.sample_g) / batch_g if batch_g > titration.sample_g else None
    still = (
        f" If the sample has still to be taken out of these {plain(batch_g)} g, take {left:.3f} of each dose."
        if left
        else ""
    )
    note = (
        f"g to the batch = g to the sample × {plain(batch_g)} g / {plain(titration.sample_g)} g. The sample is lost "
        f"from the batch: record it as taken out.{still}"
    )
    table = Table(
        ("g to the sample", "pH read", "g to the batch", "pH for each g to the batch"),
        [(*row[:3], _per_batch(row[3], batch_g / titration.sample_g)) for row in rows],
        title=f"Sample of {plain(titration.sample_g)} g titrated with {titration.stock}",
        note=note,
        numeric=frozenset({0, 1, 2, 3}),
    )
    return Block((table, _dose_words(titration, batch_g, target_ph)))


def _dose_words(titration: SampleTitration, batch_g: Decimal, target_ph: Decimal) -> str:
    dose = titration.dose_g(target_ph)
    if dose is None:
        low, high = (end(ph for _, ph in titration.points) for end in (min, max))
        return (
            f"The readings, {low:.2f} to {high:.2f}, do not reach the target {target_ph:.2f}: titrate on. Nothing is "
            "drawn out beyond them."
        )
    return (
        f"By the sample {_grams(dose * batch_g / titration.sample_g)} g of {titration.stock} to the batch lead to "
        f"{target_ph:.2f} (straight line between the two readings about it). It was read, not predicted: where it "
        "differs from the prediction, go by the sample."
    )


def _slope(titration: SampleTitration, at: int) -> Decimal | None:
    """Change of pH for each g to the sample since the reading before."""
    if at == 0:
        return None
    (before_g, before), (after_g, after) = titration.points[at - 1 : at + 1]
    return (after - before) / (after_g - before_g)


def _per_batch(slope: Decimal | None, scale: Decimal) -> str:
    return "–" if slope is None else f"{slope / scale:+.2f}".replace("-", "−")


def _point(pair: object) -> tuple[Decimal, Decimal]:
    if isinstance(pair, (list, tuple)) and len(pair) == 2:
        dose, ph = (number(value, where=f"{WHERE}, sample_titration") for value in pair)
    else:
        match = _PAIR.match(str(pair).strip())
        if not match:
            raise _refused(f"{pair!r} is no dose with a pH", f"write {_EXAMPLE}: all that was added so far, and the pH")
        dose = read(match["dose"], "g", where=f"{WHERE}, sample_titration")
        ph = number(match["ph"], where=f"{WHERE}, sample_titration")
    if dose < 0 or not 0 <= ph <= 14:
        raise _refused(f"{plain(dose)} g with a pH of {plain(ph)}", "a dose of 0 g or more and a pH of 0 to 14")
    return dose, ph


def _refused(what: str, mend: str) -> ParameterError:
    return ParameterError(
        what,
        where=f"{WHERE}, sample_titration",
        allowed=f"doses with their pH, such as {_EXAMPLE}",
        mend=mend,
        code="ph.sample",
    )


def _grams(mass_g: Decimal) -> str:
    return f"{mass_g:.2f}"
