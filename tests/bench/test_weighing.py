"""A weighing against its target, and both ways out when a line was over-weighed: numbers worked by hand."""

from decimal import Decimal

import pytest

from kit.bench.sheet import plan_batch
from kit.bench.weighing import corrections, judge
from kit.errors import BatchError
from kit.formula.files import read_formula

D = Decimal


@pytest.fixture(scope="module")
def sheet(linden):
    return plan_batch(linden, "400 g", balances=["0.01 g"])


@pytest.fixture(scope="module")
def weighed(linden, targets_g):
    return {(phase.name, line.material.key): targets_g[line.material.key] for phase, line in linden.placed_lines()}


@pytest.mark.parametrize(
    ("key", "grams", "verdict"),
    [
        ("cetearyl-alcohol", "20.20", "within"),
        ("cetearyl-alcohol", "20.21", "over"),
        ("cetearyl-alcohol", "19.79", "under"),
        ("phenoxyethanol", "3.21", "within"),
        ("phenoxyethanol", "3.22", "over"),  # 0.5 % of 3.20 g is 0.016 g
        ("citric-acid", "0.20", "not judged"),
        ("citric-acid", "0.21", "not judged"),  # one step of the 0.01 g display: the balance cannot tell it
        ("citric-acid", "0.22", "over"),
        ("citric-acid", "0.25", "over"),
        ("citric-acid", "0.10", "under"),
    ],
)
def test_verdicts(sheet, key, grams, verdict):
    weighing = judge(sheet.line(key), D(grams))
    assert weighing.verdict == verdict
    assert verdict in weighing.words()


def test_over_weighed_by_five_percent_can_be_rescaled(sheet, weighed):
    # 12.60 / 12.00 = 1.05. Cetearyl alcohol, already weighed at 20.00 g, needs 20.00 x 0.05 = 1.00 g more; panthenol,
    # not yet weighed, 2.80 x 1.05 = 2.94 g; the batch 400 x 1.05 = 420.00 g.
    so_far = {place: mass for place, mass in weighed.items() if place[0] != "C"}
    found = corrections(sheet, {**so_far, ("A", "glycerin"): D("12.60")}, "glycerin")
    extra = {item.line.material.key: item.extra_g for item in found.extras}
    assert found.factor == D("1.05")
    assert found.feasible
    assert extra["cetearyl-alcohol"] == D("1.00")
    assert extra["panthenol-75"] == D("2.94")
    assert "glycerin" not in extra
    assert found.batch_g == D("420.00")
    assert "Rescale" in found.words()
    assert "1.0500" in found.words()
    # The other lines are 388.00 g; times 1.05 they are 407.40 g, 19.40 g more in all.
    assert "19.40 g more in all, batch 420.00 g" in found.words()


def test_over_weighed_glycerin_accepted(sheet, weighed):
    # 14.60 g of glycerin in 402.60 g: 100 x 14.60 / 402.60 = 3.6264 %; cetearyl alcohol 100 x 20.00 / 402.60 = 4.9677
    # %, water 100 x 331.80 / 402.60 = 82.4143 %. 14.60 / 12.00 = 1.2167: too much to rescale.
    found = corrections(sheet, {**weighed, ("A", "glycerin"): D("14.60")}, "glycerin")
    assert abs(found.accepted.pct("glycerin") - D("3.6264")) <= D("0.0001")
    assert abs(found.accepted.pct("cetearyl-alcohol") - D("4.9677")) <= D("0.0001")
    assert abs(found.accepted.pct("water-deionised") - D("82.4143")) <= D("0.0001")
    assert found.accepted.total == 100
    assert found.accepted_g == D("402.60")
    assert not found.feasible
    assert "grow by 21.7 %" in found.rescale_table().text()
    assert "Rescaling by 1.2167 is not advised" in found.words()
    assert "Glycerin becomes 3.63 % instead of 3.00 %, the batch 402.60 g" in found.words()
    assert "3.63" in found.accept_table().text()
    assert "2.60 g" in found.words()


def test_the_words_of_a_weighing(sheet):
    assert (
        judge(sheet.line("glycerin"), D("14.60")).words()
        == "Glycerin: 14.60 g against 12.00 g (± 0.12): over by 2.60 g (+21.7 %)"
    )
    assert judge(sheet.line("glycerin"), D("9.00")).words().endswith("under by 3.00 g (-25.0 %)")
    assert judge(sheet.line("glycerin"), D("12.10")).words().endswith(": within")
    assert judge(sheet.line("citric-acid"), D("0.20")).words().endswith(": not judged, the balance cannot tell")


def test_an_unweighed_line_of_zero_percent(library, linden_text):
    text = linden_text.replace('material = "parfum", pct = "0.40"', 'material = "parfum", pct = "0.00"')
    line = plan_batch(read_formula(text, library), "400 g").line("parfum")
    assert judge(line, D("0.00")).verdict == "within"
    assert judge(line, D("0.50")).words().endswith("over by 0.50 g")
    assert judge(line, D("0.50")).deviation_pct is None


def test_changes_are_shown_in_points_with_their_sign(sheet, weighed):
    # Glycerin 3.0000 to 3.6264 is +0.626; citric acid 0.05 to 0.20/402.60 = 0.0497 % is -0.000, shown without a sign.
    found = corrections(sheet, {**weighed, ("A", "glycerin"): D("14.60")}, "glycerin")
    rows = {line[7:].split("  ")[0]: line.split()[-1] for line in found.accept_table().text().splitlines()}
    assert rows["Glycerin"] == "+0.626"
    assert rows["Citric Acid (anhydrous)"] == "0.000"
    assert rows["Cetearyl Alcohol (30:70)"] == "-0.032"


def test_an_over_weighed_line_that_the_new_target_covers_is_no_obstacle(sheet, weighed):
    # Cetyl esters 2.08 g is over 2.00 +- 0.02 g, but 1.05 x 2.00 = 2.10 g covers it: 0.02 g more.
    found = corrections(sheet, {**weighed, ("A", "glycerin"): D("12.60"), ("B", "cetyl-esters"): D("2.08")}, "glycerin")
    assert found.feasible
    assert next(item for item in found.extras if item.line.material.key == "cetyl-esters").extra_g == D("0.02")
    exact = corrections(sheet, {**weighed, ("A", "glycerin"): D("12.60"), ("B", "cetyl-esters"): D("2.10")}, "glycerin")
    assert exact.feasible


def test_rescaling_ends_at_ten_percent(sheet, weighed):
    assert corrections(sheet, {**weighed, ("A", "glycerin"): D("13.19")}, "glycerin").feasible
    assert not corrections(sheet, {**weighed, ("A", "glycerin"): D("13.20")}, "glycerin").feasible


def test_rescaling_ends_at_the_combination(sheet, weighed):
    found = corrections(sheet, {**weighed, ("A", "glycerin"): D("12.60")}, "glycerin", combined=True)
    assert not found.feasible
    assert "combined" in found.words()
    assert "boat" not in found.words()  # nothing can be taken out of a mixed phase


def test_a_line_that_is_over_by_more_goes_first(sheet, weighed):
    found = corrections(sheet, {**weighed, ("A", "glycerin"): D("12.60"), ("B", "cetyl-esters"): D("2.18")}, "glycerin")
    assert next(item for item in found.extras if item.line.material.key == "cetyl-esters").extra_g == 0
    assert not found.feasible  # 2.18 / 2.00 = 1.09 is more than 1.05
    assert "Cetyl Esters" in " ".join(found.obstacles)


def test_what_cannot_be_corrected(sheet, weighed):
    with pytest.raises(BatchError) as caught:
        corrections(sheet, {}, "glycerin")
    assert caught.value.code == "weighing.not_weighed"
    with pytest.raises(BatchError) as caught:
        corrections(sheet, weighed, "glycerin")
    assert caught.value.code == "weighing.not_over"


def test_both_ways_show_themselves(sheet, weighed):
    found = corrections(sheet, {**weighed, ("A", "glycerin"): D("12.60")}, "glycerin")
    for text in (found._repr_html_(), str(found)):
        assert "Rescale by 1.0500" in text
        assert "Accept: 400.60 g" in text
