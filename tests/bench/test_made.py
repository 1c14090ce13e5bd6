"""The composition as made, from mass balance alone: each expected number is worked by hand beside its test."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.bench.booking import adjust_phase, line_home
from kit.bench.events import Added, Adjusted, Combined, Gross, Taken, ToppedUp, Weighed, WeighedBack
from kit.bench.made import as_made, expected_gross, gross_check
from kit.errors import BatchError
from kit.formula.files import read_formula

D = Decimal
LAST_DIGIT = D("0.0001")  # of a composition; the distance to the meant formula is at least 0.008 in each check below


@pytest.fixture(scope="module")
def citric_10(library):
    return library.find("citric-acid-10-solution")


@pytest.fixture(scope="module")
def eventful(weigh_all, citric_10):
    """400 g; glycerin over by 2.60 g; 8.0 g missing, 2.0 g of it in the oil beaker; 20 g sample; 1.2 g citric 10 %."""
    return [
        *weigh_all("AB", glycerin="14.60"),
        Combined(("A", "B")),
        WeighedBack(D("2.00"), "B", "oil beaker"),
        Gross(D("381.80")),
        *weigh_all("C"),
        Added("C"),
        Taken(D("20.00"), "titration"),
        Adjusted(citric_10, D("1.20")),
    ]


def test_an_eventful_batch_by_hand(eventful, linden):
    # 1. Weighed: A 331.80 + 14.60 + 0.80 + 0.40 + 0.20 = 347.80 g, B 42.00 g; together 389.80 g.
    # 2. 2.00 g of B stayed in its beaker: 40.00 g of 42.00 g entered. Cetearyl alcohol 20.00 x 40/42 = 19.047619 g.
    #    By the book 347.80 + 40.00 = 387.80 g.
    # 3. Net 381.80 g: 389.80 - 381.80 = 8.00 g missing, 2.00 g found back, 6.00 g called water.
    #    Water 331.80 - 6.00 = 325.80 g.
    # 4. C 12.80 g added: 381.80 + 12.80 = 394.60 g.
    # 5. 20.00 g taken: everything times (394.60 - 20.00)/394.60 = 0.9493157628.
    #    Water 309.287075 g, glycerin 13.860010 g, cetearyl alcohol 18.082205 g, citric acid 0.189863 g,
    #    phenoxyethanol 3.037810 g; together 374.60 g.
    # 6. 1.20 g of citric acid 10 %: 0.12 g acid, 1.08 g water. Water 310.367075 g, citric acid 0.309863 g; 375.80 g.
    # 7. Over 375.80 g:
    made = as_made(eventful, linden)
    expected = {
        "water-deionised": D("82.5884"),  # 310.367075 / 375.80
        "glycerin": D("3.6881"),  # 13.860010 / 375.80
        "cetearyl-alcohol": D("4.8117"),  # 18.082205 / 375.80
        "citric-acid": D("0.0825"),  # 0.309863 / 375.80
        "phenoxyethanol": D("0.8084"),  # 3.037810 / 375.80, a cool-down line
    }
    for key, pct in expected.items():
        assert abs(made.composition.pct(key) - pct) <= LAST_DIGIT, key
    assert made.composition.total == 100
    assert made.composition.state == "made"
    assert made.yield_g == D("375.80")
    assert made.theoretical_g == D("403.80")  # 402.60 weighed + 1.20 poured in
    assert (made.missing_g, made.weighed_back_g, made.water_lost_g, made.taken_g) == (8, 2, 6, 20)
    assert any("assumption" in note for note in made.notes)
    assert made.findings == ()


def test_the_mass_balance_is_told_step_by_step(eventful, linden):
    text = as_made(eventful, linden).balance_table().text()
    for number in ("387.80", "381.80", "394.60", "374.60", "375.80", "403.80"):
        assert number in text
    assert "assumption" in text
    assert "titration" in text
    assert "after 2.00 g found back" in text


def test_water_made_up_replaces_what_was_lost(weigh_all, linden):
    # 5.90 g lost, 5.90 g made up: the formula as meant, in every decimal.
    events = [*weigh_all("AB"), Combined(), Gross(D("381.30")), ToppedUp(D("5.90")), *weigh_all("C"), Added("C")]
    made = as_made(events, linden)
    assert made.water_lost_g == D("5.90")
    assert {line.material.key: line.pct for line in made.composition.lines} == {
        line.material.key: line.pct for line in linden.composition().lines
    }


def test_a_gross_weighing_as_it_is_made(linden, weigh_all):
    # Tare 312.40 g, gross 695.10 g: net 382.70 g. By the book A and B, here with glycerin at 13.40 g: 346.60 + 42.00
    # = 388.60 g. 388.60 - 382.70 = 5.90 g; 100 x 5.90 / 388.60 = 1.52 % of the mass; 100 x 5.90 / 331.80 = 1.78 % of
    # the water.
    events = [*weigh_all("AB", glycerin="13.40"), Combined()]
    check = gross_check(events, linden, D("695.10") - D("312.40"))
    assert (check.book_g, check.missing_g, check.make_up_g) == (D("388.60"), D("5.90"), D("5.90"))
    for part in (
        "net 382.70 g",
        "5.90 g (1.52 % of the 388.60 g by the book, 1.78 % of the water) missing",
        "weigh back",
        "called water",
        "make up with 5.90 g",
    ):
        assert part in check.words()
    assert expected_gross(events, linden) == D("388.60")
    back = gross_check([*events, WeighedBack(D("2.10"), "B")], linden, D("382.70"))
    assert back.missing_g == D("3.80")  # 5.90 - 2.10
    assert "after 2.10 g found back" in back.words()


def test_more_in_the_vessel_than_was_weighed_is_a_finding_and_books_nothing(linden, weigh_all):
    # 387.20 g by the book; 0.5 % is 1.936 g and two divisions 0.02 g: 389.15 g is scatter, 389.16 g is not.
    def events(net):
        return [*weigh_all("AB"), Combined(), Gross(D(net)), *weigh_all("C"), Added("C")]

    assert as_made(events("389.15"), linden).findings == ()
    made = as_made(events("389.16"), linden)
    assert [finding.code for finding in made.findings] == ["gross.more_than_weighed"]
    assert made.water_lost_g == 0
    assert made.yield_g == 400


def test_a_phase_not_recorded_as_added_is_suspected_first(linden, weigh_all):
    made = as_made([*weigh_all("AB"), Combined(), *weigh_all("C"), Gross(D("400.00"))], linden)
    assert "Phase C is weighed but not recorded as added" in made.findings[0].words
    assert made.yield_g == 400  # counted as added at the end
    assert any("counted as added at the end" in note for note in made.notes)
    said = as_made([*weigh_all("AB"), Combined(), *weigh_all("C"), Gross(D("400.00"), ("A", "B", "C"))], linden)
    assert said.findings == ()


def test_more_lost_than_there_is_water(linden, weigh_all):
    with pytest.raises(BatchError) as caught:
        as_made([*weigh_all("AB"), Combined(), Gross(D("50"))], linden)
    assert caught.value.code == "gross.more_lost_than_water"


def test_a_large_loss_is_booked_and_questioned(linden, weigh_all):
    # 20 g of 331.80 g water is 6.0 %; up to 5 % is usual.
    made = as_made([*weigh_all("AB"), Combined(), Gross(D("367.20")), *weigh_all("C")], linden)
    assert made.water_lost_g == 20
    assert [finding.code for finding in made.findings] == ["gross.large_loss"]


def test_a_loss_at_the_usual_limit_is_not_questioned(linden, weigh_all):
    # 5 % of 331.80 g is 16.59 g: 387.20 - 16.59 = 370.61 g.
    assert as_made([*weigh_all("AB"), Combined(), Gross(D("370.61")), *weigh_all("C")], linden).findings == ()
    made = as_made([*weigh_all("AB"), Combined(), Gross(D("370.00")), *weigh_all("C")], linden)
    # 17.20 g, 100 x 17.20 / 331.80 = 5.18 %
    assert "17.20 g, 5.2 % of the water" in made.findings[0].words
    assert (made.findings[0].value, made.findings[0].limit) == (D("5.2"), 5)


def test_nothing_missing_is_not_called_a_loss(linden, weigh_all):
    made = as_made([*weigh_all("AB"), Combined(), Gross(D("387.20")), *weigh_all("C"), Added("C")], linden)
    assert made.notes == ()
    assert "nothing is missing" in gross_check([*weigh_all("AB"), Combined()], linden, D("387.20")).words()
    above = gross_check([*weigh_all("AB"), Combined()], linden, D("388.00"))
    assert "nothing is missing" in above.words()
    assert above.make_up_g == 0
    far_above = gross_check([*weigh_all("AB"), Combined()], linden, D("400.00"))
    assert "12.80 g more than the 387.20 g by the book" in far_above.words()
    finding = as_made([*weigh_all("AB"), Combined(), Gross(D("400.00")), *weigh_all("C")], linden).findings[0]
    assert (finding.value, finding.limit) == (400, D("387.20"))


def test_all_of_the_water_may_be_lost_and_no_more(linden, weigh_all):
    # 387.20 - 331.80 = 55.40 g is left without any water.
    made = as_made([*weigh_all("AB"), Combined(), Gross(D("55.40")), *weigh_all("C")], linden)
    assert made.mass_g("water-deionised") == 0
    with pytest.raises(BatchError):
        as_made([*weigh_all("AB"), Combined(), Gross(D("55.39")), *weigh_all("C")], linden)


def test_masses_of_one_material(eventful, linden):
    # Step 6 of the batch by hand: 13.860010 g of glycerin, 0.309863 g of citric acid of which 0.12 g was poured in.
    made = as_made(eventful, linden)
    assert abs(float(made.mass_g("glycerin")) - 13.860010) < 1e-6
    citric = next(line for line in made.lines if line.material.key == "citric-acid")
    assert citric.adjuster_g == D("0.12")
    assert all(
        line.adjuster_g == 0 for line in made.lines if line.material.key not in ("citric-acid", "water-deionised")
    )


def test_adjuster_taken_with_a_sample_leaves_with_it(linden, weigh_all, citric_10):
    # 0.12 g of acid in 401.20 g; 40.12 g taken is a tenth: 0.108 g stays.
    made = as_made([*weigh_all(), Adjusted(citric_10, D("1.20")), Taken(D("10.00"))], linden)
    assert made.taken_g == 10
    combined = as_made(
        [*weigh_all(), Combined(), Added("C"), Adjusted(citric_10, D("1.20")), Taken(D("40.12"))], linden
    )
    assert next(line for line in combined.lines if line.material.key == "citric-acid").adjuster_g == D("0.108")


def test_changes_in_the_ledger_carry_their_sign(eventful, linden):
    made = as_made(eventful, linden)
    assert [row.change_g for row in made.ledger] == [D("387.80"), -6, D("12.80"), -20, D("1.20")]
    rows = made.balance_table().text().splitlines()
    assert [row.split()[-2] for row in rows[3:8]] == ["+387.80", "-6.00", "+12.80", "-20.00", "+1.20"]


def test_a_weigh_back_is_told_where_its_phase_went_in(linden, weigh_all):
    # Nothing combined: each line of B entered as 40/42 of what was weighed; cetearyl alcohol 20.00 x 2/42 = 0.95 g
    # back.
    made = as_made([*weigh_all(), WeighedBack(D("2.00"), "B")], linden)
    told = [row.what for row in made.ledger]
    assert "Cetearyl Alcohol (30:70) weighed in (after 0.95 g found back)" in told
    assert "Glycerin weighed in" in told
    assert any("phase C added at the end" in what for what in told)
    both = as_made([*weigh_all("AB"), Combined(), WeighedBack(D("2.00"), "B"), *weigh_all("C"), Added("C")], linden)
    assert [row.what for row in both.ledger] == ["phases A and B combined (after 2.00 g found back)", "phase C added"]


def test_what_was_found_in_the_words_of_the_check(linden, weigh_all):
    events = [*weigh_all("AB"), Combined()]
    assert "weigh back the beakers, the boats" in gross_check(events, linden, D("380")).words()
    assert (
        "weigh back other beakers, boats" in gross_check([*events, WeighedBack(D("1"), "B")], linden, D("380")).words()
    )


def test_everything_found_back(linden, weigh_all, library):
    # The whole oil phase stayed behind: only A and C are in, 345.20 + 12.80 = 358.00 g.
    made = as_made([*weigh_all(), WeighedBack(D("42.00"), "B")], linden)
    assert made.yield_g == 358
    assert made.composition.pct("cetearyl-alcohol") == 0
    assert "cetearyl-alcohol" in made.findings[0].materials
    boat = as_made([*weigh_all(), WeighedBack(D("0.20"), "A", "boat", library.find("citric-acid"))], linden)
    assert boat.mass_g("citric-acid") == 0


def test_two_gross_weighings_and_a_tool_after_them(linden, weigh_all):
    # Weighed twice before the head was weighed back: the head had left before both. 387.20 - 3.20 = 384.00 g; net
    # 383.00 leaves 1.00 g unexplained, the second weighing at 383.00 g nothing more.
    weighing, head = Gross(D("383.00")), WeighedBack(D("3.20"), container="mixing head")
    made = as_made([*weigh_all("AB"), Combined(), weighing, weighing, head, *weigh_all("C"), Added("C")], linden)
    assert made.water_lost_g == 1
    assert "found on mixing head" in made.balance_table().text()


def test_where_water_and_adjusters_are_booked(library, linden_text):
    water = '{ material = "water-deionised", qs = true }'
    hold_back = (
        '[[phase]]\nname = "D"\nkind = "cool-down"\nline = [ { material = "water-deionised", pct = "%s" } ]\n[[step]]'
    )
    qs_first = read_formula(linden_text.replace("[[step]]", hold_back % "60"), library)
    assert line_home(qs_first, None)[0] == "A"  # q.s. comes before the larger line
    fixed = linden_text.replace(water, '{ material = "water-deionised", pct = "22.95" }').replace(
        "[[step]]", hold_back % "60"
    )
    assert line_home(read_formula(fixed, library), None)[0] == "D"  # else the largest
    assert adjust_phase(qs_first) == "E"  # D is taken


def test_batch_left_on_the_mixing_head_is_batch(linden, weigh_all):
    # 387.20 g by the book; 3.20 g on the head and 1.00 g of steam: net 383.00 g. Water 331.80 x 384.00/387.20 - 1.00
    # = 329.057851 - 1.00 = 328.057851 g; with C 395.80 g: 82.8848 %.
    head, weighing = WeighedBack(D("3.20"), container="mixing head"), Gross(D("383.00"))
    made = as_made([*weigh_all("AB"), Combined(), weighing, head, *weigh_all("C"), Added("C")], linden)
    assert made.water_lost_g == 1
    assert made.yield_g == D("395.80")
    assert abs(made.composition.pct("water-deionised") - D("82.8848")) <= LAST_DIGIT
    assert (
        as_made([*weigh_all("AB"), Combined(), head, weighing, *weigh_all("C"), Added("C")], linden).lines == made.lines
    )


def test_a_boat_with_one_material_is_that_material(linden, weigh_all, library):
    # 0.20 g of 3.20 g phenoxyethanol stayed in its boat: 3.00 g in 399.80 g = 0.7504 %; the parfum in the same phase
    # keeps its 1.60 g: 0.4002 %.
    made = as_made([*weigh_all(), WeighedBack(D("0.20"), "C", "boat", library.find("phenoxyethanol"))], linden)
    assert abs(made.composition.pct("phenoxyethanol") - D("0.7504")) <= LAST_DIGIT
    assert abs(made.composition.pct("parfum") - D("0.4002")) <= LAST_DIGIT


def test_portions_of_a_line_add_up(linden, weigh_all, library):
    split = [*weigh_all(cetearyl_alcohol="12.50"), Weighed(library.find("cetearyl-alcohol"), "B", "oil", D("7.50"))]
    assert as_made(split, linden).composition == as_made(weigh_all(), linden).composition


def test_hold_back_water_poured_after_the_combination(linden, weigh_all, library):
    # 301.80 g hot and 30.00 g later, weighed after a gross weighing that must not see it: 357.20 g by the book.
    water = library.find("water-deionised")
    events = [
        *weigh_all("AB", water_deionised="301.80"),
        Combined(),
        Gross(D("357.20")),
        Weighed(water, "A", "water", D("30.00")),
        *weigh_all("C"),
    ]
    made = as_made(events, linden)
    assert made.water_lost_g == 0
    assert made.composition.pct("water-deionised") == D("82.95")


def test_an_adjuster_with_a_line_of_its_own_stays_there(library, citric_10, linden_text):
    # The formula has the stock solution itself as a line: 1.00 % = 4.00 g; 1.00 g more makes 5.00 g of 401.00 g =
    # 1.2469 %.
    text = linden_text.replace(
        "[[step]]",
        '[[phase]]\nname = "D"\nkind = "adjust"\nline = [ { material = "citric-acid-10-solution", '
        'pct = "1.00" } ]\n[[step]]',
    )
    formula = read_formula(text, library)
    weighed = [
        Weighed(line.material, phase.name, phase.kind, 4 * (line.pct or formula.qs_pct))
        for phase, line in formula.placed_lines()
    ]
    made = as_made([*weighed, Adjusted(citric_10, D("1.00"))], formula)
    assert abs(made.composition.pct("citric-acid-10-solution") - D("1.2469")) <= LAST_DIGIT


def test_an_adjuster_new_to_the_formula_gets_the_adjust_phase(linden, weigh_all, library):
    # 2.00 g of sodium hydroxide 10 %: 0.20 g in 402.00 g = 0.0498 %, and 1.80 g water: 333.60 / 402.00 = 82.9851 %.
    made = as_made([*weigh_all(), Adjusted(library.find("sodium-hydroxide-10-solution"), D("2.00"))], linden)
    line = next(line for line in made.lines if line.material.key == "sodium-hydroxide")
    assert (line.phase, line.kind, line.adjuster_g) == ("D", "adjust", D("0.20"))
    assert abs(made.composition.pct("sodium-hydroxide") - D("0.0498")) <= LAST_DIGIT
    assert abs(made.composition.pct("water-deionised") - D("82.9851")) <= LAST_DIGIT


def test_a_line_not_weighed_is_said(linden, weigh_all):
    made = as_made(weigh_all("AB"), linden)
    assert made.findings[0].code == "made.not_weighed"
    assert "phenoxyethanol" in made.findings[0].materials
    assert "Phenoxyethanol" in str(made)


def test_a_batch_never_weighed_whole_says_so(linden, weigh_all):
    assert any("never weighed whole" in note for note in as_made(weigh_all(), linden).notes)


def test_a_gross_weighing_before_the_combination_is_recorded(linden, weigh_all):
    # The vessel was weighed with the hot phases in it, then the combination was typed: the same batch.
    weighed = [*weigh_all("AB"), Gross(D("385.20"))]
    alone = as_made([*weighed, *weigh_all("C")], linden)
    later = as_made([*weighed, Combined(), *weigh_all("C")], linden)
    assert alone.water_lost_g == later.water_lost_g == 2
    assert alone.composition == later.composition


def test_the_water_phase_weighed_alone(linden, weigh_all):
    # A 345.20 g by the book, net 343.20 g: 2.00 g steam before the oil phase came in.
    event = Gross(D("343.20"), ("A",))
    assert gross_check(weigh_all("AB"), linden, D("343.20"), ("A",)).missing_g == 2
    made = as_made([*weigh_all("AB"), event, Combined(), *weigh_all("C"), Added("C")], linden)
    assert made.water_lost_g == 2
    assert made.yield_g == 398


@pytest.mark.parametrize(
    ("events", "code"),
    [
        ([Combined(("A", "Z"))], "batch.phase"),
        ([Added("Z")], "batch.phase"),
        ([Gross(D("10"), ("Z",))], "batch.phase"),
        ([Combined(), Gross(D("300"), ("A",))], "gross.phases"),
        ([Combined(), Taken(D("400"))], "batch.taken"),
        ([WeighedBack(D("43"), "B")], "batch.weigh_back"),
        ([WeighedBack(D("1"), "Z")], "batch.weigh_back"),
        ([Taken(D("0"))], "batch.mass"),
        ([ToppedUp(D("-1"))], "batch.mass"),
        ([Gross(D("-1"))], "batch.mass"),
    ],
)
def test_events_that_do_not_fit(linden, weigh_all, events, code):
    with pytest.raises(BatchError) as caught:
        as_made([*weigh_all("AB"), *events], linden)
    assert caught.value.code == code


def test_too_much_back_from_a_boat(linden, weigh_all, library):
    with pytest.raises(BatchError) as caught:
        as_made([*weigh_all(), WeighedBack(D("0.21"), "A", "boat", library.find("citric-acid"))], linden)
    assert caught.value.code == "batch.weigh_back"


def test_nothing_weighed_and_nothing_left(linden, weigh_all):
    for events in ([], [Combined()], [*weigh_all(), Taken(D("387.20")), Taken(D("12.80"))]):
        with pytest.raises(BatchError) as caught:
            as_made(events, linden)
        assert caught.value.code in ("batch.nothing_weighed", "batch.taken")
    with pytest.raises(BatchError) as caught:
        gross_check([], linden, D("10"))
    assert caught.value.code == "gross.empty"


def test_water_make_up_needs_a_water_line(library):
    formula = read_formula(
        'name = "oil"\nversion = "1"\n[[phase]]\nname = "B"\nkind = "oil"\n'
        'line = [ { material = "parfum", qs = true } ]',
        library,
    )
    parfum = Weighed(library.find("parfum"), "B", "oil", D("10"))
    with pytest.raises(BatchError) as caught:
        as_made([parfum, ToppedUp(D("1"))], formula)
    assert caught.value.code == "batch.top_up"
    named = as_made([parfum, ToppedUp(D("1"), library.find("water-deionised"))], formula)
    assert abs(named.composition.pct("water-deionised") - D("9.0909")) <= LAST_DIGIT  # 1 g of 11 g


def test_it_shows_itself(eventful, linden):
    made = as_made(eventful, linden)
    for text in (made._repr_html_(), str(made)):
        assert "Mass balance" in text
        assert "82.59" in text


# Properties
# -------------------------------------------------------------------------------------------------------------

MASS = st.decimals(min_value="0.01", max_value="400", places=2)


@st.composite
def batches(draw):
    """Masses for fifteen lines and what may befall them: all as numbers, made into events by `_events`."""
    masses = draw(st.lists(MASS, min_size=15, max_size=15))
    return {
        "masses": masses,
        "back": draw(st.decimals("0", "0.9", places=2)),
        "lost": draw(st.decimals("0", "0.9", places=2)),
        "taken": draw(st.decimals("0.01", "0.9", places=2)),
        "poured": draw(st.decimals("0.01", "5", places=2)),
        "at": draw(st.integers(0, 20)),
    }


def _events(case, shelf, scale=1):
    masses, placed = case["masses"], list(shelf.linden.placed_lines())
    back, lost = case["back"] * sum(masses[5:9]), case["lost"] * masses[0]
    taken, net = case["taken"] * (sum(masses) - back - lost), sum(masses[:9]) - back - lost
    weighed = [
        Weighed(line.material, phase.name, phase.kind, mass * scale)
        for (phase, line), mass in zip(placed, masses, strict=True)
    ]
    events = [
        *weighed[:9],
        Combined(),
        Gross(net * scale),
        *weighed[9:],
        Added("C"),
        Taken(taken * scale),
        Adjusted(shelf.citric_10, case["poured"] * scale),
    ]
    events.insert(min(case["at"], len(events)), WeighedBack(back * scale, "B"))
    return events


@settings(deadline=None)
@given(batches())
def test_masses_are_kept(shelf, case):
    made = as_made(_events(case, shelf), shelf.linden)
    assert made.theoretical_g == made.yield_g + made.weighed_back_g + made.water_lost_g + made.taken_g
    assert sum(line.mass_g for line in made.lines) == made.yield_g == made.ledger[-1].vessel_g
    assert made.composition.total == 100


@settings(deadline=None)
@given(batches(), st.integers(2, 30))
def test_a_batch_ten_times_as_large_has_the_same_composition(shelf, case, scale):
    assert (
        as_made(_events(case, shelf), shelf.linden).composition
        == as_made(_events(case, shelf, scale), shelf.linden).composition
    )


@settings(deadline=None)
@given(batches(), st.integers(0, 20))
def test_when_a_weigh_back_is_typed_does_not_matter(shelf, case, at):
    assert (
        as_made(_events(case, shelf), shelf.linden).lines
        == as_made(_events({**case, "at": at}, shelf), shelf.linden).lines
    )


@settings(deadline=None)
@given(batches())
def test_taking_changes_no_share(shelf, case):
    events = [event for event in _events(case, shelf) if not isinstance(event, (Taken, Adjusted))]
    taken = as_made([*events, Taken(D("0.01"))], shelf.linden)
    assert taken.composition == as_made(events, shelf.linden).composition
    assert taken.yield_g == as_made(events, shelf.linden).yield_g - Fraction(1, 100)


def test_weighing_every_target_and_nothing_else_changes_nothing(linden, weigh_all):
    made = as_made(weigh_all(), linden)
    meant = linden.composition()
    assert [(line.material, line.pct, line.phase) for line in made.composition.lines] == [
        (line.material, line.pct, line.phase) for line in meant.lines
    ]
