"""Rows of material files laid on one another, before they become materials: what is overruled, and by whose file."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import InvalidOperation
from typing import TypeVar

from kit.errors import MaterialError
from kit.formula.factcheck import check_material, check_practice, check_substance, known_keys, rows
from kit.formula.material import Allergen, Fact

Result = TypeVar("Result")

TABLES = ("substance", "material", "practice", "price")
KIT = "kit"


@dataclass(frozen=True, slots=True)
class Row:
    """One row as it stands after every file was laid on top: its fields, where it was read, and whose it is."""

    fields: Mapping[str, object]
    where: str
    origin: str
    origins: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Overruling:
    """One fact of the kit that a file overruled, both as words; `fact_kind` and `source` are those of the new one."""

    name: str
    fact: str
    before: str
    after: str
    fact_kind: str
    source: str
    origin: str


@dataclass
class Shelf:
    """Rows by their name, filled file by file."""

    substances: dict[str, Row] = field(default_factory=dict)
    materials: dict[str, Row] = field(default_factory=dict)
    practice: dict[str, Row] = field(default_factory=dict)
    prices: list[Row] = field(default_factory=list)
    overrulings: list[Overruling] = field(default_factory=list)

    def lay(self, table: Mapping, origin: str) -> None:
        """Lay one file on top.

        A row of a name that is known and that leaves out its body (`parts` or `made_from` of a material, `category` of
        a substance) overrules the facts it states and no other; so does any row with `overrules = true`. A row with a
        body stands in place of the old one.

        Raises
        ------
        MaterialError   `material.file`: which row, what is wrong.
        """
        known_keys(table, TABLES, origin)
        self._lay_rows(self.substances, table, "substance", "inci", ("category",), origin)
        self._lay_rows(self.materials, table, "material", "key", ("parts", "made_from"), origin)
        self._lay_practice(table.get("practice", {}), origin)
        self.prices += [
            Row(row, f"{origin}, price {number} ({row.get('material', 'no material')})", origin)
            for number, row in enumerate(rows(table, "price", origin), start=1)
        ]

    def _lay_rows(
        self, shelf: dict[str, Row], table: Mapping, kind: str, key: str, body: tuple[str, ...], origin: str
    ) -> None:
        check = check_substance if kind == "substance" else check_material
        seen: set[str] = set()
        for number, row in enumerate(rows(table, kind, origin), start=1):
            where = f"{origin}, {kind} {number} ({row.get(key, f'no {key}')})"
            name = guarded(lambda row: row[key], row, where)
            _only_once(name, seen, where)
            laid = _laid(shelf, name, key, row, body, where, origin)
            guarded(lambda row, where=where: check(row, where), laid.fields, where)
            if name in shelf:
                known = shelf[name].fields
                told = guarded(lambda row, k=known, n=name: list(_overrulings(n, k, row, origin)), laid.fields, where)
                self.overrulings += told
            shelf[name] = laid

    def _lay_practice(self, table: Mapping, origin: str) -> None:
        for name, row in table.items():
            where = f"{origin}, practice {name}"
            guarded(lambda row, where=where: check_practice(row, where), row, where)
            if name in self.practice:
                known = self.practice[name].fields
                told = guarded(
                    lambda row, k=known, n=name: list(_overrulings(f"class {n}", k, row, origin)), row, where
                )
                self.overrulings += told
            self.practice[name] = Row(row, where, origin)


def guarded(read: Callable[[Mapping], Result], row: Mapping, where: str) -> Result:
    """What `read` makes of a row; a missing key or a value of another kind is an error that names the row.

    Raises
    ------
    MaterialError   `material.file`.
    """
    try:
        return read(row)
    except KeyError as missing:
        raise MaterialError(
            f"{missing.args[0]!r} is missing", where=where, mend="add it", code="material.file"
        ) from None
    except (InvalidOperation, ValueError, TypeError, AttributeError) as problem:
        raise MaterialError(
            f"a value cannot be read: {problem}",
            where=where,
            mend='numbers are text in quotes, such as "80"',
            code="material.file",
        ) from None


def _only_once(name: str, seen: set[str], where: str) -> None:
    if name in seen:
        raise MaterialError(
            f"{name!r} stands twice in the file", where=where, mend="keep one of the two", code="material.file"
        )
    seen.add(name)


def _laid(
    shelf: Mapping[str, Row], name: str, key: str, row: Mapping, body: tuple[str, ...], where: str, origin: str
) -> Row:
    """The row as it stands now: whole, or the known one with what this row states."""
    stated = {field: value for field, value in row.items() if field != "overrules"}
    has_body = any(field in row for field in body)
    known = shelf.get(name)
    if not isinstance(row.get("overrules", False), bool):
        raise MaterialError(
            f"overrules is {row['overrules']!r}", where=where, allowed="true or false", mend="write overrules = true",
            code="material.file",
        )  # fmt: skip
    if known is None and (row.get("overrules") or not has_body):
        near = difflib.get_close_matches(str(name), list(shelf), n=3)
        raise MaterialError(
            f"{name!r} is not known, so there is nothing to overrule, and {body[0]!r} is missing"
            if not has_body
            else f"{name!r} is not known, so there is nothing to overrule",
            where=where,
            allowed=f"nearest: {', '.join(near)}" if near else "",
            mend=f"correct the {key}, or write a whole row with {' or '.join(body)}",
            code="material.file",
        )
    if known is None or (has_body and not row.get("overrules")):
        return Row(stated, where, origin)
    kept = {field: value for field, value in known.fields.items() if not (has_body and field in body)}
    origins = {**known.origins, **{field: origin for field in stated if field != key}}
    return Row({**kept, **stated}, where, known.origin, origins)


def _overrulings(name: str, before: Mapping, after: Mapping, origin: str) -> Iterable[Overruling]:
    for fact in dict.fromkeys([*before, *after]):
        old, new = before.get(fact), after.get(fact)
        if field_words(old) != field_words(new):
            passport = new if isinstance(new, Mapping) else {}
            yield Overruling(
                name,
                fact,
                field_words(old),
                field_words(new),
                passport.get("kind", ""),
                passport.get("source", ""),
                origin,
            )


def field_words(value: object) -> str:
    """A field of a row as words: a fact with its unit, a list with commas, "not stated" where it is absent."""
    if value in (None, "", []):
        return "not stated"
    if isinstance(value, Mapping):
        return Fact.read({"kind": "", "source": "", "unit": "1", **value}).words()
    if isinstance(value, list):
        return ", ".join(_item_words(item) for item in value)
    return str(value)


def _item_words(item: object) -> str:
    if not isinstance(item, Mapping):
        return str(item)
    if "pct" in item:
        return f"{item.get('inci', item.get('material', ''))} {item['pct']} %"
    return field_words(item)


def read_allergens(row: Mapping) -> tuple[Allergen, ...]:
    """The listed allergens of a material's row.

    Raises
    ------
    ValueError   When a share is not between 0 and 100 %.
    """
    allergens = tuple(Allergen.read(item) for item in row.get("allergens", ()))
    for allergen in allergens:
        if not 0 <= allergen.pct <= 100:
            raise ValueError(f"{allergen.inci}: {allergen.pct} % is not between 0 and 100 %")
    return allergens
