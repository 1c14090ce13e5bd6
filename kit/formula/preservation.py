"""How much of each preservative is free and un-ionised in the water of a composition, from the least to the most.

It says what cannot preserve; that something does preserve is for a challenge test alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from kit.errors import FormulaError
from kit.formula.charge import CATIONIC_SURFACTANTS, cationic_meq_per_100g, shares_of
from kit.formula.composition import Composition, Share
from kit.formula.free_preservatives import FreePreservative, Preservation
from kit.formula.material import Fact
from kit.formula.molar import known_molar_mass, molar_mass
from kit.formula.network import content_pct
from kit.formula.partition_facts import Coefficient, acid_form, binding, into_lipid, into_oil
from kit.formula.substance import kind_words
from kit.formula.water_activity import water_activity
from kit.science.ionisation import unionised_fraction
from kit.science.partition import free_share, too_wide
from kit.units import number

OILY = ("emollient", "silicone", "wax ester", "fragrance")
LIPID = ("fatty alcohol", *CATIONIC_SURFACTANTS, "nonionic emulsifier")


def preservation(composition: Composition, ph) -> Preservation:
    """Each preservative of a composition at a pH: total, un-ionised, and free in the water from the least to the most.

    Parameters
    ----------
    composition : Composition   Meant, made or proposed.
    ph : float or array         Measured or predicted. [-]

    Returns
    -------
    Preservation   Shows itself as a table with what it rests on; its numbers are arrays where `ph` is one.

    Raises
    ------
    FormulaError   `preservation.ph` for what is no pH; `preservation.no_water` where there is no water to be free in.

    Notes
    -----
    At most: nothing in bilayers, oils at the low end of their coefficients, no ion bound. At least: bilayers, micelles
    and oils without a measured coefficient at the octanol-water value, and the ion of an acid held by the cationic as
    benzoate by cetrimonium. A range whose ends differ by more than a factor of two is called too wide to choose by.
    Fatty alcohol, cationics, amines and nonionic emulsifiers count as bilayer; emollients, silicones, wax esters and
    fragrance as oil.
    """
    ph = _checked(ph)
    water = float(content_pct(composition, "water"))
    if water <= 0:
        raise FormulaError(
            "there is no water in the composition for a preservative to be free in",
            where="preservation()",
            mend="ask for the preservatives of a product with water",
            code="preservation.no_water",
        )
    surroundings = _Surroundings(composition, water)
    shares = shares_of(composition, "preservative")
    return Preservation(
        ph,
        tuple(_free(share, ph, surroundings) for share in shares),
        water,
        float(content_pct(composition, *OILY)),
        surroundings.lipid_g,
        water_activity(composition),
        tuple(_notes(composition, shares)),
    )


class _Surroundings:
    """What a preservative meets in a composition: water, oils, bilayers and charge."""

    def __init__(self, composition: Composition, water_g: float) -> None:
        self.water_g = water_g
        self.oils = shares_of(composition, *OILY)
        self.lipid_g = float(content_pct(composition, *LIPID))
        self.charged = bool(shares_of(composition, *CATIONIC_SURFACTANTS))
        cationic = cationic_meq_per_100g(composition)
        self.cationic_mmol = None if cationic is None else float(cationic)


def _free(share: Share, ph, around: _Surroundings) -> FreePreservative:
    substance = share.substance
    pka = tuple(_constant(fact) for fact in substance.pka)
    lipid = into_lipid(substance)
    oils = [(into_oil(substance, oil.substance), float(oil.pct)) for oil in around.oils]
    most = _like(ph, free_share(around.water_g, [(oil.low, mass) for oil, mass in oils], ph=ph, pka=pka))
    bound = bool(pka) and around.charged
    least = None
    if all(coefficient.known for coefficient in _used(lipid, oils, around)):
        held = free_share(
            around.water_g,
            [(oil.high, mass) for oil, mass in oils],
            around.lipid_g,
            lipid.high or 0.0,
            ph,
            pka,
            binding().bound_per_free if bound else 0.0,
            _room(share, around) if bound else None,
        )
        least = _like(ph, held)
    factor = _form_per_ingredient(share)
    in_water = None if factor is None else float(share.pct) * factor / around.water_g
    facts = _facts(share, oils, bound)
    return FreePreservative(
        substance.inci,
        acid_form(substance.inci),
        share.pct,
        100 * unionised_fraction(ph, pka) if pka else None,
        _times(least, 100),
        _times(most, 100),
        _times(least, None if in_water is None else 100 * in_water),
        _times(most, None if in_water is None else 100 * in_water),
        most == most if least is None else too_wide(least, most),  # noqa: PLR0124  # True in the shape of the pH
        tuple(_rests_on(share, lipid, oils, around, bool(pka))),
        tuple(f"{name} {fact.words()}" for name, fact in facts if fact.kind == "memory"),
    )


def _used(lipid: Coefficient, oils: list[tuple[Coefficient, float]], around: _Surroundings) -> Iterator[Coefficient]:
    if around.lipid_g:
        yield lipid
    yield from (oil for oil, _ in oils)


def _like(ph, share):
    """A share in the shape of the pH, on which a preservative that does not ionise does not depend."""
    return share if isinstance(ph, float) else share + 0 * ph


def _room(share: Share, around: _Surroundings) -> float | None:
    """The most of the ion that the cationic can hold, as a share of the preservative; None where it is not known."""
    mass = molar_mass(share.substance)
    if around.cationic_mmol is None or mass is None:
        return None
    sites = around.cationic_mmol * float(binding().counter_ion_bound.value)
    return min(1.0, sites / float(1000 * share.pct / mass))


def _form_per_ingredient(share: Share) -> float | None:
    """Grams of the un-ionised form in a gram of the ingredient; None where a molar mass is not known."""
    form, own = acid_form(share.substance.inci), molar_mass(share.substance)
    if form == share.substance.inci:
        return 1.0
    whole = known_molar_mass(form)
    return None if whole is None or own is None else float(whole / own)


def _facts(share: Share, oils: list[tuple[Coefficient, float]], bound: bool) -> Iterator[tuple[str, Fact]]:
    name = share.substance.inci
    yield from ((f"pKa of {name}", fact) for fact in share.substance.pka)
    if share.substance.log_kow is not None:
        yield f"log Kow of {name}", share.substance.log_kow
    for oil, _ in oils:
        if oil.fact is not None:
            yield f"{acid_form(name)}, {oil.basis.partition(',')[0]}:", oil.fact
    if bound:
        yield "charge of a cationic surface covered by counter-ions:", binding().counter_ion_bound


def _rests_on(
    share: Share, lipid: Coefficient, oils: list[tuple[Coefficient, float]], around: _Surroundings, acid: bool
) -> Iterator[str]:
    name = acid_form(share.substance.inci)
    for fact in share.substance.pka:
        yield f"{name}: pKa {fact.words()} ({kind_words(fact.kind)})"
    for oil, _ in oils:
        value = "" if oil.fact is None else f", K {oil.fact.words()} ({kind_words(oil.fact.kind)})"
        yield f"{name}: {oil.basis}{value}"
    if around.lipid_g:
        yield f"{name}: {lipid.basis}"
    if acid and around.charged:
        yield (
            f"{name}: its ion at the cationic, from none to {binding().bound_per_free:.0f} times what is free in the "
            "water (benzoate at micelles of cetrimonium bromide, an upper end)"
        )
    if not acid:
        yield f"{name}: taken as not ionising, no pKa is in the library"


def _notes(composition: Composition, shares: list[Share]) -> Iterator[str]:
    if not shares:
        yield "No preservative in the composition"
    boosters = [share.substance.inci for share in shares_of(composition, "preservative booster")]
    if boosters:
        yield f"Not computed: {', '.join(boosters)} (boosters, no preservatives by law)"


def _constant(fact: Fact) -> float:
    return float(next(value for value in (fact.value, fact.high, fact.low) if value is not None))


def _times(share, factor: float | None):
    return None if share is None or factor is None else share * factor


def _checked(ph):
    """The pH as a float or an array of floats; nothing else comes back."""
    one = isinstance(ph, (str, int, float, Decimal))
    values = _one(ph) if one else _many(ph)
    if values is None:
        raise FormulaError(
            f"{ph!r} is not a pH", where="preservation()", allowed="0 to 14, one or an array", code="preservation.ph"
        )
    return values


def _one(ph) -> float | None:
    typed = float(number(ph, where="preservation(), pH")) if isinstance(ph, str) else float(ph)
    return typed if 0 <= typed <= 14 and not isinstance(ph, bool) else None


def _many(ph):
    import numpy as np

    try:
        values = np.asarray(ph, dtype=float)
    except (TypeError, ValueError):
        return None
    if not values.size or not np.all((values >= 0) & (values <= 14)):
        return None
    return values if values.ndim else float(values)
