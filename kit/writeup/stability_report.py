"""Stability of some batches: protocol, pulls, verdicts, trends, time to limit, warm storage."""

from __future__ import annotations

from collections.abc import Sequence

from kit.figures.figure import Figure
from kit.figures.stability_trend import stability_trends
from kit.show import Block, Table, listing
from kit.trials.stability import Stability, stability
from kit.trials.stability_sorting import warm_c
from kit.trials.wording import plural
from kit.writeup.cautions import cautions_table
from kit.writeup.report_formula import NOT_RECORDED

NO_PROTOCOL = (
    "No stability protocol covers these batches. Plan one before the data: kit.plan_stability(formula) lists jars, "
    "grams and limits, book.add_stability_protocol(...) freezes it."
)
NO_FIGURE = "No property was read in numbers of a jar in storage: there is no trend to draw."
CLAIM = (
    "A shelf life is claimed from real-time data of the product in its final pack, with microbiology; what is shown "
    "here is what these batches did so far."
)


class StabilityReport:
    """The sections about stability, from a lab book or a snapshot.

    Parameters
    ----------
    source : str, Source or Labbook   What to read.
    study : str                       The study; the only one, or that of the batches, when empty.
    batches : sequence of str         Batches or trials; those the protocol covers, else all, when empty.
    protocol : str                    Name of the protocol; the only one of the study when empty.
    properties : sequence of str      Only these; all when empty.
    baseline : str                    Where there is no protocol, "72 h" or "7 d".
    setting : str                     Setting temperature of the network, "52 degC"; by earlier cooling logs when empty.
    at : str                          The moment to say which pulls are due; the last entry when empty.

    Raises
    ------
    RecordError   `labbook.study`, `labbook.trial`, `labbook.batch`, `stability.which_protocol`,
                  `stability.two_studies`.
    KitError      `age.unknown`, `labbook.time`.
    """

    def __init__(
        self,
        source: object,
        study: str = "",
        batches: Sequence[str] = (),
        protocol: str = "",
        properties: Sequence[str] = (),
        baseline: str = "",
        setting: str = "",
        at: str = "",
    ) -> None:
        self.found: Stability = stability(
            source,
            study,
            batches=batches,
            protocol=protocol,
            properties=properties,
            baseline=baseline,
            setting=setting,
            at=at,
        )

    def identity(self) -> Block:
        """The study, the protocol, the batches, and what must be said first."""
        found = self.found
        versions = dict.fromkeys(batch.formula.title for batch in found.batches)
        rows = [
            ("study", found.study.name),
            ("question", found.study.question or NOT_RECORDED),
            ("protocol", found.kept.name if found.kept else NOT_RECORDED),
            ("versions", "; ".join(versions) or "none"),
            ("batches", ", ".join(batch.name for batch in found.batches) or "none yet"),
            ("as of", f"{found.as_of:%Y-%m-%d %H:%M}" if found.as_of else "–"),
        ]
        return Block((Table(("item", "entry"), rows, title="What is shown"), *found.words))

    def verdicts(self) -> Table:
        """Every property in every place against its limit."""
        return self.found.verdict_table()

    def figures(self) -> list[Figure]:
        """A figure for each property, a panel for each place."""
        return stability_trends(self.found)

    def no_figure(self) -> Block:
        """Said where there is nothing to draw."""
        return Block(() if stability_trends(self.found) else (NO_FIGURE,))

    def life(self) -> Block:
        """Time to limit, and what it is not."""
        return Block((self.found.life_table(), CLAIM))

    def trends(self) -> Table:
        """Slopes and poolability."""
        return self.found.trend_table()

    def beside(self) -> Table:
        """Each jar against the one kept at 25 degC."""
        return self.found.beside_table()

    def warm(self) -> Block:
        """What warm storage may indicate, and whether the network is whole there."""
        warm = any(warm_c(one.place) is not None for one in self.found.series)
        networks = [f"{arm}: {network.words}" for arm, network in self.found.networks.items()] if warm else []
        return Block((*networks, self.found.indication_table()))

    def protocol(self) -> Block:
        """The protocol as it was frozen."""
        kept = self.found.kept
        if kept is None:
            return Block((NO_PROTOCOL,))
        parts = (kept.words, kept.protocol.jars_table(), kept.protocol.limits_table())
        return Block((*parts, listing("To know", kept.protocol.notes)))

    def pulls(self) -> Block:
        """Pulls done, due, missed."""
        if self.found.kept is None:
            return Block((NO_PROTOCOL,))
        missed = [one for one in self.found.pulls if one.state == "MISSED"]
        said = (f"{plural(len(missed), 'pull')} missed: what was not read is not known.",) if missed else ()
        return Block((self.found.pulls_table(), *said))

    def left_out(self) -> Table:
        """Readings that do not count, with the reason."""
        return self.found.left_out_table()

    def cautions(self) -> Table:
        """The cautions for whoever makes one of these batches."""
        return cautions_table(self.found.batches)
