"""A laboratory's challenge test: what was counted, what the published criteria make of it, and what it holds for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from kit.bench.challenge_facts import criteria_of, organisms, report_rules
from kit.bench.challenge_scope import Scope, scope_of
from kit.errors import BatchError
from kit.formula.composition import Composition
from kit.science.challenge_criteria import Criterion, Verdict, decide, judge
from kit.science.microbial_counts import Count, log_reduction
from kit.show import Block, Cell, Fielded, Table, listing
from kit.sources import sources
from kit.units import number, plain

ABSENT = "NOT RECORDED"
NOT_EVALUATED = "not evaluated"
_BELONGS = (
    "It belongs to that formula, batch, pH and age; another preservative, pH, chelator or fragrance is another formula"
)


@dataclass(frozen=True, slots=True)
class OrganismCounts:
    """The counts of one organism by day after inoculation, day 0 the inoculum in the product. [CFU/g]

    `group` is bacteria, yeast or mould; `strain` as the report names it, empty where it does not.
    """

    name: str
    group: str
    strain: str
    counts: Mapping[int, Count]


@dataclass(frozen=True, repr=False)
class ChallengeTest(Fielded):
    """A challenge test of one batch as a laboratory reported it.

    Parameters
    ----------
    batch, formula, fingerprint : str   What was tested: batch, formula and version, and the fingerprint of that.
    composition : Composition           What was in it, as made where that is known.
    method : str                        "ISO 11930" or "USP <51>".
    organisms : tuple                   `OrganismCounts` of each organism put in.
    ph : Decimal                        Of the sample tested; None where the report does not say. [-]
    age_h : Decimal                     Age of the sample when it was inoculated; None where not known. [h]
    report : mapping                    What the report says, by the names of `report_rules`.
    entry : int                         Number of its entry in the record.
    note, void : str                    A remark; the reason it was voided.
    """

    batch: str
    formula: str
    fingerprint: str
    composition: Composition
    method: str
    organisms: tuple[OrganismCounts, ...]
    ph: Decimal | None = None
    age_h: Decimal | None = None
    report: Mapping[str, str] = field(default_factory=dict)
    entry: int = 0
    note: str = ""
    void: str = ""

    def evaluate(self, against: str = "") -> ChallengeResult:
        """The counts held against the criteria of its method, or against those named.

        Parameters
        ----------
        against : str   "ISO 11930", "USP <51>" (category 2, topical) or the code of one criterion; its own when empty.

        Raises
        ------
        BatchError   `challenge.method` for a method without coded criteria.
        """
        held = criteria_of(against or self.method, where=f"challenge test of {self.batch}")
        return ChallengeResult(self, held, tuple(_judged(self, criterion) for criterion in held))

    def holds_for(self, other: Composition | object, ph: Decimal | float | str | None = None) -> Scope:
        """Whether it still speaks for a formula, a composition or a batch as made, at a pH.

        Parameters
        ----------
        other : Composition   Or anything whose `composition()` gives one.
        ph : float            pH of that product, measured, or a prediction; None where it is not known. [-]

        Raises
        ------
        BatchError   `challenge.scope` for what has no composition.
        UnitError    For a pH that is no number.
        """
        now = getattr(ph, "value", ph)
        known = None if now is None else number(now, where="holds_for(), pH")
        return scope_of(self.composition, self.ph, _composition_of(other), known)

    def report_table(self) -> Table:
        """What a laboratory's report has to say, and what this one does; NOT RECORDED where it does not."""
        rows = [(title, self._told(name)) for name, title in report_rules()]
        strains = [f"{found.name}: {found.strain or ABSENT}" for found in self.organisms]
        return Table(("asked of the report", "what it says"), [*rows, ("strains", "\n".join(strains))], title="Report")

    def absent(self) -> tuple[str, ...]:
        """What the report should say and does not, in words."""
        missing = [title for name, title in report_rules() if self._told(name) == ABSENT]
        unnamed = [f"strain of {found.name}" for found in self.organisms if not found.strain]
        return (*missing, *unnamed)

    def subject(self) -> str:
        """What was tested, in one line: formula, batch, pH and age."""
        return f"{self.formula}, batch {self.batch}, pH {self._told('ph')}, age {self._told('age')}"

    def _told(self, name: str) -> str:
        if name == "ph":
            return ABSENT if self.ph is None else plain(self.ph)
        if name == "age":
            return ABSENT if self.age_h is None else _age(self.age_h)
        return self.report.get(name, "") or ABSENT


@dataclass(frozen=True)
class ChallengeResult:
    """What criteria make of a challenge test: for each criterion, a verdict for each organism.

    `verdicts` stand criterion by criterion, each a mapping from organism to `Verdict`; an organism every test needs and
    this one lacks has a verdict that cannot be told.
    """

    test: ChallengeTest
    criteria: tuple[Criterion, ...]
    verdicts: tuple[Mapping[str, Verdict], ...]

    @property
    def met(self) -> tuple[bool | None, ...]:
        """For each criterion: True where every organism meets it, False where one does not, None where it is open."""
        return tuple(_all_met(verdicts.values()) for verdicts in self.verdicts)

    @property
    def decision(self) -> str:
        """ "A", "B only", "neither", "met", "not met", or "not evaluated" with what is missing."""
        alone = {True: "met", False: "not met", None: ""}
        said = decide(*self.met) if len(self.met) == 2 else alone[self.met[0]]
        return said or f"{NOT_EVALUATED}, {'; '.join(self._open())}"

    def words(self) -> tuple[str, ...]:
        """The decision with what it belongs to, every reason and note, and what it does not say."""
        names = " and ".join(criterion.name for criterion in self.criteria)
        told = [f"{self.criteria[0].method}, {names}: {self.decision} ({self.test.subject()})"]
        if self.test.void:
            told.insert(0, f"VOID: {self.test.void}")
        for criterion, verdicts in zip(self.criteria, self.verdicts, strict=True):
            for name, verdict in verdicts.items():
                told += [f"{criterion.name}, {name}, {text}" for text in (*verdict.reasons, *verdict.notes)]
        absent = self.test.absent()
        if absent:
            told.append(f"{ABSENT}: {'; '.join(absent)}")
        told.append(_BELONGS)
        return tuple(dict.fromkeys(told))

    def table(self) -> Table:
        """Each organism: its counts, log reductions, and the verdict by each criterion."""
        days = sorted({day for found in self.test.organisms for day in found.counts})
        columns = ("organism", "strain", *(f"day {day}" for day in days), *(each.name for each in self.criteria))
        rows = [
            (
                found.name,
                found.strain or ABSENT,
                *(_counted(found, day) for day in days),
                *(_cell(verdicts[found.name]) for verdicts in self.verdicts),
            )
            for found in self.test.organisms
        ]
        return Table(
            columns,
            [*rows, *self._lacking(len(days))],
            title=f"Challenge test, {self.criteria[0].method}: {self.decision}",
            note=f"{self.test.subject()}. CFU/g, log reduction against day 0 in brackets. Criteria: {self._cited()}.",
        )

    def _cited(self) -> str:
        """The sources of the criteria, each once, and that the edition in force decides."""
        keys = dict.fromkeys(criterion.source for criterion in self.criteria)
        return f"{'; '.join(str(sources()[key]) for key in keys)}; the edition in force decides"

    def _lacking(self, days: int) -> Iterator[tuple]:
        present = {found.name for found in self.test.organisms}
        for name in self.verdicts[0]:
            if name not in present:
                yield (name, "", *([ABSENT] * days), *(_cell(verdicts[name]) for verdicts in self.verdicts))

    def _open(self) -> list[str]:
        """What keeps the decision open, in words, each once."""
        said = []
        present = {found.name for found in self.test.organisms}
        for met, verdicts in zip(self.met, self.verdicts, strict=True):
            for name, verdict in verdicts.items() if met is None else ():
                if name not in present:
                    said.append(f"{name} missing")
                elif verdict.met is None:
                    said += [f"day {day} missing ({name})" for day in verdict.missing]
                    said += [] if verdict.missing else [f"{reason} ({name})" for reason in verdict.reasons]
        return list(dict.fromkeys(said))

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__

    def _block(self) -> Block:
        return Block((self.table(), listing("In words", self.words()), self.test.report_table()))


def _composition_of(other: object) -> Composition:
    if isinstance(other, Composition):
        return other
    if not hasattr(other, "composition"):
        raise BatchError(
            f"{type(other).__name__} has no composition to hold a challenge test against",
            where="holds_for()",
            allowed="a composition, a formula or a batch",
            mend="give one of these",
            code="challenge.scope",
        )
    return other.composition()


def _judged(test: ChallengeTest, criterion: Criterion) -> dict[str, Verdict]:
    judged = {found.name: judge(criterion, found.group, found.counts) for found in test.organisms}
    lacking = {known.name: Verdict(None) for known in organisms() if known.name not in judged}
    return {**judged, **lacking}


def _all_met(verdicts) -> bool | None:
    states = {verdict.met for verdict in verdicts}
    return False if False in states else None if None in states else True


def _counted(found: OrganismCounts, day: int) -> str:
    count = found.counts.get(day)
    if count is None:
        return ABSENT
    if not day or 0 not in found.counts:
        return str(count)
    return f"{count} ({log_reduction(found.counts[0], count)})"


def _cell(verdict: Verdict) -> Cell:
    words = {True: "met", False: "not met", None: NOT_EVALUATED}[verdict.met]
    return Cell(words, {True: "", False: "fail", None: "flag"}[verdict.met])


def _age(hours: Decimal) -> str:
    return f"{plain(hours)} h" if hours < 48 else f"{plain((hours / 24).quantize(Decimal('0.1')).normalize())} d"
