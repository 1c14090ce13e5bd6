"""What the composition as made would change on a label that is drawn from the formula as meant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kit.formula.composition import Composition
from kit.formula.label_allergens import AllergenContent, allergen_contents
from kit.formula.label_entries import LabelEntry, label_entries
from kit.formula.label_market import Market
from kit.formula.rules.caps import legal_limits
from kit.formula.rules.findings import digits
from kit.units import plain

NOTHING = "As made: the label and the coded limits would be the same."


def as_made_changes(meant: Composition, made: Composition, market: Market) -> tuple[str, ...]:
    """Each thing that would differ, in words: what is listed, the order, the 1 % line, allergens, limits of law.

    For release the label comes from the meant formula: water driven off does not reorder a label.
    """
    before, after = label_entries(meant, market), label_entries(made, market)
    found = [
        *_listed(before, after),
        *_order(before, after, market),
        *_line(before, after, market),
        *(_allergens(meant, made) if market.allergens else ()),
        *_limits(meant, made),
    ]
    return tuple(found) or (NOTHING,)


def _listed(before: Sequence[LabelEntry], after: Sequence[LabelEntry]) -> Iterable[str]:
    old, new = ({entry.name for entry in entries if entry.part != "allergen"} for entries in (before, after))
    if new - old:
        yield f"As made there is also {', '.join(sorted(new - old))}."
    if old - new:
        yield f"As made there is no {', '.join(sorted(old - new))}."


def _order(before: Sequence[LabelEntry], after: Sequence[LabelEntry], market: Market) -> Iterable[str]:
    old, new = ([entry.name for entry in entries if entry.part == market.ordered_part] for entries in (before, after))
    both = set(old) & set(new)
    meant, made = ([name for name in names if name in both] for names in (old, new))
    moved = [name for name, other in zip(meant, made, strict=True) if name != other]
    if moved:
        inside = set(moved)
        yield (
            f"As made the order would be {', '.join(name for name in made if name in inside)}; meant "
            f"{', '.join(moved)}."
        )


def _line(before: Sequence[LabelEntry], after: Sequence[LabelEntry], market: Market) -> Iterable[str]:
    old = {entry.name: entry for entry in before}
    parts = {market.ordered_part, market.free_part}
    for entry in after:
        was = old.get(entry.name)
        if was is not None and was.part != entry.part and {was.part, entry.part} == parts:
            yield (
                f"{entry.name} crosses the line of {plain(market.free_limit)} %: meant "
                f"{digits(was.pct, market.free_limit)} %, made "
                f"{digits(entry.pct, market.free_limit)} %."
            )


def _allergens(meant: Composition, made: Composition) -> Iterable[str]:
    old, new = (_by_name(composition) for composition in (meant, made))
    for name in sorted(old.keys() | new.keys()):
        was, now = old.get(name), new.get(name)
        if (was is not None and was.named) != (now is not None and now.named):
            limit = (now or was).threshold
            side = "must be named as made" if now is not None and now.named else "need not be named as made"
            yield f"{name} {side}: meant {_pct(was)} %, made {_pct(now)} %, threshold {plain(limit)} %."


def _by_name(composition: Composition) -> dict[str, AllergenContent]:
    return {item.name: item for item in allergen_contents(composition)}


def _pct(item: AllergenContent | None) -> str:
    return "0" if item is None else digits(item.pct, item.threshold, 1 - item.threshold.as_tuple().exponent)


def _limits(meant: Composition, made: Composition) -> Iterable[str]:
    old, new = (
        {finding.code: finding for finding in legal_limits(composition) if not finding.code.endswith(".near")}
        for composition in (meant, made)
    )
    yield from (f"As made, {new[code].words}" for code in new if code not in old)
    yield from (f"As made this limit is kept: {old[code].words}" for code in old if code not in new)
