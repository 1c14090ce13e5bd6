"""Which lots a batch was made from, which certificates drove its composition, and what there is to say about them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import MaterialError
from kit.formula.lots import Lot
from kit.formula.material import Material
from kit.formula.molar import molar_mass
from kit.formula.rules import Review, review_lots
from kit.formula.rules.findings import PRACTICE, Finding
from kit.formula.substance import Part
from kit.labbook.lot_history import Certificate, Histories, as_lot
from kit.show import Table, Worded
from kit.units import plain

TYPICAL = "typical values used"


@dataclass(frozen=True, slots=True, repr=False)
class LotUse(Worded):
    """A weighing, an adjuster or a water make-up, and the lot it came from.

    Parameters
    ----------
    entry : int                  Number of the entry in the batch.
    material : Material          The supply form, as its supplier describes it.
    lot : str                    Number of the lot, empty where none was recorded.
    day : str                    Day of weighing, YYYY-MM-DD.
    mass_g : Decimal             [g]
    certificate : Certificate    What held on that day; None where the record has none.
    as_lot : Material            The form as certified; None where the typical values hold.
    problem : str                Why a certificate could not be used, in words.
    """

    entry: int
    material: Material
    lot: str
    day: str
    mass_g: Decimal
    certificate: Certificate | None = None
    as_lot: Material | None = None
    problem: str = ""

    @property
    def is_expired(self) -> bool:
        """Whether the lot was past its date on the day of weighing; False where no date is known."""
        return self.certificate is not None and self.certificate.lot.is_expired(self.day)

    def words(self) -> str:
        """What the lot changes: "active 81.2 % by certificate B-042, not the typical 80 %"; empty without a lot."""
        if not self.lot:
            return ""
        if self.problem:
            return f"certificate of lot {self.lot} not used, {TYPICAL}: {self.problem}"
        if self.certificate is None:
            return f"lot {self.lot} has no certificate: {TYPICAL}"
        if self.as_lot is None or not self.certificate.states_values:
            return f"{_paper(self.certificate)} states no content: {TYPICAL}"
        differs = _differences(self.material, self.as_lot, self.certificate.lot)
        return f"{'; '.join(differs)} by {_paper(self.certificate)}" if len(differs) > 1 else _single(self, differs)

    def date_words(self) -> str:
        """That the lot is past its date, and what to do; empty while it is not."""
        if not self.is_expired:
            return ""
        return (
            f"PAST ITS DATE: lot {self.lot} of {self.material.name} held until {self.certificate.lot.expiry}. Take a "
            "fresh lot, or have it tested and released again"
        )


def lot_use(entry: int, material: Material, lot: str, day: str, mass_g: Decimal, histories: Histories) -> LotUse:
    """The use of a lot, with what the record knew of it on the day."""
    if not lot:
        return LotUse(entry, material, lot, day, mass_g)
    try:
        made, certificate = as_lot(material, lot, day, histories)
    except MaterialError as problem:
        return LotUse(entry, material, lot, day, mass_g, problem=problem.what)
    return LotUse(entry, material, lot, day, mass_g, certificate, made)


def lots_table(uses: Sequence[LotUse], title: str) -> Table:
    """Every lot used: grams, what it is by its certificate against the typical value, and its date."""
    rows = [
        (
            use.material.name,
            use.lot or "NOT RECORDED",
            plain(sum((other.mass_g for other in uses if _key(other) == _key(use)), Decimal(0))),
            use.words() or TYPICAL,
            _dates(use),
        )
        for use in _each_once(uses)
    ]
    return Table(
        ("supply form", "lot", "weighed, g", "what the composition as made rests on", "date"),
        rows,
        title=title,
        numeric=frozenset({2}),
        note="The composition as made takes the parts of a certified lot; the formula as meant, its label, limits and "
        "cost rest on the typical values.",
    )


def driving_words(uses: Sequence[LotUse]) -> tuple[str, ...]:
    """One sentence for each lot that drove the composition as made, then one for those without a certificate."""
    once = _each_once(uses)
    driven = [f"{use.material.name}: {use.words()}." for use in once if use.as_lot is not None or use.problem]
    bare = [f"{use.material.name} {use.lot}" for use in once if use.lot and use.as_lot is None and not use.problem]
    told = [f"No content is certified for these lots, {TYPICAL}: {', '.join(bare)}."] if bare and driven else []
    return (*driven, *told)


def review_uses(uses: Sequence[LotUse]) -> Review:
    """The lots of a batch held against the rules for lots, each on the day it was weighed."""
    findings: dict[tuple[str, str], Finding] = {}
    for day in dict.fromkeys(use.day for use in uses):
        of_day = [use for use in uses if use.day == day]
        held = [_held(use) for use in of_day if use.lot]
        forms = list({use.material.key: use.material for use in of_day}.values())
        for finding in (*review_lots(forms, held, on=day).findings, *_not_fitting(of_day)):
            findings.setdefault((finding.code, finding.words), finding)
    return Review("the lots as weighed", tuple(findings.values()))


def _not_fitting(uses: Iterable[LotUse]) -> Iterable[Finding]:
    for use in _each_once(uses):
        if use.problem:
            words = (
                f"The certificate of {use.material.name}, lot {use.lot}, could not be used, and the typical values "
                f"hold: {use.problem}. Put it right with add_lot(..., why=...)."
            )
            yield Finding("caution", "lot.not_fitting", words, (use.material.key,), source=PRACTICE)


def _held(use: LotUse) -> Lot:
    """The lot as the rules look at it; only its number where nothing usable is certified."""
    return use.certificate.lot if use.certificate is not None else Lot(use.material.key, use.lot)


def _key(use: LotUse) -> tuple[str, str]:
    return use.material.key, use.certificate.label if use.certificate is not None else use.lot


def _each_once(uses: Iterable[LotUse]) -> list[LotUse]:
    once: dict[tuple[str, str], LotUse] = {}
    for use in uses:
        once.setdefault(_key(use), use)
    return list(once.values())


def _dates(use: LotUse) -> str:
    if use.certificate is None:
        return "–"
    lot = use.certificate.lot
    made = [f"made {lot.made_on}"] if lot.made_on else []
    held = [f"{'PAST ITS DATE: ' if use.is_expired else ''}until {lot.expiry}"] if lot.expiry else []
    return ", ".join([*made, *held]) or "not stated"


def _paper(certificate: Certificate) -> str:
    made = certificate.lot.kind == "made in the lab"
    return f"{'label' if made else 'certificate'} {certificate.label}"


def _single(use: LotUse, differs: Sequence[str]) -> str:
    if not differs:
        return f"{_paper(use.certificate)} agrees with the typical values"
    value, _, typical = differs[0].partition(", not ")
    return f"{value} by {_paper(use.certificate)}, not {typical}"


def _differences(form: Material, made: Material, lot: Lot) -> list[str]:
    """What a certified form has otherwise than its supplier's description, each "x, not the typical y"."""
    told = []
    if lot.strength_pct is not None and made.active_pct != form.active_pct:
        told.append(f"active {_pct(made.active_pct)}, not the typical {_pct(form.active_pct)}")
    elif lot.states_parts:
        typical = {part.inci: part.pct for part in form.parts}
        told += [
            f"{part.inci} {_pct(part.pct)}, not the typical {_pct(typical[part.inci])}"
            for part in made.parts
            if part.pct != typical[part.inci]
        ]
    for part in made.parts:
        old = next(other for other in form.parts if other.inci == part.inci)
        told += _chemistry(old, part, lot)
    return told


def _chemistry(old: Part, new: Part, lot: Lot) -> list[str]:
    if new.substance is old.substance:
        return []
    if new.substance.mixture_of != old.substance.mixture_of:
        return [f"chains {chain_words(new)}, not the typical {chain_words(old)}"]
    before, after = molar_mass(old.substance), molar_mass(new.substance)
    if lot.amine_value is None or after == before:
        return []
    typical = f"{before.quantize(Decimal('0.01'))}" if before is not None else "unknown one"
    return [f"amine value {plain(lot.amine_value)} mg KOH/g, {plain(after)} g/mol of amine, not the typical {typical}"]


def chain_words(part: Part) -> str:
    """ "Cetyl Alcohol 50 : Stearyl Alcohol 50" """
    return " : ".join(f"{inci} {plain(pct)}" for inci, pct in part.substance.mixture_of)


def _pct(value: Decimal) -> str:
    return f"{plain(value)} %"
