"""Freezing part of a record: every stream that some trials rest on, verbatim."""

from __future__ import annotations

from collections.abc import Iterable

from kit.labbook.panel_entry import panel_stream
from kit.labbook.plan_entry import PlanKept, plan_streams
from kit.labbook.source import SNAPSHOT, Source
from kit.labbook.stability_protocol_entry import PROTOCOL
from kit.labbook.view import BatchView, batch_stream, formula_stream


def freeze(source: Source, trials: Iterable[str], *, plans: Iterable[str] = ()) -> dict:
    """The snapshot of these trials as a JSON-ready table: every entry verbatim with its hash, chain-checked when read.

    Only what the trials rest on is taken in: their formulas and batches, the study's control, batches of the same
    formula versions, the history studies, the certificates of the lots they were weighed from, the instruments and
    calibrations the readings name, and the plans, panels and stability protocols of the trials. Entries added
    elsewhere later do not change it.

    Parameters
    ----------
    source : Source          A lab book, or a snapshot.
    trials, plans : names    Plans come with every batch that their study has made since.
    """
    views = [source.trial(name) for name in trials]
    planned = [source.plan(name) for name in plans]
    studies = dict.fromkeys(view.study for view in views)
    wanted: dict[str, BatchView] = {}
    for name in studies:
        study = source.study(name)
        fingerprints = {view.formula.fingerprint for view in views if view.study == name}
        if study.control and study.control in source.trials(name):
            fingerprints.add(source.trial(study.control).formula.fingerprint)
        for fingerprint in sorted(fingerprints):
            _take(source, wanted, study=name, formula=fingerprint)
        for history in study.history:
            source.study(history)
            _take(source, wanted, study=history)
    for kept in planned:
        wanted |= {batch.name: batch for batch in source.batches(study=kept.study) if kept.is_before(batch)}
    rows = [(batch.study, batch.trial, batch.number, batch.formula.fingerprint) for batch in wanted.values()]
    kept_trials = sorted({(row[0], row[1]) for row in rows} | {(view.study, view.name) for view in views})
    streams = [*_streams(source, wanted, kept_trials), *_panels(source, [view.name for view in views])]
    streams += _protocols(source, wanted)
    streams += [*_plans(source, wanted, [view.name for view in views]), *_named_plans(planned)]
    return {
        "format": SNAPSHOT,
        "studies": sorted({study for study, _ in kept_trials} | set(studies) | {kept.study for kept in planned}),
        "trials": {
            study: [trial for owner, trial in kept_trials if owner == study]
            for study in sorted({owner for owner, _ in kept_trials})
        },
        "batches": [list(row) for row in sorted(rows)],
        "streams": {
            name: [{"text": entry.text, "hash": entry.hash} for entry in source.entries(name)]
            for name in sorted(set(streams))
        },
    }


def _take(source: Source, wanted: dict[str, BatchView], **fits: str) -> None:
    for batch in source.batches(**fits):
        wanted[batch.name] = batch


def _streams(source: Source, batches: dict[str, BatchView], trials: list[tuple[str, str]]) -> list[str]:
    names = {f"study/{study}" for study, _ in trials} | {f"trial/{trial}" for _, trial in trials}
    names |= {formula_stream(source.trial(trial).formula.fingerprint) for _, trial in trials}
    for batch in batches.values():
        names |= {
            batch_stream(batch.name),
            formula_stream(batch.formula.fingerprint),
            f"trial/{batch.trial}",
            f"study/{batch.study}",
        }
        names |= set(batch.histories)
        names |= {f"instrument/{reading.instrument}" for reading in batch.readings if reading.instrument}
        names |= {f"calibration/{reading.calibration}" for reading in batch.readings if reading.calibration}
    return sorted(name for name in names if source.entries(name))


def _protocols(source: Source, batches: dict[str, BatchView]) -> list[str]:
    """Streams of the stability protocols that cover one of the batches."""
    found = source.stability_protocols()
    return [f"{PROTOCOL}/{kept.name}" for kept in found if any(kept.covers(batch) for batch in batches.values())]


def _plans(source: Source, batches: dict[str, BatchView], trials: list[str]) -> list[str]:
    """Streams of the plans that a batch of the trials came from."""
    own = [batch for batch in batches.values() if batch.trial in trials]
    found = [kept for kept in source.plans() if any(kept.covers(batch) for batch in own)]
    return [stream for kept in found for stream in plan_streams(kept)]


def _named_plans(planned: list[PlanKept]) -> list[str]:
    """Streams of plans, of their formulas and of their studies."""
    return [stream for kept in planned for stream in (*plan_streams(kept), f"study/{kept.study}")]


def _panels(source: Source, trials: list[str]) -> list[str]:
    return [panel_stream(panel.name) for panel in source.panels(trials=trials)] if trials else []
