"""A formula and what is done with it: change, save, review, predict. Frozen: every change is a new version."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from kit.formula.composition import Composition, Step
from kit.formula.library import Library
from kit.formula.material import Material
from kit.formula.model import FormulaModel, Line, Phase, spec_from_row, step_from_row
from kit.formula.predict import Prediction, hours, predict_ph
from kit.formula.rules import Review, review_formula
from kit.formula.swap import BASES, swap
from kit.formula.versions import change, next_version
from kit.formula.writing import save_formula
from kit.show import Table
from kit.units import read

if TYPE_CHECKING:
    from kit.formula.charge_balance import ChargeBalance
    from kit.formula.cost import Cost
    from kit.formula.dosing import DoseAnswer
    from kit.formula.free_preservatives import Preservation
    from kit.formula.history import History
    from kit.formula.knowledge import Knowledge
    from kit.formula.label import Label
    from kit.formula.pour import Pour
    from kit.formula.prices import Price


@dataclass(frozen=True, eq=True, repr=False)
class Formula(FormulaModel):
    """A formula as meant; its data are those of `FormulaModel`."""

    def change(
        self, changes: Mapping[str, str], *, absorb: str = "water", why: str = "", version: str = "", phase: str = ""
    ) -> Formula:
        """A new version with these lines changed; see `kit.formula.versions.change`."""
        return change(self, changes, absorb=absorb, why=why, version=version, phase=phase)

    def with_steps(self, steps: tuple[Step, ...], *, why: str = "", version: str = "") -> Formula:
        """A new version made another way: same lines, other steps."""
        label = version or next_version(self.version)
        return replace(
            self, steps=tuple(steps), version=label, parent=self.fingerprint, why=why, absorbed_by="", file=""
        )

    def swap(
        self, new: str, *, for_: str, at: str = BASES[0], absorb: str = "water", why: str = "", version: str = ""
    ) -> Formula:
        """A new version with another supply form at equal active content; see `kit.formula.swap.swap`."""
        return swap(self, new, for_=for_, at=at, absorb=absorb, why=why, version=version)

    def save(self, path: str | Path, *, overwrite: bool = False) -> Path:
        """Write the formula to a TOML file; a file that holds anything else is never overwritten unasked."""
        return save_formula(self, path, overwrite=overwrite)

    def review(self, *, parent: FormulaModel | None = None) -> Review:
        """The formula held against every coded rule, and against the version it came from when that is given."""
        return review_formula(self, parent=parent)

    def predict_ph(
        self, *, knowing: Knowledge | None = None, age: str | None = None, temp: str = "25 degC"
    ) -> Prediction:
        """The predicted pH with its band, or NOT COMPUTED with the reason.

        Parameters
        ----------
        knowing : Knowledge   What readings of the lab taught.
        age : str             Age of the reading to predict, such as "24 h"; None: settled, every acid has come free.
        temp : str            Of the reading.
        """
        temp_c = float(read(temp, "degC", where="predict_ph(temp)"))
        return predict_ph(self.composition(), knowing=knowing, age_h=hours(age), temp_c=temp_c)

    def dose_to_ph(
        self,
        target: object,
        *,
        using: str = "citric acid 10 %",
        batch: str = "400 g",
        measured: object = None,
        knowing: Knowledge | None = None,
        age: str | None = None,
        temp: str = "25 degC",
    ) -> DoseAnswer:
        """How much of a stock solution brings a batch of this formula to a pH; see `kit.formula.dosing.dose_to_ph`."""
        from kit.formula.dosing import dose_to_ph

        return dose_to_ph(
            self.composition(),
            target,
            using=using,
            batch=batch,
            measured=measured,
            knowing=knowing,
            age=age,
            temp=temp,
            library=self.library,
        )

    def charge(self, ph: object = None) -> ChargeBalance:
        """Signed charge of the large ions at a pH, or at the highest the spec allows; small counter-ions beside it."""
        from kit.formula.charge_at_ph import charge_of

        return charge_of(self, ph)

    def preservation(self, ph: object) -> Preservation:
        """Each preservative at a pH, free in the water from the least to the most; never a pass."""
        from kit.formula.preservation import preservation

        return preservation(self.composition(), ph)

    def heat(self, batch: str = "400 g", **options: object) -> Pour:
        """The temperature its hot phases reach together, before they are poured; see `kit.formula.pour_plan`."""
        from kit.formula.pour_plan import plan_pour

        return plan_pour(self, batch, **options)

    def label(self, market: str = "EU", as_made: Composition | None = None) -> Label:
        """The ingredient list of the meant formula for a market; with `as_made`, what that would change is said."""
        from kit.formula.label import label

        return label(self, market=market, as_made=as_made)

    def cost(self, *, prices: Mapping[str, Price] | None = None, **options: object) -> Cost:
        """What the meant formula costs, by the prices of its library unless others are given.

        Options are those of `kit.formula.cost.cost`: loss, batch, fill, density, per_pack, per_batch.
        """
        from kit.formula.cost import cost

        known = self.library.prices if self.library is not None else {}
        return cost(self, known if prices is None else prices, **options)

    def history(self, *others: str | Path | FormulaModel) -> History:
        """The history of this formula among other versions: files, folders of files, or formulas."""
        from kit.formula.history import history

        return history([self, *others], self.library)

    def facts_table(self) -> Table:
        """The facts this formula rests on: value, kind, source, and whose they are."""
        from kit.formula.provenance import facts_table

        return facts_table(self.composition().materials(), f"Facts of {self.title}, and whose they are")


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
        absorbed_by=row.get("absorbed_by", ""),
        library=library,
    )
