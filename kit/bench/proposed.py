"""The next version of a formula from a batch as made: meant, made and proposed, each 100.00 %."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from kit.bench.exact import decimal
from kit.bench.made import Made, MadeLine, Place
from kit.errors import BatchError
from kit.formula.formula import Formula
from kit.formula.model import Line, Phase
from kit.formula.versions import next_version as next_label
from kit.formula.versions import resolved

_CARRY = ("all", "adjusters")
_WHERE = "as_next_version()"


def next_version(
    formula: Formula,
    made: Made,
    *,
    carry: str = "all",
    why: str,
    version: str | None = None,
    left_out: Iterable[str] = (),
) -> Formula:
    """The next version of the formula, carrying forward what was done at the bench. Adds up to 100.00 exactly.

    Parameters
    ----------
    formula : Formula    The version the batch was made from.
    made : Made          The batch as made.
    carry : str          "all": every line as made. "adjusters": the meant lines and what was poured in to adjust, as %
                         of the product; weighing differences and water lost are not carried.
    why : str            The reason; it stays with the version.
    version : str        Its label; the next one when omitted.
    left_out : keys      Lines that were left out on purpose and shall go; with carry="all" only.

    Returns
    -------
    Formula   Two decimals, three below 0.1 %; the q.s. line, else the largest water line, else the largest line takes
              the rest. An adjuster joins the line of its material, else the phase for adjusters. The percentages are
              of supply forms as weighed, with their typical parts: the certificate of a lot is not carried forward.

    Raises
    ------
    BatchError   `version.carry`, `version.nothing_to_carry`, `version.not_weighed`, `version.no_room`.
    """
    if carry not in _CARRY:
        raise BatchError(
            f"carry is {carry!r}", where=_WHERE, allowed=" or ".join(_CARRY), mend="choose one", code="version.carry"
        )
    shares = _all_shares(formula, made, tuple(left_out)) if carry == "all" else _adjusted_shares(formula, made)
    pcts = _rounded(shares, _taker(formula, shares))
    phases = _phases(formula, pcts, {(line.phase, line.material.key): line for line in made.lines})
    return replace(
        formula,
        phases=phases,
        version=version or next_label(formula.version),
        parent=formula.fingerprint,
        why=why,
        absorbed_by="",
        file="",
    )


def _all_shares(formula: Formula, made: Made, left_out: tuple[str, ...]) -> dict[Place, Fraction]:
    weighed = {(line.phase, line.material.key) for line in made.lines if line.mass_g}
    absent = [
        place for place, pct in resolved(formula).items() if pct and place not in weighed and place[1] not in left_out
    ]
    if absent:
        names = ", ".join(f"{key} (phase {phase})" for phase, key in absent)
        raise BatchError(
            f"not weighed: {names}",
            where=_WHERE,
            allowed="a batch in which every line was weighed",
            mend='weigh them, or say that they were left out on purpose: left_out=["..."]',
            code="version.not_weighed",
        )
    return {(line.phase, line.material.key): 100 * line.mass_g / made.yield_g for line in made.lines if line.mass_g}


def _adjusted_shares(formula: Formula, made: Made) -> dict[Place, Fraction]:
    poured = {(line.phase, line.material.key): line.adjuster_g / made.yield_g for line in made.lines if line.adjuster_g}
    if not poured:
        raise BatchError(
            "no adjuster was poured in",
            where=_WHERE,
            mend='carry="all" carries the weighings',
            code="version.nothing_to_carry",
        )
    rest = 1 - sum(poured.values())
    shares = {place: Fraction(pct) * rest for place, pct in resolved(formula).items()}
    for place, share in poured.items():
        shares[place] = shares.get(place, Fraction(0)) + 100 * share
    return shares


def _taker(formula: Formula, shares: dict[Place, Fraction]) -> Place:
    """The line that takes the rest."""
    placed = {
        (phase.name, line.material.key): line
        for phase, line in sorted(formula.placed_lines(), key=lambda item: item[1].qs)
    }
    known = {place: placed[place] for place in shares if place in placed}
    if not known:
        raise BatchError(
            "no line of the formula is in the batch as made",
            where=_WHERE,
            mend="check what the batch was made from",
            code="version.no_room",
        )
    return max(known, key=lambda place: (known[place].qs, known[place].material.is_water, shares[place]))


def _rounded(shares: dict[Place, Fraction], taker: Place) -> dict[Place, Decimal]:
    pcts = {place: _as_written(share) for place, share in shares.items() if place != taker}
    rest = 100 - sum(pcts.values(), Decimal(0))
    if rest <= 0:
        raise BatchError(
            f"nothing is left for {taker[1]}", where=_WHERE, mend="check the weighings", code="version.no_room"
        )
    return {place: rest if place == taker else pcts[place] for place in shares}


def _as_written(share: Fraction) -> Decimal:
    """A percentage as the trade writes it: two decimals, three below 0.1 %, more only where nothing would be left."""
    places = 2 if share >= Fraction(1, 10) else 3
    while share and not decimal(share, places):
        places += 1
    pct = decimal(share, places)
    return pct if places == 2 or pct != pct.quantize(Decimal("0.01")) else pct.quantize(Decimal("0.01"))


def _phases(formula: Formula, pcts: dict[Place, Decimal], made: dict[Place, MadeLine]) -> tuple[Phase, ...]:
    left = dict(pcts)
    old = {phase.name: Phase(phase.name, phase.kind, _phase_lines(phase, left)) for phase in formula.phases}
    kinds = {name: phase.kind for name, phase in old.items()} | {
        name: made[name, key].kind for name, key in left if name not in old
    }
    new = {
        name: tuple(
            Line(made[place].form or made[place].material, pct) for place, pct in left.items() if place[0] == name
        )
        for name in kinds
    }
    phases = [Phase(name, kind, (old[name].lines if name in old else ()) + new[name]) for name, kind in kinds.items()]
    return tuple(phase for phase in phases if phase.lines)


def _phase_lines(phase: Phase, left: dict[Place, Decimal]) -> tuple[Line, ...]:
    """The phase's own lines with their new percentages, taken from `left`; lines of one material become one."""
    own = {
        line.material.key: line for line in sorted(phase.lines, key=lambda line: line.qs)
    }  # the q.s. line stands for the others
    lines = []
    for key in dict.fromkeys(line.material.key for line in phase.lines):
        pct = left.pop((phase.name, key), None)
        if pct is not None:
            lines.append(own[key] if own[key].qs else replace(own[key], pct=pct))
    return tuple(lines)
