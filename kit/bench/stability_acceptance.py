"""Acceptance limits of a stability protocol, typed in words and frozen with it: "± 0.3", "± 25 %", "none"."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import KitError, UnitError
from kit.show import Worded
from kit.units import number, plain, read, same_unit, split

DIFFERENCE, RATIO, LIMITS, WORDS, UNCHANGED = "difference", "ratio", "limits", "words", "unchanged"
BASELINE, REFERENCE_JAR = "baseline", "jar kept at 25 degC"
EVERY_PULL, AT_START, AT_END = "every pull", "at the baseline", "at the end"

_NUMBER = r"[+\-−]?\d+(?:[.,]\d+)?"
_PLUS_MINUS = re.compile(rf"^(?:±|\+/?-)\s*({_NUMBER})\s*(%?)$")
_BOTH = re.compile(rf"^([\-−]\s*{_NUMBER})\s*(%?)\s*(?:to|/|\.\.)\s*(\+\s*{_NUMBER})\s*(%?)$")
_RANGE = re.compile(rf"^({_NUMBER})\s*(?:to|-|–)\s*({_NUMBER})\s*(.*)$")
_END = re.compile(rf"^(at most|at least|<=?|>=?|≤|≥)\s*({_NUMBER}\s*.*)$", re.I)
_OF_JAR = re.compile(
    r"\s+(?:of|to|against)\s+(?:the\s+)?(?:jar\s+(?:kept\s+)?at\s+25\s*\S+|25\s*(?:degC|°C)\s+jar)$", re.I
)
# what is a number, or was meant as one, is never taken for a word
_NO_WORD = re.compile(r"[0-9%±<>=≤≥]|^(?:at (?:most|least))\b", re.I)
_WHEN = {"at the start": AT_START, "at the baseline": AT_START, "at the end": AT_END, "every pull": EVERY_PULL}


@dataclass(frozen=True, slots=True, repr=False)
class Acceptance(Worded):
    """What one property must keep to.

    Parameters
    ----------
    property : str           "pH", "viscosity", "odour" ...
    typed : str              The limit as typed.
    kind : str               "difference" or "ratio" (to `against`), "limits", "words" or "unchanged".
    low, high : Decimal, None   Difference [unit], ratio [-] or limits [unit]; None where a side is open.
    unit : str               Of limits; empty otherwise.
    allowed : tuple of str   Words.
    against : str            "baseline" or "jar kept at 25 degC".
    when : str               "every pull", "at the baseline" or "at the end".
    method : str             Of its readings; any where empty.
    """

    property: str
    typed: str
    kind: str
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""
    allowed: tuple[str, ...] = ()
    against: str = BASELINE
    when: str = EVERY_PULL
    method: str = ""

    @property
    def is_coded(self) -> bool:
        """Whether it is a word that is seen, not a number that is read."""
        return self.kind in (WORDS, UNCHANGED)

    @property
    def is_relative(self) -> bool:
        """Whether it is held against an earlier value or another jar."""
        return self.kind in (DIFFERENCE, RATIO, UNCHANGED)

    @property
    def words(self) -> str:
        """The limit in words: "pH ± 0.3 of the baseline"."""
        of = "the baseline" if self.against == BASELINE else f"the {self.against.replace('degC', '°C')}"
        match self.kind:
            case "difference":
                return f"{_both(self.low, self.high, '')} of {of}"
            case "ratio":
                return f"{_both(100 * (self.low - 1), 100 * (self.high - 1), ' %')} of {of}"
            case "unchanged":
                return f"as {of}"
            case "words":
                return " or ".join(self.allowed)
        unit = f" {self.unit}" if self.unit not in ("", "1") else ""
        if self.low is None or self.high is None:
            return f"at most {plain(self.high)}{unit}" if self.low is None else f"at least {plain(self.low)}{unit}"
        return f"{plain(self.low)} to {plain(self.high)}{unit}"

    def ends_in(self, unit: str) -> tuple[Decimal | None, Decimal | None] | None:
        """The limits in the unit of the readings; None where they cannot be set beside each other.

        Parameters
        ----------
        unit : str   Of the readings; a limit typed without a unit is in theirs.
        """
        if self.kind != LIMITS or not self.unit or same_unit(self.unit, unit or "1"):
            return self.low, self.high
        try:
            low, high = (
                None
                if end is None
                else read(f"{plain(end)} {self.unit}", unit or "1", where=f"limit of {self.property}")
                for end in (self.low, self.high)
            )
        except UnitError:
            return None
        return low, high

    def row(self) -> dict:
        """The limit as a row of text."""
        row = {name: getattr(self, name) for name in ("property", "typed", "kind", "unit", "against", "when", "method")}
        ends = {"low": self.low, "high": self.high}
        known = {name: plain(end) for name, end in ends.items() if end is not None}
        return row | known | {"allowed": list(self.allowed)}

    @classmethod
    def from_row(cls, row: Mapping) -> Acceptance:
        """The limit that `row()` wrote."""
        ends = {name: Decimal(row[name]) for name in ("low", "high") if name in row}
        words = {name: row[name] for name in ("property", "typed", "kind", "unit", "against", "when", "method")}
        return cls(**words, **ends, allowed=tuple(row["allowed"]))


def read_acceptance(property: str, typed: str, *, method: str = "") -> Acceptance:
    """A limit from its words.

    Parameters
    ----------
    property : str   What it is on.
    typed : str      "± 0.3", "-20 % to +30 %", "± 25 % of the jar kept at 25 degC", "at most 2 %", "4.3 to 4.8",
                     "none", "none or slight", "no change"; then "; at the start" or "; at the end" where it is not
                     looked at on every pull. "±" and a percentage are a share of the baseline.
    method : str     Of its readings.

    Raises
    ------
    KitError   `stability.limit`.
    """
    if not isinstance(typed, str):
        raise _limit(property, typed)
    told, _, rest = typed.strip().partition(";")
    rest = " ".join(rest.split()).lower()
    if not told.strip() or (rest and rest not in _WHEN):
        raise _limit(property, typed)
    when = _WHEN.get(rest, EVERY_PULL)
    shorter = _OF_JAR.sub("", told.strip())
    against = BASELINE if shorter == told.strip() else REFERENCE_JAR
    found = _relative(shorter, property, typed) or _absolute(shorter, property, typed)
    if found is None and _NO_WORD.search(shorter):
        raise _limit(property, typed)
    found = found or _coded(shorter)
    if when == AT_START and found["kind"] in (DIFFERENCE, RATIO, UNCHANGED):
        raise _limit(property, typed)  # the baseline is no change against itself
    return Acceptance(property, typed.strip(), against=against, when=when, method=method, **found)


def _relative(told: str, property: str, typed: str) -> dict | None:
    same, both = _PLUS_MINUS.match(told), _BOTH.match(told)
    if same:
        high, share = _read(same[1], property), bool(same[2])
        low = -high
    elif both:
        low, high, share = _read(both[1], property), _read(both[3], property), bool(both[2] or both[4])
    else:
        return None
    if low >= high or (share and low <= -100):
        raise _limit(property, typed)
    if share:
        return {"kind": RATIO, "low": 1 + low / 100, "high": 1 + high / 100}
    return {"kind": DIFFERENCE, "low": low, "high": high}


def _absolute(told: str, property: str, typed: str) -> dict | None:
    end, between = _END.match(told), _RANGE.match(told)
    if end:
        value, unit = split(end[2], where=f"limit of {property}")
        upper = end[1].lower() in ("at most", "<", "<=", "≤")
        return {"kind": LIMITS, "high" if upper else "low": value, "unit": unit}
    if between:
        low, high = _read(between[1], property), _read(between[2], property)
        if low >= high:
            raise _limit(property, typed)
        return {"kind": LIMITS, "low": low, "high": high, "unit": between[3].strip()}
    return None


def _coded(told: str) -> dict:
    if told.lower() in ("no change", "unchanged", "as the baseline"):
        return {"kind": UNCHANGED}
    return {"kind": WORDS, "allowed": tuple(word.strip() for word in re.split(r",|\bor\b", told) if word.strip())}


def _read(text: str, property: str) -> Decimal:
    return number(text.replace(" ", ""), where=f"limit of {property}")


def _both(low: Decimal, high: Decimal, unit: str) -> str:
    low, high = (plain(end.normalize() + 0) for end in (low, high))
    return f"± {high}{unit}" if low == f"-{high}" else f"{low.replace('-', '−')}{unit} to +{high}{unit}"


def _limit(property: str, typed: object) -> KitError:
    return KitError(
        f"{typed!r} cannot be a limit of {property}",
        where="stability protocol",
        allowed='"± 0.3", "± 25 %", "-20 % to +30 %", "at most 2 %", "4.3 to 4.8", "none", "no change", and then '
        '"; at the start" or "; at the end"',
        mend="type it in one of these ways",
        code="stability.limit",
    )
