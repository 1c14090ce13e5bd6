"""The unknowns of a pH prediction with their priors, read from kit/data/ph_priors.toml."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from functools import lru_cache

from kit.formula.aqueous_chemistry import Chemistry
from kit.formula.knowledge import Unknown
from kit.formula.material import Material
from kit.formula.substance import Part, Substance
from kit.sources import read_data

OFFSET_NAME = "offset of the base"
NOT_KNOWN = "not known"
_DISSOLVES_IN_OIL = "acid that dissolves in the oil"
_Z_90 = 1.645  # half of a 90 % range is so many standard deviations of a normal distribution


@lru_cache(maxsize=1)
def priors() -> Mapping[tuple[str, str], Mapping[str, str]]:
    """Rows of the prior file by what they are about and what they hold for."""
    return {(row["what"], row["of"]): row for row in read_data("ph_priors.toml")["prior"]}


def reading_noise_sd() -> float:
    """Standard deviation of one pH reading of a cream. [pH]"""
    return float(priors()["noise", "reading"]["sd"])


def pka_unknown(substance: Substance, chemistry: Chemistry, *, oil: bool) -> Unknown:
    """How far all constants of an acid may be shifted.

    Parameters
    ----------
    substance : Substance     The acid, its salt or the amine.
    chemistry : Chemistry     Its constants, with the weakest kind among them.
    oil : bool                Whether oil or bilayers are there for a preservative acid to dissolve in.
    """
    row = priors()["pka", chemistry.kind or "memory"]
    sd, why = float(row["sd"]), row["why"]
    if oil and substance.category == "preservative":
        more = priors()["pka", _DISSOLVES_IN_OIL]
        sd, why = math.hypot(sd, float(more["sd"])), f"{why}; {more['why']}"
    name = f"pka of {substance.inci}"
    return _unknown(name, substance.inci, row, sd=sd, why=f"{chemistry.kind}: {why}", constants=chemistry.pka)


def assay_unknown(material: Material, part: Part) -> Unknown:
    """Content of an acid or base in a supply form, as a factor on what the library or the lot states."""
    amine = part.substance.category == "amine surfactant"
    mass = part.substance.molar_mass
    certified = part.kind == "measured" or (amine and mass is not None and mass.kind == "measured")
    name = f"assay of {material.key}"
    if certified:
        return _unknown(name, material, priors()["assay", "certified"])
    if amine:
        return _unknown(name, material, priors()["assay", "amine surfactant"])
    printed = material.active_range
    if printed is not None and printed.low and printed.high and part.role == "active":
        sd = float((printed.high - printed.low) / part.pct) / 2 / _Z_90
        row = {**priors()["assay", "solution"], "kind": printed.kind, "source": printed.source}
        return _unknown(name, material, row, sd=sd, why=f"nine in ten lots within the range {printed.words()}")
    return _unknown(name, material, priors()["assay", "powder" if part.pct == 100 else "solution"])


def holds_bound_acid(inci: str) -> bool:
    """Whether part of an acid is bound when it is weighed and comes free later."""
    return ("latent", inci) in priors()


def forms_with_bound_acid(materials: Iterable[Material]) -> tuple[str, ...]:
    """Names of the supply forms that let go of acid for days; a stock solution made from them has done so.

    Parameters
    ----------
    materials : iterable of Material
    """
    return tuple(item.name for item in materials if any(latent_unknown(item, part, 0.0) for part in item.parts))


def latent_unknown(material: Material, part: Part, age_h: float | None) -> Unknown | None:
    """Share of an acid still bound as ester at the age of a reading; None where nothing is bound, or all has come free.

    Parameters
    ----------
    material, part : Material, Part   The supply form and the acid in it.
    age_h : float                     Age of the reading; None: settled, every acid has come free. [h]
    """
    row = priors().get(("latent", part.inci))
    if row is None or age_h is None or part.pct <= float(row["above_pct"]) or material.made_from:
        return None
    left = 0.5 ** (age_h / float(row["half_life_h"]))
    name = f"latent share of {material.key}"
    why = f"{row['why']}; half of it taken as free in {row['half_life_h']} h"
    mean, sd = float(row["mean"]) * left, float(row["sd"]) * max(left, 0.2)
    return _unknown(name, material, row, mean=mean, sd=sd, why=why, age_h=age_h)


def unmodelled_unknowns(material: Material, substance: Substance) -> tuple[Unknown, ...]:
    """Acidity and, where its class buffers, buffering of a supply form without acid-base chemistry."""
    found = []
    for what in ("acidity", "buffering"):
        of = next((name for name in (substance.inci, substance.category) if (what, name) in priors()), "")
        if not of and what == "acidity":
            of = NOT_KNOWN
        if of:
            found.append(_unknown(f"{what} of {material.key}", material, priors()[what, of]))
    return tuple(found)


def offset_unknown(*, cationic: bool) -> Unknown:
    """Acid or alkali that comes in with the rest of the base."""
    return _unknown(OFFSET_NAME, "base", priors()["offset", f"base {'with' if cationic else 'without'} a cationic"])


def _unknown(name: str, of: str | Material, row: Mapping[str, str], **changed) -> Unknown:
    subject, called = (of, "") if isinstance(of, str) else (of.key, of.name)
    values = {"subject_name": called, "mean": float(row["mean"]), "sd": float(row["sd"]), "why": row["why"], **changed}
    return Unknown(name, subject, row["what"], row["unit"], source=row["source"], kind=row["kind"], **values)
