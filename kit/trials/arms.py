"""The arms of a comparison: one a formula version, with all batches of it in the study whatever their trial's name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.labbook.source import Source, nearest_names
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.show import Fielded


@dataclass(frozen=True, repr=False)
class Arm(Fielded):
    """One formula version and its batches.

    Parameters
    ----------
    label : str                    The trials whose batches pool, "LIN-03, LIN-06".
    trials : tuple of str          The same one by one, in order of making.
    formula : Formula              As meant.
    batches : tuple of BatchView   In order of making.
    is_control : bool              Whether the others are set against it; one alone is it only where the study says so.
    """

    label: str
    trials: tuple[str, ...]
    formula: Formula
    batches: tuple[BatchView, ...]
    is_control: bool = False

    @property
    def days(self) -> tuple[str, ...]:
        """The days its batches were made on, each once."""
        return tuple(dict.fromkeys(day_made(batch) for batch in self.batches))


def day_made(batch: BatchView) -> str:
    """The day a batch was started, in the offset it was recorded with: "2026-03-02"."""
    return batch.started_at[:10]


def find_arms(source: Source, trials: Sequence[str], control: str | None) -> tuple[StudyView, tuple[Arm, ...]]:
    """The study of these trials and its arms, the control first, the others in the order asked for.

    Raises
    ------
    KitError      `compare.no_trial`, `compare.two_studies`, `compare.no_control`, `compare.control`.
    RecordError   `labbook.trial` for a trial that is not there, with the nearest names.
    """
    names = [trials] if isinstance(trials, str) else list(trials)
    if not names:
        raise KitError(
            "no trial was named",
            where="compare()",
            allowed=", ".join(_known_trials(source)) or "none yet",
            mend='name at least one: compare(source, ["LIN-04"])',
            code="compare.no_trial",
        )
    views = [source.trial(name) for name in names]
    study = source.study(_one_study({view.name: view.study for view in views}))
    chosen = source.trial(_control_name(source, study, control, names))
    _one_study({**{view.name: view.study for view in views}, chosen.name: chosen.study})
    fingerprints = dict.fromkeys(view.formula.fingerprint for view in (chosen, *views))
    batches = {fingerprint: source.batches(study=study.name, formula=fingerprint) for fingerprint in fingerprints}
    arms = tuple(
        arm_of(batches[fingerprint], is_control=fingerprint == chosen.formula.fingerprint)
        for fingerprint in fingerprints
    )
    if len(arms) == 1 and study.control not in arms[0].trials:
        return study, (replace(arms[0], is_control=False),)
    return study, arms


def versions_of(batches: Iterable[BatchView]) -> tuple[Arm, ...]:
    """Batches grouped by formula version, in order of making."""
    groups: dict[str, list[BatchView]] = {}
    for batch in in_order(batches):
        groups.setdefault(batch.formula.fingerprint, []).append(batch)
    return tuple(arm_of(group) for group in groups.values())


def arm_of(batches: Iterable[BatchView], *, is_control: bool = False) -> Arm:
    """The arm that batches of one version make."""
    ordered = in_order(batches)
    trials = tuple(dict.fromkeys(batch.trial for batch in ordered))
    return Arm(", ".join(trials), trials, ordered[0].formula, ordered, is_control)


def in_order(batches: Iterable[BatchView]) -> tuple[BatchView, ...]:
    """Batches in order of making: the same from a lab book and from a snapshot, however they were asked for."""
    return tuple(
        sorted(batches, key=lambda batch: (datetime.fromisoformat(batch.started_at), batch.trial, batch.number))
    )


def _control_name(source: Source, study: StudyView, control: str | None, names: Sequence[str]) -> str:
    name = control or study.control
    if not name:
        bought = f"; {study.reference_product}, bought, has no batch here" if study.reference_product else ""
        raise KitError(
            f"study {study.name} names no control{bought}",
            where="compare()",
            allowed=", ".join(source.trials(study.name)),
            mend=f'say which trial the others are set against: control="{names[0]}"',
            code="compare.no_control",
        )
    owner = source.study_of(name)
    if owner == study.name:
        return name
    known = source.trials(study.name)
    if owner:
        raise KitError(
            f"the control {name} belongs to another study than {', '.join(names)}",
            where="compare()",
            allowed=", ".join(known),
            mend="compare within one study: conditions and spec belong to it",
            code="compare.two_studies",
        )
    raise KitError(
        f"there is no control {name!r}",
        where=f"compare(), study {study.name}",
        allowed=", ".join(nearest_names(name, known)),
        mend="name one of these as control=",
        code="compare.control",
    )


def _one_study(studies: dict[str, str]) -> str:
    found = dict.fromkeys(studies.values())
    if len(found) > 1:
        told = "; ".join(
            f"{', '.join(trial for trial, owner in studies.items() if owner == study)} of study {study}"
            for study in found
        )
        raise KitError(
            f"these trials belong to {len(found)} studies: {told}",
            where="compare()",
            mend="compare within one study: conditions, ages and spec belong to it",
            code="compare.two_studies",
        )
    return next(iter(found))


def _known_trials(source: Source) -> list[str]:
    return [trial for study in source.studies() for trial in source.trials(study)]
