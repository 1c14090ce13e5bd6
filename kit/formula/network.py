"""The gel network of a composition: fatty alcohol, cationic and the water that swells them."""

from __future__ import annotations

from decimal import Decimal

from kit.formula.charge import CATIONIC_SURFACTANTS, shares_of, surfactant_class
from kit.formula.composition import Composition
from kit.formula.material import Substance
from kit.formula.molar import mmol_per_100g

OTHER_AMPHIPHILES = ("wax ester", "nonionic emulsifier")
OILS = ("emollient", "silicone")


def content_pct(composition: Composition, *categories: str) -> Decimal:
    """Content of these categories over all supply forms, blends and carriers included. [% w/w]"""
    return sum((share.pct for share in shares_of(composition, *categories)), Decimal(0))


def amount_mmol_per_100g(composition: Composition, *categories: str) -> Decimal | None:
    """Amount of these categories; None when a molar mass is not known. [mmol/100 g]"""
    amounts = [mmol_per_100g(share.substance, share.pct) for share in shares_of(composition, *categories)]
    return None if any(amount is None for amount in amounts) else sum(amounts, Decimal(0))


def alcohol_cationic_ratio(composition: Composition) -> Decimal | None:
    """Fatty alcohol to cationic surfactant, by moles, the alcohol inside blends counted. [mol/mol]

    None without a cationic, or when a molar mass is not known. Melting points of the complex of a single-chain quat
    rise until about 3 mol of alcohol (Fukushima et al. 1986, J. Soc. Cosmet. Chem. Japan 20:103).
    """
    alcohol = amount_mmol_per_100g(composition, "fatty alcohol")
    cationic = amount_mmol_per_100g(composition, *CATIONIC_SURFACTANTS)
    return None if alcohol is None or not cationic else alcohol / cationic


def network_lipid_content(composition: Composition) -> Decimal:
    """Fatty alcohol, active cationic and half of the other amphiphiles. [% w/w of the product]

    The half is common practice, no source: wax esters and nonionic emulsifiers join the bilayer only in part.
    """
    whole = content_pct(composition, "fatty alcohol", *CATIONIC_SURFACTANTS)
    return whole + content_pct(composition, *OTHER_AMPHIPHILES) / 2


def network_lipid_pct(composition: Composition) -> Decimal | None:
    """Network lipid, % of water plus these; None without any. [%]"""
    return lipid_share(network_lipid_content(composition), content_pct(composition, "water"))


def lipid_share(lipid, water):
    """Network lipid in what the network and its water make up; None without any. [%]

    Parameters
    ----------
    lipid, water : Decimal or array   In one unit.
    """
    total = lipid + water
    return 100 * lipid / total if not isinstance(total, Decimal) or total > 0 else None


def two_chained(substance: Substance) -> bool:
    """Whether a cationic has two long chains: it builds bilayers with little alcohol, or none."""
    return surfactant_class(substance) in ("dialkyl quat", "esterquat")
