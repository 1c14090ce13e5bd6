"""What a pH prediction does not know, and what was learned about it from readings: plain numbers, frozen, kept as JSON.

An unknown has a prior: a mean and a standard deviation with a reason. Knowledge is the joint result of an update: it
takes the place of the priors of the unknowns it names, and leaves all others as they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.formula.knowledge_words import is_felt, signed, title, value_words
from kit.show import Block, Table, listing

if TYPE_CHECKING:
    import numpy as np

WHAT = ("acidity", "buffering", "latent", "assay", "pka", "offset")

_SAME_AGE, _LEAST_H = 0.25, 1.0  # what is latent holds within a quarter of an age, below an hour within 15 min


def same_age_within(age_h: float) -> float:
    """How far from an age what is latent at it still holds. [h]"""
    return _SAME_AGE * max(age_h, _LEAST_H)


def same_age(age_h: float, learned_h: float) -> bool:
    """Whether what is latent at the age that was learned holds at another age. [h]"""
    return abs(age_h - learned_h) <= same_age_within(learned_h)


@dataclass(frozen=True, slots=True)
class Unknown:
    """One number that a pH prediction needs and does not know, with its prior.

    Parameters
    ----------
    name : str       The same in every formula, such as "acidity of tilia-cordata-flower-extract".
    subject : str    What it belongs to: key of a supply form, INCI name, or "base".
    what : str       acidity, buffering, latent, assay, pka or offset.
    unit : str       Unit of mean and standard deviation.
    mean, sd : float   Of a normal distribution.
    why : str        What the prior rests on.
    source : str     Key of a source.
    kind : str       estimated, memory, handbook, supplier-typical or measured.
    age_h : float    Age of the readings that it belongs to, None where age does not matter. [h]
    subject_name : str          What the subject is called on a sheet; the subject itself when empty.
    constants : tuple of float  The constants that a pka shifts, as printed; empty for all else. [-]
    """

    name: str
    subject: str
    what: str
    unit: str
    mean: float
    sd: float
    why: str = ""
    source: str = ""
    kind: str = "estimated"
    age_h: float | None = None
    subject_name: str = ""
    constants: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "constants", tuple(self.constants))

    @property
    def title(self) -> str:
        """What it is called: "Lactic Acid (88 %): share of assay"."""
        return title(self.what, self.subject_name or self.subject)

    def words(self, mean: float | None = None, sd: float | None = None) -> str:
        """A mean with its standard deviation as they are said, "0.000 ± 0.060 meq/g"; the prior's own when None."""
        mean, sd = self.mean if mean is None else mean, self.sd if sd is None else sd
        return value_words(self.what, self.unit, self.constants, mean, sd)


@dataclass(frozen=True, slots=True)
class LearnedReading:
    """A reading that something was learned from, with how far the prediction was off before and after.

    Parameters
    ----------
    batch : str      Its name.
    entry : int      Number of its entry in the record.
    age : str        Age of the batch when it was read.
    value : float    The pH.
    residual_before, residual_after : float   Read less predicted. [pH]
    what : str       "reading", or what of a titration it was.
    """

    batch: str
    entry: int
    age: str
    value: float
    residual_before: float
    residual_after: float
    what: str = "reading"


@dataclass(frozen=True, slots=True)
class LeftOutReading:
    """A reading that nothing was learned from, and why.

    Parameters
    ----------
    batch : str      Its name.
    entry : int      Number of its entry in the record.
    value : float    The pH.
    age : str        Age of the batch when it was read.
    code : str       Stable code of the reason.
    why : str        The reason in words.
    """

    batch: str
    entry: int
    value: float
    age: str
    code: str
    why: str


@dataclass(frozen=True)
class Knowledge:
    """What readings taught about the unknowns of a pH prediction.

    Parameters
    ----------
    names : tuple of str             Names of the unknowns, in the order of `mean`.
    mean : tuple of float            After learning, in the unit of each.
    covariance : tuple of tuples     After learning, square.
    readings : tuple of LearnedReading     What was used.
    words : tuple of str             Remarks of whoever did the learning.
    left_out : tuple of LeftOutReading     What was not used, and why.
    unknowns : tuple of Unknown      The priors it started from, in the same order; may be empty.
    age_h : float                    Age that the readings had: a latent share belongs to it. None when mixed. [h]

    Raises
    ------
    KitError   `ph.knowledge` when shapes do not fit or a number is not finite.
    """

    names: tuple[str, ...]
    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    readings: tuple[LearnedReading, ...] = ()
    words: tuple[str, ...] = ()
    left_out: tuple[LeftOutReading, ...] = ()
    unknowns: tuple[Unknown, ...] = ()
    age_h: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "mean", tuple(float(value) for value in self.mean))
        object.__setattr__(self, "covariance", tuple(tuple(float(value) for value in row) for row in self.covariance))
        count = len(self.names)
        square = len(self.covariance) == count and all(len(row) == count for row in self.covariance)
        if len(self.mean) != count or not square or (self.unknowns and len(self.unknowns) != count):
            raise _refused(f"{count} names do not fit {len(self.mean)} means and their covariance")
        if not all(math.isfinite(value) for row in (self.mean, *self.covariance) for value in row):
            raise _refused("a number in it is not finite")
        if any(row[index] < 0 for index, row in enumerate(self.covariance)):
            raise _refused("a variance in it is negative")

    def sd(self, name: str) -> float:
        """Standard deviation of one unknown after learning, in its unit."""
        index = self.names.index(name)
        return math.sqrt(self.covariance[index][index])

    def covers(self, unknown: Unknown) -> bool:
        """Whether it says something of an unknown; a latent share only of batches about as old as those read."""
        if unknown.name not in self.names:
            return False
        if unknown.what != "latent" or unknown.age_h is None or self.age_h is None:
            return True
        return same_age(unknown.age_h, self.age_h)

    def prior_for(self, unknowns: Sequence[Unknown]) -> tuple[np.ndarray, np.ndarray]:
        """Mean and covariance for these unknowns: what was learned where it was, the priors elsewhere.

        Parameters
        ----------
        unknowns : sequence of Unknown   In the order wanted.

        Returns
        -------
        mean, covariance : arrays (k,) and (k, k)   Learned unknowns keep their covariance with each other.
        """
        import numpy as np

        places = [(index, self.names.index(item.name)) for index, item in enumerate(unknowns) if self.covers(item)]
        mean = np.array([item.mean for item in unknowns], dtype=float)
        covariance = np.diag([float(item.sd) ** 2 for item in unknowns])
        for index, own in places:
            mean[index] = self.mean[own]
            for other, own_other in places:
                covariance[index, other] = self.covariance[own][own_other]
        return mean, covariance

    def titrated(self) -> bool:
        """Whether a bench titration is among what it learned from."""
        return any("titration" in reading.what for reading in self.readings)

    def row(self) -> dict:
        """The knowledge as a row for JSON."""
        return {
            "names": list(self.names),
            "mean": list(self.mean),
            "covariance": [list(row) for row in self.covariance],
            "readings": [asdict(item) for item in self.readings],
            "words": list(self.words),
            "left_out": [asdict(item) for item in self.left_out],
            "unknowns": [asdict(item) for item in self.unknowns],
            "age_h": self.age_h,
        }

    @classmethod
    def read(cls, row: Mapping) -> Knowledge:
        """The knowledge from the row that `row()` made.

        Raises
        ------
        KitError   `ph.knowledge` when it is not such a row.
        """
        try:
            return cls(
                names=tuple(row["names"]),
                mean=tuple(row["mean"]),
                covariance=tuple(tuple(line) for line in row["covariance"]),
                readings=tuple(_read(LearnedReading, item) for item in row.get("readings", ())),
                words=tuple(row.get("words", ())),
                left_out=tuple(_read(LeftOutReading, item) for item in row.get("left_out", ())),
                unknowns=tuple(_read(Unknown, item) for item in row.get("unknowns", ())),
                age_h=row.get("age_h"),
            )
        except (KeyError, TypeError, ValueError) as problem:
            raise _refused(f"it is not a kept piece of knowledge ({problem})") from None

    def table(self) -> Table:
        """What the readings said something of, before and after; all else is counted below."""
        rows = self._rows()
        others = len(self.names) - len(rows)
        note = ["Mean ± standard deviation."] if rows else []
        return Table(
            ("what is not known", "before", "learned", "prior from"),
            rows,
            title="What the readings taught",
            note=" ".join([*note, *([_others(others)] if others else [])]),
        )

    def said(self) -> tuple[str, ...]:
        """Sentences: what it learned, and from which readings; what was left out and why."""
        told = [f"{name}, {before} before, {after} learned" for name, before, after, _ in self._rows()]
        others = len(self.names) - len(told)
        return (*told, *([_others(others)] if others else []), *self._evidence())

    def _rows(self) -> list[tuple[str, str, str, str]]:
        """Name, prior, learned and kind of what was felt; without priors nothing can be told from them, and all show.

        The covariance keeps the others too: a band needs what they have in common with those that moved.
        """
        if not self.unknowns:
            spreads = (math.sqrt(self.covariance[index][index]) for index in range(len(self.names)))
            found = zip(self.names, self.mean, spreads, strict=True)
            return [(name, "not kept", value_words("", "", (), mean, sd), "") for name, mean, sd in found]
        rows = []
        for index, prior in enumerate(self.unknowns):
            mean, sd = self.mean[index], math.sqrt(self.covariance[index][index])
            if is_felt(prior.mean, prior.sd, mean, sd):
                rows.append((self._called(prior), prior.words(), prior.words(mean, sd), prior.kind))
        return rows

    def _called(self, unknown: Unknown) -> str:
        aged = unknown.what == "latent" and self.age_h is not None
        return f"{unknown.title} at {self.age_h:g} h" if aged else unknown.title

    def _evidence(self) -> Iterator[str]:
        for item in self.readings:
            off = f"off by {signed(item.residual_before)} before and {signed(item.residual_after)} after learning"
            aged = f" at {item.age}" if item.age and item.age not in item.what else ""
            yield f"{item.batch}, {item.what}{aged}: pH {item.value:.2f}, {off}"
        for left in self.left_out:
            aged = f" at {left.age}" if left.age else ""
            yield f"{left.batch}{aged}, pH {left.value:.2f}: left out, {left.why}"
        yield from self.words

    def _block(self) -> Block:
        return Block((self.table(), listing("Learned from", tuple(self._evidence()) or ("no reading",))))

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()


def _others(count: int) -> str:
    return f"{count} {'other' if count == 1 else 'others'}: hardly felt by these readings."


def _read(kind: type, row: Mapping):
    known = {field.name for field in fields(kind)}
    return kind(**{name: value for name, value in row.items() if name in known})


def _refused(why: str) -> KitError:
    return KitError(
        f"this knowledge cannot be used: {why}",
        mend="learn it again from the record with learn_ph",
        code="ph.knowledge",
    )
