"""Benches whose truth is hidden from the kit: formulas, what they really hold, and the pH that an electrode would show.

The chemistry of water is the kit's own (it is held against another program elsewhere); what is in the water is not. The
truth has parts that the kit's model does not have in that form: an extract with an acid of its own, at a constant that
nobody knows; acid that is not there yet; a lot of amine that is stronger or weaker than its sheet says; something acid
or alkaline in the base; constants that are a little off. Sizes are from memory of what suppliers print and of what is
measured; each is said beside its number. Masses of a mole and constants are typed here, not taken from the kit's data.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from scipy.optimize import brentq

import kit
from kit.formula.composition import Composition, CompositionLine
from kit.science.acidbase import AcidSystem, solve

AIM = (3.8, 4.4)  # where a conditioner with an acid preservative is put
AGE_H = 24.0  # at which every pH is read
ELECTRODE_SD = 0.05  # of a reading in a cream, calibrated and at 25 degC
LATENT_SHARE = (0.12, 0.05)  # of the acidity of 88 % lactic acid when it is weighed: mean and SD
LATENT_HALF_LIFE_H = (48, 1.5)  # of what is latent: median and the factor that holds two in three
EXTRACT_ACID_MEQ_G = (0.05, 0.35)  # 3 % of plant solids hold 0.05 to 0.15; a maker adds up to 1 % of citric acid, 0.16
EXTRACT_NEUTRALISED = (0.0, 1.1)  # potassium of the plant, or alkali that its maker adds
EXTRACT_PKA = (3.2, 5.0)  # malic and citric acid, chlorogenic and other phenolic acids
AMINE_ASSAY_SD = 0.02  # of the strength: lots differ by 3 % either way
BASE_OFFSET_SD_MEQ_KG = (
    2.4  # per kg of water: amine and acid of quat flakes up to 2, sodium acetate of cellulose ethers up to 2
)

# constants at 25 degC, charge of the fully protonated form, the ionic strength they hold at, and how far the true one
# may lie (SD)
_PKA = {
    "benzoic": ((4.20,), 0, 0.0, 0.10),  # part of the acid sits in oil and bilayers: in water it seems weaker
    "sorbic": ((4.76,), 0, 0.0, 0.10),
    "citric": ((3.13, 4.76, 6.40), 0, 0.0, 0.03),
    "lactic": ((3.86,), 0, 0.0, 0.03),
    "edta": ((2.0, 2.67, 6.16, 10.26), 0, 0.1, 0.05),
    "glda": ((2.6, 3.5, 5.0, 9.4), 0, 0.1, 0.10),
    "amine": ((9.2,), 1, 0.0, 0.30),  # on a bilayer: lower than in water, and not known
}

# INCI name: (system, g/mol, sodium or potassium ions a mole)
_BROUGHT = {
    "Sodium Benzoate": ("benzoic", 144.105, 1),
    "Potassium Sorbate": ("sorbic", 150.218, 1),
    "Citric Acid": ("citric", 192.124, 0),
    "Lactic Acid": ("lactic", 90.078, 0),
    "Disodium EDTA": ("edta", 372.24, 2),
    "Tetrasodium Glutamate Diacetate": ("glda", 351.13, 4),
    "Stearamidopropyl Dimethylamine": ("amine", 368.64, 0),
}
CONCENTRATED_LACTIC = "lactic-acid-88"

EXTRACTS = (
    "chamomilla-recutita-flower-extract",
    "calendula-officinalis-flower-extract",
    "tilia-cordata-flower-extract",
    "urtica-dioica-leaf-extract",
)


@dataclass(frozen=True)
class Truth:
    """What one bench really has on its shelf. `pka` holds the true constants by system."""

    latent_share: float
    extract_acid_meq_g: float
    extract_neutralised: float
    extract_pka: float
    amine_assay: float
    base_offset_meq_kg: float
    pka: Mapping[str, tuple[float, ...]]


_LIBRARY = kit.load_library()
BY_THE_SHEETS = Truth(
    latent_share=0.0,
    extract_acid_meq_g=0.0,
    extract_neutralised=0.0,
    extract_pka=4.0,
    amine_assay=1.0,
    base_offset_meq_kg=0.0,
    pka={name: pka for name, (pka, _, _, _) in _PKA.items()},
)


@dataclass(frozen=True)
class Trial:
    """One formula of a bench and the pH read a day after making. `buffer` names its acid and preservative."""

    name: str
    buffer: str
    composition: Composition
    true_ph: float
    read_ph: float


@dataclass(frozen=True)
class Bench:
    """Eight formulas on one base, with one extract and one amine, in four buffers.

    `taught` are the four that are learned from, `held` the four with another buffer.
    """

    seed: int
    truth: Truth
    taught: tuple[Trial, ...]
    held: tuple[Trial, ...]

    @property
    def trials(self) -> tuple[Trial, ...]:
        """All eight."""
        return (*self.taught, *self.held)


def simulate(seed: int, *, backwards: bool = False) -> Bench:
    """A bench by its number; `backwards` teaches the buffers that are held back otherwise."""
    random = np.random.default_rng(seed)
    truth, extract = _truth(random), EXTRACTS[int(random.integers(len(EXTRACTS)))]
    made = {
        buffer: tuple(
            _trial(
                f"{buffer} {number}",
                buffer,
                _aimed(lines(random, extract), acid, extract, random),
                truth,
                extract,
                random,
            )
            for number in (1, 2)
        )
        for buffer, (lines, acid) in _BUFFERS.items()
    }
    first, other = (_OTHER, _FIRST) if backwards else (_FIRST, _OTHER)
    return Bench(seed, truth, _of(made, first), _of(made, other))


def _of(made: Mapping[str, tuple[Trial, ...]], buffers: tuple[str, ...]) -> tuple[Trial, ...]:
    return tuple(trial for buffer in buffers for trial in made[buffer])


def _truth(random: np.random.Generator) -> Truth:
    return Truth(
        latent_share=_latent_share(random),
        extract_acid_meq_g=random.uniform(*EXTRACT_ACID_MEQ_G),
        extract_neutralised=random.uniform(*EXTRACT_NEUTRALISED),
        extract_pka=random.uniform(*EXTRACT_PKA),
        amine_assay=random.normal(1, AMINE_ASSAY_SD),
        base_offset_meq_kg=random.normal(0, BASE_OFFSET_SD_MEQ_KG),
        pka={name: tuple(random.normal(pka, sd)) for name, (pka, _, _, sd) in _PKA.items()},
    )


def _latent_share(random: np.random.Generator) -> float:
    """What of the acid is latent when the pH is read, a day after making."""
    median_h, factor = LATENT_HALF_LIFE_H
    half_life_h = median_h * factor ** random.normal()
    return max(random.normal(*LATENT_SHARE), 0.02) * 0.5 ** (AGE_H / half_life_h)


def _contents(random: np.random.Generator, extract: str, **lines: tuple[float, float]) -> dict[str, float]:
    """Lines of one formula in % w/w, each between two bounds."""
    base = {"glycerin": 3.0, "hydroxyethylcellulose": 0.3, "cetearyl-alcohol": 5.0, extract: random.uniform(1.5, 3.0)}
    return base | {key.replace("_", "-"): random.uniform(*bounds) for key, bounds in lines.items()}


def _quat_benzoate(random: np.random.Generator, extract: str) -> dict[str, float]:
    return _contents(
        random, extract, behentrimonium_chloride_80=(2, 3), sodium_benzoate=(0.2, 0.4), disodium_edta=(0.1, 0.1)
    )


def _quat_sorbate(random: np.random.Generator, extract: str) -> dict[str, float]:
    glda = {"tetrasodium_glutamate_diacetate_38": (0.1, 0.1)}
    return _contents(random, extract, behentrimonium_chloride_80=(2, 3), potassium_sorbate=(0.1, 0.2), **glda)


def _amidoamine_lactic(random: np.random.Generator, extract: str) -> dict[str, float]:
    return _contents(
        random, extract, stearamidopropyl_dimethylamine=(0.8, 1.2), phenoxyethanol=(0.8, 0.8), disodium_edta=(0.1, 0.1)
    )


def _amidoamine_citric(random: np.random.Generator, extract: str) -> dict[str, float]:
    glda = {"tetrasodium_glutamate_diacetate_38": (0.1, 0.1)}
    return _contents(random, extract, stearamidopropyl_dimethylamine=(0.8, 1.2), sodium_benzoate=(0.1, 0.2), **glda)


_BUFFERS = {
    "quat, benzoate and citric": (_quat_benzoate, "citric-acid"),
    "quat, sorbate and lactic": (_quat_sorbate, CONCENTRATED_LACTIC),
    "amidoamine and lactic": (_amidoamine_lactic, CONCENTRATED_LACTIC),
    "amidoamine, benzoate and citric": (_amidoamine_citric, "citric-acid"),
}
_FIRST = ("quat, benzoate and citric", "amidoamine and lactic")
_OTHER = ("quat, sorbate and lactic", "amidoamine, benzoate and citric")


def _aimed(contents: dict[str, float], acid: str, extract: str, random: np.random.Generator) -> Composition:
    """The formula with the acid that brings it to the pH aimed at by what the sheets of the suppliers say."""
    aim = random.uniform(*AIM)
    pct = brentq(
        lambda pct: true_ph(composition({**contents, acid: pct}, 6), BY_THE_SHEETS, extract) - aim, 0.001, 2, xtol=1e-3
    )
    return composition({**contents, acid: pct})


def _trial(name: str, buffer: str, made: Composition, truth: Truth, extract: str, random: np.random.Generator) -> Trial:
    ph = true_ph(made, truth, extract)
    return Trial(name, buffer, made, ph, round(ph + random.normal(0, ELECTRODE_SD), 2))


def composition(contents: Mapping[str, float], places: int = 2) -> Composition:
    """A composition of supply forms in % w/w, water to 100."""
    pct = {key: Decimal(f"{value:.{places}f}") for key, value in contents.items()}
    pct = {"water-deionised": Decimal(100) - sum(pct.values()), **pct}
    return Composition(tuple(CompositionLine(_LIBRARY.find(key), value, "A", "water") for key, value in pct.items()))


def true_ph(made: Composition, truth: Truth, extract: str) -> float:
    """The pH that the truth gives a composition, before an electrode reads it."""
    water_kg = float(made.shares()["Aqua"].pct) / 1000
    totals: dict[str, float] = {}
    ions = -truth.base_offset_meq_kg * water_kg
    for line in made.lines:
        for part in line.material.parts:
            if part.inci not in _BROUGHT:
                continue
            system, molar_mass, counter_ions = _BROUGHT[part.inci]
            mmol = float(line.pct * part.pct) / 100 / molar_mass * 1000
            if system == "amine":
                mmol *= truth.amine_assay
            if line.material.key == CONCENTRATED_LACTIC:
                mmol *= 1 - truth.latent_share
            totals[system] = totals.get(system, 0.0) + mmol
            ions += counter_ions * mmol
    plant_mmol = float(made.pct(extract)) * truth.extract_acid_meq_g
    ions += truth.extract_neutralised * plant_mmol
    systems = {
        AcidSystem(name, truth.pka[name], charge=_PKA[name][1], ionic_strength_mol_per_kg=_PKA[name][2]): mmol
        for name, mmol in totals.items()
    }
    systems[AcidSystem("acid of the extract", (truth.extract_pka,))] = plant_mmol
    per_kg = {system: mmol / 1000 / water_kg for system, mmol in systems.items()}
    return float(solve(per_kg, ions / 1000 / water_kg).ph)
