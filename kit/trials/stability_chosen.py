"""Which batches a stability study is of, and the protocol that it is judged by."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kit.errors import RecordError
from kit.labbook.source import Source, nearest_names
from kit.labbook.stability_protocol_entry import ProtocolKept
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.trials.arms import in_order


def chosen_batches(
    source: Source, study: str, batches: Sequence[str], protocol: str
) -> tuple[StudyView, ProtocolKept | None, tuple[BatchView, ...]]:
    """The study, its protocol and the batches that are asked for, in order of making; parameters as of `stability`.

    Parameters
    ----------
    source : Source
    study : str
    batches : sequence of str
    protocol : str

    Raises
    ------
    RecordError   As `stability`.
    """
    named = [batches] if isinstance(batches, str) else list(batches)
    views = tuple(view for name in named for view in _batches_named(source, name))
    chosen = source.study(study or (views[0].study if views else ""))
    _refuse_other_studies(views, chosen)
    kept = _protocol(source, chosen, protocol)
    if not views:
        views = tuple(view for view in source.batches(study=chosen.name) if kept is None or kept.covers(view))
    return chosen, kept, in_order({view.name: view for view in views}.values())


def _batches_named(source: Source, name: str) -> tuple[BatchView, ...]:
    if "/" in name:
        return (source.batch(name),)
    source.trial(name)
    return source.batches(name)


def _refuse_other_studies(views: Iterable[BatchView], study: StudyView) -> None:
    others = [view.name for view in views if view.study != study.name]
    if others:
        raise RecordError(
            f"{', '.join(others)} belong to another study than {study.name}",
            where="stability()",
            mend="look at one study at a time: methods and protocol belong to it",
            code="stability.two_studies",
        )


def _protocol(source: Source, study: StudyView, name: str) -> ProtocolKept | None:
    known = source.stability_protocols(study.name)
    if not name and len(known) < 2:
        return known[0] if known else None
    found = next((kept for kept in known if kept.name == name), None)
    if found is None:
        names = [kept.name for kept in known]
        raise RecordError(
            f"there is no stability protocol {name!r}" if name else "several stability protocols are here; name one",
            where=f"study {study.name}",
            allowed=", ".join(nearest_names(name, names)) or "none yet",
            mend="name one as protocol=",
            code="stability.which_protocol",
        )
    return found
