"""Planning a stability protocol from what is typed; what is left out is filled by common practice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from kit.bench.methods import age_window
from kit.bench.methods import methods as kit_methods
from kit.bench.stability_acceptance import Acceptance, read_acceptance
from kit.bench.stability_protocol import Pack, Place, StabilityProtocol
from kit.bench.stability_station import Station, read_station
from kit.bench.storage import REFERENCE, freeze_thaw_cycles, storage_key
from kit.errors import KitError
from kit.formula.model import FormulaModel
from kit.units import read

# The maker chooses and justifies conditions and limits: no standard fixes them. What follows is common practice and has
# no source but the trade's own habit.
CONDITIONS = ("5 degC", "25 degC", "40 degC", "45 degC", "light", "freeze-thaw 3 cycles")
STATIONS = ("1 week", "2 weeks", "4 weeks", "8 weeks", "12 weeks")
LIMITS = {
    "pH": "± 0.3",
    "viscosity": "± 25 %",
    "separation": "none",
    "separation after centrifuge": "none; at the start",
    "grain": "none",
    "odour": "no change",
    "colour": "no change",
    "pack mass loss": "at most 2 %",
}
PACKS = {"100 mL jar": "95 g"}
_CYCLE = "2 d"  # 24 h cold and 24 h warm
_CYCLING = ("freeze-thaw", "freeze thaw", "freeze/thaw")


def plan_stability(
    formula: FormulaModel | str,
    *,
    conditions: Sequence[str] = CONDITIONS,
    stations: Sequence[str] | Mapping[str, Sequence[str]] = STATIONS,
    properties: Mapping[str, str] | None = None,
    baseline: str = "72 h",
    packs: Mapping[str, object] | None = None,
    rest: str = "24 h",
    spare: int = 1,
    microbiology: Sequence[str] = (REFERENCE,),
    batches: int = 1,
    trials: Sequence[str] = (),
    methods: Mapping[str, str] | None = None,
    note: str = "",
) -> StabilityProtocol:
    """Plan a stability study before there is any data; `book.add_stability_protocol` puts it on the record.

    Parameters
    ----------
    formula : Formula or str     The version it is for, or words for what it is for.
    conditions : sequence of str "5 degC", "light", "freeze-thaw 5 cycles"; 25 degC is always among them.
    stations : sequence or dict  "1 week", "6 months", "4 weeks ± 2 d"; by condition where it is a dictionary.
                                 Freeze-thaw is read after its last cycle unless a station is named for it.
    properties : dict            Property to its limit, see `read_acceptance`; the trade's usual ones when omitted, with
                                 the coded words of the formula's own spec.
    baseline : str               Age that relative limits are held against, "72 h" or "7 d"; jars go into storage then.
    packs : dict                 Name to what one takes, {"100 mL jar": "95 g", "final pack": "250 g"}; or to the grams
                                 and the conditions it goes to, ("250 g", ["25 degC", "40 degC"]).
    rest : str                   At 25 degC before a jar is read.
    spare : int                  Jars more in every place.
    microbiology : sequence      Conditions of which a jar goes to the laboratory at the end.
    batches : int                How many batches.
    trials : sequence of str     Trials it is for; every batch of the version when empty.
    methods : dict               Property to the method of its readings; the kit's own of that property otherwise.
    note : str                   Anything else.

    Returns
    -------
    StabilityProtocol   With the jars and the grams it takes.

    Raises
    ------
    KitError    `stability.condition`, `stability.station`, `stability.limit`, `stability.pack`, `stability.batches`,
                `stability.rest`, `age.unknown`.
    UnitError   For a quantity that cannot be read.
    """
    names = list(dict.fromkeys(map(storage_key, [conditions] if isinstance(conditions, str) else conditions)))
    if not all(names) or not names:
        raise _condition("a condition is empty", ", ".join(CONDITIONS))
    for name in names:
        if name.startswith(_CYCLING) and freeze_thaw_cycles(name) is None:
            raise _condition(f"{name} tells no number of cycles", "freeze-thaw 3 cycles")
    if REFERENCE not in names:  # without it nothing tells a change by warmth from a change by age
        names.insert(0, REFERENCE)
    if not _is_whole(spare, 0) or not _is_whole(batches, 1):
        raise KitError(
            f"{spare!r} spare jars, {batches!r} batches",
            where="plan_stability()",
            allowed="whole numbers: 0 spare jars or more, 1 batch or more",
            mend="give such numbers",
            code="stability.batches",
        )
    rest_h = read(rest, "h", where="rest at 25 degC")
    if rest_h < 0:
        raise KitError(
            f"a rest of {rest}",
            where="plan_stability()",
            allowed="0 h or more",
            mend='rest="24 h"',
            code="stability.rest",
        )
    subject, fingerprint = (formula, "") if isinstance(formula, str) else (formula.title, formula.fingerprint)
    return StabilityProtocol(
        subject=subject,
        formula=fingerprint,
        baseline=age_window(baseline),
        places=_places(names, stations),
        limits=_limits(formula, properties, methods or {}),
        packs=_packs(PACKS if packs is None else packs, names),
        rest_h=rest_h,
        spare=spare,
        microbiology=_known(microbiology, names, "microbiology"),
        batches=batches,
        trials=(trials,) if isinstance(trials, str) else tuple(trials),
        note=note,
    )


def _is_whole(value: object, least: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= least


def _places(names: Sequence[str], stations: Sequence[str] | Mapping[str, Sequence[str]]) -> tuple[Place, ...]:
    by_place = stations if isinstance(stations, Mapping) else {}
    own = {storage_key(name): _read_all(texts, name) for name, texts in by_place.items()}
    _known(own, names, "stations")
    usual = _read_all(STATIONS if by_place else stations, "stations")
    found = {name: own.get(name) or _usual(name, usual) for name in names}
    # the jar at 25 degC is pulled whenever another is
    others = [station for name, held in found.items() if freeze_thaw_cycles(name) is None for station in held]
    found[REFERENCE] = _in_order([*found[REFERENCE], *others])
    return tuple(Place(name, found[name]) for name in names)


def _usual(name: str, usual: tuple[Station, ...]) -> tuple[Station, ...]:
    cycles = freeze_thaw_cycles(name)
    if cycles is None:
        return usual
    if not cycles:
        raise _condition(f"{name} has no cycle", name)
    return (read_station(f"{cycles * 2} d ± {_CYCLE}", where=name),)


def _read_all(texts: Sequence[str], where: str) -> tuple[Station, ...]:
    listed = [texts] if isinstance(texts, str) else list(texts)
    if not listed:
        raise KitError("no station is named", where=where, mend='name some: "4 weeks"', code="stability.station")
    return _in_order([read_station(text, where=where) for text in listed])


def _in_order(stations: Sequence[Station]) -> tuple[Station, ...]:
    return tuple(sorted({station.hours: station for station in reversed(stations)}.values(), key=lambda one: one.hours))


def _limits(
    formula: FormulaModel | str, properties: Mapping[str, str] | None, methods: Mapping[str, str]
) -> tuple[Acceptance, ...]:
    chosen = dict(LIMITS if properties is None else properties)
    if properties is None and not isinstance(formula, str):
        chosen |= {line.property: " or ".join(line.allowed) for line in formula.spec if line.allowed}
    if not chosen:
        raise KitError("no property is named", where="plan_stability()", code="stability.limit")
    usual = {method.property: name for name, method in kit_methods().items()}
    return tuple(
        read_acceptance(name, text, method=methods.get(name, usual.get(name, ""))) for name, text in chosen.items()
    )


def _packs(typed: Mapping[str, object], names: Sequence[str]) -> tuple[Pack, ...]:
    if not typed:
        raise _pack("no pack is named", typed)
    found = []
    for name, told in typed.items():
        grams, places = (told, ()) if isinstance(told, str) else _pair(name, told)
        fill_g = read(grams, "g", where=f"fill of {name}")
        if fill_g <= 0:
            raise _pack(f"{name} holds {grams}", typed)
        found.append(Pack(name, fill_g, _known(places, names, name)))
    return tuple(found)


def _pair(name: str, told: object) -> tuple[str, Sequence[str]]:
    try:
        grams, places = told
    except (TypeError, ValueError):
        raise _pack(f"{name} is {told!r}", told) from None
    return str(grams), [places] if isinstance(places, str) else list(places)


def _known(places: Sequence[str], names: Sequence[str], what: str) -> tuple[str, ...]:
    keys = tuple(dict.fromkeys(map(storage_key, [places] if isinstance(places, str) else places)))
    for key in keys:
        if key not in names:
            raise _condition(f"{what} names {key!r}, which is no condition here", ", ".join(names))
    return keys


def _condition(what: str, allowed: object) -> KitError:
    return KitError(
        what, where="plan_stability()", allowed=str(allowed), mend="name a condition", code="stability.condition"
    )


def _pack(what: str, typed: object) -> KitError:
    return KitError(
        what,
        where="plan_stability()",
        allowed='{"100 mL jar": "95 g"}, {"final pack": ("250 g", ["25 degC", "40 degC"])}',
        mend=f"correct {typed!r}",
        code="stability.pack",
    )
