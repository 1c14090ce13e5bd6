"""The demo of the calendula study as the command tells it: the stop first, what may not be compared, then pages."""

from __future__ import annotations

import pytest

from kit.cli import main
from kit.demo.tour import tour


@pytest.mark.slow
def test_the_calendula_demo_is_told_and_leaves_two_pages(tmp_path):
    said: list[str] = []
    made = tour(tmp_path / "swap", said.append, study="calendula")
    told = "\n".join(said)
    assert said[0].startswith("Invented example data, not a recipe to use on people.")
    first, second, third = (told.index(words) for words in ("stop: Anionic polymer", "6.6 degC off", "Writing up"))
    assert first < second < third  # the review is told before anything is compared
    for words in ("spindle differs: CAL-05/1 disc 4", "no reading in 72 h", "wet-combing force, 7 d"):
        assert words in told
    pages = sorted(page.name for page in (made.folder / "writeups").glob("*.html"))
    assert len(pages) == 2
    assert all(str(made.folder / "writeups" / page) in told for page in pages)


def test_the_command_refuses_a_study_that_is_not_there(tmp_path, capsys):
    assert main(["demo", str(tmp_path / "new"), "--study", "rosemary"]) == 2
    told = capsys.readouterr().err
    assert "rosemary" in told
    assert "linden, calendula, chamomile, hibiscus" in told
    assert not (tmp_path / "new").exists()
