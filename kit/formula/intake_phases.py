"""The phases of a formula that came from a sheet: their kinds, and where a line goes when the sheet has no phases."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from kit.errors import FormulaError
from kit.formula.material import Material
from kit.formula.model import PHASE_KINDS, Line, Phase
from kit.tabular_map import fold

# A water, B oil, C cool-down, D adjust: common practice, no source.
_LETTERS = dict(zip("ABCD", PHASE_KINDS, strict=True))
_KIND_NAMES = {kind: letter for letter, kind in _LETTERS.items()}


def phases_of(
    lines: Sequence[tuple[str, Line]], said: Mapping[str, str], declared: Mapping[str, str]
) -> tuple[tuple[Phase, ...], tuple[str, ...]]:
    """Phases in the order they appear, and in words how their kinds were told.

    Parameters
    ----------
    lines : sequence of (str, Line)   Phase name ("" for none) and line.
    said : dict                       Phase to the kind its heading says.
    declared : dict                   Phase to the kind the column map says (`words.phase`).

    Raises
    ------
    FormulaError   `formula.phase_kind` for a declared kind there is not; `formula.phase` for a phase called "after".
    """
    if all(not name for name, _ in lines):
        return _by_material([line for _, line in lines])
    declared = {fold(name): _checked(kind) for name, kind in declared.items()}
    phases, words = [], []
    for name in dict.fromkeys(name for name, _ in lines):
        own = tuple(line for phase, line in lines if phase == name)
        shown = name or "A"
        kind, why = _kind(shown, [line.material for line in own], said.get(name, ""), declared.get(fold(name), ""))
        phases.append(Phase(_usable(shown), kind, own))
        words.append(f"phase {shown}: {kind}, {why}")
    return tuple(phases), tuple(words)


def _kind(name: str, materials: list[Material], said: str, declared: str) -> tuple[str, str]:
    if declared:
        return declared, "as the column map says"
    if said:
        return said, "as its heading says"
    votes = Counter(kind for material in materials for kind in dict.fromkeys(material.phases))
    best = [kind for kind in PHASE_KINDS if votes[kind] == max(votes.values(), default=0) and votes[kind]]
    by_letter = _LETTERS.get(name[:1].upper(), "") if len(name) <= 2 else ""
    if by_letter in best or (not best and by_letter):
        return by_letter, f"where {votes[by_letter]} of its {len(materials)} materials usually go"
    if best:
        return best[0], f"where {votes[best[0]]} of its {len(materials)} materials usually go"
    return PHASE_KINDS[0], "because nothing says otherwise; look at it"


def _by_material(lines: Iterable[Line]) -> tuple[tuple[Phase, ...], tuple[str, ...]]:
    """The table has no phases: each line goes where the library says its material usually goes."""
    kinds: list[tuple[str, Line]] = []
    for line in lines:
        usual = line.material.phases[0] if line.material.phases else kinds[-1][0] if kinds else PHASE_KINDS[0]
        kinds.append((usual, line))
    phases = tuple(
        Phase(_KIND_NAMES[kind], kind, own)
        for kind in PHASE_KINDS
        if (own := tuple(line for usual, line in kinds if usual == kind))
    )
    return phases, (
        "THE TABLE HAS NO PHASES: each line was put where its material usually goes. Look the phases over before use",
    )


def _checked(kind: str) -> str:
    if kind not in PHASE_KINDS:
        raise FormulaError(
            f"the column map gives a phase the kind {kind!r}", where="words.phase", allowed=", ".join(PHASE_KINDS),
            mend="use one of these", code="formula.phase_kind",
        )  # fmt: skip
    return kind


def _usable(name: str) -> str:
    if name == "after":
        raise FormulaError(
            'a phase cannot be called "after": that names the temperature of the combined batch',
            where="phase column",
            mend="give it another name in the sheet",
            code="formula.phase",
        )
    return name
