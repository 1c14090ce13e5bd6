"""What a write-up of a trial says of its stability: the protocol that covers it, and which pulls are done."""

from __future__ import annotations

from collections.abc import Sequence

from kit.labbook.source import Source
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.trials.stability import last_entry
from kit.trials.stability_pulls import PULL_STATES, pull_states
from kit.writeup.report_formula import NOT_RECORDED


def protocol_rows(source: Source, batches: Sequence[BatchView]) -> list[tuple[str, str]]:
    """The rows "protocol" and "stations done and due".

    Parameters
    ----------
    source : Source
    batches : sequence of BatchView   Of one trial.
    """
    now, rows = last_entry(batches), []
    for kept in source.stability_protocols():
        covered = [batch for batch in batches if kept.covers(batch)]
        if not covered:
            continue
        states = [one.state for one in pull_states(kept, covered, now)]
        told = ", ".join(f"{states.count(state)} {state}" for state in PULL_STATES if state in states)
        rows += [
            ("protocol", f"{kept.name}, recorded {show_time(kept.recorded_at)}; {kept.protocol.words}"),
            ("stations done and due", f"{told or 'making is not finished'}; as of {now:%Y-%m-%d}"),
        ]
        rows += [("protocol dated after data", kept.after_data)] if kept.after_data else []
    return rows or [("protocol", NOT_RECORDED), ("stations done and due", NOT_RECORDED)]
