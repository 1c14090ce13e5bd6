"""A stability page with its pull calendar beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from kit.labbook.source import open_source
from kit.show import paragraph
from kit.trials.stability_chosen import chosen_batches
from kit.trials.stability_pulls import calendar_of
from kit.writeup.write_up import WriteUp, file_stem, publish


@dataclass(frozen=True)
class StabilityPage:
    """What was written: the page with its notebook and snapshot, and the calendar of pulls beside it.

    `calendar` is None where no protocol covers the batches.
    """

    written: WriteUp
    calendar: Path | None

    def __str__(self) -> str:
        beside = f"; pull calendar {self.calendar.name}" if self.calendar else "; no pull calendar: no protocol"
        return f"{self.written}{beside}"

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return paragraph(self)


def write_stability(
    book: object,
    study: str = "",
    *,
    batches: Sequence[str] = (),
    protocol: str = "",
    setting: str = "",
    to: str | Path = "writeups",
    name: str = "",
    bundle: bool = False,
) -> StabilityPage:
    """Write the stability of a study as one page that opens offline, its pull calendar (.ics) beside it.

    Parameters
    ----------
    book : Labbook, Source or path   Where it is recorded.
    study : str                      The study; the only one, or that of the batches, when empty.
    batches : sequence of str        Batches or trials; those the protocol covers when empty.
    protocol : str                   Name of the protocol; the only one of the study when empty.
    setting : str                    Setting temperature of the network, "52 degC".
    to : folder                      Made when missing.
    name : str                       Of the files; the study with "-stability" when empty.
    bundle : bool                    Also pack it into one .zip that `kit.verify` runs again.

    Raises
    ------
    RecordError   As kit.stability.
    RunError      When the template stops or a file cannot be stored.
    KitError      `stability.calendar_file`.
    """
    source = open_source(book)
    chosen, kept, views = chosen_batches(source, study, batches, protocol)
    trials = list(dict.fromkeys(batch.trial for batch in views))
    stem = file_stem(name or f"{chosen.name}-stability")
    parameters = {
        "study": chosen.name,
        "batches": [batches] if isinstance(batches, str) else list(batches),
        "protocol": kept.name if kept else "",
        "setting": setting,
    }
    title = f"Stability: {chosen.name}"
    written = publish("stability", source, trials, parameters, to=to, name=stem, title=title, bundle=bundle)
    calendar = calendar_of(kept, views).save(Path(to) / f"{stem}.ics") if kept else None
    return StabilityPage(written, calendar)
