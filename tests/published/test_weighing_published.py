"""Weighing and mass balance against what others print, and against arithmetic written out beside it."""

from decimal import Decimal

import pytest

from kit.bench.balances import Balance, repeatability_g, smallest_weight_g
from kit.bench.events import Adjusted, Weighed
from kit.bench.made import as_made
from kit.bench.sheet import plan_batch
from kit.errors import BatchError
from kit.formula.formula import Formula
from kit.formula.library import load_library
from kit.formula.material import Material, Part, Substance
from kit.formula.model import Line, Phase

D = Decimal
POINT_ONE = D("0.10")


@pytest.mark.parametrize(
    ("division", "scatter", "smallest"),
    [
        # USP <41> Balances, official 1 Aug 2019, as quoted in its revision text: "if s is found to be 0.00015, then
        # Mmin must be >= 0.30000 g" (0.10 %, 2 s / m).
        ("0.0001", "0.00015", "0.30000"),
        # The same chapter: s below 0.41 d is replaced by 0.41 d; makers' summaries of the change print "820 d" as the
        # smallest possible minimum weight: 820 x 0.0001 g.
        ("0.0001", None, "0.0820"),
        ("0.0001", "0.00001", "0.0820"),
        ("0.01", None, "8.20"),
    ],
)
def test_minimum_weight_of_usp_41(division, scatter, smallest):
    assert smallest_weight_g(D(division), D(scatter) if scatter else None, POINT_ONE) == D(smallest)


def test_minimum_weight_from_ten_weighings():
    # Deviations from 50 g in 0.1 mg: 1 2 0 3 1 -1 2 1 0 2; sum 11, mean 1.1; sum of squares 25, less 10 x 1.21 =
    # 12.9; over 9 = 1.43333; root 1.19722: s = 0.000119722 g, 2000 s = 0.23944 g. (USP <41>; 0.41 d = 0.000041 g is
    # less.) Without the rule for s the answer would be 820 d = 0.082 g.
    last_digits = (1, 2, 0, 3, 1, -1, 2, 1, 0, 2)
    readings = [50 + D("0.0001") * digit for digit in last_digits]
    s = repeatability_g(readings)
    assert abs(s - D("0.000119722")) < D("0.000000001")
    assert abs(smallest_weight_g(D("0.0001"), s, POINT_ONE) - D("0.23944")) < D("0.00001")
    with pytest.raises(BatchError) as caught:
        repeatability_g(readings[:9])  # USP <41>: not less than ten
    assert caught.value.code == "weighing.too_few"


LINES_G = {"alcohol": "12.0", "perfume": "1.0", "dye": "0.02"}  # 6, 0.5 and 0.01 % of 200 g


def test_which_lines_a_balance_may_weigh():
    # d = 0.01 g, s = 0.006 g: 2 x 0.006 / 0.10 % = 12.0 g, so that of 12.0 g, 1.0 g and 0.02 g only the first may be
    # weighed; at 1 % it is 1.2 g. (USP <41> rule; the 1 % is common practice, no source.)
    smallest = smallest_weight_g(D("0.01"), D("0.006"), POINT_ONE)
    assert smallest == D("12.0")
    may_be_weighed = {name: D(grams) >= smallest for name, grams in LINES_G.items()}
    assert may_be_weighed == {"alcohol": True, "perfume": False, "dye": False}
    assert smallest_weight_g(D("0.01"), D("0.006")) == D("1.2")


def test_least_scatter_of_a_balance():
    # USP <41>: s below 0.41 d is replaced by 0.41 d; d = 0.0001 g: 0.000041 g. Above it the measured s is used.
    assert Balance("", D("0.0001"), D("0.00001")).scatter_g == D("0.000041")
    assert Balance("", D("0.0001"), D("0.00011972")).scatter_g == D("0.00011972")


def test_which_lines_of_a_batch_get_a_tolerance():
    # 200 g on d = 0.01 g, s = 0.006 g: perfume 0.5 % = 1.0 g, dye solution 0.01 % = 0.02 g, alcohol 6 % = 12.0 g. At
    # 1 % the smallest weight is 1.2 g: only the alcohol can be weighed. By the division alone (0.82 g) the perfume too.
    water = Substance("Aqua", "water")
    forms = {name: _form(name, Substance(name, "active"), water, D(100)) for name in ("perfume", "dye", "alcohol")}
    lines = (Line(forms["perfume"], D("0.5")), Line(forms["dye"], D("0.01")), Line(forms["alcohol"], D("6")))
    formula = Formula(
        "lines",
        "1",
        "rinse-off hair",
        (Phase("A", "water", (Line(_form("water", water, water, D(100)), qs=True), *lines)),),
    )

    def weighable(balance):
        sheet = plan_batch(formula, "200 g", balances=[balance])
        return {line.material.key for line in sheet.lines if line.tolerance_g is not None} - {"water"}

    assert weighable(("BAL-1", "0.01 g", "0.006 g")) == {"alcohol"}
    assert weighable("0.01 g") == {"alcohol", "perfume"}


@pytest.fixture(scope="module")
def library():
    return load_library()


def _form(name, substance, water, pct):
    parts = (Part(substance, pct), *([Part(water, 100 - pct, role="water")] if pct < 100 else []))
    return Material(name, name, parts, label_inci=substance.inci)


@pytest.mark.parametrize(
    ("active_pct", "grams"), [("80", "10.000"), ("70", "11.429"), ("50", "16.000"), ("25", "32.000")]
)
def test_grams_of_a_supply_form_for_two_percent_active(active_pct, grams):
    # Arithmetic: 400 g x 2.0 % / active content. 8 g of active in every case; weighed without conversion it would be
    # 8.000 g.
    active, water = Substance("Active", "cationic surfactant"), Substance("Aqua", "water")
    form = _form("active form", active, water, D(active_pct))
    pct = 2 * 100 / D(active_pct)
    formula = Formula(
        "two percent",
        "1",
        "rinse-off hair",
        (Phase("A", "water", (Line(_form("water", water, water, D(100)), qs=True), Line(form, pct))),),
    )
    sheet = plan_batch(formula, "400 g", balances=["0.001 g"])
    assert sheet.target("active form") == D(grams)
    assert abs(formula.composition().shares()["Active"].pct - 2) < D("1e-20")


def test_an_acid_solution_poured_into_a_finished_batch(library):
    # Mass balance: 500 g and 3.2 g of a 20 % solution: 503.2 g; acid 0.64 / 503.2 = 0.1272 %; everything else times
    # 500 / 503.2 = 0.993641. Booked as if nothing were diluted, the acid would be 0.128 % and glycerin 10 %.
    water, glycerin, acid = (library.find(key) for key in ("water-deionised", "glycerin", "citric-acid"))
    solution = Material(
        "acid-20",
        "Citric acid, 20 % solution",
        (Part(acid.parts[0].substance, D(20)), Part(water.parts[0].substance, D(80), "water")),
        made_from=((acid, D(20)), (water, D(80))),
    )
    formula = Formula(
        "base", "1", "rinse-off hair", (Phase("A", "water", (Line(water, qs=True), Line(glycerin, D(10)))),)
    )
    weighed = [Weighed(water, "A", "water", D(450)), Weighed(glycerin, "A", "water", D(50))]
    made = as_made([*weighed, Adjusted(solution, D("3.2"))], formula)
    assert made.yield_g == D("503.2")
    assert abs(made.composition.pct("citric-acid") - D("0.1272")) <= D("0.00005")
    assert abs(made.composition.pct("glycerin") / 10 - D("0.993641")) <= D("0.00001")
