"""What the record knows about one lot: its certificates in the order they were entered, and which held on a day."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from kit.errors import MaterialError
from kit.formula.lots import Lot, lot_from_row
from kit.formula.material import Material
from kit.labbook.ledger import Effective
from kit.labbook.streams import Entry
from kit.show import Fielded

LOT_STREAM = "lot"
WITH_LOTS = ("weigh", "adjust", "top-up")
"""Kinds of batch entries that name the lot of what was weighed."""

Read = Callable[[str], tuple[Entry, ...]]
"""Gives the entries of a stream; empty where there is none."""


@dataclass(frozen=True, slots=True, repr=False)
class Certificate(Fielded):
    """What an entry of a lot says.

    Parameters
    ----------
    entry : int         Its number in the lot's stream.
    lot : Lot           The values.
    valid_from : str    Day from which they hold, YYYY-MM-DD; empty: from the beginning.
    from_lots : dict    Of a lab-made solution: material to the lot it was made from.
    why : str           Why it was entered after another one.
    """

    entry: int
    lot: Lot
    valid_from: str = ""
    from_lots: Mapping[str, str] = field(default_factory=dict)
    why: str = ""

    @property
    def label(self) -> str:
        """Number of the lot, with the day where a later certificate holds from one."""
        return f"{self.lot.lot} from {self.valid_from}" if self.valid_from else self.lot.lot

    @property
    def states_values(self) -> bool:
        """Whether it says anything that the composition of a batch rests on."""
        return bool(self.lot.states_parts or self.lot.amine_value is not None or self.lot.chains)


@dataclass(frozen=True, slots=True, repr=False)
class LotHistory(Fielded):
    """The certificates of one lot.

    An entry with the same `valid_from` as an earlier one puts that right; one with a later `valid_from`, such as a new
    titration of a solution, holds from that day on.
    """

    material: str
    lot: str
    certificates: tuple[Certificate, ...]

    def standing(self) -> tuple[Certificate, ...]:
        """Those that count, the earliest first."""
        latest = {certificate.valid_from: certificate for certificate in self.certificates}
        return tuple(latest[day] for day in sorted(latest))

    def on(self, day: str) -> Certificate | None:
        """The certificate that held on a day, YYYY-MM-DD; None where the first one holds only later."""
        held = [certificate for certificate in self.standing() if certificate.valid_from <= day]
        return held[-1] if held else None


Histories = Mapping[str, LotHistory]
"""Histories by the name of their stream."""


def lot_stream(material: str, lot: str) -> str:
    """The stream that holds a lot of a supply form."""
    return f"{LOT_STREAM}/{material}/{lot}"


def lot_history(entries: Iterable[Entry]) -> LotHistory | None:
    """The history that the entries of a lot's stream tell; None without any."""
    entries = tuple(entries)
    if not entries:
        return None
    first = entries[0].body["certificate"]
    return LotHistory(first["material"], first["lot"], tuple(_certificate(entry) for entry in entries))


def _certificate(entry: Entry) -> Certificate:
    body = entry.body
    return Certificate(
        entry.seq,
        lot_from_row(body["certificate"]),
        body.get("valid_from", ""),
        dict(body.get("from_lots", {})),
        body.get("why", ""),
    )


def lots_named(entries: Iterable[Effective]) -> tuple[tuple[str, str], ...]:
    """Material and lot of every standing weighing, adjuster and water make-up that names one, each once."""
    named = (
        (item.body["material"], str(item.body.get("lot") or "").strip())
        for item in entries
        if item.kind in WITH_LOTS and item.stands
    )
    return tuple(dict.fromkeys((material, lot) for material, lot in named if lot))


def read_histories(named: Iterable[tuple[str, str]], read: Read) -> dict[str, LotHistory]:
    """The histories of these lots by stream, and of the lots that solutions among them were made from."""
    found: dict[str, LotHistory] = {}
    left, seen = list(named), set()
    while left:
        material, lot = left.pop()
        stream = lot_stream(material, lot)
        if stream in seen:
            continue
        seen.add(stream)
        history = lot_history(read(stream))
        if history is not None:
            found[stream] = history
            left += [pair for certificate in history.certificates for pair in certificate.from_lots.items()]
    return found


def as_lot(material: Material, lot: str, day: str, histories: Histories) -> tuple[Material | None, Certificate | None]:
    """The supply form as its lot was on a day, and the certificate that says so.

    Parameters
    ----------
    material : Material   The form as its supplier describes it.
    lot : str             Number of the lot.
    day : str             YYYY-MM-DD.
    histories : dict      As `read_histories` gives them.

    Returns
    -------
    (Material or None, Certificate or None)   No material where nothing is certified that a composition rests on.

    Raises
    ------
    MaterialError   `material.lot` for a certificate that cannot be one of this form.
    """
    history = histories.get(lot_stream(material.key, lot))
    certificate = history.on(day) if history is not None else None
    if certificate is None:
        return None, None
    made_of = _made_of(material, certificate, day, histories)
    if not certificate.states_values and made_of == material.made_from:
        return None, certificate
    made = replace(material, made_from=made_of).with_lot(certificate.lot)
    return replace(made, lot=certificate.label), certificate


def _made_of(material: Material, certificate: Certificate, day: str, histories: Histories) -> tuple:
    """What a solution is mixed from, each base as its own lot has it."""
    return tuple(
        (_base(base, certificate.from_lots.get(base.key, ""), certificate.lot.made_on or day, histories), pct)
        for base, pct in material.made_from
    )


def _base(base: Material, lot: str, day: str, histories: Histories) -> Material:
    if not lot or lot_stream(base.key, lot) not in histories:
        return base
    try:
        made, _ = as_lot(base, lot, day, histories)
    except MaterialError:
        return base
    return made or base
