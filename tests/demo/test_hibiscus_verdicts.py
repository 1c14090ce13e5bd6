"""The hibiscus study judged by the kit's own verdicts: what another preservative seems to do is not tested."""

from __future__ import annotations

import pytest

from kit.writeup.comparison_report import ComparisonReport

STUDY = "hibiscus"
CROSS_DAY = ("HIB-04", "HIB-05", "HIB-06", "HIB-07")  # made on the second and the third day, without a control


@pytest.fixture(scope="module")
def note(comparison):
    """The note on versions of other days."""
    (found,) = [note for note in comparison.notes if note.startswith("Cross-day and not tested")]
    return found


def test_the_versions_of_days_without_a_control_are_named_with_what_they_change(note):
    versions = note.partition(": ")[2].partition(". Made")[0].split("; ")
    assert [version.split(" ")[0] for version in versions] == list(CROSS_DAY)
    assert "Phenoxyethanol" in versions[1]
    assert "Benzyl Alcohol" in versions[2]
    assert "Water" not in note


def test_it_says_why(note):
    assert note.endswith("what stands beside the control holds the day as well as the change.")


def test_the_preservative_that_thins_the_gel_is_not_tested_and_has_no_verdict(comparison):
    found = comparison.result("viscosity", "72 h").arm("HIB-05").difference
    assert (found.code, found.verdict, found.low, found.detectable) == ("no_scatter", "not tested", None, None)
    assert found.p_adjusted is None


def test_the_page_says_it_too(source, note):
    report = ComparisonReport(source, ["HIB-01", "HIB-05"])
    told = str(report.results())
    assert "Cross-day and not tested: HIB-05 (Phenoxyethanol" in told
    figures = report.against_the_control()
    assert [figure.traces[0]["name"] for figure in figures] == ["no interval: not tested"] * 2
    assert "Nothing was repeated, so the scatter of batches is not known." in figures[1].footnotes
