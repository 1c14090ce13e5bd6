"""Flow and feel of some trials: flow curves, viscosity build, temperature, and what was felt and seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from kit.bench.methods import AgeWindow, age_window
from kit.errors import KitError
from kit.labbook.source import Source, open_source
from kit.labbook.study_view import StudyView, TrialView
from kit.labbook.view import BatchView
from kit.trials.arms import in_order
from kit.trials.flow_batch import BatchFlow, flow_of
from kit.trials.flow_build import BatchBuild, builds_of
from kit.trials.flow_feel import Felt, felt_of
from kit.trials.flow_select import fillings
from kit.trials.flow_temperature import OffTemperature, ProductSlope, off_temperature, product_slopes
from kit.trials.flow_words import MEASURE, sentences
from kit.trials.results import LeftOut


@dataclass(frozen=True)
class FlowStudy:
    """The flow of some trials of a study, worked out when it is asked for.

    Parameters
    ----------
    source : Source
    study : StudyView
    batches : tuple of BatchView   In order of making.
    age : str                      Label of an age window for the flow curves; every age when empty.
    method : str                   Of the viscosity build; any when empty.
    feel : tuple of str            Properties and observations to list; wet combing and every coded word when empty.
    """

    source: Source
    study: StudyView
    batches: tuple[BatchView, ...]
    age: str = ""
    method: str = ""
    feel: tuple[str, ...] = ()

    @cached_property
    def flows(self) -> tuple[BatchFlow, ...]:
        """Every filling that was read at three speeds or more, batch by batch."""
        return tuple(
            flow_of(filling, self.source.instrument(filling.first.instrument))
            for batch in self.batches
            for filling in fillings(self.source, self.study, batch, self.age)
        )

    @property
    def curves(self) -> tuple[BatchFlow, ...]:
        """Those of them that are flow curves."""
        return tuple(flow for flow in self.flows if flow.runs)

    def places(self) -> tuple[tuple[BatchFlow, ...], ...]:
        """The curves that may stand side by side, place by place: true ones together, relative ones by spindle."""
        places: dict[tuple[str, str], list[BatchFlow]] = {}
        for flow in self.curves:
            places.setdefault(flow.place, []).append(flow)
        return tuple(tuple(found) for found in places.values())

    @property
    def builds(self) -> tuple[BatchBuild, ...]:
        """The viscosity over age of every batch that was read at two ages."""
        return tuple(build for build in self.tried_builds if build.is_shown)

    @cached_property
    def tried_builds(self) -> tuple[BatchBuild, ...]:
        """The same with those of which too little counts: they say why."""
        return tuple(
            build for batch in self.batches for build in builds_of(self.source, self.study, batch, self.method)
        )

    @cached_property
    def slopes(self) -> tuple[ProductSlope, ...]:
        """How viscosity goes with temperature, where that was measured."""
        return product_slopes(self.source, self.study, self.batches)

    @cached_property
    def off_temperature(self) -> tuple[OffTemperature, ...]:
        """Every viscosity off the temperature of its method: corrected, or why not."""
        return off_temperature(self.source, self.study, self.batches, self.slopes)

    @cached_property
    def felt(self) -> tuple[Felt, ...]:
        """What was felt and seen, batch by batch."""
        return tuple(felt for batch in self.batches for felt in felt_of(self.source, self.study, batch, self.feel))

    def left_out(self) -> tuple[LeftOut, ...]:
        """Every reading that is in no flow curve or build though it was tried, each once, with the reason."""
        every = [item for flow in self.flows for item in flow.filling.left_out]
        every += [item for build in self.tried_builds for item in build.left_out]
        return tuple({(item.batch, item.reading.entry): item for item in every}.values())

    def __str__(self) -> str:
        told = [f"{flow.title}: {' '.join(sentences(flow))}" for flow in self.flows]
        told += [build.words for build in self.builds] + [slope.words for slope in self.slopes]
        nothing = f"Study {self.study.name}: no flow curve and no viscosity build is recorded. {' '.join(MEASURE[:2])}"
        return "\n".join(told) or nothing

    __repr__ = __str__


def flow_study(
    source: object,
    trials: Sequence[str] = (),
    *,
    study: str = "",
    age: str = "",
    method: str = "",
    feel: Sequence[str] = (),
) -> FlowStudy:
    """Flow curves, viscosity build and feel of some trials.

    Parameters
    ----------
    source : object      What `open_source` takes: a lab book, its file, a snapshot.
    trials : sequence    Names of trials of one study; all of the study when empty.
    study : str          The study; the only one, or that of the first trial, when empty.
    age : str            Age of the flow curves, "72 h"; every age when empty.
    method : str         Method of the viscosity build; any when empty.
    feel : sequence      Properties and observations to list; wet combing and every coded word when empty.

    Raises
    ------
    RecordError   `labbook.study`, `labbook.trial`.
    KitError      `flow.study` when a trial is not of the study, `flow.method` for a method that the study does not
                  have, `age.unknown` for an age that is no window of the study.
    UnitError     For an age that is no time.
    """
    opened = open_source(source)
    names = [trials] if isinstance(trials, str) else list(dict.fromkeys(trials))
    views = [opened.trial(name) for name in names]
    chosen = opened.study(study or (views[0].study if views else ""))
    _refuse_other_study(views, chosen.name)
    _refuse_unknown_method(method, chosen)
    batches = [batch for name in names or opened.trials(chosen.name) for batch in opened.batches(name)]
    window: AgeWindow | None = age_window(age, chosen.windows) if age else None
    return FlowStudy(opened, chosen, in_order(batches), window.label if window else "", method, tuple(feel))


def _refuse_other_study(views: Sequence[TrialView], study: str) -> None:
    for view in views:
        if view.study != study:
            raise KitError(
                f"trial {view.name} is of study {view.study}, not of {study}",
                where="flow and feel",
                mend="name trials of one study: methods and ages belong to it",
                code="flow.study",
            )


def _refuse_unknown_method(method: str, study: StudyView) -> None:
    if method and method not in study.methods:
        raise KitError(
            f"study {study.name} has no method {method!r}",
            where="flow and feel",
            allowed=", ".join(sorted(study.methods)),
            mend="name one of these, or leave it empty for any",
            code="flow.method",
        )
