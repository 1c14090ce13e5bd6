"""Mixtures solved by PHREEQC under constants that a test or a benchmark states. Nothing of the kit is imported here.

The database holds water, a strong cation, a strong anion and the systems named, with a constant for every step as it is
at the temperature of the run. Charged forms go by the Davies equation, which is PHREEQC's own default; its default for
uncharged forms (log g = 0.1 I) is switched off. Two things are PHREEQC's own: the Debye-Hueckel slope, 0.5100 at
25 degC, and the activity of water, 1 less 0.017 times all that is dissolved in mol/kg, which the kit takes as 1.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

_WATER = """
SOLUTION_MASTER_SPECIES
H    H+  -1 H 1.008
H(0) H2   0 H
H(1) H+  -1 0
E    e-   0 0 0
O    H2O  0 O 16.0
O(0) O2   0 O
O(-2) H2O 0 0
Na   Na+  0 Na 22.9898
Cl   Cl-  0 Cl 35.453
{masters}
SOLUTION_SPECIES
H+ = H+
log_k 0
e- = e-
log_k 0
H2O = H2O
log_k 0
Na+ = Na+
log_k 0
Cl- = Cl-
log_k 0
H2O = OH- + H+
log_k {minus_pkw:.12f}
2 H2O = O2 + 4 H+ + 4 e-
log_k -86.08
2 H+ + 2 e- = H2
log_k -3.15
{species}
END
"""

_SELECTED = """
SELECTED_OUTPUT 1
-reset false
-high_precision true
USER_PUNCH 1
-headings pH mu slope
10 PUNCH -LA("H+"), MU, DH_A
END
"""


@dataclass(frozen=True)
class PeerSystem:
    """An acid, base or ampholyte as PHREEQC reads it: an element of three letters and stepwise pKa at zero I."""

    element: str
    charge: int
    pka: Sequence[float]


def database(systems: Sequence[PeerSystem], pkw: float) -> str:
    """The text of a database with only these systems."""
    masters = "\n".join(f"{system.element} {_form(system, len(system.pka))} 0 1 100" for system in systems)
    species = "\n".join(line for system in systems for line in _species(system))
    return _WATER.format(masters=masters, species=species, minus_pkw=-pkw)


def _form(system: PeerSystem, lost: int) -> str:
    held, charge = len(system.pka) - lost, system.charge - lost
    sign = "" if charge == 0 else f"{'+' if charge > 0 else '-'}{abs(charge) if abs(charge) > 1 else ''}"
    hydrogen = "" if held == 0 else f"H{held if held > 1 else ''}"
    return f"{hydrogen}{system.element}{sign}"


def _species(system: PeerSystem):
    """Every form made from the one without protons."""
    steps, constant = len(system.pka), 0.0
    bare = _form(system, steps)
    for lost in range(steps, -1, -1):
        added = steps - lost
        if added:
            constant += system.pka[lost]
        yield f"{bare} + {added} H+ = {_form(system, lost)}" if added else f"{bare} = {bare}"
        yield f"log_k {constant:.12f}"
        if system.charge - lost == 0:
            yield "-gamma 0 0"


class Peer:
    """PHREEQC with a database loaded, ready to solve one mixture after another."""

    def __init__(self, systems: Sequence[PeerSystem], pkw: float) -> None:
        import phreeqc

        self._engine = phreeqc.Phreeqc()
        self._check(self._engine.LoadDatabaseString(database(systems, pkw)))
        self._check(self._engine.RunString(_SELECTED))

    def solve(
        self, totals: Mapping[str, float], cations: float, anions: float, temp_c: float = 25.0
    ) -> tuple[float, float, float]:
        """pH, ionic strength and Debye-Hueckel slope; elements to totals, strong cations and anions. [mol/kg water]"""
        amounts = {**totals, "Na": cations, "Cl": anions}
        lines = "\n".join(f"{element} {amount:.15g}" for element, amount in amounts.items() if amount > 0)
        text = f"SOLUTION 1\ntemp {temp_c}\nunits mol/kgw\nwater 1\npH 7 charge\n{lines}\nEND\n"
        self._check(self._engine.RunString(text))
        row = self._engine.GetSelectedOutputRowCount() - 1
        return tuple(self._engine.GetSelectedOutputValue(row, column) for column in range(3))

    def _check(self, errors: int) -> None:
        if errors:
            raise RuntimeError(self._engine.GetErrorString())
