"""A plan of trials: which batches, in which order on which day, what each will be and what all of them can tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal

from kit.formula.composition import show_pct
from kit.formula.formula import Formula
from kit.formula.versions import resolved
from kit.show import Block, Table, listing
from kit.trials.plan_bases import bases_table
from kit.trials.plan_data import PlanData, PlannedBatch
from kit.trials.plan_factors import ACTIVE, LINE, Factor
from kit.trials.plan_materials import materials_table
from kit.trials.plan_power import Answer
from kit.trials.plan_row import (
    factor_from,
    factor_row,
    power_from,
    power_row,
    tightened_from,
    tightened_row,
    version_from,
    version_row,
)
from kit.trials.plan_versions import NOT_KNOWN, PlannedVersion, qs_text
from kit.units import plain


@dataclass(frozen=True, repr=False)
class Plan(PlanData):
    """Trials planned, before a gram is weighed; its data are those of `PlanData`."""

    def row(self) -> dict:
        """The plan as a row of text for the record; its formulas are kept beside it, by fingerprint."""
        return {
            "title": self.title,
            "base": self.base.fingerprint,
            **{name: getattr(self, name) for name in ("layout", "design", "judged", "control", "absorb", "seed")},
            "batch_g": plain(self.batch_g),
            "factors": [factor_row(factor) for factor in self.factors],
            "versions": [version_row(version) for version in self.versions],
            "batches": [asdict(batch) for batch in self.batches],
            "power": power_row(self.power),
            "tightened": [tightened_row(one) for one in self.tightened],
            **{name: list(getattr(self, name)) for name in ("dates", "aliases", "notes")},
            "loss_pct": plain(self.loss_pct),
            "on_hand": [[key, plain(grams)] for key, grams in self.on_hand],
        }

    @classmethod
    def from_row(cls, row: Mapping, formulas: Mapping[str, Formula]) -> Plan:
        """The plan that `row()` wrote.

        Parameters
        ----------
        row : mapping        As kept.
        formulas : mapping   Fingerprint to formula.
        """
        return cls(
            base=formulas[row["base"]],
            **{name: row[name] for name in ("layout", "design", "judged", "control", "absorb", "seed")},
            factors=tuple(factor_from(one) for one in row["factors"]),
            versions=tuple(version_from(one, formulas[one["version"]]) for one in row["versions"]),
            batches=tuple(PlannedBatch(**one) for one in row["batches"]),
            batch_g=Decimal(row["batch_g"]),
            power=power_from(row["power"]),
            tightened=tuple(tightened_from(one) for one in row["tightened"]),
            **{name: tuple(row[name]) for name in ("dates", "aliases", "notes")},
            loss_pct=Decimal(row["loss_pct"]),
            on_hand=tuple((key, Decimal(grams)) for key, grams in row["on_hand"]),
        )

    def what_table(self) -> Table:
        """What is planned, and on what terms."""
        control = self.version(self.control).formula.title if self.control else "none"
        rows = [
            ("base", self.base.title),
            ("version fingerprint", self.base.fingerprint[:16]),
            ("layout", self.design),
            *((factor.name, factor.span()) for factor in self.factors),
            ("room is made by", {"water": "water", "proportional": "all other lines"}.get(self.absorb, self.absorb)),
            ("control", control),
            ("one batch", f"{plain(self.batch_g)} g"),
            ("batches", f"{len(self.batches)}, of {len(self.versions)} versions"),
            ("days", ", ".join(self.dates) or str(self.days)),
            ("seed of the draw", str(self.seed)),
        ]
        return Table(("item", "entry"), rows, title="What is planned")

    def batches_table(self) -> Table:
        """The batches in order of making."""
        bases = any(batch.base for batch in self.batches)
        rows = []
        for batch in self.batches:
            version = self.version(batch.version)
            day = f"{batch.day}, {self.date(batch.day)}" if self.dates else str(batch.day)
            rows.append(
                (
                    str(batch.order),
                    day,
                    str(batch.place),
                    *([str(batch.base) if batch.base else "own"] if bases else []),
                    _what(batch),
                    *self._level_cells(version),
                    version.formula.version,
                )
            )
        heads = ("batch", "day", "in the day", *(("hot base",) if bases else ()), "what")
        columns = (*heads, *(factor.head for factor in self.factors), "version")
        numeric = frozenset({0, 2, *range(len(heads), len(columns) - 1)})
        return Table(columns, rows, title="Order of making", note=self._order_note(bases), numeric=numeric)

    def _order_note(self, bases: bool) -> str:
        split = " Batches of one hot base are parts of one making: they are not bases of their own." if bases else ""
        return (
            f"The order within each day is drawn with seed {self.seed}; keep to it, and write down what was done "
            f"otherwise. A batch is one making: readings of its jars do not count as batches.{split}"
        )

    def versions_table(self) -> Table:
        """Every version: its levels, what is weighed for them, and the line that makes room."""
        rows = [
            (
                version.label,
                *(self._weighed_cell(version, factor) for factor in self.factors),
                qs_text(version.formula),
                version.formula.version,
            )
            for version in self.versions
        ]
        room = self.base.qs_lines[0].material.key if self.base.qs_lines else "no line"
        heads = (f"{factor.name}, % as weighed" if factor.basis == ACTIVE else factor.head for factor in self.factors)
        columns = ("version", *heads, f"{room} (q.s.), %", "label")
        numeric = frozenset(range(1, 2 + len(self.factors)))
        return Table(columns, rows, title="What each version is", note="Each adds up to 100.00 %.", numeric=numeric)

    def predictions_table(self) -> Table:
        """Every version: its review, predicted pH, mixing temperature and cost."""
        priced = any(version.cost != NOT_KNOWN for version in self.versions)
        rows = [
            (
                version.label,
                version.review_cell(),
                version.ph,
                version.mixing,
                *((version.cost,) if priced else ()),
            )
            for version in self.versions
        ]
        columns = ("version", "review", "predicted pH", "mixing temperature", *(("materials",) if priced else ()))
        note = "The pH may miss by 0.6 before any titration of the base; heat losses are not counted."
        note += "" if priced else " No price is known: no cost."
        return Table(columns, rows, title="What is foreseen of each", note=note)

    def _level_cells(self, version: PlannedVersion) -> tuple[str, ...]:
        levels = dict(version.levels)
        return tuple(plain(levels[factor.name]) if factor.name in levels else "as base" for factor in self.factors)

    def _weighed_cell(self, version: PlannedVersion, factor: Factor) -> str:
        """A level as it is weighed or set: % of the supply form for a line."""
        if factor.kind == LINE:
            place = (factor.phase, factor.name.partition(" (")[0])  # the same form in another phase is another line
            return show_pct(resolved(version.formula).get(place, Decimal(0)))
        level = dict(version.levels).get(factor.name)
        return "as base" if level is None else plain(level)

    def findings(self) -> tuple[str, ...]:
        """Stops and cautions of the versions, each once, with the versions that have it."""
        told: dict[tuple[str, str], list[str]] = {}
        words: dict[tuple[str, str], str] = {}
        for version in self.versions:
            for finding in version.findings:
                key = (finding.severity, finding.code)
                told.setdefault(key, []).append(version.label)
                words.setdefault(key, finding.words)
        every = len(self.versions)
        return tuple(
            f"{severity.upper()} {words[severity, code]} [{code}] "
            f"({'every version' if len(set(labels)) == every else ', '.join(dict.fromkeys(labels))})"
            for (severity, code), labels in sorted(told.items(), key=lambda item: item[0][0] != "stop")
        )

    def power_table(self) -> Table:
        """What it can tell: half-width and the difference found four times in five, as ratios."""
        rows = [
            (answer.name, _counts(answer), _ratio(answer), _factor(answer.detectable), _factor(answer.alike))
            for answer in self.power.answers
        ]
        return Table(
            (
                "question",
                "batches",
                "95 % interval: × or ÷",
                "found 4 times in 5 from: ×",
                "interval if days are alike",
            ),
            rows,
            title="What this plan can tell, as ratios",
            note="\n".join(self.power.notes),
            numeric=frozenset({2, 3, 4}),
        )

    def limits(self) -> tuple[str, ...]:
        """What it cannot tell, a sentence each."""
        return (*(f"Cannot be told apart: {alias}." for alias in self.aliases), *self.power.cannot)

    def materials_table(self) -> Table:
        """What to have on the shelf before it begins."""
        return materials_table(self.needs, self.loss_pct)

    @property
    def words(self) -> str:
        """The plan in a sentence, its stops first."""
        stops = f" STOPPED: {', '.join(version.label for version in self.stopped)} must not be made so." if (
            self.stopped) else ""  # fmt: skip
        return f"{self.title} of {plain(self.batch_g)} g, of {self.base.title}; seed {self.seed}.{stops}"

    def _block(self) -> Block:
        parts: list[object] = [self.words, self.what_table()]
        for title, sentences in (
            ("Bounds that were tightened", self.tightened),
            ("To know", self.notes),
            ("Review of the versions", self.findings()),
        ):
            parts += _listed(title, sentences)
        bases = bases_table(self)
        parts += [self.batches_table(), *([] if bases is None else [bases])]
        parts += [self.versions_table(), self.predictions_table(), self.power_table()]
        parts += _listed("What this plan cannot tell", self.limits())
        parts += [self.power.repeat] if self.power.repeat else []
        return Block((*parts, self.materials_table()))

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__


def _what(batch: PlannedBatch) -> str:
    told = batch.role == "run" or batch.label.startswith(batch.role)
    return batch.label if told else f"{batch.label} ({batch.role})"


def _listed(title: str, sentences: Sequence[object]) -> list:
    return [listing(title, sentences)] if sentences else []


def _counts(answer: Answer) -> str:
    return f"{answer.first} against {answer.second}" if answer.first else "all"


def _ratio(answer: Answer) -> str:
    return f"NOT TESTED: {answer.reason}" if answer.half_width is None else f"{answer.half_width:.2f}"


def _factor(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}"
