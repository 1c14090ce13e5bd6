"""A study's spec as the rows of a table: the day it was set down, then a row a line; its control in words."""

from __future__ import annotations

from collections.abc import Iterator

from kit.formula.model import SpecLine
from kit.labbook.study_view import StudyView
from kit.writeup.report_formula import NOT_RECORDED


def spec_rows(study: StudyView) -> Iterator[tuple[str, object]]:
    """The rows "spec dated" and "spec", one a line of it."""
    if not study.spec:
        yield "spec", NOT_RECORDED
        return
    yield "spec dated", study.spec_dated
    for line in study.spec:
        yield "spec", spec_words(line)


def margin_rows(study: StudyView) -> Iterator[tuple[str, str]]:
    """What the study has stated to be too small to matter, a row each with its day; none where it has stated none."""
    for stated in study.margins:
        yield "margin", stated.words


def control_words(study: StudyView) -> str:
    """What the trials of a study are set against: a trial, a bought product, or nothing recorded."""
    if study.control or not study.reference_product:
        return study.control or NOT_RECORDED
    return f"{study.reference_product}, bought: composition unknown, no batch here"


def spec_words(line: SpecLine) -> str:
    """A line of a spec in words: property, limits, age, method."""
    age = f" at {line.age}" if line.age else ""
    method = f", {line.method}" if line.method else ""
    return f"{line.property}: {line.words()}{age}{method}"
