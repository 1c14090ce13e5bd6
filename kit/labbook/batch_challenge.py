"""What a laboratory found when it challenged a batch with microbes."""

from __future__ import annotations

from collections.abc import Mapping

from kit.labbook.batch_record import BatchRecord
from kit.labbook.challenge_entry import KIND, challenge_body
from kit.labbook.receipt import Receipt


class Challenged(BatchRecord):
    """The call that keeps a challenge test with the batch it was made on."""

    def challenge_test(
        self,
        counts: Mapping[str, Mapping[object, object]],
        *,
        method: str = "ISO 11930",
        ph: object = None,
        age: str = "",
        at: str = "",
        strains: Mapping[str, str] | None = None,
        groups: Mapping[str, str] | None = None,
        note: str = "",
        **report: str,
    ) -> Receipt:
        """Record a laboratory's challenge test of this batch; `view.challenge_tests` gives it back to be evaluated.

        Parameters
        ----------
        counts : mapping   Organism to its counts by day, "<10" below the detection limit; day 0 is the inoculum.
                           [CFU/g]
        method : str       "ISO 11930" or "USP <51>".
        ph : float         Of the sample tested. [-]
        age : str          Age of the sample, "21 d"; counts where no day of inoculation is given.
        at : str           Day of inoculation: the age is counted from the end of making to it.
        strains : mapping  Organism to its strain, "ATCC 6538".
        groups : mapping   "bacteria", "yeast" or "mould" of an organism that is none of the standard ones.
        note : str         A remark.
        report             laboratory, report, edition, neutraliser, inoculum, ended, container: as the report says.

        Returns
        -------
        Receipt   With the decision by the published criteria and everything the report leaves out.

        Raises
        ------
        BatchError   `challenge.counts`, `challenge.organism`, `challenge.method`, `challenge.report`.
        """
        body = challenge_body(
            counts,
            method=method,
            ph=ph,
            age=age,
            strains=strains,
            groups=groups,
            report=report,
            note=note,
            where=f"challenge_test() of {self.name}",
        )
        receipt = self._record(KIND, {**body, "at": at}, f"challenge test, {method}", at=at)
        test = next(found for found in self.view.challenge_tests if found.entry == receipt.seq)
        return self._with_notes(receipt, list(test.evaluate().words()))
