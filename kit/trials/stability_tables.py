"""Tables of a stability study: verdicts, trends, time to limit, against the jar at 25 degC, what was left out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import ROUND_FLOOR, Decimal

from kit.bench.storage import REFERENCE, freeze_thaw_cycles, places_words
from kit.science.shelf_life import BEYOND, TOLD
from kit.science.shelf_life_lines import COMMON, COMMON_SLOPE, PooledLines
from kit.show import Cell, Table
from kit.trials.results import FLAG, LN, LeftOut
from kit.trials.stability_build import beside_value
from kit.trials.stability_series import StorageSeries
from kit.trials.stability_sorting import warm_c
from kit.trials.stability_verdicts import (
    NOT_PROTOCOL,
    OUTSIDE,
    OUTSIDE_ONCE,
    UNTOLD,
    WITHIN,
    StabilityVerdict,
    nothing_words,
)
from kit.trials.stability_warm import MELTED, UNKNOWN, WARM_FROM_C, Network, WarmIndication
from kit.trials.wording import ABSENT, signed, significant
from kit.units import plain

Names = Callable[[StorageSeries], str]
_TONES = {WITHIN: "pass", OUTSIDE: "fail", OUTSIDE_ONCE: "flag", UNTOLD: "quiet", NOT_PROTOCOL: "quiet"}


def verdict_table(verdicts: Sequence[StabilityVerdict]) -> Table:
    """Every property in every place against its limit.

    Parameters
    ----------
    verdicts : sequence of StabilityVerdict
    """
    several = len({one.series.arm for one in verdicts}) > 1
    groups: dict[tuple, list[StabilityVerdict]] = {}
    for place, one in enumerate(verdicts):  # words that say the same everywhere stand in one row
        key = (one.series.arm, one.series.property, one.headline, one.told) if one.series.seen else (place,)
        groups.setdefault(key, []).append(one)
    rows = [_verdict_row(found, several) for found in groups.values()]
    return Table(
        ("property, limit, kept at", "says"),
        rows,
        title="Against the protocol",
        note="So far means up to the last station read, and these batches only. It is no claim of shelf life."
        if rows
        else "Nothing was read of jars in storage.",
    )


def _verdict_row(found: Sequence[StabilityVerdict], several: bool) -> tuple[object, ...]:
    one = found[0]
    series = one.series
    limit = series.limit.words if series.limit else "no limit"
    name = f"{series.arm}\n{series.property}" if several else series.property
    where = "at the baseline" if series.seen or series.points else "storage not recorded"
    if series.place or series.stored:
        where = series.where if len(found) == 1 else places_words(item.series.place for item in found)
    return f"{name}\n{limit}\n{where}", Cell(f"{one.headline.upper()}: {one.told}", _TONES[one.state])


def trend_table(series: Sequence[StorageSeries]) -> Table:
    """Slopes a month with their intervals, and the tests of poolability.

    Parameters
    ----------
    series : sequence of StorageSeries
    """
    rows = [row for one in series if one.trend is not None for row in _trend_rows(one, _names(series))]
    return Table(
        ("property, kept at, batch", "slope a month (95 %), what batches share"),
        rows,
        title="Trends",
        note="Straight lines from the baseline on. A viscosity is fitted by its logarithm, so its slope is a share. "
        "Batches share a slope, then an intercept, where the test gives p above 0.25; sharing is not proof of sameness."
        if rows
        else "No property was read twice in one place.",
    )


def _trend_rows(series: StorageSeries, names: Names) -> Iterable[tuple[object, ...]]:
    trend = series.trend
    name = names(series)
    if trend.reason:
        yield f"{name}\n{', '.join(series.batches) or 'no batch'}", f"cannot be told: {trend.reason}"
        return
    shares = trend.model in (COMMON, COMMON_SLOPE)
    for line in trend.lines[:1] if shares else trend.lines:
        who = "all batches" if shares else line.batch
        slope = slope_words(line.slope, series)
        ends = f"{slope_words(line.slope_low, series)} to {slope_words(line.slope_high, series)}"
        yield f"{name}\n{who}", f"{slope} ({ends})\n{pool_words(trend)}"


def _names(series: Sequence[StorageSeries]) -> Names:
    """Names a series by property and place in lines that fit a narrow page, by its version too where several stand."""
    several = len({one.arm for one in series}) > 1

    def name(one: StorageSeries) -> str:
        return "\n".join([*([one.arm] if several else []), one.property, one.where])

    return name


def pool_words(trend: PooledLines) -> str:
    """What the batches share, with the tests.

    Parameters
    ----------
    trend : PooledLines
    """
    tests = [("slopes", trend.slopes), ("intercepts", trend.intercepts)]
    return "\n".join([trend.model, *(f"{name}: {test.words}" for name, test in tests if test is not None)])


def slope_words(slope: float, series: StorageSeries) -> str:
    """A slope a month: "−0.021", "+0.60 %" in the unit, "−1.2 %" as a share for a viscosity.

    Parameters
    ----------
    slope : float            On the scale of the fit. [per month]
    series : StorageSeries
    """
    if series.scale == LN:
        return f"{signed(f'{100 * math.expm1(slope):.2g}')} %"
    return f"{signed(significant(slope, 2)) if slope else '0'}{_unit(series)}"


def _unit(series: StorageSeries) -> str:
    return "" if series.unit in ("", "1") else f" {series.unit}"


def life_table(series: Sequence[StorageSeries], networks: Mapping[str, Network]) -> Table:
    """Time to limit, place by place.

    Parameters
    ----------
    series : sequence of StorageSeries
    networks : dict                      Version label to its setting temperature.
    """
    names = _names(series)
    rows = [(names(one), _life_cell(one, networks.get(one.arm, Network()))) for one in series if _has_life(one)]
    return Table(
        ("property, kept at", "time to limit"),
        rows,
        title="Time to limit",
        note="Where the confidence bound of the mean crosses a limit (ICH Q1E): one-sided 95 % against one limit; "
        "two-sided 95 %, so 97.5 % to each side, between two. Four stations at least, the baseline among them; nothing "
        "beyond twice the last station, nor more than 12 months beyond it. A place holds for itself: no time is "
        "carried from the warm to 25 °C."
        if rows
        else "No property with a limit in numbers was read in storage.",
    )


def _has_life(series: StorageSeries) -> bool:
    return series.life is not None and bool(series.stored) and freeze_thaw_cycles(series.place) is None


def _life_cell(series: StorageSeries, network: Network) -> Cell:
    life, temp = series.life, warm_c(series.place)
    last = f" Last station at {significant(max(point.months for point in series.stored), 2)} months."
    state = network.at(temp) if temp is not None and temp >= WARM_FROM_C else ""
    if state == MELTED:
        return Cell(f"NONE: the network sets at {network.temp_c:.0f} °C and melts there.{last}", "quiet")
    if life.state == TOLD:
        short = f"{_rounded_down(life.months)} MONTHS"
    elif life.state == BEYOND:
        short = f"OVER {_rounded_down(life.most_months)} MONTHS"
    else:
        why = life.reason if any(point.relative is not None for point in series.stored) else nothing_words(series)
        return Cell(f"NONE: {series.unit_clash or why}.{last}", "quiet")
    doubt = " Only if the network does not melt there, which is not known." if state == UNKNOWN else ""
    return Cell(f"{short}: {life.words}{doubt}{last}", "strong")


def _rounded_down(months: float) -> str:
    """Two figures of a time to limit, never more than it is."""
    exact = Decimal(repr(months))
    place = Decimal(1).scaleb(exact.adjusted() - 1) if exact else Decimal(1)
    return plain((exact / place).to_integral_value(ROUND_FLOOR) * place)


def beside_table(series: Sequence[StorageSeries]) -> Table:
    """Jars against the jar of the same batch kept at 25 degC and pulled with them, station by station.

    Parameters
    ----------
    series : sequence of StorageSeries
    """
    every = [(one, _apart_by_station(one, _reference_of(one, series))) for one in series]
    found = [(one, apart) for one, apart in every if apart]
    names = _names(series)
    hours = {when: at for _, apart in found for when, (at, _) in apart.items()}
    stations = sorted(hours, key=hours.__getitem__)
    rows = [
        (
            names(one),
            *(_apart_words(apart[when][1], one) if when in apart else ABSENT for when in stations),
        )
        for one, apart in found
    ]
    return Table(
        ("property, kept at", *stations),
        rows,
        title="Against the jar kept at 25 °C",
        note="Mean of the batches: a ratio for a viscosity, else a difference. Age alone moves both jars; what the "
        "place does is the difference."
        if rows
        else "No jar was read beside one kept at 25 °C.",
        numeric=frozenset(range(1, 1 + len(stations))),
    )


def _apart_by_station(series: StorageSeries, jar: StorageSeries | None) -> dict[str, tuple[float, list[float]]]:
    """Station to its hours and the gaps of the batches, logarithms for a ratio."""
    if jar is None or series.place in ("", REFERENCE):
        return {}
    found: dict[str, tuple[float, list[float]]] = {}
    for point in series.stored:
        value = beside_value(point, jar)
        if value is not None:
            gap = math.log(point.value / value) if series.scale == LN else point.value - value
            found.setdefault(point.when, (point.hours, []))[1].append(gap)
    return found


def _apart_words(gaps: Sequence[float], series: StorageSeries) -> str:
    mean = math.fsum(gaps) / len(gaps)
    if series.scale == LN:
        return f"× {math.exp(mean):.2f}"
    return f"{signed(f'{round(mean, 2) or 0.0:.2f}')}{_unit(series)}"


def _reference_of(series: StorageSeries, beside: Sequence[StorageSeries]) -> StorageSeries | None:
    key = (series.arm, series.property, series.pack, REFERENCE)
    return next((one for one in beside if (one.arm, one.property, one.pack, one.place) == key), None)


def indication_table(found: Sequence[WarmIndication]) -> Table:
    """What warm storage may indicate of 25 degC.

    Parameters
    ----------
    found : sequence of WarmIndication
    """
    names = _names([one.series for one in found])
    rows = [(f"{names(one.series)}\nnetwork: {one.network}", one.words) for one in found]
    return Table(
        ("property, kept at", "may indicate"),
        rows,
        title="Warm storage: indicative only",
        note="A factor holds for one reaction in one structure. The trade's rule of 12 weeks at 45 °C for 24 months "
        "assumes a Q10 of 2.9; that of 10 weeks for 12 months one of 2.3. Neither is evidence."
        if rows
        else "Nothing was read of a jar kept warmer than 25 °C.",
    )


def left_out_table(left: Sequence[LeftOut]) -> Table:
    """Readings that do not count, with the reason.

    Parameters
    ----------
    left : sequence of LeftOut
    """
    rows = [
        (
            f"{item.batch}\n{item.reading.property} {item.reading.text if item.value is None else f'{item.value:g}'}\n"
            f"{item.reading.storage or 'storage not recorded'}",
            Cell(f"{item.state.upper()}: {item.words} ({item.code})", "flag" if item.state == FLAG else "quiet"),
        )
        for item in left
    ]
    return Table(
        ("batch, read, kept at", "why"),
        rows,
        title="Readings left out",
        note="" if rows else "None: every reading of these properties counts.",
    )
