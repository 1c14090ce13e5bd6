"""Mean charge against isoelectric points of a textbook, the definition of pKa, and phreeqc's species at a fixed pH."""

from __future__ import annotations

import numpy as np
import phreeqc
import pytest

from kit.science.mean_charge import mean_charge

# Amino acids, of the fully protonated form: its charge, the constants and the isoelectric point as printed in Nelson
# and Cox, Lehninger Principles of Biochemistry, table 3-1 (from memory). The point is where the mean charge is zero.
AMINO_ACIDS = [
    ("glycine", 1, (2.34, 9.60), 5.97),
    ("aspartate", 1, (1.88, 3.65, 9.60), 2.77),
    ("histidine", 2, (1.82, 6.00, 9.17), 7.59),
    ("lysine", 2, (2.18, 8.95, 10.53), 9.74),
]


@pytest.mark.parametrize(("amino_acid", "protonated", "pka", "point"), AMINO_ACIDS)
def test_an_amino_acid_has_no_charge_at_its_isoelectric_point(amino_acid, protonated, pka, point):
    """The point is printed to 0.01 and rounded; a tenth of a unit to either side the charge has a sign."""
    assert mean_charge(point - 0.1, pka, protonated) > 0 > mean_charge(point + 0.1, pka, protonated)
    assert mean_charge(point, pka, protonated) == pytest.approx(0, abs=0.01), amino_acid


@pytest.mark.parametrize(("away", "share"), [(-1, 1 / 11), (0, 1 / 2), (1, 10 / 11)])
def test_a_carboxylate_and_an_amine_by_henderson_hasselbalch(away, share):
    assert mean_charge(4.2 + away, (4.2,)) == pytest.approx(-share, rel=1e-12)
    assert mean_charge(9.4 + away, (9.4,), 1) == pytest.approx(1 - share, rel=1e-12)


def test_citric_acid_at_its_middle_constant_by_hand():
    """pKa 3.128, 4.761, 6.396 at pH 4.761: forms stand as 1 : 10^1.633 : 10^1.633 : 10^(1.633 - 1.635).

    1 : 42.95 : 42.95 : 0.9954, sum 87.90; charges 0, 1, 2, 3: (42.95 + 85.90 + 2.986) / 87.90 = 1.4999.
    """
    assert mean_charge(4.761, (3.128, 4.761, 6.396)) == pytest.approx(-1.4999, abs=1e-4)


SPECIES = {"Cit": (3, (6.396, 11.157, 14.285)), "Edta": (4, (10.948, 17.221, 20.340, 22.500))}


def _database() -> str:
    """Citrate and EDTA alone, every activity coefficient 1: an ion size of 1e9 takes the charge out of the formula."""
    masters = "".join(f"{name} {name}-{charge} 0 100 100\n" for name, (charge, _) in SPECIES.items())
    ideal = " -gamma 1e9 0\n"
    forms = ["H+ = H+\n log_k 0\n", "Na+ = Na+\n log_k 0\n", "H2O = OH- + H+\n log_k -14\n"]
    for name, (charge, sums) in SPECIES.items():
        forms.append(f"{name}-{charge} = {name}-{charge}\n log_k 0\n")
        for protons, log_k in enumerate(sums, start=1):
            forms.append(f"{name}-{charge} + {protons}H+ = {_form(name, charge, protons)}\n log_k {log_k}\n")
    return (
        "SOLUTION_MASTER_SPECIES\nH H+ -1 H 1.008\nH(0) H2 0 H\nH(1) H+ -1 0\nE e- 0 0 0\nO H2O 0 O 16\nO(0) O2 0 O\n"
        f"O(-2) H2O 0 0\nNa Na+ 0 Na 22.99\n{masters}SOLUTION_SPECIES\n{ideal.join(forms)}{ideal}"
        "e- = e-\n log_k 0\nH2O = H2O\n log_k 0\n"
        "2H2O = O2 + 4H+ + 4e-\n log_k -86.08\n2H+ + 2e- = H2\n log_k -3.15\nEND\n"
    )


def _form(name: str, charge: int, protons: int) -> str:
    left = charge - protons
    sign = {0: "", 1: "-"}.get(left, f"-{left}")
    return f"H{protons if protons > 1 else ''}{name}{sign}"


def _by_phreeqc(name: str, ph: float) -> float:
    """Mean charge from the molalities phreeqc finds at a fixed pH."""
    charge, sums = SPECIES[name]
    forms = [f"{name}-{charge}", *(_form(name, charge, protons) for protons in range(1, len(sums) + 1))]
    engine = phreeqc.Phreeqc()
    assert engine.LoadDatabaseString(_database()) == 0, engine.GetErrorString()
    engine.SetSelectedOutputStringOn(True)
    run = (
        f"SOLUTION 1\n units mol/kgw\n pH {ph}\n {name} 0.001\n Na 0.004\nSELECTED_OUTPUT\n -reset false\n"
        f" -high_precision true\n -molalities {' '.join(forms)}\nEND\n"
    )
    assert engine.RunString(run) == 0, engine.GetErrorString()
    lines = engine.GetSelectedOutputString().strip().splitlines()
    amounts = dict(zip(lines[0].split(), map(float, lines[-1].split()), strict=True))
    molal = [amounts[f"m_{form}"] for form in forms]
    return -sum((charge - protons) * amount for protons, amount in enumerate(molal)) / sum(molal)


@pytest.mark.parametrize("ph", [3.0, 4.5, 5.6, 7.0])
@pytest.mark.parametrize(
    ("name", "pka"), [("Cit", (3.128, 4.761, 6.396)), ("Edta", (2.160, 3.119, 6.273, 10.948))], ids=["citrate", "EDTA"]
)
def test_the_same_mean_charge_as_phreeqc(name, pka, ph):
    """Taking the whole charge, -3 or -4, is off by 0.2 or more; the tolerance is 1e-4."""
    expected = _by_phreeqc(name, ph)
    assert mean_charge(ph, pka) == pytest.approx(expected, abs=1e-4)
    assert abs(expected + len(pka)) > 0.2


def test_arrays_keep_their_shape():
    ph = np.array([[3.2, 4.2], [5.2, 4.2]])
    assert mean_charge(ph, (4.2,)) == pytest.approx(-np.array([[1 / 11, 1 / 2], [10 / 11, 1 / 2]]))
