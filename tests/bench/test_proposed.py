"""The next version from a batch as made: it adds up to 100.00 exactly and carries what was done."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.bench.events import Added, Adjusted, Combined, Gross, Taken, Weighed, WeighedBack
from kit.bench.made import as_made
from kit.bench.proposed import next_version
from kit.errors import BatchError
from kit.formula.files import read_formula
from kit.formula.writing import formula_text

D = Decimal


@pytest.fixture(scope="module")
def made(weigh_all, library, linden):
    """The eventful batch of test_made."""
    return as_made(
        [
            *weigh_all("AB", glycerin="14.60"),
            Combined(),
            WeighedBack(D("2.00"), "B"),
            Gross(D("381.80")),
            *weigh_all("C"),
            Added("C"),
            Taken(D("20.00")),
            Adjusted(library.find("citric-acid-10-solution"), D("1.20")),
        ],
        linden,
    )


def test_every_line_as_made_by_hand(made, linden):
    # Shares of 375.80 g (see test_made): glycerin 3.688, cetearyl alcohol 4.812, citric acid 0.0825 (three decimals,
    # below 0.1 %), behentrimonium chloride 80 % 10.00 x 40/42 x 0.949316 / 3.758 = 2.406, parfum 1.60 x 0.949316 /
    # 3.758 = 0.404. The others by the same factor: 0.202, 0.101; 2.406, 0.481; 0.707, 1.010, 0.808, 0.101, 0.202.
    # Rounded, without water: 3.69 + 0.20 + 0.10 + 0.082 + 4.81 + 2.41 + 2.41 + 0.48 + 0.71 + 1.01 + 0.81 + 0.10 +
    # 0.20 + 0.40 = 17.412. Water takes the rest: 100 - 17.412 = 82.588.
    newer = next_version(linden, made, why="carry the adjuster forward")
    composition = newer.composition()
    assert composition.total == 100
    assert {
        key: composition.pct(key)
        for key in (
            "glycerin",
            "citric-acid",
            "cetearyl-alcohol",
            "behentrimonium-chloride-80",
            "parfum",
            "water-deionised",
        )
    } == {
        "glycerin": D("3.69"),
        "citric-acid": D("0.082"),
        "cetearyl-alcohol": D("4.81"),
        "behentrimonium-chloride-80": D("2.41"),
        "parfum": D("0.40"),
        "water-deionised": D("82.588"),
    }
    assert (newer.version, newer.parent, newer.why) == ("2", linden.fingerprint, "carry the adjuster forward")
    assert newer.qs_lines[0].material.key == "water-deionised"
    assert newer.spec == linden.spec
    assert newer.steps == linden.steps


def test_adjusters_only_by_hand(made, linden):
    # 1.20 g of 375.80 g was poured in: 0.319319 %, of it 0.031932 % acid. Everything meant times 0.99680681: citric
    # acid 0.05 x 0.996807 + 0.031932 = 0.081772 -> 0.082; glycerin 2.990 -> 2.99; cetearyl alcohol 4.984 -> 4.98;
    # phenoxyethanol 0.797 -> 0.80. The over-weighed glycerin and the water lost are not carried.
    composition = next_version(linden, made, carry="adjusters", why="as titrated").composition()
    assert composition.total == 100
    for key, pct in {
        "citric-acid": "0.082",
        "glycerin": "2.99",
        "cetearyl-alcohol": "4.98",
        "phenoxyethanol": "0.80",
        "disodium-edta": "0.10",
    }.items():
        assert composition.pct(key) == D(pct), key


def test_an_adjuster_new_to_the_formula_opens_a_phase(linden, weigh_all, library):
    # Sodium hydroxide 10 %, 2.00 g on 400 g: 0.20 / 402.00 = 0.0498 % -> 0.050 %, written 0.05.
    made = as_made([*weigh_all(), Adjusted(library.find("sodium-hydroxide-10-solution"), D("2.00"))], linden)
    newer = next_version(linden, made, why="pH", version="1b")
    assert newer.version == "1b"
    assert newer.phases[-1].kind == "adjust"
    assert [(line.material.key, line.pct) for line in newer.phases[-1].lines] == [("sodium-hydroxide", D("0.05"))]
    assert newer.composition().total == 100
    assert read_formula(formula_text(newer), library).fingerprint == newer.fingerprint


def test_without_a_qs_line_water_takes_the_rest(library, linden_text, weigh_all, linden):
    fixed = read_formula(linden_text.replace("qs = true", 'pct = "82.95"'), library)
    newer = next_version(fixed, as_made(weigh_all(glycerin="14.60"), fixed), why="as made")
    assert newer.qs_lines == ()
    assert newer.composition().total == 100
    assert newer.composition().pct("glycerin") == D("3.63")  # 14.60 / 402.60 = 3.626 %


def test_water_on_two_lines_of_a_phase_becomes_one(library, linden_text):
    text = linden_text.replace(
        '{ material = "water-deionised", qs = true }',
        '{ material = "water-deionised", pct = "10" }, { material = "water-deionised", qs = true }',
    )
    formula = read_formula(text, library)
    weighed = [
        Weighed(line.material, phase.name, phase.kind, 4 * (line.pct or formula.qs_pct))
        for phase, line in formula.placed_lines()
    ]
    newer = next_version(formula, as_made(weighed, formula), why="as made")
    assert len(newer.qs_lines) == 1
    assert newer.composition().pct("water-deionised") == D("82.95")
    assert newer.composition().total == 100


def test_how_percentages_are_written(linden, weigh_all):
    # 400 g with EDTA 0.40 g = 0.10 %, citric acid 0.398 g = 0.0995 % -> three decimals, 0.100 -> 0.10; with 0.002 g =
    # 0.0005 %: three decimals would leave nothing, so a fourth is written (half to even of 0.00050 is 0.0005).
    def pct(grams):
        made = as_made(weigh_all(citric_acid=grams, water_deionised=str(D("332.00") - D(grams))), linden)
        newer = next_version(linden, made, why="as made")
        assert newer.composition().total == 100
        return next(str(line.pct) for _, line in newer.placed_lines() if line.material.key == "citric-acid")

    assert [pct(grams) for grams in ("0.398", "0.330", "0.320", "0.0012", "0.400", "0.420")] == [
        "0.10",
        "0.082",
        "0.08",
        "0.0003",
        "0.10",
        "0.10",
    ]


def test_adjusters_new_to_the_formula_alone(linden, weigh_all, library):
    # 0.20 g of sodium hydroxide of 402.00 g = 0.04975 % -> 0.050, written 0.05; everything meant times 0.995025:
    # glycerin 2.985 -> 2.99 (2.98507), cetearyl alcohol 4.975 -> 4.98 (4.97512).
    made = as_made([*weigh_all(), Adjusted(library.find("sodium-hydroxide-10-solution"), D("2.00"))], linden)
    composition = next_version(linden, made, carry="adjusters", why="pH").composition()
    assert [composition.pct(key) for key in ("sodium-hydroxide", "glycerin", "cetearyl-alcohol")] == [
        D("0.05"),
        D("2.99"),
        D("4.98"),
    ]
    assert composition.total == 100


def test_nothing_left_for_the_water(linden, library):
    # 0.005 g of water in 100 g with seven lines of 7.146 g and seven of 7.139 g: written 7.15 and 7.14 they are
    # 100.03 %.
    masses = [D("0.005"), *[D("7.146"), D("7.139")] * 7]
    lines = zip(linden.placed_lines(), masses, strict=True)
    weighed = [Weighed(line.material, phase.name, phase.kind, mass) for (phase, line), mass in lines]
    with pytest.raises(BatchError) as caught:
        next_version(linden, as_made(weighed, linden), why="as made")
    assert caught.value.code == "version.no_room"
    assert "water-deionised" in str(caught.value)


def test_lines_not_weighed_are_asked_about(linden, weigh_all):
    made = as_made([event for event in weigh_all() if event.material.key != "parfum"], linden)
    with pytest.raises(BatchError) as caught:
        next_version(linden, made, why="as made")
    assert caught.value.code == "version.not_weighed"
    assert "parfum" in str(caught.value)
    newer = next_version(linden, made, why="without fragrance", left_out=["parfum"])
    assert newer.composition().pct("parfum") == 0
    assert newer.composition().total == 100


def test_what_cannot_be_carried(linden, weigh_all, made):
    with pytest.raises(BatchError) as caught:
        next_version(linden, made, carry="some", why="")
    assert caught.value.code == "version.carry"
    with pytest.raises(BatchError) as caught:
        next_version(linden, as_made(weigh_all(), linden), carry="adjusters", why="")
    assert caught.value.code == "version.nothing_to_carry"


def test_a_material_weighed_in_place_of_another(linden, weigh_all, library):
    # Cetyl alcohol in place of cetyl esters, 2.00 g of 400 g.
    swapped = [
        Weighed(library.find("cetyl-alcohol"), "B", "oil", D("2.00")) if event.material.key == "cetyl-esters" else event
        for event in weigh_all()
    ]
    newer = next_version(linden, as_made(swapped, linden), why="as made", left_out=["cetyl-esters"])
    assert newer.composition().pct("cetyl-alcohol") == D("0.50")
    assert newer.phase("B").lines[-1].material.key == "cetyl-alcohol"


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.decimals("0.01", "60", places=2), min_size=14, max_size=14),
    st.decimals("100", "900", places=2),
    st.sampled_from(["all", "adjusters"]),
)
def test_the_next_version_always_adds_up(shelf, masses, water, carry):
    lines = zip(shelf.linden.placed_lines(), [water, *masses], strict=True)
    weighed = [Weighed(line.material, phase.name, phase.kind, mass) for (phase, line), mass in lines]
    made = as_made([*weighed, Adjusted(shelf.citric_10, D("1.00"))], shelf.linden)
    newer = next_version(shelf.linden, made, carry=carry, why="property")
    assert newer.composition().total == 100
    assert all(line.pct > 0 for line in newer.composition().lines)
