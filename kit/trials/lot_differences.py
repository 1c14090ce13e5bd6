"""Lots in a comparison: the same percentage of another lot is another product when their certificates differ."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from kit.formula.material import Material
from kit.formula.molar import molar_mass
from kit.labbook.lot_typed import stated_words
from kit.labbook.view import BatchView
from kit.trials.arms import Arm
from kit.trials.wording import ABSENT, NOT_RECORDED, joined

Row = tuple[str, tuple[str, ...]]
Signature = tuple[tuple[str, Decimal, Decimal | None], ...]  # INCI, % w/w of the form, molar mass


def lot_rows(arms: Sequence[Arm]) -> tuple[Row, ...]:
    """Materials whose lots differ between batches, with what their certificates state; one row where none is recorded.

    A last row says in words which supply forms were chemically not the same as in the control's batches.
    """
    batches = [batch for arm in arms for batch in arm.batches]
    lots = {batch.name: {key: held for key, held in batch.lots().items() if held} for batch in batches}
    if not any(lots.values()):
        return (("lots", tuple(NOT_RECORDED for _ in arms)),)
    names = {use.material.key: use.material.name for batch in batches for use in batch.lot_uses}
    rows = []
    for key in dict.fromkeys(key for found in lots.values() for key in found):
        told = {batch.name: _told(batch, key) for batch in batches if _has(batch, key)}
        if len({lots[name].get(key, ()) for name in told}) > 1:
            rows.append((f"lot of {names.get(key, key)}", _cells(arms, told)))
    return (*rows, *_other_chemistry(arms))


def differing_forms(arm: Arm, control: Arm) -> tuple[str, ...]:
    """Supply forms both arms used whose lots, by their certificates, were not the same in every batch; by name."""
    own, theirs = (_signatures(side.batches) for side in (arm, control))
    names = {use.material.key: use.material.name for batch in arm.batches for use in batch.lot_uses}
    return tuple(names[key] for key in own if key in theirs and len(own[key] | theirs[key]) > 1)


def _other_chemistry(arms: Sequence[Arm]) -> tuple[Row, ...]:
    found = [differing_forms(arm, arms[0]) for arm in arms]
    if not any(found):
        return ()
    cells = tuple(f"{', '.join(names)}: a difference may be that of the lots" if names else ABSENT for names in found)
    return (("certified otherwise than the control's", cells),)


def _signatures(batches: Iterable[BatchView]) -> dict[str, set[Signature]]:
    found: dict[str, set[Signature]] = {}
    for batch in batches:
        for use in batch.lot_uses:
            found.setdefault(use.material.key, set()).add(_signature(use.as_lot or use.material))
    return found


def _signature(material: Material) -> Signature:
    return tuple((part.inci, part.pct.normalize(), molar_mass(part.substance)) for part in material.parts)


def _cells(arms: Sequence[Arm], told: dict[str, str]) -> tuple[str, ...]:
    return tuple(joined({batch.name: told.get(batch.name, ABSENT) for batch in arm.batches}) for arm in arms)


def _has(batch: BatchView, key: str) -> bool:
    return key in batch.lots() or bool(batch.formula.composition().pct(key))


def _told(batch: BatchView, key: str) -> str:
    """The lots of a form in one batch, each with what its certificate states."""
    said = {}
    for use in batch.lot_uses:
        if use.material.key == key and use.lot:
            certified = use.certificate if use.as_lot is not None else None
            said[use.lot] = f"{certified.label} ({stated_words(certified.lot)})" if certified else use.lot
    return ", ".join(said.values()) or NOT_RECORDED
