"""A formula and what is done with it: change, save, review, predict. Frozen: every change is a new version."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from kit.formula.composition import Step
from kit.formula.library import Library
from kit.formula.material import Material
from kit.formula.model import FormulaModel, Line, Phase, spec_from_row, step_from_row
from kit.formula.predict import Prediction, predict_ph
from kit.formula.rules import Review, review_formula
from kit.formula.versions import change, next_version
from kit.formula.writing import save_formula


@dataclass(frozen=True, eq=True)
class Formula(FormulaModel):
    """A formula as meant; its data are those of `FormulaModel`."""

    def change(
        self, changes: Mapping[str, str], *, absorb: str = "water", why: str = "", version: str = "", phase: str = ""
    ) -> Formula:
        """A new version with these lines changed; see `kit.formula.versions.change`."""
        return change(self, changes, absorb=absorb, why=why, version=version, phase=phase)

    def with_steps(self, steps: tuple[Step, ...], *, why: str = "", version: str = "") -> Formula:
        """A new version made another way: same lines, other steps."""
        return replace(
            self, steps=tuple(steps), version=version or next_version(self.version), parent=self.fingerprint, why=why
        )

    def save(self, path: str | Path, *, overwrite: bool = False) -> Path:
        """Write the formula to a TOML file; a file that holds anything else is never overwritten unasked."""
        return save_formula(self, path, overwrite=overwrite)

    def review(self) -> Review:
        """The formula held against every coded rule."""
        return review_formula(self)

    def predict_ph(self) -> Prediction:
        """The predicted pH with its band, or NOT COMPUTED with the reason."""
        return predict_ph(self.composition())


def formula_from_row(row: Mapping, library: Library | None = None) -> Formula:
    """The formula that `formula_row` wrote, with the facts that were used then."""
    materials = {key: Material.from_row(material) for key, material in row["materials"].items()}
    phases = tuple(
        Phase(
            phase["name"],
            phase["kind"],
            tuple(
                Line(
                    materials[line["material"]],
                    Decimal(line["pct"]) if "pct" in line else None,
                    bool(line.get("qs")),
                    line.get("why", ""),
                )
                for line in phase["lines"]
            ),
        )
        for phase in row["phases"]
    )
    return Formula(
        name=row["name"],
        version=row["version"],
        product=row["product"],
        phases=phases,
        steps=tuple(step_from_row(step) for step in row["steps"]),
        spec=tuple(spec_from_row(line) for line in row["spec"]),
        parent=row.get("parent", ""),
        why=row.get("why", ""),
        note=row.get("note", ""),
        library=library,
    )
