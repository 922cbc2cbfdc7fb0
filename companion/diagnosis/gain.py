"""Expected information gain of tests about the parts at fault, many tests at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.case import Case
from companion.diagnosis.likelihood import EDGES, Outcome, outcome_place, outcome_table, repeat
from companion.diagnosis.predicted import Predicted
from companion.diagnosis.tabled import Tables, either_bond, else_rows, tables
from companion.diagnosis.tolerance import informed

Numbers = NDArray[Any]

NEGLIGIBLE = 1e-5  # hypotheses in columns below this chance do not steer the choice
FIRST_COLUMNS = 4  # before anything was read, one column in so many
FEW = 12  # hypotheses whose outcomes are kept one by one
MOST_CELLS = 400  # of them, once something was read: as many as a turn has time for


def entropy_bits(chances: Numbers, axis: int | tuple[int, ...] | None = None) -> Numbers:
    """Shannon entropy, -sum p log2 p."""
    safe = np.where(chances > 0, chances, 1.0)
    return np.asarray(-(chances * np.log2(safe)).sum(axis=axis))


def expected_gain(case: Case, names: Sequence[str]) -> Numbers:
    """Expected information gain of tests about the parts at fault, in bits, (tests,).

    Mutual information of outcome and the set of parts, H(o) + H(parts) - H(o, parts), both
    averaged over columns (Lindley 1956; used for diagnosis by de Kleer and Williams 1987).
    """
    known: dict[str, float] = case.belief.__dict__.setdefault("_gains", {})
    new = [name for name in names if name not in known]
    if new:
        known |= _gains(case, new)
    return np.array([known[name] for name in names])


def outlook(case: Case, names: Sequence[str], rows: Sequence[int]) -> Numbers | None:
    """Chances of outcomes under a few hypotheses, (rows, tests, outcomes), after ``expected_gain``.

    None where one of them is not among those that steer the choice most.
    """
    cells = _cells(case)
    place = {int(row): i for i, row in enumerate(cells.rows[cells.likeliest])}
    if not place.keys() >= set(rows):
        return None
    known: dict[str, Numbers] = case.belief.__dict__["_outlook"]
    at = [place[row] for row in rows]
    found = np.zeros((len(rows), len(names), max(known[name].shape[1] for name in names)))
    for index, name in enumerate(names):
        found[:, index, : known[name].shape[1]] = known[name][at]
    return found


@dataclass(frozen=True)
class _Cells:
    """Pairs of hypothesis and column that steer the choice, by flat index, with their weights.

    ``rows`` are the hypotheses among them, ``likeliest`` the places of a few of those.
    """

    flat: Numbers
    columns: Numbers
    weight: Numbers
    other: Numbers
    starts: Numbers
    member: Numbers
    rows: Numbers
    likeliest: Numbers

    def by_rows(self, chances: Numbers) -> Numbers:
        """Joint chances (hypotheses, tests, outcomes) out of (cells, tests, outcomes)."""
        rows = len(self.starts)
        of_each, left_over = divmod(len(self.flat), rows)
        if not left_over and (np.diff(self.starts) == of_each).all():  # as before anything was read
            weight, each = self.weight.reshape(rows, 1, -1), chances.reshape(rows, of_each, -1)
            return np.asarray((weight @ each).reshape(rows, *chances.shape[1:]))
        weighed = self.weight.reshape(-1, *[1] * (chances.ndim - 1)) * chances
        return np.asarray(np.add.reduceat(weighed, self.starts, axis=0))

    def by_parts(self, by_rows: Numbers) -> Numbers:
        """Joint chances (sets of parts, tests, outcomes) out of (hypotheses, tests, outcomes)."""
        flat = self.member @ by_rows.reshape(len(by_rows), -1)
        return np.asarray(flat.reshape(-1, *by_rows.shape[1:]))


def _cells(case: Case) -> _Cells:
    known = case.belief.__dict__
    if "_cells" not in known:
        known["_cells"] = _steering(case)
    found: _Cells = known["_cells"]
    return found


def _steering(case: Case) -> _Cells:
    belief = case.belief
    weight = belief.weight
    if not belief.observations:  # nothing tells the columns apart yet: a few stand for all
        weight = np.where(np.arange(weight.shape[1]) % FIRST_COLUMNS == 0, weight, 0.0)
    least = NEGLIGIBLE * weight.max()
    if weight.size > MOST_CELLS and belief.observations:
        least = max(least, float(np.partition(weight, -MOST_CELLS, axis=None)[-MOST_CELLS]))
    flat = np.flatnonzero(weight >= least)
    rows, columns = np.divmod(flat, weight.shape[1])
    kept = weight.reshape(-1)[flat]
    present, starts = np.unique(rows, return_index=True)
    labels: dict[frozenset[str], int] = {}
    of_row = [labels.setdefault(belief.predictor.hypotheses[row].parts, len(labels))
              for row in present.tolist()]  # fmt: skip
    member = np.zeros((len(labels), len(present)))
    member[of_row, range(len(present))] = 1.0
    other = np.isin(rows, else_rows(belief.predictor))
    likeliest = np.argsort(-np.add.reduceat(kept, starts), kind="stable")[:FEW]
    shares = (kept / kept.sum()).astype(np.float32)
    return _Cells(flat, columns, shares, other, starts, member, present, likeliest)


def _gains(case: Case, names: Sequence[str]) -> dict[str, float]:
    cells = _cells(case)
    parts = entropy_bits(cells.by_parts(cells.by_rows(np.ones((len(cells.flat), 1, 1)))))
    found: dict[str, float] = {}
    outlook: dict[str, Numbers] = case.belief.__dict__.setdefault("_outlook", {})
    top = cells.likeliest
    for some, chances in _chances(case, cells, names):
        by_rows = cells.by_rows(chances)
        kept = by_rows[top] / by_rows[top].sum(axis=-1, keepdims=True)
        outlook |= {name: kept[:, index] for index, name in enumerate(some)}
        joint = cells.by_parts(by_rows)
        told = entropy_bits(joint.sum(axis=0), axis=-1) + parts - entropy_bits(joint, axis=(0, 2))
        found |= dict(zip(some, told.tolist(), strict=True))
    return found


def _chances(
    case: Case, cells: _Cells, names: Sequence[str]
) -> Iterator[tuple[list[str], Numbers]]:
    """Tests together with their chances (cells, tests, outcomes), as much as is known now."""
    heard = {o.test: o.outcome for o in case.belief.observations}
    for some, chances in _fresh(case, cells, names):
        for index, name in enumerate(some):
            if name in heard:
                again = _again(case, cells, name, heard[name], chances[:, index])
                chances[:, index] = again
        yield some, chances


def _again(case: Case, cells: _Cells, name: str, last: Outcome, fresh: Numbers) -> Numbers:
    """Chances (cells, outcomes) of reading the same points once more: the same comes out, unless
    what was heard was wrong."""
    test, trust = case.belief.predictor.tests[name], case.belief.trust
    place = outcome_place(test, last)
    if place is None:
        return fresh
    count = fresh.shape[-1]
    same = 1.0 if test.measure in EDGES else repeat(test, last, last, trust)
    right = np.full(count, trust.misheard / count + (1.0 - trust.misheard) * (1.0 - same) / count)
    right[place] += (1.0 - trust.misheard) * same
    wrong = case.belief.misheard(name).reshape(-1)[cells.flat, None]
    return np.asarray((1.0 - wrong) * right + wrong * fresh)


def _fresh(case: Case, cells: _Cells, names: Sequence[str]) -> Iterator[tuple[list[str], Numbers]]:
    """The same, of tests as if none had been done before."""
    known, belief = tables(case), case.belief
    ohms = {} if known.ohms is None else known.ohms.place
    touched = {name for name in names if name in ohms and belief.touched(name)}
    for group in known.before:
        some = [name for name in names if name in group.place and name not in touched]
        if some:
            at = [group.place[name] for name in some]
            yield some, group.cells.at(cells.flat, at)
    by_circuit: dict[str | None, list[str]] = {}
    for name in names:
        if name in touched:
            by_circuit.setdefault(belief.predictor.tests[name].circuit, []).append(name)
    for some in by_circuit.values():
        yield some, _ohms(case, cells, known, some)


def _ohms(case: Case, cells: _Cells, known: Tables, names: Sequence[str]) -> Numbers:
    """Tests of ohms about one circuit, with what is known of its load and board."""
    belief = case.belief
    state, boards = belief.known_of(names[0])

    def some(array: Numbers) -> Numbers:
        return np.asarray(array.reshape(len(array), -1).take(cells.flat, axis=1).T[:, None])

    shares = np.exp(some(boards))
    likely = np.flatnonzero((shares > NEGLIGIBLE).any(axis=(0, 1)))
    shift, variance = (some(array)[..., likely] for array in state.together)
    assert known.ohms is not None
    at = [known.ohms.place[name] for name in names]
    found = known.ohms.cells.at(cells.flat, at)
    mean, load, moves = (found[:, :, n][..., likely] for n in range(3))
    meter = belief.predictor.of(names[0]).error
    error = None if meter is None else meter[cells.columns][:, None, None]
    blank = np.zeros_like(mean)
    here = Predicted(mean, blank, blank, error, load=load, moves=moves)
    now = informed(here, shift, variance)
    bands = outcome_table(belief.predictor.tests[names[0]], now, belief.trust)
    table = np.einsum("nv,ntvo->nto", shares[:, 0, likely], bands)
    bonded = belief.folded.bonded.reshape(-1)[cells.flat]
    for index, name in enumerate(names):
        test = belief.predictor.tests[name]
        if test.to_chassis:
            table[:, index] = either_bond(belief.trust, test, table[:, index], bonded)
    table[cells.other] = 1.0 / table.shape[-1]
    return np.asarray(table)
