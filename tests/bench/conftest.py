"""The linden formula and a batch of it, typed out, for the bench tests."""

from decimal import Decimal

import pytest

from kit.bench.events import Weighed
from kit.formula.files import read_formula
from kit.formula.library import load_library

LINDEN = """
name = "Linden daily conditioner"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [ { material = "water-deionised", qs = true }, { material = "glycerin", pct = "3.00" },
         { material = "hydroxyethylcellulose", pct = "0.20" }, { material = "disodium-edta", pct = "0.10" },
         { material = "citric-acid", pct = "0.05" } ]
[[phase]]
name = "B"
kind = "oil"
line = [ { material = "cetearyl-alcohol", pct = "5.00" }, { material = "behentrimonium-chloride-80", pct = "2.50" },
         { material = "caprylic-capric-triglyceride", pct = "2.50" }, { material = "cetyl-esters", pct = "0.50" } ]
[[phase]]
name = "C"
kind = "cool-down"
line = [ { material = "panthenol-75", pct = "0.70" }, { material = "tilia-cordata-flower-extract", pct = "1.00" },
         { material = "phenoxyethanol", pct = "0.80" }, { material = "ethylhexylglycerin", pct = "0.10" },
         { material = "sodium-benzoate", pct = "0.20" }, { material = "parfum", pct = "0.40" } ]
[[step]]
do = "combine"
temps = { A = "78 degC", B = "80 degC" }
rpm = "6500"
minutes = "4"
"""

# Grams for 400 g, worked by hand: percent times four.
TARGETS_G = {
    "water-deionised": "331.80",
    "glycerin": "12.00",
    "hydroxyethylcellulose": "0.80",
    "disodium-edta": "0.40",
    "citric-acid": "0.20",
    "cetearyl-alcohol": "20.00",
    "behentrimonium-chloride-80": "10.00",
    "caprylic-capric-triglyceride": "10.00",
    "cetyl-esters": "2.00",
    "panthenol-75": "2.80",
    "tilia-cordata-flower-extract": "4.00",
    "phenoxyethanol": "3.20",
    "ethylhexylglycerin": "0.40",
    "sodium-benzoate": "0.80",
    "parfum": "1.60",
}


@pytest.fixture(scope="session")
def library():
    return load_library()


@pytest.fixture(scope="session")
def linden_text():
    return LINDEN


@pytest.fixture(scope="session")
def linden(library):
    return read_formula(LINDEN, library)


@pytest.fixture(scope="session")
def targets_g():
    return {key: Decimal(grams) for key, grams in TARGETS_G.items()}


@pytest.fixture(scope="session")
def weigh_all(linden, targets_g):
    """weigh_all(glycerin="14.60", phases="AB"): the weighings of a 400 g linden batch, some of them changed."""

    def weigh(phases="ABC", **changed):
        grams = {**targets_g, **{key.replace("_", "-"): Decimal(mass) for key, mass in changed.items()}}
        return [
            Weighed(line.material, phase.name, phase.kind, grams[line.material.key])
            for phase, line in linden.placed_lines()
            if phase.name in phases
        ]

    return weigh


class Shelf:
    """The linden formula and the adjuster, for property tests; its short repr keeps a failing case legible."""

    def __init__(self, linden, citric_10):
        self.linden, self.citric_10 = linden, citric_10


@pytest.fixture(scope="session")
def shelf(linden, library):
    return Shelf(linden, library.find("citric-acid-10-solution"))
