"""A plan typed in a real JupyterLab. Afterwards the lab book is looked at, not the screen."""

from __future__ import annotations

import json

import pytest

import kit
from tests.widgets.conftest import FORMULA, Bench

pytestmark = [pytest.mark.browser, pytest.mark.slow]
sync_api = pytest.importorskip("playwright.sync_api")
expect = sync_api.expect

CODE = f"""
import kit
from kit.formula.files import read_formula
from kit.widgets import planning_table
formula = read_formula({FORMULA!r}, kit.load_library())
book = kit.new_labbook("plan.labbook")
book.new_study("WOO", question="How much?", spec=formula.spec)
planning_table(book, formula)
"""


def write_notebook(folder) -> None:
    cell = {"cell_type": "code", "id": "table", "metadata": {}, "outputs": [], "execution_count": None, "source": CODE}
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    notebook = {"cells": [cell], "metadata": {"kernelspec": kernel}, "nbformat": 4, "nbformat_minor": 5}
    (folder / "plan.ipynb").write_text(json.dumps(notebook), encoding="utf-8")


@pytest.mark.parametrize("width", [390])
def test_a_plan_is_typed_seen_and_kept(lab, browser, width):
    folder = lab.root / f"plan-{width}"
    folder.mkdir()
    write_notebook(folder)
    context = browser.new_context(viewport={"width": width, "height": 820})
    bench = Bench(context.new_page(), lab.base, lab.token, f"plan-{width}/plan.ipynb")
    bench.page.on("pageerror", lambda error: bench.errors.append(str(error)[:200]))
    bench.open()
    bench.run("table")
    for label, text in (
        ("factor 1", "cetearyl-alcohol"),
        ("levels of factor 1", "4.00, 5.00, 6.00 %"),
        ("days", "2"),
        ("name of the plan", "WOO-levels"),
    ):
        bench.page.get_by_label(label, exact=True).fill(text)
        bench.page.get_by_label(label, exact=True).press("Enter")
        expect(bench.output("table").get_by_role("status")).not_to_be_empty(timeout=20_000)
    expect(bench.output("table")).to_contain_text("Order of making", timeout=20_000)
    expect(bench.output("table")).to_contain_text("4 batches", timeout=20_000)
    bench.page.get_by_role("button", name="Keep this plan in the lab book").click()
    expect(bench.output("table").get_by_role("status")).to_contain_text("in the lab book", timeout=20_000)
    with kit.open_source(folder / "plan.labbook") as source:
        (kept,) = source.plans("WOO")
    assert kept.name == "WOO-levels" and len(kept.runs) == 4
    assert bench.errors == []
    bench.shut()
    context.close()
