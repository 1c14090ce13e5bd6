"""The typed rows of an entry, worked out from the entry alone: when it is stored, and when the book is checked."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from kit.labbook.streams import Entry

Rows = list[tuple[str, dict]]


def rows_of(kind: str, body: Mapping, measured_at: str | None) -> Rows:
    """Rows (table, columns) of an entry; none for entries that no table lists.

    Parameters
    ----------
    kind : str          Kind of the entry.
    body : dict         Its content.
    measured_at : str   When it was measured, None where that is not known.
    """
    match kind:
        case "study":
            return [("study", {"name": body["name"]})]
        case "trial":
            return [("trial", {"study": body["study"], "name": body["trial"], "formula": body["formula"]})]
        case "start":
            return [("batch", {key: body[key] for key in ("study", "trial", "number", "formula")})]
        case "instrument":
            return [("instrument", {"name": body["name"], "kind": body["kind"]})]
        case "calibration":
            return [("calibration", {"instrument": body["instrument"], "name": body["name"]})]
        case "formula":
            return [("formula_version", {key: body[key] for key in ("fingerprint", "name", "version")})]
        case "weigh":
            mass = body["mass_g"]
            return [("weighing", {"material": body["material"], "mass_g_text": mass, "mass_g": float(Decimal(mass))})]
        case "reading":
            value = body["value"]
            return [
                (
                    "reading",
                    {
                        "property": body["property"],
                        "value": float(Decimal(value)),
                        "value_text": value,
                        "unit": body["unit"],
                        "measured_at": None if body.get("untimed") else measured_at,
                    },
                )
            ]
        case _:
            return []


def rows_of_entry(entry: Entry) -> Rows:
    """Rows of an entry that is stored."""
    return rows_of(entry.kind, entry.body, entry.measured_at)
