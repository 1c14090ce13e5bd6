"""The page of a study's panels: what they found, what they could have found, how they were served."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property

from kit.bench.panel import PanelKept
from kit.bench.panel_reach import task_of
from kit.bench.panel_sheet import cautions
from kit.errors import KitError
from kit.figures.figure import Figure
from kit.figures.panel import panel_figure, tress_residuals
from kit.figures.panel_marks import mark_differences
from kit.labbook.source import open_source
from kit.science import panel_power
from kit.science.panel_tests import Task, minimum_right
from kit.show import Block, Cell, Listing, Table, listing
from kit.trials.combing import Combing, combing
from kit.trials.panel import PanelResult, evaluated
from kit.writeup.cautions import cautions_table
from kit.writeup.panel_page_served import batches_of, places_table, plan_table, served_table, servings_table
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.study_rows import control_words

NO_PANEL = (
    "No panel of this study is kept. book.add_panel(...) draws blind codes and serving orders and keeps them before "
    "anybody answers; what was answered without them is no panel."
)
_SIZES = (12, 24, 36, 60, 120)  # assessors a reader may think of next (own choice)


class PanelPage:
    """The sections about panels, from a lab book or a snapshot.

    Parameters
    ----------
    source : str, Source or Labbook   What to read.
    study : str                       The study; that of the panels, or the only one, when empty.
    panels : sequence of str          Panels by name; all of the study when empty.
    control : str                     What tresses are held against; the study's control when empty.
    age : str                         Only tresses treated with a batch of this age, "7 d"; every age when empty.

    Raises
    ------
    RecordError   `labbook.study`, `panel.unknown`.
    KitError      `panel_page.study` for panels of several studies, `combing.control`, `age.unknown`.
    """

    def __init__(
        self, source: object, study: str = "", panels: Sequence[str] = (), control: str = "", age: str = ""
    ) -> None:
        self.source = open_source(source)
        names = [panels] if isinstance(panels, str) else list(dict.fromkeys(panels))
        named = [self.source.panel(name) for name in names]
        self.study = self.source.study(study or (named[0].study if named else ""))
        for kept in named:
            if kept.study != self.study.name:
                raise KitError(
                    f"panel {kept.name} is of study {kept.study}, not of {self.study.name}",
                    where="panel page",
                    mend="make a page for each study",
                    code="panel_page.study",
                )
        # a lab book and a snapshot hand them out in different orders
        kept = named or sorted(self.source.panels(self.study.name), key=lambda one: (one.at, one.name))
        self.results: tuple[PanelResult, ...] = tuple(map(evaluated, kept))
        self.combing: Combing = combing(self.source, study=self.study.name, control=control, age=age)

    @cached_property
    def panels(self) -> tuple[PanelKept, ...]:
        """The panels that are shown."""
        return tuple(result.panel for result in self.results)

    def identity(self) -> Block:
        """The study, and every panel with its verdict."""
        study = self.study
        rows = [
            ("study", study.name),
            ("question", study.question or NOT_RECORDED),
            ("control", control_words(study)),
            ("panels", ", ".join(kept.name for kept in self.panels) or "none kept"),
        ]
        shown = Table(("item", "entry"), rows, title="What is shown")
        return Block((shown, self._verdicts()) if self.results else (shown, NO_PANEL))

    def _verdicts(self) -> Table:
        rows = []
        for result in self.results:
            kept = result.panel
            verdict = Cell("NO VERDICT", "flag") if result.reason else Cell(result.verdict, "strong")
            answers = f"{result.assessors} of {len(kept.servings)}"
            rows.append((kept.name, kept.question, kept.kind, answers, verdict))
        return Table(("panel", "question", "kind", "answers", "verdict"), rows, title="What the panels found")

    def findings(self) -> Iterator[Figure | Listing | Table]:
        """Of every panel the words, the figure and the tables, one after the other."""
        for result in self.results:
            yield listing(f"Panel {result.panel.name}", result.sentences)
            figure = panel_figure(result) or mark_differences(result)
            if figure is not None:
                yield figure
            yield from result.tables()

    def reach(self) -> Block:
        """What each forced choice could have found, and what more assessors would."""
        tables = [reach_table(result) for result in self.results if task_of(result.panel) is not None]
        others = [result.panel.name for result in self.results if task_of(result.panel) is None]
        told = (
            f"{', '.join(others)}: what a ranking or ratings can find depends on how the answers scatter; it stands "
            "with the result, once there is one."
        )
        return Block((*tables, *([told] if others else [])))

    def served(self) -> Block:
        """Batches, plans, places, codes and answers."""
        if not self.results:
            return Block(())
        parts: list[object] = [served_table(self.source, self.panels)]
        for kept in self.panels:
            parts += [plan_table(kept), places_table(kept), servings_table(kept)]
        return Block(tuple(parts))

    def hair(self) -> Listing:
        """The wet-combing force in words."""
        return listing("Wet-combing force", self.combing.sentences)

    def hair_figure(self) -> list[Figure]:
        """The force left on every tress; empty without one."""
        figure = tress_residuals(self.combing)
        return [] if figure is None else [figure]

    def hair_tables(self) -> Block:
        """Treatments, comparisons, tresses, and what does not count."""
        return Block(self.combing.tables())

    def cautions(self) -> Block:
        """What every assessor is told before, and the cautions for whoever makes one of the batches."""
        told = dict.fromkeys(
            (one.title, one.items) for one in (cautions(kept) for kept in self.panels)
        )  # the same for panels of one kind of place
        heads = [Listing(title, items) for title, items in told]
        return Block((*heads, cautions_table(batches_of(self.source, self.panels))))


def reach_table(result: PanelResult) -> Table:
    """What a forced choice of so many assessors finds: this panel first, then larger ones.

    Parameters
    ----------
    result : PanelResult   Of a forced choice.
    """
    kept, task = result.panel, task_of(result.panel)
    alpha = float(kept.alpha)
    own = len(kept.servings) if result.finding is None else result.assessors
    sizes = [own, *(size for size in _SIZES if size > own)]
    title = f"Panel {kept.name}: what it could have found, and what more assessors would"
    if kept.similar_below is not None:
        limit = float(kept.similar_below)
        rows = [_alike_row(task, size, own, limit, alpha) for size in sizes]
        head = ("assessors", "right answers, at most", "chance of it where nobody tells them apart")
        return Table(head, rows, title=title, note=f"Alike below {100 * limit:g} %.", numeric=frozenset({1, 2}))
    what = "share choosing one of the two" if task.two_sided else "share who tell the two apart"
    rows = [_found_row(task, size, own, alpha) for size in sizes]
    note = "A smaller share is missed more often than once in five, and is not shown to be absent."
    return Table(
        ("assessors", "needed", f"{what}, found four times in five"),
        rows,
        title=title,
        note=note,
        numeric=frozenset({1, 2}),
    )


def _size(size: int, own: int) -> str:
    return f"{size}, this panel" if size == own else str(size)


def _found_row(task: Task, size: int, own: int, alpha: float) -> tuple[str, ...]:
    needed, found = minimum_right(task, size, alpha), panel_power.detectable_share(task, size, alpha)
    return (
        _size(size, own),
        "no number is enough" if needed is None else str(needed),
        "not even all of them" if found is None else f"{100 * found:.0f} %",
    )


def _alike_row(task: Task, size: int, own: int, limit: float, alpha: float) -> tuple[str, ...]:
    most = panel_power.most_right_alike(task, size, limit, alpha)
    chance = panel_power.chance_alike(task, size, limit, alpha)
    return (_size(size, own), "no number is few enough" if most is None else str(most), f"{100 * chance:.0f} %")
