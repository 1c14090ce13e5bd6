"""Many compositions at once give what each gives alone, near its limits too, and in a fifth of the time."""

from __future__ import annotations

import random
import time
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kit.formula.composition import Composition, CompositionLine
from kit.formula.material import Fact
from kit.formula.rules import review
from kit.formula.rules.many import review_many

NAMES = ("linden", "calendula", "meadowsweet", "sage")

# Lines that make every rule speak now and then, beside those of the example: key, most it is given.
STRANGERS = (
    ("xanthan-gum", "0.10"),
    ("sodium-laureth-sulfate-27", "1.00"),
    ("sodium-cocoyl-glutamate-25", "1.00"),
    ("cetrimonium-chloride-neat", "3.00"),
    ("dioleoylethyl-hydroxyethylmonium-methosulfate-75", "3.00"),
    ("brassicamidopropyl-dimethylamine", "2.00"),
    ("laureth-23", "0.50"),
    ("benzyl-alcohol", "1.10"),
)


def _with(base: Composition, lines, percents) -> Composition:
    """The base with other percentages; water, its first line, takes the rest."""
    made = [replace(line, pct=pct) for line, pct in zip(lines, percents, strict=True)]
    rest = 100 - sum((line.pct for line in made), Decimal(0))
    return Composition((replace(base.lines[0], pct=rest), *made), "made", base.product, base.steps)


def _varied(base: Composition, count: int, spread: float, seed: int) -> list[Composition]:
    drawn, lines = random.Random(seed), base.lines[1:]
    return [
        _with(
            base, lines, [Decimal(f"{float(line.pct) * drawn.uniform(1 - spread, 1 + spread):.2f}") for line in lines]
        )
        for _ in range(count)
    ]


def _equal(compositions, spec=()) -> None:
    together = review_many(compositions, spec)
    alone = [review(composition, spec) for composition in compositions]
    assert [together.codes(index) for index in range(len(alone))] == [found.codes for found in alone]
    for severity, of in (("stop", "stops"), ("caution", "cautions"), ("note", "notes")):
        assert together.count(severity).tolist() == [len(getattr(found, of)) for found in alone]


@pytest.mark.slow
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_the_same_codes_in_the_same_order_as_one_by_one(example, library, data):
    formula = example(data.draw(st.sampled_from(NAMES)))
    base = formula.composition()
    strangers = data.draw(st.lists(st.sampled_from(STRANGERS), max_size=3, unique=True))
    lines = [
        *base.lines[1:],
        *(CompositionLine(library.find(key), Decimal(most), "A", "water") for key, most in strangers),
    ]
    hundredths = [st.integers(0, 3 * int(line.pct * 100)) for line in lines]
    rows = data.draw(st.lists(st.tuples(*hundredths), min_size=2, max_size=6))
    # Twice each row but for one line, so that rows share their structure and lie on both sides of a limit.
    made = [_with(base, lines, [Decimal(part) / 100 for part in row]) for row in rows]
    made += [_with(base, lines, [line.pct for line in lines]), base]
    _equal(made, data.draw(st.sampled_from([(), formula.spec])))


# name, line, percentages at and around a limit. A line of one part: the number judged is the percentage itself.
AT_A_LIMIT = [
    ("linden", "phenoxyethanol", ("0.94", "0.95", "1.00", "1.0000000000001", "0.9499999999999999", "1.01")),
    ("linden", "cetearyl-alcohol", ("10.00", "10.0000000000000001", "9.99")),
    ("linden", "parfum", ("1.5", "1.50000000000000000001", "1.49999999999999999999")),
    ("linden", "caprylic-capric-triglyceride", ("7.25", "7.2500000000001", "14.5", "14.50000001", "4", "4.0000001")),
    ("meadowsweet", "lactic-acid-88", ("0.45", "0.50", "0.54", "0.57", "0.572")),
    ("calendula", "behentrimonium-methosulfate-25", ("6.00", "20.00", "20.0000000001", "2.00")),
]


@pytest.mark.parametrize(("name", "key", "percents"), AT_A_LIMIT)
def test_a_number_at_its_limit_is_decided_exactly(example, name, key, percents):
    base = example(name).composition()
    lines = base.lines[1:]
    _equal([
        _with(base, lines, [Decimal(pct) if line.material.key == key else line.pct for line in lines])
        for pct in percents
    ])  # fmt: skip


def test_what_does_not_add_up_or_is_below_zero_is_said_alike(example):
    base = example("linden").composition()
    off = [replace(line, pct=line.pct + shift) for shift in map(Decimal, ("0.01", "0.011", "-3", "-0.02", "-90"))
           for line in base.lines[:1]]  # fmt: skip
    _equal([Composition((line, *base.lines[1:]), "made", base.product, base.steps) for line in off])


def test_what_the_examples_do_not_reach(example, library):
    """Nothing to preserve it, from wet to dry, through 0.75; and a fragrance with a certificate limit of 0.50 %."""
    water, glycerin = library.find("water-deionised"), library.find("glycerin")
    _equal([
        Composition((CompositionLine(water, 100 - dry), CompositionLine(glycerin, dry)))
        for dry in map(Decimal, ("3", "30", "50", "57", "58", "59", "60", "61", "62", "63", "70", "90"))
    ])  # fmt: skip
    limit = Fact("%", "supplier-typical", "trade-form", high=Decimal("0.50"))
    base = example("linden").composition()
    lines = [
        replace(line, material=replace(line.material, fragrance_limit=limit)) if line.material.key == "parfum" else line
        for line in base.lines[1:]
    ]
    for key, percents in (("parfum", ("0.40", "0.475", "0.50", "0.51", "1.51")), ("glycerin", ("3", "15", "16", "30"))):
        _equal([
            _with(base, lines, [Decimal(pct) if line.material.key == key else line.pct for line in lines])
            for pct in percents
        ])  # fmt: skip


def test_formulas_of_all_kinds_in_one_call(example):
    bases = [example(name).composition() for name in NAMES]
    mixed = [found for base in bases for found in _varied(base, 20, 0.5, 7)]
    random.Random(1).shuffle(mixed)
    mixed += [
        replace(mixed[0], product="leave-on hair"),
        replace(mixed[1], product="bath"),
        replace(mixed[2], steps=()),
    ]
    _equal(mixed, example("linden").spec)


def test_a_whole_review_is_built_when_it_is_asked_for(example):
    spec, some = example("linden").spec, _varied(example("linden").composition(), 5, 0.3, 3)
    together = review_many(some, spec)
    assert len(together) == 5
    assert str(together[-1]) == str(review(some[-1], spec))
    assert [found.codes for found in together[1:3]] == [review(item, spec).codes for item in some[1:3]]
    assert [found.codes for found in together] == [together.codes(index) for index in range(5)]
    with pytest.raises(IndexError):
        together[5]
    with pytest.raises(ValueError, match="severity"):
        together.count("alarm")


def test_how_many_have_each_code(example):
    """Phenoxyethanol at 0.80, 0.96 and 1.20 %: nothing, near, above the limit of 1.0 %."""
    base = example("linden").composition()
    lines = base.lines[1:]
    percents = ("0.80", "0.96", "1.20")
    together = review_many(
        _with(base, lines, [Decimal(pct) if line.material.key == "phenoxyethanol" else line.pct for line in lines])
        for pct in percents
    )
    assert together.has("cap.phenoxyethanol").tolist() == [False, False, True]
    rows = {(str(severity), code): count for severity, code, count in together.table().rows}
    assert rows["STOP", "cap.phenoxyethanol"] == "1"
    assert rows["NOTE", "cap.phenoxyethanol.near"] == "1"
    assert rows["NOTE", "facts.unknown"] == "3"
    assert next(iter(rows)) == ("STOP", "cap.phenoxyethanol")
    assert "3 compositions: 1 with a stop" in str(together)
    assert "<table" in together._repr_html_()
    assert str(review_many([])).startswith("Review of 0 compositions")


@pytest.mark.slow
def test_ten_thousand_take_less_than_a_fifth_of_the_time(example, thorough):
    """A tenth of them by default; --thorough takes them all. Time of the processor, best of two runs each."""
    count = 10_000 if thorough else 1_000
    compositions = [found for name in NAMES for found in _varied(example(name).composition(), count // 4, 0.3, 11)]
    spec = example("linden").spec

    def best(act) -> float:
        spent = []
        for _ in range(2):
            began = time.process_time()
            act()
            spent.append(time.process_time() - began)
        return min(spent)

    together = best(lambda: review_many(compositions, spec).count("stop"))
    alone = best(lambda: [review(composition, spec) for composition in compositions])
    assert together * 5 < alone
    assert alone / count < 0.020  # one review, in seconds
