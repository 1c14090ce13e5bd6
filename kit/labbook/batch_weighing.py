"""Weighing at the bench: lines, portions, losses, water make-up, adjusters, samples."""

from __future__ import annotations

from decimal import Decimal

from kit.bench.containers import weighed_back
from kit.bench.made import gross_check
from kit.bench.sheet import SheetLine
from kit.bench.weighing import OverWeighing, corrections, judge
from kit.errors import BatchError
from kit.formula.material import Material
from kit.labbook.batch_water import WaterLosses
from kit.labbook.receipt import Receipt
from kit.labbook.weighed import as_planned_now, weighed_g
from kit.units import plain


class Weighing(WaterLosses):
    """The calls that say what went into the batch and what came out of it."""

    def weigh(
        self,
        material: str,
        mass: str,
        *,
        lot: str = "",
        phase: str = "",
        portion: object = False,
        corrects: object = None,
        balance: str = "",
        note: str = "",
        at: str = "",
        why: str = "",
    ) -> Receipt:
        """Record what was weighed for one line of the sheet.

        Parameters
        ----------
        material : str      Key, name or INCI of a line on the sheet.
        mass : str          Net mass with its unit, "20.04 g".
        lot : str           The supplier's lot.
        phase : str         Needed only where the material stands in two phases.
        portion : bool      True for a further portion of a line already weighed; a number tells equal portions apart.
        corrects : entry    The receipt or number of a weighing this one puts right; give `why`.

        Raises
        ------
        BatchError   `batch.line_unknown`, `batch.weighed_already`, `batch.finished`.
        UnitError    A missing or wrong unit.
        """
        line = self.sheet.line(material, phase or None)
        grams = self._mass(mass, f"weigh {line.material.key}")
        body = {
            "phase": line.phase,
            "material": line.material.key,
            "mass_g": plain(grams),
            "lot": lot,
            "balance": balance,
            "portion": "" if portion is False else str(portion),
            "note": note,
            "at": at,
        }
        if corrects is not None:
            return self.correct(corrects, why=why or "weighing put right", mass=mass, **({"lot": lot} if lot else {}))
        if self._ledger.same("weigh", body) is None and portion is False:
            self._refuse_second_weighing(line)
        receipt = self._record("weigh", body, f"{line.material.name}: {plain(grams)} g", at=at)
        return self._with_notes(receipt, [*self._weighing_notes(line), *self._lot_notes(line.material, lot, grams, at)])

    def over_weighing(self, material: str, phase: str = "") -> OverWeighing:
        """Both ways to deal with an over-weighed line: make all others bigger, or accept the new percentages."""
        line = self.sheet.line(material, phase or None)
        return corrections(
            self.sheet, self._weighed(), line.material.key, line.phase, combined=bool(self.view.combined_at)
        )

    def accept(self, material: str, *, why: str, phase: str = "", at: str = "") -> Receipt:
        """Record that an over-weighed line is accepted with its new percentage."""
        return self._over_weighing_choice(material, phase, "accept", why, at)

    def rescale(self, material: str, *, why: str, phase: str = "", at: str = "") -> Receipt:
        """Record that all other lines are made bigger to match an over-weighed one; then weigh the extra portions.

        Raises
        ------
        BatchError   `batch.rescale` when the phases are already combined or the factor is too large.
        """
        return self._over_weighing_choice(material, phase, "rescale", why, at)

    def weigh_back(self, container: str, mass: str, *, phase: str = "", note: str = "", at: str = "") -> Receipt:
        """Record what was left behind in a beaker or boat, "oil beaker", "2.1 g". It never reached the batch.

        Parameters
        ----------
        container : str   A phase or its kind ("beaker B", "oil beaker"), a material in its own boat ("parfum boat"),
                          or a tool that was in the batch itself ("mixing head").
        phase : str       The phase it held, where its name does not say.

        Raises
        ------
        BatchError   `batch.container` when it is not clear what the container held.
        """
        grams = self._mass(mass, f"weigh back {container}")
        held = weighed_back(phase or container, grams, self.formula)
        body = {
            "container": container,
            "phase": held.phase,
            "material": held.material.key if held.material else "",
            "note": note,
            "at": at,
            "mass_g": plain(grams),
        }
        of = held.material.name if held.material else f"phase {held.phase}" if held.phase else "batch"
        return self._record("weigh-back", body, f"{body['mass_g']} g left on or in the {container} ({of})", at=at)

    def gross(self, gross: str, *, tare: str, holds: str = "", note: str = "", at: str = "") -> Receipt:
        """Record vessel plus batch on the balance; the receipt says what is missing and what make-up that would be.

        Parameters
        ----------
        holds : str   Phases that are in the vessel, "A, B"; by default those combined or added so far.
        """
        phases = [self.formula.phase(name.strip()).name for name in holds.split(",")] if holds else []
        body = {
            "gross_g": plain(self._mass(gross, "gross")),
            "tare_g": plain(self._mass(tare, "tare")),
            "phases_in": phases,
            "note": note,
            "at": at,
        }
        if Decimal(body["gross_g"]) <= Decimal(body["tare_g"]):
            raise BatchError(
                f"the gross mass {gross} is not above the tare {tare}",
                where=f"gross() of {self.name}",
                mend="check which number is which",
                code="batch.gross",
            )
        net = Decimal(body["gross_g"]) - Decimal(body["tare_g"])
        if self._ledger.same("gross", body) is None:
            check = gross_check(self.view.events, self.formula, net, tuple(phases) or None).words()
        else:
            check = f"net {plain(net)} g"
        receipt = self._record("gross", body, f"gross {body['gross_g']} g, tare {body['tare_g']} g", at=at)
        return self._with_notes(receipt, [check, *self._water_notes()])

    def top_up(self, mass: str, *, lot: str = "", note: str = "", at: str = "") -> Receipt:
        """Record water added to make up for what evaporated (boiled and cooled water)."""
        water = self._water()
        body = {
            "material": water.key,
            "mass_g": plain(self._mass(mass, "water make-up")),
            "lot": lot,
            "note": note,
            "at": at,
        }
        receipt = self._record("top-up", body, f"water make-up {body['mass_g']} g", at=at)
        return self._with_notes(receipt, self._lot_notes(water, lot, Decimal(body["mass_g"]), at))

    def adjust(self, material: str, mass: str, *, lot: str = "", dose: int = 1, why: str = "", at: str = "") -> Receipt:
        """Record something poured in at the end, usually acid or base: "citric acid 10 %", "1.2 g".

        It becomes part of the formula. Equal doses in a row are told apart by `dose=2`, `dose=3`.
        """
        found = self.formula.find(material, where=f"adjust() of {self.name}")
        body = {
            "material": found.key,
            "material_row": found.row(),
            "mass_g": plain(self._mass(mass, f"adjust with {material}")),
            "lot": lot,
            "dose": dose,
            "why": why,
            "at": at,
        }
        receipt = self._record("adjust", body, f"{found.name}: {body['mass_g']} g added", at=at)
        notes = [f"caution ({key}): see the sheet" for key in found.cautions if key in ("corrosive", "acid-base")]
        return self._with_notes(receipt, [*notes, *self._lot_notes(found, lot, Decimal(body["mass_g"]), at)])

    def take(self, mass: str, *, why: str = "", at: str = "") -> Receipt:
        """Record a sample taken out of the batch."""
        body = {"mass_g": plain(self._mass(mass, "sample taken")), "why": why, "at": at}
        return self._record("take", body, f"{body['mass_g']} g taken out{f' for {why}' if why else ''}", at=at)

    def _refuse_second_weighing(self, line: SheetLine) -> None:
        for item in self._ledger.effective():
            if (
                item.kind == "weigh"
                and item.stands
                and (item.body["phase"], item.body["material"]) == (line.phase, line.material.key)
            ):
                raise BatchError(
                    f"{line.material.key} was weighed already: {item.body['mass_g']} g (entry {item.seq})",
                    where=f"batch {self.name}",
                    mend=f'a further portion: portion=True; a slip: corrects={item.seq}, why="..."',
                    code="batch.weighed_already",
                )

    def _weighed(self) -> dict[tuple[str, str], Decimal]:
        return weighed_g(self._ledger.effective())

    def _weighing_notes(self, line: SheetLine) -> list[str]:
        verdict = judge(self.as_planned_now(line), self._weighed()[line.place])
        notes = [verdict.words()]
        if verdict.verdict == "over":
            notes.append(
                f'over_weighing("{line.material.key}") shows both corrections: make all others bigger, or accept'
            )
        return notes

    def as_planned_now(self, line: SheetLine) -> SheetLine:
        """The line with its target made bigger where an over-weighed line was answered by rescaling."""
        return as_planned_now(line, self._ledger.effective())

    def _over_weighing_choice(self, material: str, phase: str, choice: str, why: str, at: str) -> Receipt:
        line = self.sheet.line(material, phase or None)
        found = self.over_weighing(material, phase)
        if choice == "rescale" and not found.feasible:
            raise BatchError(
                f"the others cannot be made bigger: {'; '.join(found.obstacles)}",
                where=f"batch {self.name}",
                allowed="a factor below 1.10, before the phases are combined",
                mend="accept the new percentages, or start again",
                code="batch.rescale",
            )
        body = {
            "choice": choice,
            "phase": line.phase,
            "material": line.material.key,
            "factor": str(found.factor),
            "why": why,
            "at": at,
        }
        return self._record("over-weighing", body, f"{line.material.name} over-weighed: {choice}", at=at)

    def _water(self) -> Material:
        for _, line in self.formula.placed_lines():
            if line.material.is_water:
                return line.material
        raise BatchError(
            "the formula has no water line to make up",
            where=f"batch {self.name}",
            mend="record it with adjust()",
            code="batch.no_water",
        )
