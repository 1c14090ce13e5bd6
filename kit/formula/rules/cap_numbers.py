"""The numbers that limits of law are held against, for a screen over many compositions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from kit.formula.composition import Composition
from kit.formula.rules.caps import _NEAR, Cap, met
from kit.formula.rules.judged import Judged, Number


@dataclass(frozen=True, slots=True)
class CapContent:
    """What one limit of law counts; None when a molar mass it needs is not known. [% w/w, on the basis of the limit]"""

    cap: Cap

    def __call__(self, composition: Composition) -> Fraction | None:
        """The part of this composition."""
        return self.cap.content(composition.shares())


def legal_limits_judged(composition: Composition) -> Iterable[Judged]:
    """Every limit that counts something here, at the limit and where it is near."""
    shares = composition.shares()
    for cap in met(composition):
        if cap.content(shares) is not None:
            yield Judged(Number((CapContent(cap),)), (Fraction(cap.limit) * _NEAR, cap.most))
