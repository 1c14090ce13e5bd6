"""Choosing rows of a model matrix for the largest determinant, by exchange, from several seeded starts.

The determinant of a design after one run is exchanged for a candidate follows from the inverse that is at hand, for
all exchanges at once (Fedorov (1972), Theory of Optimal Experiments). The best one is made until none helps. What is
reached is a local best: hence several starts, drawn at random, then good designs shaken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

_GAIN = 1e-9  # a determinant that grows by less is the same
_RIDGE = 1e-7  # keeps a start with too few different runs from being singular; left out of the last determinant
_SAME = 1e-6  # log determinants nearer than this are equal
_MOST_EXCHANGES = 500
_MOST_AT_ONCE = 2_000_000  # exchanges looked at in one step
_ROUNDS = 3
_KEPT = 4
_EFFICIENCY_STEPS = 20_000


@dataclass(frozen=True, slots=True)
class Chosen:
    """Rows that were chosen.

    Parameters
    ----------
    rows : tuple of int       Candidates, sorted; one may stand several times.
    log_determinant : float   Natural logarithm of |X'X|, the fixed rows included.
    tried : int               How many starts were climbed from.
    """

    rows: tuple[int, ...]
    log_determinant: float
    tried: int


def exchange(
    matrix: np.ndarray, runs: int, fixed: np.ndarray, *, seed: int, starts: int, repeats: bool, barred: np.ndarray
) -> Chosen:
    """Rows of a matrix of full rank that make |X'X| large.

    Parameters
    ----------
    matrix : (candidates, terms)   Full column rank together with the fixed rows.
    runs : int                     Rows to be chosen.
    fixed : (fixed, terms)         Rows that are in.
    seed : int                     Of the starts.
    starts : int                   How many are drawn at random; three times as many more are good ones shaken.
    repeats : bool                 Whether a candidate may be taken twice.
    barred : (candidates,) bool    Candidates that may not be taken.

    Returns
    -------
    Chosen   The best of the starts; of equals the one that comes first in the order of the candidates.
    """
    import numpy as np

    everything = np.concatenate([matrix, fixed])
    _, upper = np.linalg.qr(everything)
    scale = np.sqrt(len(everything))  # an orthogonal basis, in which no term is tiny
    rows, held = (np.linalg.solve(upper.T, part.T).T * scale for part in (matrix, fixed))
    search = _Search(rows, held.T @ held, barred, repeats)
    random = np.random.default_rng(seed)
    allowed = np.flatnonzero(~barred)
    drawn = [allowed[random.choice(len(allowed), runs, replace=len(allowed) < runs)] for _ in range(starts)]
    found = search.climb(np.array(drawn))
    for _ in range(_ROUNDS):
        found |= search.climb(_shaken(search.best(found, _KEPT), max(starts // _KEPT, 1), allowed, repeats, random))
    best = max(found.values())
    equal = sorted(chosen for chosen, value in found.items() if value >= best - _SAME)
    exact = np.concatenate([matrix[list(equal[0])], fixed])
    return Chosen(equal[0], float(np.linalg.slogdet(exact.T @ exact)[1]), starts * (1 + _ROUNDS))


def _shaken(kept: Sequence[tuple[int, ...]], copies: int, allowed, repeats: bool, random) -> np.ndarray:
    """Good designs with a part of their runs drawn anew: from there better ones are found than from nothing."""
    import numpy as np

    shaken = []
    for chosen in kept:
        for _ in range(copies):
            one = np.array(chosen)
            places = random.choice(len(one), min(len(one), 2 + len(one) // 8), replace=False)
            pool = allowed if repeats else np.setdiff1d(allowed, one)
            if len(pool) >= len(places):
                one[places] = random.choice(pool, len(places), replace=repeats)
            shaken.append(one)
    return np.array(shaken)


class _Search:
    """Climbs from many designs at once."""

    def __init__(self, rows: np.ndarray, held: np.ndarray, barred: np.ndarray, repeats: bool) -> None:
        import numpy as np

        self.rows, self.held, self.barred, self.repeats = rows, held, barred, repeats
        self.ridge = _RIDGE * np.eye(rows.shape[1])

    def climb(self, designs: np.ndarray) -> dict[tuple[int, ...], float]:
        """Where exchanges lead from each design (designs, runs), the best one first, with the log determinants."""
        import numpy as np

        found: dict[tuple[int, ...], float] = {}
        together = max(1, _MOST_AT_ONCE // (len(self.rows) * designs.shape[1]))
        for first in range(0, len(designs), together):
            going = designs[first : first + together].copy()
            for _ in range(_MOST_EXCHANGES):
                gain, determinants = self._gains(going)
                places = gain.reshape(len(going), -1).argmax(axis=1)
                best = gain.reshape(len(going), -1)[np.arange(len(going)), places]
                done = best <= 1 + _GAIN
                for chosen, value in zip(going[done], determinants[done], strict=True):
                    found[tuple(int(row) for row in np.sort(chosen))] = float(value)
                going, places = going[~done], places[~done]
                if not len(going):
                    break
                candidates, leaving = np.divmod(places, going.shape[1])
                going[np.arange(len(going)), leaving] = candidates
            for chosen, value in zip(going, self._gains(going)[1] if len(going) else (), strict=True):
                found[tuple(int(row) for row in np.sort(chosen))] = float(value)
        return found

    def _gains(self, designs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Factor of the determinant by each exchange, (designs, candidates, runs), and the log determinants.

        |M - aa' + bb'| / |M| = (1 + b'Ab)(1 - a'Aa) + (a'Ab)^2 with A the inverse of M.
        """
        import numpy as np

        taken = self.rows[designs]
        information = self.held + taken.transpose(0, 2, 1) @ taken + self.ridge
        half = self.rows @ np.linalg.inv(information)
        own = np.einsum("sij,ij->si", half, self.rows)
        gain = half @ taken.transpose(0, 2, 1)
        gain *= gain
        gain += (1 + own)[:, :, None] * (1 - np.take_along_axis(own, designs, axis=1))[:, None, :]
        gain[:, self.barred] = 0
        if not self.repeats:
            gain[np.arange(len(designs))[:, None], designs] = 0
        return gain, np.linalg.slogdet(information)[1]

    @staticmethod
    def best(found: dict[tuple[int, ...], float], count: int) -> list[tuple[int, ...]]:
        """The designs of the largest determinants; of equals the ones that come first."""
        return sorted(found, key=lambda chosen: (-round(found[chosen], 7), chosen))[:count]


def best_possible(matrix: np.ndarray, *, tolerance: float = 1e-3) -> float:
    """Logarithm of the largest |X'WX| that any weights W of the candidates, adding up to 1, can have.

    No design of n runs has more than n times this information, whatever n. Found by the multiplicative algorithm
    (Titterington (1976); Silvey, Titterington and Torsney (1978), Comm. Stat. A 7:1379), which ends when the largest
    variance is within the tolerance of the number of terms (Kiefer and Wolfowitz (1960), Canadian J. Math. 12:363);
    candidates that cannot belong to it are dropped on the way (Harman and Pronzato (2007), Stat. Prob. Letters 77:90).

    Parameters
    ----------
    matrix : (candidates, terms)   Full column rank.
    tolerance : float              Relative, of the determinant's root.
    """
    import numpy as np

    basis, upper = np.linalg.qr(matrix)
    terms = matrix.shape[1]
    weights = np.full(len(basis), 1 / len(basis))
    for step in range(_EFFICIENCY_STEPS):
        inverse = np.linalg.inv(basis.T @ (weights[:, None] * basis))
        variance = np.einsum("ij,jk,ik->i", basis, inverse, basis)
        over = variance.max() / terms - 1
        if over < tolerance:
            break
        weights = weights * variance / terms
        if step % 25 == 24:
            gap = max(over * terms, 0.0)
            kept = variance >= terms * (1 + gap / 2 - np.sqrt(gap * (4 + gap - 4 / terms)) / 2)
            basis, weights = basis[kept], weights[kept] / weights[kept].sum()
    information = basis.T @ (weights[:, None] * basis)
    return float(np.linalg.slogdet(information)[1] + 2 * np.log(np.abs(np.diag(upper))).sum())
