"""Entering what a study keeps besides its batches: the plan of its trials, a stability study, a panel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from kit.bench.stability_plan import plan_stability
from kit.demo.diary import Diary, moment
from kit.demo.making import read_ph, read_viscosity
from kit.demo.plans import PhReading, StudyPlan, Viscosity
from kit.demo.plans_later import REST_H, Keeping, PanelServed, Pull, TrialsPlanned
from kit.formula.formula import Formula
from kit.labbook.batch import Batch
from kit.labbook.book import Labbook

if TYPE_CHECKING:
    from kit.bench.panel_plan import Serving
    from kit.trials.plan import Plan

_REFERENCE = "25 degC"  # its jars need no rest


def plan_of(formula: Formula, planned: TrialsPlanned) -> Plan:
    """The plan of the trials of a study, from its formula file.

    Parameters
    ----------
    formula : Formula         As the file has it.
    planned : TrialsPlanned   How it was planned.
    """
    from kit.trials.plan_variations import plan_variations

    base = formula
    if planned.base:  # the file holds what came out in the end: the base of the plan is nobody's child
        base = replace(formula.change(planned.base, version=planned.base_version), parent="", why="")
    return plan_variations(
        base, planned.layout, planned.factors, days=planned.days, seed=planned.seed, total=planned.total, centre=0
    )


def enter_plan(book: Labbook, study: StudyPlan, plan: Plan, diary: Diary) -> None:
    """Keep the plan of the trials at its time."""
    told = study.planned
    diary.note(moment(told.when), lambda: book.add_plan(plan, study=study.study, note=told.note))


def enter_keeping(book: Labbook, formula: Formula, kept: Keeping, study: StudyPlan, diary: Diary) -> None:
    """Keep a stability protocol, then read its jars station by station."""
    protocol = plan_stability(
        formula,
        conditions=kept.places,
        stations=[pull.station for pull in kept.pulls],
        properties=kept.limits,
        note=kept.note,
    )
    diary.note(moment(kept.when), lambda: book.add_stability_protocol(protocol, study=kept.study, name=kept.name))
    stored_from = moment(kept.stored_from)
    diary.note(stored_from, lambda: _see(book.batch(kept.batch), kept.baseline_words, at=stored_from.isoformat()))
    for pull in kept.pulls:
        when = pull.read_at(stored_from)
        at_end = kept.at_end if pull is kept.pulls[-1] else {}
        diary.note(
            when,
            lambda pull=pull, when=when, at_end=at_end: _read_jars(
                book.batch(kept.batch), pull, study.calibration(when), at_end, at=when.isoformat()
            ),
        )


def enter_panel(book: Labbook, served: PanelServed, diary: Diary) -> None:
    """Keep a panel with its codes and orders, then its answers."""
    diary.note(
        moment(served.planned),
        lambda: book.add_panel(
            study=served.study,
            name=served.name,
            kind="triangle",
            samples=served.samples,
            assessors=served.assessors,
            seed=served.seed,
            question=served.question,
        ),
    )
    diary.note(moment(served.answered), lambda: book.panel_answers(served.name, _answers(book, served)))


def _answers(book: Labbook, served: PanelServed) -> dict[str, str]:
    """What each assessor says: the odd tress, or the first of the two that are alike."""
    servings = book.source().panel(served.name).servings
    return {one.assessor: _chosen(one, one.assessor in served.right) for one in servings}


def _chosen(serving: Serving, right: bool) -> str:
    letters = list(serving.letters.values())
    return next(code for code, letter in serving.letters.items() if (letters.count(letter) == 1) == right)


def _read_jars(batch: Batch, pull: Pull, calibration: str, at_end: Mapping[str, str], *, at: str) -> None:
    """The jars of one station, one after another; each is read once and discarded."""
    for place, (acidity, torque, colour) in pull.read.items():
        kept = {"storage": place} | ({} if place == _REFERENCE else {"rest": f"{REST_H} h"})
        sample = f"{place}, {pull.station}"
        read_ph(batch, PhReading("", acidity), calibration, sample=sample, **kept)
        read_viscosity(batch, Viscosity("", round(400 * float(torque)), torque), sample=sample, **kept)
        _see(batch, {"colour": colour, **at_end}, at=at, **kept)


def _see(batch: Batch, words: Mapping[str, str], *, at: str, **kept: str) -> None:
    """Words of a jar; with their time, for an equal word of another day would be taken for the same entry."""
    for name, word in words.items():
        batch.observe(name, word, at=at, **kept)
