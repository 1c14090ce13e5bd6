"""How much to make: grams asked for, or packs to fill with their samples and losses."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_CEILING, Decimal

from kit.errors import BatchError, UnitError
from kit.units import number, percent, plain, read, split

_WHERE = "plan_batch()"


def batch_mass_g(
    batch: object = None,
    *,
    packs: object = None,
    fill: object = None,
    density: object = None,
    samples: object = None,
    loss: object = None,
) -> Decimal:
    """Mass of the batch to make. [g]

    Parameters
    ----------
    batch : str             The mass itself, "400 g"; or, without it, from packs:
    packs : int             Packs to fill.
    fill : str              Contents of one pack, "250 mL" (then with `density`) or "245 g".
    density : str           "0.975 g/mL".
    samples : str or list   Samples, retained and stability jars: "200 g", or several masses that add up.
    loss : str              Share of the batch that stays in vessel and pipes, "4 %".

    Raises
    ------
    BatchError   `batch.size` (neither or both ways given, or not above zero), `batch.density`, `batch.loss`.
    UnitError    For text that cannot be read.

    Notes
    -----
    (packs x fill x density + samples) / (1 - loss), taken up to the next 0.1 g. Loss at the bench is 2 to 6 % (common
    practice, no source): use the lab's own history.
    """
    if batch is not None:
        return _given(batch, {"packs": packs, "fill": fill, "density": density, "samples": samples, "loss": loss})
    if packs is None or fill is None:
        raise _bad_size("the size of the batch was not given")
    count = number(packs, where=f"{_WHERE}, packs")
    if count <= 0 or count != count.to_integral():
        raise _bad_size(f"{plain(count)} packs cannot be filled")
    net = count * _fill_g(fill, density) + _samples_g(samples)
    return (net / (1 - _loss(loss))).quantize(Decimal("0.1"), ROUND_CEILING)


def _given(batch: object, others: dict[str, object]) -> Decimal:
    also = [name for name, value in others.items() if value is not None]
    if also:
        raise _bad_size(f"a batch of {batch} was given and also {', '.join(also)}")
    return _above_zero(read(batch, "g", where=f"{_WHERE}, batch"), "batch")


def _fill_g(fill: object, density: object) -> Decimal:
    _, unit = split(fill, where=f"{_WHERE}, fill")
    if not unit or _is_mass(fill):
        return _above_zero(read(fill, "g", where=f"{_WHERE}, fill"), "fill")
    volume_ml = _above_zero(read(fill, "mL", where=f"{_WHERE}, fill"), "fill")
    if density is None:
        raise BatchError(
            f"a fill of {fill} needs a density",
            where=_WHERE,
            allowed='density="0.975 g/mL", or a fill by mass',
            mend="measure the density of the product, or fill by mass",
            code="batch.density",
        )
    return volume_ml * _above_zero(read(density, "g/mL", where=f"{_WHERE}, density"), "density")


def _is_mass(text: object) -> bool:
    try:
        read(text, "g")
    except UnitError:
        return False
    return True


def _samples_g(samples: object) -> Decimal:
    if samples is None:
        return Decimal(0)
    rows = samples if isinstance(samples, Sequence) and not isinstance(samples, str) else [samples]
    masses = [read(row, "g", where=f"{_WHERE}, samples") for row in rows]
    if any(mass < 0 for mass in masses):
        raise _bad_size("a sample is negative")
    return sum(masses, Decimal(0))


def _loss(loss: object) -> Decimal:
    if loss is None:
        return Decimal(0)
    pct = percent(loss, where=f"{_WHERE}, loss")
    if not 0 <= pct < 50:
        raise BatchError(
            f"a loss of {plain(pct)} % cannot be planned",
            where=_WHERE,
            allowed="0 to less than 50 %",
            mend="give the share of the batch that stays in vessel and pipes, usually 2 to 6 %",
            code="batch.loss",
        )
    return pct / 100


def _above_zero(value: Decimal, name: str) -> Decimal:
    if value <= 0:
        raise _bad_size(f"{name} is {plain(value)}")
    return value


def _bad_size(what: str) -> BatchError:
    return BatchError(
        what,
        where=_WHERE,
        allowed='"400 g"; or packs=24, fill="250 mL", density="0.975 g/mL", samples="200 g", loss="4 %"',
        mend="give one of the two, above zero",
        code="batch.size",
    )
