"""Tables of droplets, creaming, spins and oils: only what was read."""

from __future__ import annotations

from collections.abc import Sequence

from kit.bench.structure import SIZES
from kit.science.centrifuge import LIMITS as SPIN_LIMITS
from kit.science.number_text import short
from kit.show import Table
from kit.trials.droplets import BatchSpin, DropletSizes
from kit.trials.oil_blend import OilBlend
from kit.trials.wording import ABSENT
from kit.units import plain


def droplet_table(found: Sequence[DropletSizes]) -> Table:
    """Means, width and counting error of each batch and age.

    Parameters
    ----------
    found : sequence of DropletSizes
    """
    return Table(
        ("batch", "age", *(f"{name}, um" for name in SIZES.values()), "span", "counted", "says"),
        [_droplet_row(one) for one in found],
        title="Droplet sizes, by volume",
        note="Each batch for itself: nothing is tested. A counting error holds for the number counted alone, not for "
        "the lens or the choice of field.",
        numeric=frozenset({2, 3, 4, 5, 6, 7, 8}),
    )


def creaming_table(found: Sequence[DropletSizes]) -> Table:
    """Whether the largest droplets cream, with what it rests on.

    Parameters
    ----------
    found : sequence of DropletSizes
    """
    return Table(
        ("batch", "age", "yield value, Pa", "needed, Pa", "creams, mm/d", "says"),
        [_creaming_row(one) for one in found],
        title="Creaming of the largest droplets",
        note="A working network holds every droplet: creaming means that it has collapsed, not that drops are too big.",
        numeric=frozenset({2, 3, 4}),
    )


def spin_table(found: Sequence[BatchSpin]) -> Table:
    """What a centrifuge separated, and what the spin stands for.

    Parameters
    ----------
    found : sequence of BatchSpin
    """
    rows = [
        (
            one.batch,
            one.age or ABSENT,
            f"{plain(one.reading.value)} {one.reading.unit}",
            ABSENT if one.spin is None else short(one.spin.relative_force, 4),
            ABSENT if one.spin is None else f"{one.spin.minutes:g}",
            one.words,
        )
        for one in found
    ]
    return Table(
        ("batch", "age", "separated", "force, g", "minutes", "stands for"),
        rows,
        title="In the centrifuge",
        note=f"Limits: {'; '.join(SPIN_LIMITS)}.",
        numeric=frozenset({2, 3, 4}),
    )


def blend_table(found: Sequence[OilBlend]) -> Table:
    """What three rules make of the oils.

    Parameters
    ----------
    found : sequence of OilBlend
    """
    rows = [
        (
            one.batch,
            "\n".join(f"{name} {100 * share:.1f} %, {short(value)} mm2/s" for name, share, value in one.oils) or ABSENT,
            ABSENT if one.read_mm2_s is None else short(one.read_mm2_s),
            one.words,
        )
        for one in found
    ]
    return Table(("batch", "oils", "blend read, mm2/s", "says"), rows, title="Viscosity of the oil phase")


def _droplet_row(one: DropletSizes) -> tuple[object, ...]:
    count = one.count
    if count is None:
        sizes = {name: short(value) for name, value in one.sizes_um.items()}
        told = "as the instrument gives them" if one.sizes_um else "nothing counts"
    else:
        percentiles = {f"D{p}": short(count.volume_percentile_um(p)) for p in (10, 50, 90)}
        means = {"D[3,2]": count.sauter, "D[4,3]": count.volume_mean}
        sizes = percentiles | {
            name: f"{short(mean.value_um)} ± {short(mean.standard_error_um, 2)}" for name, mean in means.items()
        }
        told = count.words
    return (
        one.batch.name,
        one.age or ABSENT,
        *(sizes.get(name, ABSENT) for name in SIZES.values()),
        ABSENT if one.span is None else short(one.span, 2),
        ABSENT if count is None else f"{count.total:g}",
        "; ".join([told, *one.left_out]),
    )


def _creaming_row(one: DropletSizes) -> tuple[object, ...]:
    found = one.creaming
    numbers = (ABSENT, ABSENT) if found is None else (short(found.holding_pa, 2), short(abs(found.mm_per_day), 2))
    yields = "not measured" if one.yield_pa is None else short(one.yield_pa, 2)
    return one.batch.name, one.age or ABSENT, yields, *numbers, one.creaming_words
