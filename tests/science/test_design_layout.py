from __future__ import annotations

import pytest

from kit.errors import KitError
from kit.science.design_checks import factor_names, require_count
from kit.science.design_crossed import cross, split_plot
from kit.science.design_factorial import two_level_factorial
from kit.science.design_layout import CATEGORY, Design
from kit.science.design_levels import level_series, spaced_levels, swaps
from kit.science.design_mixture import simplex_lattice


def code(call) -> str:
    with pytest.raises(KitError) as error:
        call()
    return error.value.code


def test_a_design_in_real_units():
    design = two_level_factorial(("rpm", "hold"), centre=1)
    assert design.real({"rpm": (4000, 9000), "hold": (3, 12)}) == (
        {"rpm": 4000, "hold": 3},
        {"rpm": 9000, "hold": 3},
        {"rpm": 4000, "hold": 12},
        {"rpm": 9000, "hold": 12},
        {"rpm": 6500, "hold": 7.5},
    )
    assert design.real({"rpm": (4000, 9000)})[0] == {"rpm": 4000, "hold": -1}


def test_centre_points_of_a_mixture_lie_at_its_mean():
    design = simplex_lattice(("a", "b", "c"), 1, total=6).with_centre(2)
    assert design.levels[-2:] == ((2, 2, 2),) * 2


def test_repeating_and_taking_runs():
    design = two_level_factorial(("A", "B"))
    assert design.repeated(2).levels == design.levels * 2
    assert design.taking([3, 0]).levels == ((1, 1), (-1, -1))
    assert design.column("B") == (-1, -1, 1, 1)
    assert "3 runs of 1 factor" in level_series("alcohol", [3, 4, 5]).words


def test_what_cannot_be_a_design_is_refused():
    assert code(lambda: factor_names(("A", "A"))) == "design.names"
    assert code(lambda: factor_names(("A:B",))) == "design.names"
    assert code(lambda: factor_names(())) == "design.names"
    assert code(lambda: Design(("A",), ((1.0, 2.0),))) == "design.levels"
    assert code(lambda: Design(("A",), ((float("nan"),),))) == "design.levels"
    assert code(lambda: Design(("A",), ((0.0,),) * 5000)) == "design.levels"
    assert code(lambda: Design(("A",), ((0.0,),), ("colour",))) == "design.kind"
    assert code(lambda: two_level_factorial(("A",)).column("B")) == "design.names"
    assert code(lambda: two_level_factorial(("A",)).repeated(0)) == "design.runs"
    assert code(lambda: swaps("acid", ["citric", "lactic"]).with_centre(1)) == "design.centre"
    assert code(lambda: require_count("here", least=0, runs=1.5)) == "design.count"
    assert code(lambda: require_count("here", least=0, runs=True)) == "design.count"


def test_a_single_text_is_one_factor_not_its_letters():
    assert factor_names("rpm") == ("rpm",)


def test_level_series():
    design = level_series("alcohol", [3, 5, 4, 5], repeats=2)
    assert design.column("alcohol") == (3, 5, 4, 5) * 2
    assert code(lambda: level_series("alcohol", [3, 3])) == "design.levels"
    assert spaced_levels(3, 7, 5) == (3, 4, 5, 6, 7)
    assert spaced_levels(0.1, 10, 3, logarithmic=True) == pytest.approx((0.1, 1, 10))
    assert code(lambda: spaced_levels(0, 1, 3, logarithmic=True)) == "design.levels"
    assert code(lambda: spaced_levels(1, 1, 3)) == "design.levels"
    assert code(lambda: spaced_levels(1, 2, 1)) == "design.count"


def test_swaps_show_their_names():
    design = swaps("thickener", ["none", "hydroxyethylcellulose", "xanthan"])
    assert design.kind == (CATEGORY,)
    assert design.real({})[2] == {"thickener": "xanthan"}
    assert "xanthan" in str(design)
    assert code(lambda: swaps("thickener", ["none"])) == "design.count"


def test_crossing_keeps_every_pair():
    mixture, process = simplex_lattice(("a", "b"), 2), two_level_factorial(("rpm",))
    both = cross(mixture, process)
    assert set(both.levels) == {(*one, *two) for one in mixture.levels for two in process.levels}
    assert both.kind == ("mixture", "mixture", "process")
    assert code(lambda: cross(process, process)) == "design.names"


def test_a_split_plot_says_which_scatter_judges_what():
    design = split_plot(two_level_factorial(("hot",)).repeated(2), two_level_factorial(("cold", "rest")))
    assert len(design) == 16
    assert design.whole_plot == tuple(base for base in range(4) for _ in range(4))
    assert all(
        len({design.levels[row][0] for row in range(16) if design.whole_plot[row] == base}) == 1 for base in range(4)
    )
    assert "No base is made twice" not in design.words
    assert "No base is made twice" in split_plot(two_level_factorial(("hot",)), two_level_factorial(("cold",))).words
    assert design.repeated(2).whole_plot[16:20] == (4, 4, 4, 4)
    assert code(lambda: split_plot(design, two_level_factorial(("x",)))) == "design.runs"


def test_a_design_shows_itself():
    design = two_level_factorial(("<rpm>", "hold"))
    assert "<rpm>" in str(design) and "<rpm>" not in design._repr_html_()
    assert "&lt;rpm&gt;" in design._repr_html_()
    assert "no runs, as nothing was asked" in str(Design(("A",), (), reason="nothing was asked"))
