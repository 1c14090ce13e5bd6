"""Checks of a materials file: a slip of the pen in it must not make a rule blind."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

from kit.errors import MaterialError
from kit.formula.material import KINDS, MATERIAL_FACTS
from kit.formula.substance import COUNTER_ION

CATEGORIES = (
    "water",
    "humectant",
    "thickener",
    "starch",
    "cationic polymer",
    "cationic surfactant",
    "amine surfactant",
    "anionic surfactant",
    "anionic polymer",
    "nonionic emulsifier",
    "fatty alcohol",
    "emollient",
    "silicone",
    "wax ester",
    "acid",
    "base",
    "salt",
    "preservative",
    "preservative booster",
    "chelator",
    "protein",
    "extract",
    "fragrance",
    "antioxidant",
    "solvent",
    "active",
)
STRENGTHS = ("quaternary", "amine", "hard anion", "soft anion")
ROLES = ("active", "carrier", "solvent", "preservative", "water", "co-emulsifier")
PHASES = ("water", "oil", "cool-down", "adjust")
SURFACTANT_CLASSES = ("esterquat", "amidoamine", "monoalkyl quat", "dialkyl quat")
ACID_BASE = ("none",)
CLASSED = ("cationic surfactant", "amine surfactant")
PRACTICE_FACTS = ("use_range", "heat_max", "melt_min", "ph_window")

# Each fact is kept in one unit; a heat limit in degF read as degC would be no limit at all.
_MATERIAL_UNITS = dict.fromkeys(MATERIAL_FACTS, "%") | {
    "heat_max": "degC",
    "melt_min": "degC",
    "ph_window": "1",
    "density": "g/mL",
}
_SUBSTANCE_UNITS = {
    "molar_mass": "g/mol",
    "charge_density": "meq/g",
    "log_kow": "1",
    "norrish_k": "1",
    "hlb": "1",
    "required_hlb": "1",
}
_MATERIAL_KEYS = {
    *("key", "name", "aliases", "label_inci", "function", "phases", "parts", "made_from", "hazards", "cautions"),
    *("note", "allergens", "use", "overrules"),
    *MATERIAL_FACTS,
}
_SUBSTANCE_KEYS = {
    *("inci", "cas", "ec", "formula", "mixture_of", "category", "charge", "charge_strength", "pka", "class"),
    *("acid_groups", "protonated_charge", "counter_ions", "acid_base", "crystal_water", "overrules"),
    *_SUBSTANCE_UNITS,
}
_ALLERGEN_KEYS = {"inci", "pct", "kind", "source", "conditions", "checked_on"}
_FACT_KEYS = {"value", "low", "high", "unit", "kind", "source", "conditions", "checked_on"}


def check_substance(row: Mapping, where: str) -> None:
    """Refuse a substance with an unknown key, category or strength, or with a fact in another unit.

    Raises
    ------
    MaterialError   `material.file`.
    """
    known_keys(row, _SUBSTANCE_KEYS, where)
    _one_of(row.get("category"), CATEGORIES, f"{where}, category")
    _one_of(row.get("charge_strength", STRENGTHS[0]), STRENGTHS, f"{where}, charge_strength")
    _one_of(row.get("acid_base", ACID_BASE[0]), ACID_BASE, f"{where}, acid_base")
    _check_counter_ions(row.get("counter_ions", []), f"{where}, counter_ions")
    if row["category"] in CLASSED:
        _one_of(row.get("class", SURFACTANT_CLASSES[0]), SURFACTANT_CLASSES, f"{where}, class")
    for name, unit in _SUBSTANCE_UNITS.items():
        _check_fact(row.get(name), unit, f"{where}, {name}")
    for fact in row.get("pka", ()):
        _check_fact(fact, "1", f"{where}, pka")


def check_material(row: Mapping, where: str) -> None:
    """Refuse a supply form with an unknown key, role or phase, or with a fact in another unit.

    Raises
    ------
    MaterialError   `material.file`.
    """
    known_keys(row, _MATERIAL_KEYS, where)
    for phase in row.get("phases", ()):
        _one_of(phase, PHASES, f"{where}, phases")
    for part in row.get("parts", ()):
        _one_of(part.get("role", ROLES[0]), ROLES, f"{where}, parts, role")
    for name, unit in _MATERIAL_UNITS.items():
        _check_fact(row.get(name), unit, f"{where}, {name}")
    for allergen in row.get("allergens", ()):
        known_keys(allergen, _ALLERGEN_KEYS, f"{where}, allergens")
        _one_of(allergen.get("kind", KINDS[-1]), KINDS, f"{where}, allergens, kind")


def check_practice(row: Mapping, where: str) -> None:
    """Refuse a rule of the trade with an unknown key or with a fact in another unit.

    Raises
    ------
    MaterialError   `material.file`.
    """
    known_keys(row, PRACTICE_FACTS, where)
    for name in PRACTICE_FACTS:
        _check_fact(row.get(name), _MATERIAL_UNITS[name], f"{where}, {name}")


def known_keys(row: Mapping, known: Iterable[str], where: str) -> None:
    """Refuse a key that nothing reads; most often it is a known one misspelled."""
    known = sorted(known)
    for key in row:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            mend = f"did you mean {near[0]!r}?" if near else "correct its spelling"
            raise _error(f"the key {key!r} is not known", where, ", ".join(known), mend)


def rows(table: Mapping, key: str, where: str) -> list[Mapping]:
    """The list of tables under a key."""
    found = table.get(key, [])
    if not isinstance(found, list) or not all(isinstance(row, Mapping) for row in found):
        raise _error(f"{key} is not a list of tables", where, f"[[{key}]] before each", "double the brackets")
    return found


def _check_fact(row: Mapping | None, unit: str, where: str) -> None:
    if row is None:
        return
    known_keys(row, _FACT_KEYS, where)
    if row.get("unit") != unit:
        raise _error(f"the unit is {row.get('unit')!r}", where, unit, f'convert the value and write unit = "{unit}"')
    _one_of(row.get("kind"), KINDS, f"{where}, kind")
    if not {"value", "low", "high"} & set(row):
        raise _error("the fact has no number", where, "value, low or high", "leave the fact out where it is not known")


def _check_counter_ions(ions: object, where: str) -> None:
    texts = ions if isinstance(ions, list) else [ions]
    wrong = [text for text in texts if not isinstance(text, str) or not COUNTER_ION.fullmatch(text)]
    if wrong or not isinstance(ions, list):
        shown = wrong[0] if wrong else ions
        raise _error(f"{shown!r} is not an ion", where, '["2 Na+"], ["Cl-"], ["SO4^2-"]', "write count, ion and charge")


def _one_of(value: object, allowed: Iterable[str], where: str) -> None:
    if value not in allowed:
        raise _error(f"{value!r} is not known here", where, ", ".join(allowed), "use one of these")


def _error(what: str, where: str, allowed: str, mend: str) -> MaterialError:
    return MaterialError(what, where=where, allowed=allowed, mend=mend, code="material.file")
