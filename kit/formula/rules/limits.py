"""The limits the rules judge by, in one place. All are common practice, no source, where no source stands beside them.

Limits of law are not among them: those are facts, in kit/data/caps.toml. Ranges and windows of one material are facts
of that material.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kit.formula.charge import CATIONIC_SURFACTANTS
from kit.formula.network import OILS

# Does it add up.
TOTAL, TOTAL_TOLERANCE = Decimal(100), Decimal("0.01")

# Anions beside a cationic. Of a surfactant: charge per charge of the cationic, (look again, do not make).
ANIONIC_POLYMER_PCT = Decimal("0.05")
ANIONIC_SURFACTANT = {"hard anion": (Decimal("0.02"), Decimal("0.1")), "soft anion": (Decimal("0.1"), None)}

# Acid for an amine, equivalents. Its assay is good to 3 % at best, so within that the pH cannot be told.
AMINE_STOP, AMINE_SHORT, AMINE_ENOUGH = Decimal("0.90"), Decimal("0.97"), Decimal("1.03")
# pH above which an amidoamine starts to be, and mostly is, a wax again.
AMINE_PH, AMINE_PH_STOP = Decimal("5.5"), Decimal("6.5")
# An ester quaternary hydrolyses above about 4.5; the window of the supply form goes first where it is known.
ESTERQUAT_PH = Decimal("4.5")
# Lactic acid holds oligomers above about this strength: Vu et al. 2005, Fluid Phase Equilib. 236:125 (abstract).
LACTIC_OLIGOMERS_PCT = Decimal(30)

# Fatty alcohol to cationic, mol/mol: thin, on the thin side, on the grainy side, grainy.
RATIO_LOW, RATIO_THIN, RATIO_GRAIN, RATIO_HIGH = Decimal(2), Decimal("2.5"), Decimal(6), Decimal(8)
ALCOHOL_PCT, CATIONIC_PCT = Decimal(10), Decimal(5)
NETWORK_LIPID_PCT = (Decimal(4), Decimal(11))
# Oil per network lipid, g/g: more oil than network, twice as much.
OIL_PER_LIPID, OIL_PER_LIPID_HIGH = Decimal(1), Decimal(2)

# Preservation. 0.75: ISO 29621, low-risk products. An eighth un-ionised is pH 5.05 for benzoic acid, 5.6 for sorbic,
# 6.1 for dehydroacetic, which is where the trade says that each stops working.
WATER_ACTIVITY = 0.75
UNIONISED_PCT = Decimal("12.5")

# Spec of a conditioner with a quaternary: beyond the outer limits look again, beyond the inner ones know it.
PH_OUTER, PH_INNER = (Decimal(3), Decimal(7)), (Decimal("3.5"), Decimal("6.5"))
# What a predicted pH may miss by before any titration, in a product that is buffered.
PREDICTED_PH_MISS = Decimal("0.6")
VISCOSITY_LOW_MPA_S = Decimal(1000)

# Temperatures of making. [degC]
PROCESS_C, COOL_DOWN_C, WARM_C = Decimal(90), Decimal(60), Decimal(45)

# What is heated with the water or the oil as a rule (common practice, no source): that no limit is known says nothing.
HELD_HOT = frozenset(
    """
    water, humectant, thickener, starch, cationic polymer, cationic surfactant, amine surfactant, nonionic emulsifier,
    fatty alcohol, emollient, silicone, wax ester, acid, base, salt, chelator, solvent
    """.strip()
    .replace("\n    ", " ")
    .split(", ")
)

# A difference of grams below this is rounding, not a change. [% w/w]
SAME_PCT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Usual:
    """A bound on the content of some categories in a rinse-off conditioner; beyond it look again. [% w/w]"""

    code: str
    title: str
    categories: tuple[str, ...]
    bound: Decimal
    mend: str
    below: bool = False


THICKENER = ("thickener", "cationic polymer")
_SLIP = "A slip of the decimal looks like this."

USUAL = (
    Usual(
        "range.water",
        "Water of all sources",
        ("water",),
        Decimal(60),
        "The network needs water to swell; check the other lines.",
        True,
    ),
    Usual(
        "range.oil",
        "Oils, esters and silicones",
        OILS,
        Decimal(10),
        f"Oil dissolves the network: expect a thinner product. Lower it. {_SLIP}",
    ),
    Usual("range.thickener", "Gums and cationic polymers", THICKENER, Decimal(1), f"Stringy feel. Lower it. {_SLIP}"),
    Usual(
        "range.humectant",
        "Humectants",
        ("humectant",),
        Decimal(15),
        f"Tacky, and still no preservative. Lower it. {_SLIP}",
    ),
    Usual(
        "range.chelator",
        "Chelator, active",
        ("chelator",),
        Decimal("0.5"),
        f"More does not help; salt thins the gel. Lower it. {_SLIP}",
    ),
    Usual(
        "range.fragrance",
        "Fragrance",
        ("fragrance",),
        Decimal("1.5"),
        f"It thins the gel and brings allergens. Lower it. {_SLIP}",
    ),
)


@dataclass(frozen=True, slots=True)
class Kind:
    """What a rinse-off conditioner usually holds, by what it evidently is. [% w/w]

    A formula is of the first kind whose `lipid_below` lies above its fatty alcohol and active cationic together.
    Water, alcohol and cationic make the kind and are judged on both sides; the rest may be left out and is judged on
    the upper side only (its low end is None).
    """

    name: str
    lipid_below: Decimal | None
    usual: tuple[tuple[str, tuple[str, ...], Decimal | None, Decimal], ...]


def _kind(name: str, lipid_below: str | None, **ranges: tuple[str | None, str]) -> Kind:
    usual = tuple(
        (title, categories, None if low is None else Decimal(low), Decimal(high))
        for (title, categories), (low, high) in zip(_TITLES, ranges.values(), strict=True)
    )
    return Kind(name, None if lipid_below is None else Decimal(lipid_below), usual)


_TITLES = (
    ("water", ("water",)),
    ("fatty alcohol", ("fatty alcohol",)),
    ("active cationic", CATIONIC_SURFACTANTS),
    ("oils, esters and silicones", OILS),
    ("gums and cationic polymers", THICKENER),
    ("humectants", ("humectant",)),
    ("chelator", ("chelator",)),
    ("fragrance", ("fragrance",)),
)
# fmt: off
KINDS = (
    _kind("thin daily rinse", "5", water=("85", "93"), alcohol=("2", "4"), cationic=("0.5", "1.5"), oil=(None, "2"),
          thickener=(None, "0.3"), humectant=(None, "3"), chelator=(None, "0.2"), fragrance=(None, "0.4")),
    _kind("typical conditioner", "8.5", water=("80", "90"), alcohol=("3", "6"), cationic=("1", "3"), oil=(None, "4"),
          thickener=(None, "0.5"), humectant=(None, "5"), chelator=(None, "0.2"), fragrance=(None, "0.8")),
    _kind("mask", None, water=("70", "85"), alcohol=("5", "9"), cationic=("2", "4"), oil=(None, "8"),
          thickener=(None, "0.8"), humectant=(None, "8"), chelator=(None, "0.2"), fragrance=(None, "1.0")),
)
# fmt: on
