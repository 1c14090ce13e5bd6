"""An amine that is neutralised: how far it is, and how near the cliff where one drop decides."""

from __future__ import annotations

from kit.formula.aqueous import Aqueous, system_of
from kit.formula.ph_words import NEAR_EQUIVALENCE, amine_words, neutralisation
from kit.science.neutralisation import ASSAYS, ph_by_assay
from kit.show import Block, Table

_AMINE = "amine surfactant"


def amine_block(water: Aqueous, mass_g: float) -> Block:
    """How far the amine is neutralised, and what a lot of a little more or less amine would do to the pH.

    Parameters
    ----------
    water : Aqueous   The water of the composition.
    mass_g : float    In the vessel. [g]

    Returns
    -------
    Block   Empty without an amine.
    """
    degree = neutralisation(water)
    if degree is None:
        return Block(())
    amines = [solute for solute in water.solutes if solute.substance.category == _AMINE]
    systems = {system_of(solute.substance, solute.chemistry) for solute in amines}
    nominal = water.mixture(batch_g=mass_g)
    amount = sum(nominal.totals_mmol[system] for system in systems)
    rows = []
    for share, ph in zip(ASSAYS, ph_by_assay(nominal, systems), strict=True):
        name = "as stated" if share == 1 else f"{100 * (share - 1):+.0f} %".replace("-", "−")
        rows.append((name, f"{amount * share:.2f}", f"{100 * degree / share:.1f}", f"{ph:.2f}"))
    names = ", ".join(dict.fromkeys(solute.substance.inci for solute in amines))
    table = Table(
        ("amine in this lot", "amine, mmol", "acid for it, %", "predicted pH"),
        rows,
        title=f"Neutralisation of {names} in {mass_g:g} g",
        note=f"Amine values of lots differ by about {100 * NEAR_EQUIVALENCE:.0f} %. At 100 % lies the cliff: below it "
        "part of the amine stays uncharged wax, on it one drop decides, clear of it the acid left over sets the pH.",
        numeric=frozenset({1, 2, 3}),
    )
    return Block((table, *amine_words(degree)))
