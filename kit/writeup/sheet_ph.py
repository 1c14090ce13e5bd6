"""The pH line of a batch sheet: the target, what is predicted before anything is poured in, what one drop does here."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kit.errors import KitError
from kit.formula.composition import Composition
from kit.formula.dosing import DROP_G
from kit.formula.library import load_library
from kit.formula.material import Material
from kit.formula.model import SpecLine
from kit.formula.ph_spec import ph_lines
from kit.formula.predict import Prediction, predict_ph
from kit.units import plain
from kit.writeup.short_cautions import SHORT

_FRESH_H = 1.0  # about the age at which the pH is read in process
_CAUTIONS = ("corrosive", "acid", "alkali")


def ph_target_words(composition: Composition, spec: Sequence[SpecLine], batch_g: Decimal) -> str:
    """What to aim at and how steep it is there, in a few sentences; empty without a pH spec.

    Parameters
    ----------
    composition : Composition   As meant.
    spec : sequence of SpecLine  What the batch is judged by.
    batch_g : Decimal           Mass of the batch. [g]

    Returns
    -------
    str   Ends with the cautions of the solution that is dropped in.
    """
    lines = ph_lines(spec)
    if not lines:
        return ""
    line = lines[0]
    found = predict_ph(composition)
    told = [_target(line)]
    if not found.is_known:
        return " ".join([*told, f"Predicted before adjusting: NOT COMPUTED, {found.reason}."])
    told.append(f"Predicted before adjusting, not measured: {_predicted(composition, found)}.")
    stock = adjuster(composition)
    if stock is not None:
        told += [_drop(composition, stock, batch_g), *_cautions(stock)]
    return " ".join(told)


def adjuster(composition: Composition) -> Material | None:
    """The lab's stock solution of the acid there is most of in a composition, by the kit's list; None without one.

    Parameters
    ----------
    composition : Composition   As meant.
    """
    acids = [share.substance.inci for share in composition.shares().values() if share.substance.category == "acid"]
    stocks = [material for material in load_library() if material.made_from]
    fitting = [
        material
        for inci in acids[:1]
        for material in stocks
        if any(part.inci == inci and part.role == "active" for part in material.parts)
    ]
    return min(fitting, key=lambda material: material.active_pct, default=None)


def _target(line: SpecLine) -> str:
    if line.low is None or line.high is None:
        return f"Target: {line.words()}."
    return f"Target {plain((line.low + line.high) / 2)} ({line.words()})."


def _predicted(composition: Composition, settled: Prediction) -> str:
    """The settled prediction; that of a fresh batch before it where acid comes free later."""
    words, memory = _band(settled), ", constants from memory" if settled.memory else ""
    fresh = predict_ph(composition, age_h=_FRESH_H)
    if (fresh.value, fresh.low, fresh.high) == (settled.value, settled.low, settled.high):
        return f"{words}{memory}"
    return f"fresh {_band(fresh)}, after some days {words}{memory}"


def _band(found: Prediction) -> str:
    return f"{found.value} ({found.low} to {found.high})"


def _drop(composition: Composition, stock: Material, batch_g: Decimal) -> str:
    from kit.formula.aqueous import aqueous, stock_of
    from kit.science.titration import drop_change

    try:
        moved = drop_change(aqueous(composition).mixture(float(batch_g)), stock_of(stock), DROP_G)
    except KitError as problem:
        return f"What a drop does: NOT COMPUTED, {problem.what}."
    shown = f"{moved:+.3f}".replace("-", "−")
    return f"One drop ({DROP_G:g} g) of {stock.name} moves the pH by {shown} at that pH."


def _cautions(stock: Material) -> list[str]:
    """What an acid or a base asks for, of the solution and of what it is made from."""
    keys = dict.fromkeys(
        key for material in (stock, *(base for base, _ in stock.made_from)) for key in material.cautions
    )
    return [SHORT[key] for key in _CAUTIONS if key in keys]
