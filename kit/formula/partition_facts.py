"""What is known of how preservatives share themselves out: measured coefficients, ceilings, and where neither is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from kit.formula.material import Fact, Substance
from kit.sources import read_data


@dataclass(frozen=True, slots=True)
class Coefficient:
    """A partition coefficient into one oil or into bilayers, as a range, with what it rests on.

    `high` is None where not even a ceiling is known. `fact` is the measured value behind it, None where there is none.
    """

    low: float
    high: float | None
    basis: str
    fact: Fact | None = None

    @property
    def known(self) -> bool:
        """Whether its upper end is known."""
        return self.high is not None


@dataclass(frozen=True, slots=True)
class Binding:
    """What a cationic surface does with an ion: the share of its charge that is covered, and the most that is bound."""

    counter_ion_bound: Fact
    ion_selectivity: Fact

    @property
    def bound_per_free(self) -> float:
        """Ion bound over ion free, at most, while there is little of it. [-]"""
        covered = float(self.counter_ion_bound.value)
        return float(self.ion_selectivity.value) * covered / (1 - covered)


def acid_form(inci: str) -> str:
    """The un-ionised form an ingredient brings: Benzoic Acid of Sodium Benzoate; itself where nothing is known."""
    row = _row_of(inci)
    return inci if row is None else row["inci"]


def into_oil(preservative: Substance, oil: Substance) -> Coefficient:
    """Coefficient of the un-ionised form into one oil.

    Measured in this very oil it is a number; measured in one of the same chemistry, a factor of two either side of it;
    else anything from nothing to the octanol-water value, which is a ceiling.
    """
    ceiling = _ceiling(preservative)
    for row, same in _oils_of(oil.inci):
        fact = _measured(preservative.inci, row["name"])
        if fact is not None:
            low, high = _ends(fact)
            if same:
                return Coefficient(low, high, f"measured in {row['name']}", fact)
            factor = float(_likeness().value)
            high = high * factor if ceiling is None else max(low, min(high * factor, ceiling))
            return Coefficient(low / factor, high, f"measured in {row['name']}, taken for {oil.inci}", fact)
    return Coefficient(0.0, ceiling, _unmeasured(ceiling, oil.inci))


def into_lipid(preservative: Substance) -> Coefficient:
    """Coefficient of the un-ionised form into bilayers and micelles: from nothing to the octanol-water value."""
    ceiling = _ceiling(preservative)
    return Coefficient(0.0, ceiling, _unmeasured(ceiling, "bilayers"))


@lru_cache(maxsize=1)
def binding() -> Binding:
    """What is known of the binding of ions."""
    row = read_data("partition.toml")["binding"]
    return Binding(Fact.read(row["counter_ion_bound"]), Fact.read(row["ion_selectivity"]))


def _unmeasured(ceiling: float | None, where: str) -> str:
    if ceiling is None:
        return f"not measured in {where}, and no octanol-water value to set a ceiling"
    return f"not measured in {where}; the octanol-water value {ceiling:.3g} is the ceiling"


def _ceiling(preservative: Substance) -> float | None:
    fact = preservative.log_kow
    if fact is None:
        return None
    return float(10 ** max(number for number in (fact.value, fact.high, fact.low) if number is not None))


def _ends(fact: Fact) -> tuple[float, float]:
    low = fact.value if fact.value is not None else fact.low
    high = fact.value if fact.value is not None else fact.high
    return float(low), float(high)


@lru_cache(maxsize=1)
def _likeness() -> Fact:
    return Fact.read(read_data("partition.toml")["binding"]["like_oil_factor"])


def _row_of(inci: str) -> dict | None:
    return next((row for row in read_data("partition.toml")["preservative"] if inci in row["members"]), None)


def _measured(inci: str, oil: str) -> Fact | None:
    row = _row_of(inci) or {}
    found = (entry["oil_water"] for entry in row.get("measured", ()) if entry["oil"] == oil)
    return Fact.read(next(found, None))


def _oils_of(inci: str) -> Iterator[tuple[dict, bool]]:
    """The measured oils that an ingredient is (True) or resembles (False)."""
    for row in read_data("partition.toml")["oil"]:
        if inci in row["members"] or inci in row["like"]:
            yield row, inci in row["members"]
