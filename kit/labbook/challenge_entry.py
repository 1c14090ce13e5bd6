"""How a challenge test that is typed becomes the text an entry keeps, and how an entry becomes a test again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal

from kit.bench.challenge import ChallengeTest, OrganismCounts
from kit.bench.challenge_facts import criteria_of, organism_named, read_count, report_rules
from kit.errors import BatchError
from kit.formula.composition import Composition
from kit.formula.formula import Formula
from kit.labbook.ledger import Effective
from kit.science.microbial_counts import Count, log_reduction
from kit.units import number, plain, read

KIND = "challenge-test"
# "started" is the time of the entry, pH and age have fields of their own.
REPORTED = tuple(name for name, _ in report_rules() if name not in ("ph", "age", "started"))


def challenge_body(
    counts: Mapping[str, Mapping[object, object]],
    *,
    method: str,
    ph: object = None,
    age: str = "",
    strains: Mapping[str, str] | None = None,
    groups: Mapping[str, str] | None = None,
    report: Mapping[str, object],
    note: str = "",
    where: str = "challenge_test()",
) -> dict:
    """The content of a challenge-test entry.

    Raises
    ------
    BatchError   `challenge.counts`, `challenge.organism`, `challenge.method`, `challenge.report`.
    KitError     `challenge.count`.
    UnitError    An age without its unit.
    """
    criteria_of(method, where=where)
    unknown = [name for name in report if name not in REPORTED]
    if unknown:
        raise BatchError(
            f"{unknown[0]!r} is not part of a report",
            where=where,
            allowed=", ".join(REPORTED),
            mend="use one of these, or note=",
            code="challenge.report",
        )
    return {
        "method": method,
        "organisms": organism_rows(counts, strains or {}, groups or {}, where=where),
        "ph": "" if ph in (None, "") else ph_text(ph, where),
        "age_typed_h": plain(read(age, "h", where=f"{where}, age")) if age else "",
        **{name: str(text).strip() for name, text in report.items() if str(text).strip()},
        "note": note,
    }


def organism_rows(
    counts: Mapping[str, Mapping[object, object]],
    strains: Mapping[str, str],
    groups: Mapping[str, str],
    *,
    where: str,
) -> list[dict]:
    """The organisms of an entry with their counts by day, as typed.

    Raises
    ------
    BatchError   `challenge.counts`: no counts, a day that is none, a day or an organism twice, no inoculum;
                 `challenge.organism`.
    """
    rows: dict[str, dict] = {}
    for typed, by_day in _mapping(counts, where).items():
        known = organism_named(typed, groups.get(typed, ""), where=where)
        if known.name in rows:
            raise _counts_error(f"{known.name} is given twice", where)
        rows[known.name] = {
            "organism": known.name,
            "group": known.group,
            "strain": "",
            "counts": _by_day(by_day, f"{where}, {known.name}"),
        }
    if not rows:
        raise _counts_error("there are no counts", where)
    for typed, strain in strains.items():
        name = organism_named(typed, groups.get(typed, ""), where=where).name
        if name not in rows:
            raise _counts_error(f"a strain is given for {name}, which has no counts", where)
        rows[name]["strain"] = str(strain).strip()
    return list(rows.values())


def ph_text(value: object, where: str) -> str:
    """A pH as an entry keeps it.

    Raises
    ------
    BatchError   `reading.value_range` for what cannot be a pH.
    """
    found = number(value, where=f"{where}, pH")
    if not 0 <= found <= 14:
        raise BatchError(
            f"{found} cannot be a pH", where=where, allowed="0 to 14", mend="look it up", code="reading.value_range"
        )
    return plain(found)


def challenge_test_of(
    item: Effective, *, batch: str, formula: Formula, composition: Composition, age_h: Decimal | None
) -> ChallengeTest:
    """The test that an entry of a batch holds; a typed age counts only where no day of inoculation was given."""
    body = item.body
    typed = Decimal(body["age_typed_h"]) if body.get("age_typed_h") else None
    clocked = bool(body.get("at"))
    report = {name: body.get(name, "") for name in REPORTED}
    return ChallengeTest(
        batch,
        formula.title,
        formula.fingerprint,
        composition,
        body["method"],
        tuple(_organism(row) for row in body["organisms"]),
        Decimal(body["ph"]) if body.get("ph") else None,
        age_h if clocked and age_h is not None else typed,
        {**report, "started": item.measured_at[:10] if clocked else ""},
        item.seq,
        body.get("note", ""),
        item.void,
    )


COLUMNS = (
    "batch",
    "entry",
    "method",
    "edition",
    "pH",
    "age [h]",
    "organism",
    "strain",
    "day",
    "count [CFU/g]",
    "log reduction",
    "decision",
    "laboratory",
    "report",
    "voided because",
    "note",
)


def rows_of_tests(tests: Iterable[ChallengeTest]) -> Iterator[tuple]:
    """One row for each count, under `COLUMNS`; what is no number, such as "<10" and ">= 4.699", is text."""
    for test in tests:
        start = (test.batch, test.entry, test.method, test.report.get("edition", ""), test.ph, test.age_h)
        end = (
            test.evaluate().decision,
            test.report.get("laboratory", ""),
            test.report.get("report", ""),
            test.void,
            test.note,
        )
        for found in test.organisms:
            for day, count in sorted(found.counts.items()):
                yield (*start, found.name, found.strain, day, _number(count), _reduction(found.counts, day), *end)


def _number(count: Count) -> Decimal | str:
    return str(count) if count.bound else Decimal(f"{count.cfu_per_g:.15g}")


def _reduction(counts: Mapping[int, Count], day: int) -> Decimal | str | None:
    """The log reduction of a day: a number, "at least" as text, None for the inoculum or without one."""
    if not day or 0 not in counts:
        return None
    found = log_reduction(counts[0], counts[day])
    return Decimal(f"{found.low:.3f}") if found.low == found.high else str(found)


def _organism(row: Mapping) -> OrganismCounts:
    counts = {int(day): read_count(text) for day, text in row["counts"].items()}
    return OrganismCounts(row["organism"], row["group"], row["strain"], counts)


def _by_day(by_day: Mapping[object, object], where: str) -> dict[str, str]:
    kept: dict[str, str] = {}
    for typed, text in _mapping(by_day, where).items():
        day = _day(typed, where)
        if day in kept:
            raise _counts_error(f"day {day} is given twice", where)
        read_count(text, where=f"{where}, day {day}")
        kept[day] = str(text).strip()
    if not kept:
        raise _counts_error("there are no counts", where)
    return dict(sorted(kept.items(), key=lambda item: int(item[0])))


def _mapping(typed: object, where: str) -> Mapping:
    if not isinstance(typed, Mapping):
        raise _counts_error(f"{typed!r} gives no counts by name", where)
    return typed


def _day(typed: object, where: str) -> str:
    """A day after inoculation from 14, "14", "14 d" or "day 14"."""
    text = str(typed).casefold().removeprefix("day").strip().removesuffix("d").strip()
    if not text.isdecimal():
        raise _counts_error(f"{typed!r} is not a day after inoculation", where)
    return str(int(text))


def _counts_error(what: str, where: str) -> BatchError:
    return BatchError(
        what,
        where=where,
        allowed='counts={"Candida albicans": {0: "450000", 7: "2100", 14: "<10", 28: "<10"}}',
        mend="give each organism its counts by day, day 0 the inoculum in the product",
        code="challenge.counts",
    )
