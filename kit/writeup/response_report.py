"""What does each factor do on what was made, where is the good region, and which batch next?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.figures.figure import Figure
from kit.figures.fitted_check import fitted_check
from kit.figures.fitted_effects import fitted_effects
from kit.figures.fitted_mixture import fitted_mixture
from kit.figures.fitted_surface import fitted_surface, pairs_of
from kit.figures.good_region import good_region
from kit.figures.next_trial import desirability_of
from kit.labbook.source import open_source
from kit.show import Block, Table, listing
from kit.trials.next_trial import NextTrials, next_trial
from kit.trials.response import Response, fit_response
from kit.trials.response_data import arms_of, results_of
from kit.trials.response_models import candidates
from kit.trials.wording import plural
from kit.writeup.cautions import cautions_table
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.response_asked import factors_of, wanted_of
from kit.writeup.response_proposals import answer, proposal, reviews
from kit.writeup.study_rows import control_words, spec_rows

if TYPE_CHECKING:
    from kit.formula.prices import Price

NO_BATCH = "No batch of this study was made yet: plan a first set that covers the region, kit.plan_variations(...)."
_NO_ANSWER = ("next.goals", "next.bounds", "next.setting")  # the record, not the typing, is what is short of something


class NextTrialReport:
    """The sections about a response and the next trial, from a lab book or a snapshot.

    Parameters
    ----------
    source : str, Source or Labbook   What to read.
    study : str                       The study; the only one when empty.
    factors : sequence of str         "cetearyl-alcohol: 4 to 6 %", "combine rpm"; those of the study's last plan when
                                      empty. Without bounds those that were tried.
    goals : sequence of str           "viscosity at 72 h: 13000 to 20000", or without a goal: that of the spec; the spec
                                      of the study when empty.
    model : str                       As of `fit_response`; chosen when empty.
    count : int                       How many proposals, 12 at most.
    aim : str                         "improve" or "settle".
    trials, without : sequence        Only these trials or batches; these left aside, to check the models by.
    constraints : sequence of str     On the parts of a mixture, "a + b <= 2.5".
    absorb : str                      What takes up a change.
    materials : str                   Own materials with prices, a file or a folder; empty when none are known.
    most_per_kg : str                 Materials for a kilogram at most, "4.20"; empty without a limit.
    days : str                        As of `fit_response`.
    seed : int                        Of the candidates.

    Raises
    ------
    RecordError   `labbook.study`.
    KitError      `response.factors`, `response.property`, `next.goal`, and those of `fit_response` and `next_trial`.
    """

    def __init__(
        self,
        source: object,
        study: str = "",
        factors: Sequence[str] = (),
        goals: Sequence[str] = (),
        model: str = "",
        count: int = 2,
        aim: str = "improve",
        trials: Sequence[str] = (),
        without: Sequence[str] = (),
        constraints: Sequence[str] = (),
        absorb: str = "water",
        materials: str | None = None,
        most_per_kg: str = "",
        days: str = "auto",
        seed: int = 1,
    ) -> None:
        self.source = open_source(source)
        self.study = self.source.study(study)
        self._arms = arms_of(self.source, self.study)
        self.batches = tuple(batch for arm in self._arms for batch in arm.batches)
        self.prices, self._count = _prices(materials), count
        self.responses: tuple[Response, ...] = ()
        self.found: NextTrials | None = None
        self.reason = "" if self.batches else NO_BATCH
        self.factors, self.factors_from = tuple(factors), "as asked"
        if not self.batches:
            return
        self.factors, self.factors_from = factors_of(factors, self.source, self.study, self.batches)
        self._wanted = wanted_of(goals, results_of(self.source, self.study, self._arms), self.study.spec)
        chosen = {"trials": list(trials), "without": list(without)}
        self.responses = tuple(
            fit_response(
                self.source,
                self.study.name,
                result.property,
                result.age,
                self.factors,
                model=model,
                method=result.method,
                days=days,
                **chosen,
            )
            for result in self._wanted.results
        )
        self._suggest(
            n=count,
            aim=aim,
            constraints=list(constraints),
            absorb=absorb,
            prices=self.prices or None,
            most_per_kg=most_per_kg or None,
            seed=seed,
            **chosen,
        )

    def _suggest(self, **asked: object) -> None:
        """The proposals; where the record is short of something, why there are none."""
        if self._wanted.missing:
            self.reason = f"{self._wanted.missing}. Give goals, such as viscosity at 72 h: 13000 to 20000"
            return
        try:
            self.found = next_trial(self.source, self.study.name, self.factors, goals=self._wanted.goals, **asked)
        except KitError as problem:
            if problem.code not in _NO_ANSWER:
                raise
            self.reason = f"{problem.what}; {problem.mend}" if problem.mend else problem.what
            return
        self.reason = self.found.reason

    def identity(self) -> Block:
        """The study, the factors and what is wanted; the answer in short."""
        study = self.study
        rows = [
            ("study", study.name),
            ("question", study.question or NOT_RECORDED),
            ("control", control_words(study)),
            *spec_rows(study),
            ("factors", f"{'; '.join(self.factors) or 'none named'} ({self.factors_from})"),
            ("fitted", "; ".join(one.name for one in self.responses) or "nothing"),
            ("batches made", ", ".join(batch.name for batch in self.batches) or "none yet"),
        ]
        return Block((Table(("item", "entry"), rows, title="What is shown"), self._short()))

    def _short(self) -> str:
        count = len(self.found.suggestions) if self.found else 0
        if not count:
            return f"NO SUGGESTION. {self.reason.rstrip('.')}."
        fewer = f" of {self._count} asked for: no others lie apart from it" if count < self._count else ""
        return f"{plural(count, 'suggestion')}{fewer}; the best batch so far is {self.found.best}."

    def fits(self) -> Iterator[Block | Figure]:
        """Of every property the fit in words, its terms, its effects, and the figure of each factor."""
        for response in self.responses:
            parts: list[object] = [response.words, *_other_models(response)]
            if response.is_fitted:
                parts += [response.coefficients_table(), response.effects_table()]
                parts += [table for table in (response.two_level_table(),) if table is not None]
            parts += [listing(f"To be kept in mind: {response.name}", response.notes)] if response.notes else []
            yield Block(tuple(parts))
            figure = fitted_effects(response)
            if figure is not None:
                yield figure

    @cached_property
    def _region(self) -> tuple[Figure, ...]:
        found: list[Figure | None] = [good_region(self.responses, self.found) if self.found else None]
        for response in self.responses:
            if response.is_fitted:
                found.append(fitted_mixture(response))
                found += [fitted_surface(response, first, second) for first, second in pairs_of(response)]
        return tuple(figure for figure in found if figure is not None)

    def region(self) -> tuple[Figure, ...]:
        """All goals together, then each property: contours of pairs of factors, the triangle of a mixture of three."""
        return self._region

    def no_region(self) -> Block:
        """Said where there is no plane to draw."""
        if self._region:
            return Block(())
        if not any(one.is_fitted for one in self.responses):
            return Block(("No model, no region: the reasons stand above.",))
        return Block(("With one factor there is no plane to draw: the figures above show where the spec is met.",))

    def goals(self) -> Block:
        """What is wanted, and where that comes from."""
        told = [goal.words for goal in self.found.goals] if self.found else []
        return Block((listing("What is wanted", told),) if told else ())

    def checks(self) -> Iterator[Block | Figure]:
        """Measured against fitted, batch by batch; those kept back; what does not count and why."""
        for response in self.responses:
            figure = fitted_check(response) if response.is_fitted else None
            if figure is not None:
                yield figure
            parts = [response.batches_table()] if response.is_fitted else []
            parts += [
                replace(table, title=f"{response.name}: {table.title[0].lower()}{table.title[1:]}")
                for table in (response.held_out_table(), response.unused_table())
                if table is not None
            ]
            if parts:
                yield Block(tuple(parts))

    def answer(self) -> Block:
        """Which batch next and why; or why there is no suggestion."""
        return answer(self.found) if self.found else Block((f"NO SUGGESTION. {self.reason.rstrip('.')}.",))

    def desirability(self) -> list[Figure]:
        """Each goal as its desirability, the proposals on it; empty without one."""
        figure = desirability_of(self.found) if self.found else None
        return [] if figure is None else [replace(figure, footnotes=())]  # they stand with the answer

    def proposals(self) -> Iterator[Block]:
        """Every proposal: what changes, what is predicted."""
        if self.found is None:
            return
        for place in range(1, len(self.found.suggestions) + 1):
            yield proposal(self.found, place, self._arms[0].formula, self.prices)
        yield reviews(self.found)

    def cautions(self) -> Table:
        """The cautions for whoever makes one of these batches."""
        return cautions_table(self.batches)


def _other_models(response: Response) -> list[str]:
    """What else may be asked for where the model misses; nothing where it does not."""
    found = response.model.lack_of_fit
    if not response.is_fitted or found is None or not found.is_shown:
        return []
    most = len(response.batches)
    others = [name for name, terms in candidates(response.space) if len(terms) < most and name != response.choice.name]
    asked = f"ask for another with model = {' or '.join(map(repr, others[:3]))}, " if others else ""
    return [f"As the model misses, {asked}look for what else differed between the batches, or make more of them."]


def _prices(materials: str | None) -> Mapping[str, Price]:
    """The prices in a file or folder of own materials; none without one."""
    if not materials:
        return {}
    from kit.formula.library import load_library

    return load_library(materials).prices
