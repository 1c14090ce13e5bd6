"""What a write-up of a trial says of its stability: the protocol that covers it, and which pulls are done."""

from __future__ import annotations

from collections.abc import Sequence

from kit.labbook.source import Source
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.writeup.report_formula import NOT_RECORDED


def protocol_rows(source: Source, batches: Sequence[BatchView]) -> list[tuple[str, str]]:
    """The rows "protocol" and "stations done and due".

    Parameters
    ----------
    source : Source
    batches : sequence of BatchView   Of one trial.
    """
    found = [(kept, [batch for batch in batches if kept.covers(batch)]) for kept in source.stability_protocols()]
    covering = [(kept, covered) for kept, covered in found if covered]
    if not covering:
        return [("protocol", NOT_RECORDED), ("stations done and due", NOT_RECORDED)]
    # Most trials are under no protocol: what judges stability is loaded for those that are.
    from kit.trials.stability import last_entry
    from kit.trials.stability_pulls import pull_states, states_words

    now, rows = last_entry(batches), []
    for kept, covered in covering:
        told = states_words(pull_states(kept, covered, now))
        rows += [
            ("protocol", f"{kept.name}, recorded {show_time(kept.recorded_at)}; {kept.protocol.words}"),
            ("stations done and due", f"{told or 'making is not finished'}; as of {now:%Y-%m-%d}"),
        ]
        rows += [("protocol dated after data", kept.after_data)] if kept.after_data else []
    return rows
