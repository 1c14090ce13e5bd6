"""What a comparison shows beside the lines of a composition: charge, ratio, loads."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kit.formula.charge import anionic_meq_per_100g, cationic_meq_per_100g
from kit.formula.composition import Composition
from kit.formula.network import (
    OILS,
    alcohol_cationic_ratio,
    content_pct,
    network_lipid_pct,
)
from kit.show import Fielded


@dataclass(frozen=True, slots=True, repr=False)
class Derived(Fielded):
    """Numbers worked out from a composition; None where a fact they need is not known.

    Parameters
    ----------
    cationic_meq_per_100g : Decimal   Active cationic surfactant, amines as if fully neutralised. [meq/100 g]
    anionic_meq_per_100g : Decimal    Anionic surfactants and polymers, the upper end of a range. [meq/100 g]
    alcohol_cationic_ratio : Decimal  Fatty alcohol : cationic, alcohol inside blends counted. [mol/mol]
    fatty_alcohol_pct : Decimal       Fatty alcohol of all sources. [% w/w]
    oil_load_pct : Decimal            Oils, esters, butters and silicones; wax esters are not counted. [% w/w]
    water_pct : Decimal               Water of all sources, as formulated. [% w/w]
    network_lipid_pct : Decimal       Alcohol, cationic and half the other amphiphiles, of water plus these. [% w/w]
    """

    cationic_meq_per_100g: Decimal | None
    anionic_meq_per_100g: Decimal | None
    alcohol_cationic_ratio: Decimal | None
    fatty_alcohol_pct: Decimal
    oil_load_pct: Decimal
    water_pct: Decimal
    network_lipid_pct: Decimal | None


def derived(composition: Composition) -> Derived:
    """The derived numbers of a composition, whether meant, made or proposed."""
    return Derived(
        cationic_meq_per_100g=cationic_meq_per_100g(composition),
        anionic_meq_per_100g=anionic_meq_per_100g(composition),
        alcohol_cationic_ratio=alcohol_cationic_ratio(composition),
        fatty_alcohol_pct=content_pct(composition, "fatty alcohol"),
        oil_load_pct=content_pct(composition, *OILS),
        water_pct=content_pct(composition, "water"),
        network_lipid_pct=network_lipid_pct(composition),
    )
