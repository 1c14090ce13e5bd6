"""The page in a real browser, every request refused. Referees: Chromium itself, and axe-core where it is installed."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from kit.writeup.page import make_page
from kit.writeup.run import run_template

pytestmark = pytest.mark.browser
sync_api = pytest.importorskip("playwright.sync_api")

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
CAUTIONS = [("Eyes", "Wear goggles; local rules and the supplier's safety data sheet decide.")]
HEADS = {"study/LIN": {"seq": 12, "hash": "cd" * 32}}
# What plotly draws for a reading, by kind of chart: points, bars, boxes, filled cells of a map.
MARKS = ".point, path.box, .hm image"


@pytest.fixture(scope="module")
def page_file(session_toys, make_whole, hostile, tmp_path_factory) -> Path:
    """A page with six figures and six tables, and with notes that try to run something."""
    notes = (
        f"display(HTML({hostile!r}))",
        f"display(Markdown({hostile!r}))",
        f"print({hostile!r})",
        'display(HTML(\'<a href="javascript:document.title=1">press</a><a href="http://a.example/">go</a>\'))',
        'display(HTML(\'<p id="plotly-packed">x</p><img src="http://a.example/x.png">\'))',
        "display(HTML('<p onclick=\"document.title=1\">tap</p>'))",
        f"show(go.Figure(go.Bar(x=[{hostile!r}], y=[1], name={hostile!r})), title={hostile!r},"
        f" columns=[{hostile!r}], rows=[[{hostile!r}]], note={hostile!r}, summary={hostile!r})",
        session_toys.markdown(f"{hostile}\n\n[press](javascript:document.title=1) ![](http://a.example/y.png)"),
    )
    executed = run_template(make_whole(session_toys, *notes), {"source": "snapshot.json", "trial": hostile})
    page = make_page(
        executed.notebook, title="Linden LIN-03", provenance={"snapshot_sha256": "00" * 32, "note": hostile},
        cautions=[*CAUTIONS, (hostile, hostile)], heads=HEADS,
    )  # fmt: skip
    file = tmp_path_factory.mktemp("page") / "page.html"
    file.write_bytes(page.encode("utf-8"))
    return file


@dataclass
class Seen:
    """What a visit showed: the open page, requests that were tried, what was said on the console, dialogs."""

    page: object
    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def browser(chromium):
    with sync_api.sync_playwright() as playwright:
        engine = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        yield engine
        engine.close()


@pytest.fixture
def visit(browser):
    contexts = []

    def open_file(
        file: Path, *, width=1366, height=900, before="", wait="document.body.dataset.ready !== 'false'", **options
    ) -> Seen:
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        seen = Seen(context.new_page())

        def gate(route):
            if route.request.url == file.as_uri():
                return route.continue_()
            seen.asked.append(route.request.url)
            return route.abort()

        seen.page.route("**/*", gate)
        seen.page.on("console", lambda message: seen.said.append(message.text))
        seen.page.on("pageerror", lambda error: seen.said.append(str(error)))
        seen.page.on("dialog", lambda dialog: (seen.dialogs.append(dialog.message), dialog.dismiss()))
        if before:
            seen.page.add_init_script(before)
        seen.page.goto(file.as_uri())
        if wait:
            seen.page.wait_for_function(wait, timeout=20_000)
        return seen

    yield open_file
    for context in contexts:
        context.close()


def test_every_figure_is_drawn_and_nothing_is_asked_of_the_network(visit, page_file):
    seen = visit(page_file)
    assert seen.page.evaluate("document.body.dataset.ready") == "true"
    marks = seen.page.evaluate(
        f"[...document.querySelectorAll('.plot')].map(plot => plot.querySelectorAll({MARKS!r}).length)"
    )
    # Six points of two series; two bars; one box; one map; three points; bins of one-tenth to half; one bar.
    assert len(marks) == 7
    assert marks[:3] == [6, 2, 1] and all(count > 0 for count in marks), marks
    assert (seen.asked, seen.said, seen.dialogs) == ([], [], [])


def test_typed_text_does_nothing(visit, page_file, hostile):
    seen = visit(page_file)
    page = seen.page
    for words in ("press", "tap", "go"):
        for found in page.get_by_text(words, exact=True).all():
            found.click()
    page.get_by_text("Numbers of figure 7").click()
    page.wait_for_timeout(300)
    assert page.title() == "Linden LIN-03"
    assert page.url == page_file.as_uri()
    assert (
        page.evaluate(
            "[...document.querySelectorAll('*')].flatMap(e => e.getAttributeNames()).filter(n => n.startsWith('on'))"
        )
        == []
    )
    assert (
        page.evaluate("document.querySelectorAll('a[href]:not([href^=\"#\"]), iframe, object, form, img').length") == 0
    )
    assert page.locator("main pre", has_text=hostile).count() == 1
    assert (seen.asked, seen.said, seen.dialogs) == ([], [], [])


def test_the_policy_stops_what_the_cleaning_might_let_through(visit, page_file, hostile, tmp_path):
    """The second fence: the same page with live script put in by hand. Without the policy the same page is taken."""
    remote = '<img src="http://a.example/x.png">'
    text = page_file.read_text(encoding="utf-8").replace("</main>", f"{hostile}{remote}</main>")
    (tmp_path / "open.html").write_text(text, encoding="utf-8")
    seen = visit(tmp_path / "open.html")
    seen.page.wait_for_timeout(300)
    assert seen.page.title() == "Linden LIN-03"
    assert not [address for address in seen.asked if address.startswith("http")]
    assert seen.page.evaluate("document.body.dataset.ready") == "true"
    unfenced = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text)
    (tmp_path / "bare.html").write_text(unfenced, encoding="utf-8")
    bare = visit(tmp_path / "bare.html")
    bare.page.wait_for_function("document.title === 'taken'", timeout=5_000)
    assert "http://a.example/x.png" in bare.asked


def test_numbers_fold_away_on_the_screen_and_unfold_for_paper(visit, page_file):
    page = visit(page_file).page
    tables = page.locator("details.numbers table")
    assert tables.count() == 7 and not tables.first.is_visible()
    page.get_by_text("Numbers of figure 1").click()
    assert tables.first.is_visible()
    assert tables.first.locator("tbody tr").all_inner_texts() == [
        "1\t9000\t8500",
        "24\t19000\t18200",
        "72\t21000\t20400",
    ]
    page.evaluate(
        "addEventListener('beforeprint', () => {"
        " window.onPaper = document.querySelectorAll('details.numbers[open]').length })"
    )
    page.pdf()
    assert page.evaluate("window.onPaper") == 7
    assert page.locator("details.numbers[open]").count() == 0


def test_figures_fit_on_paper_and_hold_together(visit, page_file):
    page = visit(page_file).page
    page.set_viewport_size({"width": 718, "height": 1000})  # 190 mm at 96 pixels an inch: A4 less 10 mm on each side
    page.emulate_media(media="print")
    page.wait_for_timeout(300)
    for box in page.evaluate(
        "[...document.querySelectorAll('.plot svg.main-svg')].map(e => e.getBoundingClientRect().toJSON())"
    ):
        assert box["left"] >= 0 and box["width"] <= 680
    assert page.evaluate("getComputedStyle(document.querySelector('.figure-top')).breakInside") == "avoid"
    assert page.evaluate("document.documentElement.scrollWidth") <= 718


def test_folded_numbers_are_laid_out_for_print_even_if_no_event_comes(visit, page_file):
    page = visit(page_file).page
    page.emulate_media(media="print")
    assert page.locator("details.numbers[open]").count() == 0
    heights = page.evaluate(
        "[...document.querySelectorAll('details.numbers table')].map(e => e.getBoundingClientRect().height)"
    )
    assert all(height > 20 for height in heights), heights


@pytest.mark.parametrize("width", [1366, 768, 390, 320])
def test_no_width_makes_the_whole_page_scroll_sideways(visit, page_file, width):
    page = visit(page_file, width=width).page
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    for box in page.evaluate(
        "[...document.querySelectorAll('.plot svg.main-svg')].map(e => e.getBoundingClientRect().toJSON())"
    ):
        assert box["right"] <= width


def test_without_script_the_numbers_can_be_read(visit, page_file):
    seen = visit(page_file, java_script_enabled=False, wait="")
    page = seen.page
    assert page.locator("details.numbers table").count() == 7
    assert all(table.is_visible() for table in page.locator("details.numbers table").all())
    assert page.locator("body > noscript p").is_visible()
    assert not page.locator(".plot").first.is_visible()
    assert page.get_by_text("Figure 1. Viscosity over age").is_visible()
    assert seen.asked == []


def test_an_old_browser_says_so_and_shows_the_numbers(visit, page_file):
    page = visit(page_file, before="delete window.DecompressionStream").page
    assert page.evaluate("document.body.dataset.ready") == "failed"
    assert page.get_by_text("could not draw the figure").count() == 7
    assert all(table.is_visible() for table in page.locator("details.numbers table").all())


def test_a_page_with_six_figures_is_small(page_file):
    assert page_file.stat().st_size <= 1_000_000


def test_axe_finds_no_barrier(visit, page_file):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = visit(page_file).page
    page.evaluate("document.querySelectorAll('details').forEach(e => { e.open = true })")
    found = axe.Axe().run(page).response["violations"]
    # The header cell above a pandas index has no words; the kit's own tables name every column.
    problems = {
        (one["id"], node["target"][0]) for one in found for node in one["nodes"] if one["id"] != "empty-table-header"
    }
    assert problems == set()
