"""Whose facts a formula rests on: each number with its kind, its source and the file it came from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kit.formula.material import Fact, Material
from kit.show import Table
from kit.sources import sources

_COLUMNS = ("material or substance", "fact", "value", "kind", "source", "whose")


def facts_table(materials: Iterable[Material], title: str = "") -> Table:
    """Every fact known about these forms and their INCI parts, with its source and whose it is.

    Whose is "kit", or the name of the materials file that stated or overruled the fact.
    """
    rows: dict[tuple, None] = {}
    for material in materials:
        rows.update(dict.fromkeys(_material_rows(material)))
    for material in materials:
        for part in material.parts:
            rows.update(dict.fromkeys(_substance_rows(part.substance)))
    return Table(_COLUMNS, list(rows), title=title or "Facts and whose they are")


def citation(key: str) -> str:
    """A source key as its citation; a source a lab named itself as it stands."""
    return str(sources().get(key, key)) if key else "no source"


def _material_rows(material: Material) -> Iterator[tuple[str, ...]]:
    for part in material.parts:
        whose = material.lot and part.kind == "measured" and f"lot {material.lot}"
        yield (
            material.key,
            f"part {part.inci}",
            f"{format(part.pct, 'f')} %",
            part.kind,
            citation(part.source),
            whose or material.origin_of("made_from" if material.made_from else "parts"),
        )
    for name, fact in material.facts():
        kind = f"{fact.kind}, rule for the class {material.use}" if material.is_practice(name) else fact.kind
        yield _fact_row(material.key, name, fact, kind, material.origin_of(name))
    for allergen in material.allergens:
        yield (
            material.key,
            f"allergen {allergen.inci}",
            f"{format(allergen.pct, 'f')} %",
            allergen.kind,
            citation(allergen.source),
            material.origin_of("allergens"),
        )


def _substance_rows(substance) -> Iterator[tuple[str, ...]]:
    for name, fact in substance.facts():
        yield _fact_row(substance.inci, name, fact, fact.kind, substance.origin_of(name))


def _fact_row(of: str, name: str, fact: Fact, kind: str, whose: str) -> tuple[str, ...]:
    conditions = f", {fact.conditions}" if fact.conditions else ""
    return (of, name.replace("_", " "), f"{fact.words()}{conditions}", kind, citation(fact.source), whose)
