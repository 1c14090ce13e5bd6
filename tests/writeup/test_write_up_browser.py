"""The demo's pages in a real browser with every request refused. Referees: Chromium, and axe-core if installed."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser
sync_api = pytest.importorskip("playwright.sync_api")

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]
SERIOUS = {"serious", "critical"}


@pytest.fixture(scope="module")
def browser(chromium):
    with sync_api.sync_playwright() as playwright:
        engine = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        yield engine
        engine.close()


@pytest.fixture(params=["trial", "pair", "results"])
def shown(request, browser, written, results):
    """One of the pages, drawn, with what it asked for and what it complained of."""
    made = results if request.param == "results" else getattr(written, request.param)
    context = browser.new_context(viewport={"width": 1366, "height": 900}, offline=True)
    opened, asked, said = context.new_page(), [], []

    def gate(route):
        if route.request.url == made.page.as_uri():
            return route.continue_()
        asked.append(route.request.url)
        return route.abort()

    opened.route("**/*", gate)
    opened.on("console", lambda message: said.append(message.text))
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.goto(made.page.as_uri())
    opened.wait_for_function("document.body.dataset.ready !== 'false'", timeout=20_000)
    yield opened, made, asked, said
    context.close()


def test_every_figure_has_drawn_marks_and_nothing_is_asked_of_the_network(shown, page):
    opened, made, asked, said = shown
    assert opened.evaluate("document.body.dataset.ready") == "true"
    drawn = opened.evaluate(
        "[...document.querySelectorAll('.plot')].map(plot => plot.querySelectorAll('.plot-container .point').length)"
    )
    # Every point and bar that the data hold has its mark: plotly gives each the class `point`.
    held = [
        sum(len(trace["y"]) for trace in figure["data"] if "markers" in trace.get("mode", "") or trace["type"] == "bar")
        for figure in page.read(made.page).figures
    ]
    assert len(drawn) == made.figures == len(held)
    assert min(held) > 0
    assert drawn == held
    opened.wait_for_timeout(300)
    assert (asked, said) == ([], [])


def test_marks_are_seen_inside_the_figure(shown):
    """A mark that lies outside its drawing or has no size is drawn and not seen."""
    opened, _, _, _ = shown
    hidden = opened.evaluate(
        """[...document.querySelectorAll('.plot')].flatMap(plot => {
             const frame = plot.querySelector('.main-svg').getBoundingClientRect()
             return [...plot.querySelectorAll('.plot-container .scatterlayer .point')].filter(mark => {
               const box = mark.getBoundingClientRect()
               return !(box.width + box.height > 0) || box.right < frame.left || box.left > frame.right
                 || box.bottom < frame.top || box.top > frame.bottom
             }).map(mark => plot.id)
           })"""
    )
    assert hidden == []


def test_axe_finds_nothing_serious(shown):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    opened, _, _, _ = shown
    opened.evaluate("document.querySelectorAll('details').forEach(e => { e.open = true })")
    found = axe.Axe().run(opened).response
    assert len(found["passes"]) > 10  # it did look
    assert [(one["id"], one["nodes"][0]["target"]) for one in found["violations"] if one["impact"] in SERIOUS] == []
