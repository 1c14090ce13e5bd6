"""What the factors of a design may be called, and how many of anything there may be."""

from __future__ import annotations

from collections.abc import Iterable

from kit.errors import KitError

MOST_RUNS = 4096
"""More runs than this are a mistake of typing, not a plan of a bench."""


def factor_names(names: Iterable[str]) -> tuple[str, ...]:
    """Names of factors: there is one at least, none is empty, none stands twice, none holds a sign of a term.

    Raises
    ------
    KitError   `design.names`.
    """
    told = (names,) if isinstance(names, str) else tuple(names)
    plain = tuple(str(name).strip() for name in told)
    if not plain or not all(plain) or len(set(plain)) < len(plain) or any(":" in name for name in plain):
        raise KitError(
            f"factors cannot be named {', '.join(repr(name) for name in plain) or 'nothing'}",
            where="names of factors",
            allowed='different names, none empty, without ":"',
            mend="give each factor a name of its own",
            code="design.names",
        )
    return plain


def require_count(where: str, *, least: int, most: int = MOST_RUNS, **values: int) -> None:
    """Refuse a count that is no whole number from `least` to `most`.

    Raises
    ------
    KitError   `design.count`.
    """
    for name, value in values.items():
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise KitError(
                f"{name.replace('_', ' ')} is {value!r}",
                where=where,
                allowed=f"a whole number from {least} to {most}",
                mend="give such a number",
                code="design.count",
            )


def term_name(factors: Iterable[str]) -> str:
    """A product of factors as it is written everywhere: "A:B"."""
    return ":".join(factors)
