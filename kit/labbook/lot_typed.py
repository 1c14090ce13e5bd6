"""How the certificate of a delivery, or the label of a lab-made solution, is typed: read once, at the edge."""

from __future__ import annotations

import calendar
import difflib
import re
from collections.abc import Mapping

from kit.errors import MaterialError
from kit.formula.lots import Lot, lot_from_row
from kit.formula.material import Material
from kit.units import plain

# what may be typed -> what the lot keeps
_NAMES = {
    "active": "strength_pct",
    "active_pct": "strength_pct",
    "active_content": "strength_pct",
    "strength": "strength_pct",
    "strength_pct": "strength_pct",
    "parts": "parts",
    "chains": "chains",
    "chain_split": "chains",
    "amine_value": "amine_value",
    "acid_value": "acid_value",
    "density": "density",
}
_TITRATED = re.compile(r"\s*mg\s*KOH\s*/\s*g\s*$", re.IGNORECASE)
_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])")


def typed_lot(material: Material, lot: str, certificate: Mapping[str, object] | None = None, **words: str) -> Lot:
    """The lot that was typed, checked against the supply form it belongs to.

    Parameters
    ----------
    material : Material   The supply form.
    lot : str             Number on the label.
    certificate : dict    "active" (% of the form), "parts" (INCI to %), "amine_value" [mg KOH/g], "acid_value",
                          "chains" (alcohol to %), "density" ("0.98 g/mL"); an INCI name of a part may stand by itself.
    words : str           expiry, made_on, supplier, note, kind. An expiry of a month, "2027-03", is its last day
                          (common practice, no source).

    Raises
    ------
    MaterialError   `material.lot` for a value that cannot be, a part the form does not have or parts that cannot add up
                    to 100; `material.certificate` for an unknown name.
    UnitError       A number or unit that cannot be read.
    """
    where = f"lot {lot} of {material.key}"
    row: dict[str, object] = {"material": material.key, "lot": str(lot).strip()}
    row |= {name: str(text).strip() for name, text in words.items() if text}
    if "expiry" in row:
        row["expiry"] = _last_day(str(row["expiry"]))
    for name, value in (certificate or {}).items():
        _put(row, material, str(name), value, where)
    found = lot_from_row(row, where)
    material.with_lot(found)  # refuses what cannot be this form
    return found


def stated_words(lot: Lot) -> str:
    """What a lot says of its content: "active 81.2 %; amine value 157.2 mg KOH/g"; "no content stated"."""
    told = [f"active {plain(lot.strength_pct)} %"] if lot.strength_pct is not None else []
    told += [f"{inci} {plain(pct)} %" for inci, pct in lot.parts.items()]
    told += [f"amine value {plain(lot.amine_value)} mg KOH/g"] if lot.amine_value is not None else []
    told += [f"acid value {plain(lot.acid_value)} mg KOH/g"] if lot.acid_value is not None else []
    told += [f"chains {' : '.join(f'{inci} {plain(pct)}' for inci, pct in lot.chains.items())}"] if lot.chains else []
    told += [f"density {plain(lot.density)} g/mL"] if lot.density is not None else []
    return "; ".join(told) or "no content stated"


def _put(row: dict, material: Material, name: str, value: object, where: str) -> None:
    field = _NAMES.get(re.sub(r"[\s%_-]+", "_", name.strip().lower()).strip("_"))
    parts = {part.inci.casefold(): part.inci for part in material.parts}
    if field is None and name.strip().casefold() in parts:
        row["parts"] = {**row.get("parts", {}), parts[name.strip().casefold()]: value}
    elif field is None:
        raise _unknown(name, material, where)
    elif field in ("parts", "chains"):
        row[field] = {**row.get(field, {}), **_shares(field, value, material, where)}
    elif field in ("amine_value", "acid_value"):
        row[field] = _TITRATED.sub("", value) if isinstance(value, str) else value
    else:
        row[field] = value


def _shares(field: str, value: object, material: Material, where: str) -> dict[str, object]:
    """Shares by INCI name, whatever its capitals."""
    if not isinstance(value, Mapping):
        raise MaterialError(
            f"{field} is {value!r}",
            where=where,
            allowed='a name and a share for each, {"Cetyl Alcohol": "50 %", "Stearyl Alcohol": "50 %"}',
            mend="give each with its name",
            code="material.certificate",
        )
    known = [part.inci for part in material.parts]
    if field == "chains":
        known = [inci for part in material.parts for inci, _ in part.substance.mixture_of]
        if not known:
            raise MaterialError(
                f"{material.name} is not kept as a mixture of chains",
                where=where,
                mend="leave the chains out, or put them into the note",
                code="material.certificate",
            )
    spelled = {inci.casefold(): inci for inci in known}
    return {spelled.get(str(name).strip().casefold(), str(name).strip()): share for name, share in value.items()}


def _unknown(name: str, material: Material, where: str) -> MaterialError:
    known = [*dict.fromkeys(_NAMES.values()), *(part.inci for part in material.parts)]
    known[0] = "active"
    near = difflib.get_close_matches(name, known, n=1)
    return MaterialError(
        f"{name!r} is no value of a certificate that the kit knows",
        where=where,
        allowed=", ".join(known),
        mend=f"did you mean {near[0]}?" if near else "use one of these, or put it into the note",
        code="material.certificate",
    )


def _last_day(text: str) -> str:
    month = _MONTH.fullmatch(text)
    if month is None:
        return text
    year, number = int(month[1]), int(month[2])
    return f"{text}-{calendar.monthrange(year, number)[1]:02d}" if 1 <= year <= 9999 else text
