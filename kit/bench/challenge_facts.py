"""Published criteria of challenge tests, their organisms, and what a laboratory's report has to say."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from kit.errors import BatchError
from kit.science.challenge_criteria import Criterion, Requirement
from kit.science.microbial_counts import Count
from kit.sources import read_data
from kit.units import number

GROUPS = ("bacteria", "yeast", "mould")
TOPICAL = "usp-51-category-2"  # topically used products, a conditioner among them


@dataclass(frozen=True, slots=True)
class Organism:
    """An organism of the standard tests: its name, the group whose requirements hold, and the usual strain."""

    name: str
    group: str
    strain: str
    aliases: tuple[str, ...] = ()


@lru_cache(maxsize=1)
def organisms() -> tuple[Organism, ...]:
    """The organisms that every standard test puts in."""
    return tuple(
        Organism(row["name"], row["group"], row["strain"], tuple(row.get("aliases", ())))
        for row in read_data("challenge.toml")["organism"]
    )


@lru_cache(maxsize=1)
def criteria() -> Mapping[str, Criterion]:
    """Every coded criterion by its code."""
    facts = read_data("challenge.toml")
    allowed = {row["method"]: row["no_increase_log"] for row in facts["tolerance"]}
    return {row["code"]: _criterion(row, allowed[row["method"]]) for row in facts["criterion"]}


def criteria_of(method: str, *, where: str = "") -> tuple[Criterion, ...]:
    """The criteria a method's counts are held against, the stricter first.

    Parameters
    ----------
    method : str   "ISO 11930": criteria A and B; "USP <51>": category 2; or the code of one criterion.
    where : str    For the error.

    Raises
    ------
    BatchError   `challenge.method` for a method without coded criteria.
    """
    known = criteria()
    if method in known:
        return (known[method],)
    if method == known[TOPICAL].method:
        return (known[TOPICAL],)
    found = tuple(criterion for criterion in known.values() if criterion.method == method)
    if not found:
        raise BatchError(
            f"no criteria are coded for {method!r}",
            where=where,
            allowed=", ".join(dict.fromkeys([*(each.method for each in known.values()), *known])),
            mend="name one of these, or keep the laboratory's own judgement as a note",
            code="challenge.method",
        )
    return found


@lru_cache(maxsize=1)
def report_rules() -> tuple[tuple[str, str], ...]:
    """What a laboratory's report has to say, by name and in words."""
    return tuple((row["name"], row["title"]) for row in read_data("challenge.toml")["report"])


def organism_named(name: str, group: str = "", *, where: str = "") -> Organism:
    """The organism of that name, in full, abbreviated as "E. coli", or of your own with its group.

    Raises
    ------
    BatchError   `challenge.organism` for one that is not known and has no group.
    """
    wanted = " ".join(str(name).split())
    for known in organisms():
        if _fold(wanted) in {_fold(text) for full in (known.name, *known.aliases) for text in (full, _short(full))}:
            return known
    if group in GROUPS:
        return Organism(wanted, group, "")
    names = [known.name for known in organisms()]
    near = difflib.get_close_matches(wanted, names, n=1)
    raise BatchError(
        f"{wanted!r} is none of the standard organisms, and its group is not given",
        where=where,
        allowed=f"{', '.join(names)}; or groups={{{wanted!r}: one of {', '.join(GROUPS)}}}",
        mend=f"did you mean {near[0]}?" if near else "say whether it is bacteria, yeast or mould",
        code="challenge.organism",
    )


def read_count(text: object, *, where: str = "") -> Count:
    """A count as a laboratory prints it: "820000", "8.2e5", "<10", ">300000". [CFU/g]

    Raises
    ------
    KitError    `challenge.count` for 0 or less.
    UnitError   For what is no number.
    """
    typed = str(text).strip().replace("≤", "<").replace("≥", ">")
    bound = typed[0] if typed[:1] in ("<", ">") else ""
    return Count(float(number(typed.removeprefix(bound), where=where)), bound)


def _criterion(row: Mapping, no_increase: Mapping[str, str]) -> Criterion:
    return Criterion(
        row["code"],
        row["method"],
        row["name"],
        tuple(_requirement(asked) for asked in row["requirements"]),
        float(no_increase["value"]),
        row["source"],
        no_increase["kind"],
    )


def _requirement(row: Mapping[str, str]) -> Requirement:
    return Requirement(
        row["group"],
        int(row["day"]),
        float(row["reduction"]) if "reduction" in row else None,
        int(row["no_increase_from"]) if "no_increase_from" in row else None,
    )


def _short(name: str) -> str:
    genus, _, species = name.partition(" ")
    return f"{genus[0]}. {species}"


def _fold(name: str) -> str:
    return name.casefold().replace(". ", ".")
