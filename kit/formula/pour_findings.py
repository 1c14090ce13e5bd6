"""Is the pour warm enough, and does what was read after it fit the balance?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal

from kit.formula.pour import OFF_C, ROOM_C, Pour, span
from kit.formula.rules.findings import PRACTICE, Finding
from kit.formula.thermal import highest_melt
from kit.science.heat_balance import MARGIN_C, MixedTemperature
from kit.science.thermal_facts import melt_of


def pour_findings(pour: Pour) -> tuple[Finding, ...]:
    """What to see to before a pour, cautions first.

    Parameters
    ----------
    pour : Pour   With its mixing temperature.

    Returns
    -------
    tuple of Finding   Codes: heat.pour_margin, heat.pour_melt and both with _cold_vessel, heat.setting_unknown,
                       heat.latent_unknown, heat.vessel_unknown, heat.planned_after.
    """
    return tuple(sorted(_findings(pour), key=lambda finding: finding.severity != "caution"))


def _findings(pour: Pour) -> Iterable[Finding]:
    yield from _margin(pour)
    yield from _melt(pour)
    if pour.vessel is None or pour.vessel.missing:
        lacks = f"{' and '.join(pour.vessel.missing)} not known" if pour.vessel else "not described"
        words = f"The vessel is not counted ({lacks}): a cold one takes several degrees out of the batch."
        yield Finding("note", "heat.vessel_unknown", words, source=PRACTICE)
    if pour.planned_after_c is not None and _outside(pour.planned_after_c, pour.mixed) > OFF_C:
        words = f"The steps say {pour.planned_after_c:g} °C after combining, the balance {span(pour.mixed)}."
        yield Finding("note", "heat.planned_after", words, source="arithmetic")


def _margin(pour: Pour) -> Iterable[Finding]:
    """The margin above the setting temperature, where that was measured; it is never assumed."""
    if pour.setting_c is None:
        words = (
            "The setting temperature of this formula was not measured, so the margin above it is not known. Log the "
            "cooling of a batch to below 40 °C: its shoulder gives it. The network of quat and alcohol may set hotter "
            "than the alcohol."
        )
        yield Finding("note", "heat.setting_unknown", words, source=PRACTICE)
        return
    above = pour.coldest.low_c - pour.setting_c
    source = f" ({pour.setting_from})" if pour.setting_from else ""
    where = f"{pour.setting_c:.0f} °C, where it sets{source}"
    yield from _too_cold("heat.pour_margin", above, pour, where, pour.setting_c)


def _melt(pour: Pour) -> Iterable[Finding]:
    """The margin above the highest published melt of a fatty alcohol, which is known before anything is made."""
    portions = [portion for phase in pour.phases for portion in phase.portions]
    melt = highest_melt(portions)
    if melt is None:
        return
    name, melt_c = melt
    above = pour.coldest.low_c - melt_c
    yield from _too_cold("heat.pour_melt", above, pour, f"{melt_c:g} °C, where {name} melts", melt_c)
    if above < 0 and melt_of(name, 1.0) is None:
        words = f"The heat that {name} gives off on setting is not published here and not counted: somewhat warmer."
        yield Finding("note", "heat.latent_unknown", words)


def _too_cold(code: str, above: float, pour: Pour, where: str, limit_c: float) -> Iterable[Finding]:
    low_c = pour.coldest.low_c
    mend = "Hold back less water" if pour.after_hold_back else "Warm the colder phase and the vessel"
    numbers = {"value": Decimal(f"{low_c:.1f}"), "limit": Decimal(f"{limit_c + MARGIN_C:.1f}"), "source": PRACTICE}
    if above < 0:
        words = f"The batch would be at {low_c:.1f} °C, below {where}: grains. {mend}."
        yield Finding("caution", code, words, **numbers)
    elif above < MARGIN_C:
        words = (
            f"The batch would be at {low_c:.1f} °C, only {above:.1f} °C above {where}; {MARGIN_C:g} °C are wanted. "
            f"{mend}."
        )
        yield Finding("caution", code, words, **numbers)
    elif pour.in_cold is not None and pour.in_cold.low_c - limit_c < MARGIN_C:
        words = f"In a vessel at {ROOM_C:g} °C it would be at {span(pour.in_cold)}, too near {where}: warm the vessel."
        yield Finding("note", f"{code}_cold_vessel", words, **numbers)


def compare_after(pour: Pour, read_c: float) -> Finding | None:
    """What to say of the temperature read after combining; None where it fits the balance or there is none.

    Parameters
    ----------
    pour : Pour      With the temperatures of the phases as read.
    read_c : float   After combining. [degC]
    """
    if pour.mixed is None:
        return None
    off = _outside(read_c, pour.mixed)
    if off <= OFF_C:
        return None
    colder = read_c < pour.mixed.low_c
    why = _why_colder(pour, read_c) if colder else "A temperature was mistyped, or the vessel was heated meanwhile."
    words = (
        f"{read_c:g} °C was read after combining, the heat balance gives {span(pour.mixed)}: {off:.1f} °C "
        f"{'colder' if colder else 'warmer'}. {why}"
    )
    number = Decimal(f"{pour.mixed.temp_c:.1f}")
    return Finding("caution", "heat.after_differs", words, (), Decimal(str(read_c)), number, "arithmetic")


def _why_colder(pour: Pour, read_c: float) -> str:
    if pour.in_cold is not None and _outside(read_c, pour.in_cold) <= OFF_C:
        return f"It fits a vessel at {ROOM_C:g} °C ({span(pour.in_cold)}): warm the vessel."
    return "Heat went into a cold vessel, head or the room, or a temperature was mistyped."


def with_read_after(pour: Pour, read_c: float) -> Pour:
    """The balance with the temperature read after combining beside it.

    Parameters
    ----------
    pour : Pour      With the temperatures of the phases as read.
    read_c : float   After combining. [degC]
    """
    finding = compare_after(pour, read_c)
    return replace(pour, read_after_c=read_c, findings=(*([finding] if finding else []), *pour.findings))


def _outside(temp_c: float, mixed: MixedTemperature) -> float:
    """How far a temperature lies outside a range; zero inside it. [degC]"""
    return max(mixed.low_c - temp_c, temp_c - mixed.high_c, 0.0)
