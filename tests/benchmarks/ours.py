"""The kit's side of a benchmark, where it is more than one command. Run as a program: `ours.py NAME ARGUMENTS`."""

from __future__ import annotations

import json
import random
import statistics
import sys
import time
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path

BATCH = "BEN-01/1"


def build_demo(folder: str) -> None:
    """Build the demo study."""
    from kit.demo.build import build_demo as build

    build(folder)


def build_flow(folder: str) -> None:
    """The invented lab book with readings at several speeds."""
    from tests.flow_readings import build_flow_book

    build_flow_book(folder)


def flow_and_feel(labbook: str, folder: str) -> None:
    """Run the template on a frozen snapshot and write its page, as `kit run` does."""
    from kit.writeup.write_up import Chosen, publish_chosen

    def choose(record) -> Chosen:
        return Chosen(record.trials("FLO"), "Flow and feel")

    publish_chosen("flow_and_feel", labbook, choose, {}, to=folder, name="flow")


def scale_up(labbook: str, folder: str) -> None:
    """Run the template for the control of the demo and two vessels, and write its page."""
    from kit.writeup.write_up import publish

    known = "gap: 0.2 mm; wall: stainless steel; heater: 2 kW"
    given = {
        "batch": "LIN-03/1",
        "to_vessels": [
            f"name: kettle; mass: 5 kg; head: rotor-stator 50 mm; width: 22 cm; wall mass: 3.2 kg; {known}",
            f"name: plant vessel; mass: 500 kg; head: rotor-stator 150 mm; width: 90 cm; wall mass: 280 kg; {known}",
        ],
        "jacket": ["0 min: 70 degC", "60 min: 20 degC"],
        "room": "22 degC",
    }
    publish("scale_up", labbook, ["LIN-03"], given, to=folder, name="scale", title="Scale-up")


def start_batch(labbook: str, formula_file: str) -> None:
    """A new lab book with one batch, weighed and finished, ready for readings."""
    import kit

    formula = kit.load_formula(formula_file)
    sheet = kit.plan_batch(formula, "400 g")
    with kit.new_labbook(labbook) as book:
        book.new_study("BEN", question="How long does a reading take?", spec=formula.spec, control="BEN-01")
        book.add_instrument("PH-1", kind="pH meter")
        book.calibrate("PH-1", "CAL-1", slope_pct="98", offset_mv="3", buffers=["4.01", "7.00"], temp="25 degC")
        batch = book.start_batch(sheet, trial="BEN-01", operator="bench 1")
        for line in sheet.lines:
            batch.weigh(line.material.key, f"{line.target_g} g", lot="L-1")
        batch.finish()


def read_ph(labbook: str, count: str) -> None:
    """Record readings one after another; prints the median seconds of one call.

    Each reading differs from the others by its time, so that none is taken for a repetition.
    """
    import kit

    with kit.open_labbook(labbook) as book:
        batch = book.batch(BATCH)
        began_at = datetime.now().astimezone().replace(microsecond=0)
        spent = []
        for number in range(int(count)):
            at = (began_at + timedelta(seconds=number)).isoformat()
            began = time.perf_counter()
            batch.read_ph("4.59", temp="25 degC", instrument="PH-1", calibration="CAL-1", at=at)
            spent.append(time.perf_counter() - began)
    print(statistics.median(spent))


def write_up(labbook: str, trial: str, folder: str) -> None:
    """Write a trial up."""
    import kit

    kit.write_up(Path(labbook), trial, to=folder)


def build_labbook(labbook: str, formula_file: str, wanted: str, *without: str) -> None:
    """A lab book of "all" trials, of the "compared" ones, or of the first so many; with "without-readings", of none."""
    from tests.benchmarks.labbooks import build, numbers

    build(labbook, formula_file, numbers(wanted), readings=not without)


def compare_in_turn(large: str, small: str, rounds: str) -> None:
    """Prints as JSON the median seconds of one comparison in each of two lab books, opened and closed with it."""
    from tests.benchmarks.measure import in_turn

    def seconds(labbook: str) -> float:
        began = time.perf_counter()
        _compared(labbook)
        return time.perf_counter() - began

    print(json.dumps(in_turn(partial(seconds, large), partial(seconds, small), int(rounds))))


def show_comparison(labbook: str) -> None:
    """Prints all that the comparison says, and the heads of all streams that were read for it."""
    comparison, heads = _compared(labbook)
    print(json.dumps({"arms": [arm.label for arm in comparison.arms], "words": str(comparison), "heads": heads}))


def _compared(labbook: str):
    import kit
    from tests.benchmarks.labbooks import COMPARED, trial_name

    source = kit.open_source(labbook)
    try:
        return kit.compare(source, [trial_name(number) for number in COMPARED]), source.heads()
    finally:
        source.close()


def read_in_turn(large: str, small: str, count: str) -> None:
    """Add readings to the batches that are compared, to those of each of two lab books in turn.

    Prints as JSON the median seconds of one call in each. `count` goes to each batch; a first one is not timed.
    """
    import kit
    from tests.benchmarks.labbooks import COMPARED, clock, trial_name

    def seconds(batch, number: int) -> float:
        at = (clock() - timedelta(seconds=number + 1)).isoformat()
        began = time.perf_counter()
        batch.read_ph("4.59", temp="25 degC", instrument="PH-1", calibration="CAL-1", at=at)
        return time.perf_counter() - began

    pairs = []
    with kit.open_labbook(large, clock=clock) as grown, kit.open_labbook(small, clock=clock) as new:
        for name in (f"{trial_name(number)}/1" for number in COMPARED):
            batches = grown.batch(name), new.batch(name)
            pairs += [[seconds(batch, number) for batch in batches] for number in range(int(count))][1:]
    print(json.dumps([statistics.median(side) for side in zip(*pairs, strict=True)]))


def show_heads(labbook: str) -> None:
    """Prints the heads of the batches that are compared."""
    import kit
    from tests.benchmarks.labbooks import COMPARED, trial_name

    with kit.open_labbook(labbook) as book:
        print(json.dumps(book.store.heads(f"batch/{trial_name(number)}/1" for number in COMPARED)))


def take_in(labbook: str, file: str, few: str) -> None:
    """Take a file of readings in, lab book opened and closed with it; prints the seconds.

    A look at a file of two rows goes before, without recording it: everything is imported then.
    """
    import kit
    from tests.benchmarks.labbooks import clock

    with kit.open_labbook(labbook, clock=clock) as book:
        book.import_readings(few, timezone="+01:00")
    began = time.perf_counter()
    with kit.open_labbook(labbook, clock=clock) as book:
        book.import_readings(file, timezone="+01:00").commit()
    print(time.perf_counter() - began)


def review_first(formula_file: str) -> None:
    """Prints the seconds of the first review, the formula and the rules loaded before."""
    import kit
    from kit.formula.rules import review

    formula = kit.load_formula(formula_file)
    began = time.perf_counter()
    found = review(formula.composition(), formula.spec)
    spent = time.perf_counter() - began
    if found.codes != formula.review().codes:
        raise SystemExit("the first review is another than the second")
    print(spent)


def review_many(formula_file: str, count: str, parts: str) -> None:
    """Prints as JSON the median seconds of reviewing `count` compositions together, and one by one.

    Both bring out the codes of every composition. Each round works on compositions made anew, together first: what that
    leaves in them can only help the other side. One by one, a round takes one part of `parts`.
    """
    import kit

    formula, every, among = kit.load_formula(formula_file), int(count), int(parts)
    compositions = _varied(formula, every)
    together, alone = _together(compositions, formula.spec), _alone(compositions, formula.spec)
    if together[1] != alone[1]:
        raise SystemExit("reviewed together and one by one the compositions have other codes")
    pairs = []
    for part in range(5):
        compositions = _varied(formula, every)
        spent = _together(compositions, formula.spec)[0]
        pairs.append((spent, _alone(compositions[part::among], formula.spec)[0] * among))
    ours, peer = (statistics.median(side) for side in zip(*pairs, strict=True))
    print(json.dumps({"together": ours, "alone": peer}))


def _together(compositions: list, spec: tuple) -> tuple[float, list]:
    from kit.formula.rules.many import review_many as review_all

    began = time.perf_counter()
    reviews = review_all(compositions, spec)
    codes = [reviews.codes(index) for index in range(len(reviews))]
    return time.perf_counter() - began, codes


def _alone(compositions: list, spec: tuple) -> tuple[float, list]:
    from kit.formula.rules import review

    began = time.perf_counter()
    codes = [review(composition, spec).codes for composition in compositions]
    return time.perf_counter() - began, codes


def _varied(formula, count: int) -> list:
    """Compositions with every line up to 30 % off its amount, water taking the rest; the same in every call.

    Each has another line left out than the one before, every so many have all lines: not all of one kind.
    """
    from kit.formula.composition import Composition

    base, drawn = formula.composition(), random.Random(11)
    found = []
    for number in range(count):
        kept = [line for place, line in enumerate(base.lines) if place and place != number % len(base.lines)]
        amounts = [Decimal(f"{float(line.pct) * drawn.uniform(0.7, 1.3):.2f}") for line in kept]
        lines = [replace(line, pct=pct) for line, pct in zip(kept, amounts, strict=True)]
        water = replace(base.lines[0], pct=100 - sum(amounts))
        found.append(Composition((water, *lines), "made", base.product, base.steps))
    return found


COMMANDS = {
    "build-demo": build_demo,
    "build-flow": build_flow,
    "flow-and-feel": flow_and_feel,
    "scale-up": scale_up,
    "start-batch": start_batch,
    "read-ph": read_ph,
    "write-up": write_up,
    "build-labbook": build_labbook,
    "compare-in-turn": compare_in_turn,
    "show-comparison": show_comparison,
    "read-in-turn": read_in_turn,
    "show-heads": show_heads,
    "take-in": take_in,
    "review-first": review_first,
    "review-many": review_many,
}

if __name__ == "__main__":
    COMMANDS[sys.argv[1]](*sys.argv[2:])
