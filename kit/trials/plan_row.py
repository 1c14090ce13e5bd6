"""Parts of a plan as rows of text for the record, and back."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from kit.formula.formula import Formula
from kit.formula.rules.findings import Finding
from kit.trials.plan_factors import Factor
from kit.trials.plan_power import Answer, Power
from kit.trials.plan_repair import Tightened
from kit.trials.plan_scatter import Scatter
from kit.trials.plan_versions import PlannedVersion
from kit.units import plain


def factor_row(factor: Factor) -> dict:
    """A factor as a row of text."""
    return {
        "name": factor.name,
        "kind": factor.kind,
        "unit": factor.unit,
        "levels": [plain(level) for level in factor.levels],
        "is_range": factor.is_range,
        "basis": factor.basis,
        "phase": factor.phase,
    }


def factor_from(row: Mapping) -> Factor:
    """The factor that `factor_row` wrote; of its material only the name is left."""
    return Factor(
        row["name"],
        row["kind"],
        row["unit"],
        tuple(map(Decimal, row["levels"])),
        row["is_range"],
        row["basis"],
        row["phase"],
    )


def version_row(version: PlannedVersion) -> dict:
    """A version as a row of text; its formula is kept beside it, not in it."""
    return {
        "version": version.key,
        "label": version.label,
        "levels": [[name, plain(level)] for name, level in version.levels],
        "findings": [_finding_row(finding) for finding in version.findings],
        "notes": version.notes,
        "ph": version.ph,
        "mixing": version.mixing,
        "cost": version.cost,
    }


def version_from(row: Mapping, formula: Formula) -> PlannedVersion:
    """The version that `version_row` wrote.

    Parameters
    ----------
    row : mapping       As kept.
    formula : Formula   Kept beside it.
    """
    return PlannedVersion(
        row["label"],
        tuple((name, Decimal(level)) for name, level in row["levels"]),
        formula,
        tuple(_finding_from(one) for one in row["findings"]),
        row["notes"],
        row["ph"],
        row["mixing"],
        row["cost"],
    )


def power_row(power: Power) -> dict:
    """What a plan can tell as a row of text."""
    return {
        "scatter": {"sd": repr(power.scatter.sd), "df": power.scatter.df, "words": power.scatter.words},
        "df_plan": power.df_plan,
        "answers": [
            {
                "name": answer.name,
                "first": answer.first,
                "second": answer.second,
                **{name: _number(getattr(answer, name)) for name in ("half_width", "detectable", "alike")},
                "reason": answer.reason,
            }
            for answer in power.answers
        ],
        "cannot": list(power.cannot),
        "notes": list(power.notes),
        "repeat": power.repeat,
    }


def power_from(row: Mapping) -> Power:
    """What `power_row` wrote."""
    scatter = Scatter(float(row["scatter"]["sd"]), row["scatter"]["df"], row["scatter"]["words"])
    answers = tuple(
        Answer(
            one["name"],
            one["first"],
            one["second"],
            _float(one["half_width"]),
            _float(one["detectable"]),
            one["reason"],
            _float(one["alike"]),
        )
        for one in row["answers"]
    )
    return Power(scatter, row["df_plan"], answers, tuple(row["cannot"]), tuple(row["notes"]), row["repeat"])


def tightened_row(tightened: Tightened) -> dict:
    """A bound that was moved as a row of text."""
    names = ("factor", "side", "was", "now", "code", "words")
    return {**{name: getattr(tightened, name) for name in names}, "points": list(tightened.points)}


def tightened_from(row: Mapping) -> Tightened:
    """The bound that `tightened_row` wrote."""
    return Tightened(
        row["factor"], row["side"], row["was"], row["now"], tuple(row["points"]), row["code"], row["words"]
    )


def _finding_row(finding: Finding) -> dict:
    numbers = {name: str(getattr(finding, name)) for name in ("value", "limit") if getattr(finding, name) is not None}
    words = {name: getattr(finding, name) for name in ("severity", "code", "words", "source")}
    return {**words, "materials": list(finding.materials), **numbers}


def _finding_from(row: Mapping) -> Finding:
    numbers = {name: Decimal(row[name]) for name in ("value", "limit") if name in row}
    return Finding(row["severity"], row["code"], row["words"], tuple(row["materials"]), source=row["source"], **numbers)


def _number(value: float | None) -> str:
    """A number of the record, to twelve digits: the last ones differ between processors."""
    return "" if value is None else f"{value:.12g}"


def _float(text: str) -> float | None:
    return float(text) if text else None
