"""The numbers of a titration figure: what it is drawn from, its table, and what it says in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.show import Table

_STRAIGHT_PH = 0.01  # points nearer than this to the line between their neighbours are not needed to draw it
_LEAST_STEP = 0.0005  # that three places can show


@dataclass(frozen=True)
class StockCurve:
    """pH of the batch against the dose of one stock solution, with what is marked on it.

    Parameters
    ----------
    stock : str                     Name of the stock solution.
    doses_g : sequence of float     Rising, the first 0. [g of stock, to the batch]
    ph : sequence of float          At each dose, length of `doses_g`. [-]
    low, high : sequence of float   Band of the prediction at each dose; empty without one. [-]
    drops : sequence of (g, pH)     After so many drops, evenly from now on; empty for none.
    one_drop : float                Change of pH by the next single drop; None where it is not known. [-]
    first, target : (g, pH) or None The share to add first, and the whole dose to the target.
    """

    stock: str
    doses_g: Sequence[float]
    ph: Sequence[float]
    low: Sequence[float] = ()
    high: Sequence[float] = ()
    drops: Sequence[tuple[float, float]] = ()
    one_drop: float | None = None
    first: tuple[float, float] | None = None
    target: tuple[float, float] | None = None


@dataclass(frozen=True)
class TitrationPlot:
    """What a titration figure is drawn from.

    Parameters
    ----------
    curves : sequence of StockCurve    One a stock solution.
    batch : str                        What is titrated: "LIN-03/1" or a formula's name.
    batch_g : float                    Its mass. [g]
    now_ph : float                     pH before any dose. [-]
    now_how : str                      "measured" or "predicted".
    spec_low, spec_high : float        Limits of the spec; None for a side without. [-]
    target_ph : float                  What the doses lead to; None without one. [-]
    drop_g : float                     Mass of one drop. [g]
    drops_each : int                   Drops from one mark to the next.
    first_share : float                Of the dose that is added first. [-]
    bench : sequence of (g, pH)        Readings of a bench titration, scaled to the batch.
    bench_words : str                  What they are: "sample of 20 g, citric acid 10 %".
    band_words : str                   What the band of the prediction is.
    notes : sequence of str            Printed under the figure.
    """

    curves: Sequence[StockCurve]
    batch: str
    batch_g: float
    now_ph: float
    now_how: str
    spec_low: float | None = None
    spec_high: float | None = None
    target_ph: float | None = None
    drop_g: float = 0.05
    drops_each: int = 1
    first_share: float = 0.7
    bench: Sequence[tuple[float, float]] = ()
    bench_words: str = ""
    band_words: str = "nine readings in ten"
    notes: Sequence[str] = ()


def thinned(doses_g: Sequence[float], ph: Sequence[float], within: float = _STRAIGHT_PH) -> list[int]:
    """Places of the points that draw a curve to within a tolerance, ends included.

    Parameters
    ----------
    doses_g, ph : sequence of float   The curve, of the same length.
    within : float                    Greatest distance, in pH, from the straight lines between the kept points. [-]

    Returns
    -------
    list of int   Rising places in the curve.
    """
    kept, spans = {0, len(ph) - 1}, [(0, len(ph) - 1)]
    while spans:
        start, end = spans.pop()
        run = doses_g[end] - doses_g[start]
        off = [
            abs(ph[at] - ph[start] - (ph[end] - ph[start]) * ((doses_g[at] - doses_g[start]) / run if run else 0))
            for at in range(start + 1, end)
        ]
        if off and max(off) > within:
            middle = start + 1 + off.index(max(off))
            kept.add(middle)
            spans += [(start, middle), (middle, end)]
    return sorted(kept)


def drops_words(plot: TitrationPlot, marks: int = 1) -> str:
    """What lies between so many marks: "1 drop of 0.05 g", "10 drops of 0.05 g"."""
    count = marks * plot.drops_each
    return f"{count} drop{'s' if count > 1 else ''} of {plot.drop_g:g} g"


def reach_g(plot: TitrationPlot) -> float:
    """Right end of the dose axis. [g]"""
    ends = [float(curve.doses_g[-1]) for curve in plot.curves]
    return max([*ends, *(dose for dose, _ in plot.bench)], default=1.0) or 1.0


def titration_table(plot: TitrationPlot) -> Table:
    """Every number of the figure, a row a point."""
    rows = [("", "0", "0", f"{plot.now_ph:.2f}", f"now, {plot.now_how}")]
    for curve in plot.curves:
        rows += [(curve.stock, grams(dose), per_100_g(dose, plot), ph, what) for dose, ph, what in _points(curve, plot)]
    rows += [
        (plot.bench_words or "bench", grams(dose), per_100_g(dose, plot), f"{ph:.2f}", "read at the bench")
        for dose, ph in plot.bench
    ]
    spec = f"Spec: pH {spec_limits(plot)}. " if spec_limits(plot) else ""
    target = f"Target {plot.target_ph:.2f}. " if plot.target_ph is not None else ""
    return Table(
        ("stock", "g to the batch", "g per 100 g", "pH", "what"),
        rows,
        numeric=frozenset({1, 2, 3}),
        note=f"{spec}{target}Straight lines between these points draw the curves to within {_STRAIGHT_PH:g} pH.",
    )


def _points(curve: StockCurve, plot: TitrationPlot) -> list[tuple[float, str, str]]:
    """Every point of one curve with what it is, in order of the dose."""
    found = []
    for at in thinned(curve.doses_g, curve.ph):
        limits = f", band {curve.low[at]:.2f} to {curve.high[at]:.2f}" if len(curve.low) else ""
        found.append((float(curve.doses_g[at]), f"{curve.ph[at]:.2f}", f"curve{limits}"))
    found += [(dose, f"{ph:.2f}", drops_words(plot, number)) for number, (dose, ph) in enumerate(curve.drops, start=1)]
    if curve.first:
        found.append((curve.first[0], f"{curve.first[1]:.2f}", f"{100 * plot.first_share:.0f} % of the dose"))
    if curve.target:
        found.append((curve.target[0], f"{curve.target[1]:.2f}", "whole dose to the target"))
    return sorted(found, key=lambda point: point[0])


def titration_summary(plot: TitrationPlot) -> str:
    """What the figure shows, in one sentence."""
    parts = [f"pH {plot.now_ph:.2f} now ({plot.now_how})"]
    for curve in plot.curves:
        if curve.one_drop is not None:
            parts.append(f"one drop ({plot.drop_g:g} g) of {curve.stock} moves it by {signed_ph(curve.one_drop)}")
        if curve.target:
            parts.append(f"{grams(curve.target[0])} g of {curve.stock} leads to {curve.target[1]:.2f}")
        elif plot.target_ph is not None:
            parts.append(f"{curve.stock} leads away from the target {plot.target_ph:.2f} or does not reach it")
    return "; ".join(parts) + "."


def spec_limits(plot: TitrationPlot) -> str:
    """The limits of the spec: "4.3 to 4.9", "at most 5"; empty without any."""
    low, high = plot.spec_low, plot.spec_high
    if low is not None and high is not None:
        return f"{low:g} to {high:g}"
    if low is None and high is None:
        return ""
    return f"at least {low:g}" if high is None else f"at most {high:g}"


def signed_ph(step: float) -> str:
    """A change of pH with its sign: "+0.12", "−0.03"; one too small for two places with three, or "less than 0.001".

    Parameters
    ----------
    step : float   [-]

    Returns
    -------
    str   With a real minus sign.
    """
    if abs(step) < _LEAST_STEP:
        return "less than 0.001"
    places = 2 if abs(step) >= 0.01 else 3
    return f"{step:+.{places}f}".replace("-", "−")


def per_100_g(dose_g: float, plot: TitrationPlot) -> str:
    """A dose to the batch as g per 100 g of it."""
    return grams(100 * dose_g / plot.batch_g)


def grams(mass_g: float) -> str:
    """A mass to the hundredth of a gram where that says enough, else to three digits."""
    return "0" if not mass_g else f"{mass_g:.2f}" if abs(mass_g) >= 0.1 else f"{mass_g:.3g}"
