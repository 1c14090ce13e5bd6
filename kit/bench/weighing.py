"""A weighing against its target, and the two ways out when a line was over-weighed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from kit.bench.balances import repeatability_g, smallest_weight_g, tolerance_g
from kit.bench.exact import decimal, grams
from kit.bench.sheet import Sheet, SheetLine
from kit.errors import BatchError
from kit.formula.composition import Composition, CompositionLine, from_masses, show_pct
from kit.show import Block, Table, Worded
from kit.units import plain

__all__ = ["OverWeighing", "Weighing", "corrections", "judge", "repeatability_g", "smallest_weight_g", "tolerance_g"]

_MOST_RESCALE = Decimal("1.10")  # common practice, no source

Place = tuple[str, str]  # phase, material key


@dataclass(frozen=True, slots=True, repr=False)
class Weighing(Worded):
    """One weighing against its target. `verdict` is "within", "over", "under" or "not judged" (no balance can tell)."""

    line: SheetLine
    weighed_g: Decimal
    verdict: str

    @property
    def deviation_g(self) -> Decimal:
        """Weighed less target. [g]"""
        return self.weighed_g - self.line.target_g

    @property
    def deviation_pct(self) -> Decimal | None:
        """Deviation as % of the target; None where the target is zero."""
        return 100 * self.deviation_g / self.line.target_g if self.line.target_g else None

    def words(self) -> str:
        """ "Glycerin: 14.60 g against 12.00 ± 0.12 g: over by 2.60 g (+21.7 %)" """
        line = self.line
        target = f"{plain(line.target_g)} g ({line.tolerance_words()})"
        told = f"{line.material.name}: {plain(self.weighed_g)} g against {target}"
        if self.verdict in ("within", "not judged"):
            return f"{told}: {self.verdict}" + ("" if self.verdict == "within" else ", the balance cannot tell")
        relative = "" if self.deviation_pct is None else f" ({self.deviation_pct:+.1f} %)"
        return f"{told}: {self.verdict} by {plain(abs(self.deviation_g))} g{relative}"


def judge(line: SheetLine, weighed_g: Decimal) -> Weighing:
    """Hold a weighing against the tolerance of its line.

    A line that no balance weighs to 1 % has no tolerance: what the balance cannot tell from the target is "not judged",
    and only a difference larger than the balance's own error and the step of its display is over or under.
    """
    deviation = weighed_g - line.target_g
    allowed = line.balance.step_g if line.tolerance_g is None else line.tolerance_g
    if abs(deviation) > allowed:
        return Weighing(line, weighed_g, "over" if deviation > 0 else "under")
    return Weighing(line, weighed_g, "not judged" if line.tolerance_g is None and line.target_g else "within")


@dataclass(frozen=True, slots=True)
class Extra:
    """One line of a rescaled batch: its new target and what must still be weighed to reach it. [g]"""

    line: SheetLine
    weighed_g: Decimal
    target_g: Decimal
    extra_g: Decimal


@dataclass(frozen=True)
class OverWeighing:
    """An over-weighed line and both ways to go on.

    Rescale: every other line up by `factor`, so that the formula is as meant and the batch larger.
    Accept: go on as weighed; `accepted` is what the product becomes, adding up to 100 exactly.

    Parameters
    ----------
    weighing : Weighing                The line and by how much.
    factor : Fraction                  Weighed over target.
    extras : tuple of Extra            Every other line of the rescaled batch.
    batch_g, accepted_g : Decimal      Mass of the batch when rescaled, and when accepted. [g]
    obstacles : tuple of str           Why rescaling is not advised; empty when it is feasible.
    meant, accepted : Composition      % w/w.
    combined : bool                    Whether the phases were already in one vessel.
    """

    weighing: Weighing
    factor: Fraction
    extras: tuple[Extra, ...]
    batch_g: Decimal
    accepted_g: Decimal
    obstacles: tuple[str, ...]
    meant: Composition
    accepted: Composition
    combined: bool = False

    @property
    def feasible(self) -> bool:
        """Whether the batch can still be rescaled."""
        return not self.obstacles

    def rescale_table(self) -> Table:
        """New targets, and the grams to add."""
        rows = [
            (
                extra.line.phase,
                extra.line.material.name,
                plain(extra.line.target_g),
                plain(extra.weighed_g),
                plain(extra.target_g),
                plain(extra.extra_g),
            )
            for extra in self.extras
        ]
        note = (
            "Rescaling is not advised: " + "; ".join(self.obstacles) + "."
            if self.obstacles
            else f"New batch: {plain(self.batch_g)} g."
        )
        return Table(
            ("phase", "material", "target, g", "weighed, g", "new target, g", "still to weigh, g"),
            rows,
            title=f"Rescale by {grams(self.factor, 4)}",
            note=note,
            numeric=frozenset({2, 3, 4, 5}),
        )

    def accept_table(self) -> Table:
        """What each line becomes."""
        rows = [
            (
                line.phase,
                line.material.name,
                show_pct(self._meant_pct(line)),
                show_pct(line.pct),
                _change(line.pct - self._meant_pct(line)),
            )
            for line in self.accepted.lines
        ]
        rows.append(("", "total", show_pct(self.meant.total), show_pct(self.accepted.total), ""))
        return Table(
            ("phase", "material", "meant, % w/w", "becomes, % w/w", "change, pp"),
            rows,
            title=f"Accept: {plain(self.accepted_g)} g",
            note="Look at limits, charge and pH again: they rest on these numbers.",
            numeric=frozenset({2, 3, 4}),
        )

    def _meant_pct(self, line: CompositionLine) -> Decimal:
        return sum(
            (
                other.pct
                for other in self.meant.lines
                if (other.phase, other.material.key) == (line.phase, line.material.key)
            ),
            Decimal(0),
        )

    def words(self) -> str:
        """Both ways in words."""
        line = self.weighing.line
        place = next(item for item in self.accepted.lines if (item.phase, item.material.key) == line.place)
        becomes, meant = _told_apart(place.pct, self._meant_pct(place))
        batch = f"the batch {plain(self.accepted_g)} g"
        accept = f"Accept: {line.material.name} becomes {becomes} % instead of {meant} %, {batch}."
        return " ".join(
            [f"{self.weighing.words()}.", self._rescale_words(), accept, *([] if self.combined else [_BOAT])]
        )

    def _rescale_words(self) -> str:
        if self.obstacles:
            return f"Rescaling by {grams(self.factor, 4)} is not advised: {'; '.join(self.obstacles)}."
        return (
            f"Rescale: every other line times {grams(self.factor, 4)}, {plain(self._extra_total())} g more in all, "
            f"batch {plain(self.batch_g)} g."
        )

    def _extra_total(self) -> Decimal:
        weighed = (extra.target_g - (extra.weighed_g or extra.line.target_g) for extra in self.extras)
        return sum((max(mass, Decimal(0)) for mass in weighed), Decimal(0))

    def _block(self) -> Block:
        return Block((self.words(), self.rescale_table(), self.accept_table()))

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__


_BOAT = "If it is still alone in its boat, take the surplus out: that is a weighing correction, not a change."


def corrections(
    sheet: Sheet, weighed: Mapping[Place, Decimal], name: str, phase: str | None = None, *, combined: bool = False
) -> OverWeighing:
    """Both ways to go on after a line was over-weighed.

    Parameters
    ----------
    sheet : Sheet          The plan.
    weighed : dict         (phase, material key) to the mass weighed so far. [g]
    name, phase : str      The over-weighed line.
    combined : bool        Whether the phases are already in one vessel: then rescaling is no longer possible.

    Raises
    ------
    BatchError   `weighing.not_weighed`, `weighing.not_over`, and as `Sheet.line`.
    """
    line = sheet.line(name, phase)
    if line.place not in weighed:
        raise BatchError(
            f"{line.material.name} was not weighed yet",
            where="corrections()",
            mend="weigh it first",
            code="weighing.not_weighed",
        )
    weighing = judge(line, weighed[line.place])
    if weighing.deviation_g <= 0 or not line.target_g:
        raise BatchError(
            f"{weighing.words()}: it is not over its target",
            where="corrections()",
            mend="weigh more of it, or name the line that is",
            code="weighing.not_over",
        )
    factor = Fraction(weighing.weighed_g) / Fraction(line.target_g)
    extras = tuple(_extra(other, weighed, factor) for other in sheet.lines if other.place != line.place)
    masses = [(other, weighed.get(other.place, other.target_g)) for other in sheet.lines]
    accepted = _composition([(other, Fraction(mass)) for other, mass in masses], sheet)
    meant = _composition([(other, Fraction(other.pct)) for other in sheet.lines], sheet)
    return OverWeighing(
        weighing,
        factor,
        extras,
        weighing.weighed_g + sum((extra.target_g for extra in extras), Decimal(0)),
        sum((mass for _, mass in masses), Decimal(0)),
        _obstacles(factor, extras, combined),
        meant,
        accepted,
        combined,
    )


def _change(points: Decimal) -> str:
    """Percentage points with their sign, three decimals."""
    text = f"{points:+.3f}"
    return "0.000" if text in ("+0.000", "-0.000") else text


def _extra(line: SheetLine, weighed: Mapping[Place, Decimal], factor: Fraction) -> Extra:
    target = line.balance.rounded(decimal(Fraction(line.target_g) * factor, 6))
    so_far = weighed.get(line.place, Decimal(0))
    return Extra(line, so_far, target, max(target - so_far, Decimal(0)))


def _obstacles(factor: Fraction, extras: tuple[Extra, ...], combined: bool) -> tuple[str, ...]:
    found = []
    if combined:
        found.append("the phases are already combined")
    if factor >= Fraction(_MOST_RESCALE):
        found.append(f"the batch would grow by {grams(100 * (factor - 1), 1)} % (10 % or more)")
    worse = [
        extra
        for extra in extras
        if judge(extra.line, extra.weighed_g).verdict == "over" and extra.weighed_g > extra.target_g
    ]
    if worse:
        found.append(f"{worse[0].line.material.name} is over by more: correct that line first")
    return tuple(found)


def _composition(masses: list[tuple[SheetLine, Fraction]], sheet: Sheet) -> Composition:
    lines = [(CompositionLine(line.material, line.pct, line.phase, line.phase_kind), mass) for line, mass in masses]
    return from_masses(lines, state="proposed", product=sheet.formula.product, steps=sheet.formula.steps)


def _told_apart(pct: Decimal, other: Decimal) -> tuple[str, str]:
    """Two percentages for reading, with as many decimals as it takes to see that they differ."""
    if show_pct(pct) != show_pct(other) or pct == other:
        return show_pct(pct), show_pct(other)
    return f"{pct:.4f}", f"{other:.4f}"
