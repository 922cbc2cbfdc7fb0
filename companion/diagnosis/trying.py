"""Random faults and small cases to try choosers on, in pieces that any process can take.

Everything random is drawn before the work is shared out, so that the figures are the same
however many processes there are.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from companion.diagnosis.case import Case, open_case
from companion.diagnosis.choosers import (
    TestChooser,
    by_entropy,
    by_fixed_order,
    by_gain_per_cost,
    by_plan,
)
from companion.diagnosis.optimum import expected, optimum, small_case
from companion.diagnosis.simulate import Installation, install
from companion.diagnosis.stopping import NAMED, verdict
from companion.diagnosis.tables import Complaint
from companion.equipment import all_equipment

CHOOSERS: dict[str, TestChooser] = {
    "fixed sweep": by_fixed_order,
    "entropy": by_entropy,
    "gain per cost": by_gain_per_cost,
    "planned": by_plan,
}
OURS = "planned"
COMPLAINTS: tuple[Complaint, ...] = ("opens", "nothing")
MOST_TESTS = 40
_Piece = TypeVar("_Piece")
A_JOB = 50  # faults or cases that a process takes at a time


@dataclass(frozen=True)
class Run:
    """One call as it went."""

    tests: int
    minutes: float
    named: bool
    wrong: bool


@dataclass(frozen=True)
class Fault:
    """A hidden hypothesis by its row, in a house of its own; ``all_choosers`` try it, or ours."""

    row: int
    house: int
    all_choosers: bool


@dataclass(frozen=True)
class Small:
    """A small case: rows of hypotheses, and tests."""

    rows: tuple[int, ...]
    tests: tuple[str, ...]


@dataclass(frozen=True)
class Job:
    """Faults or small cases of one kind of equipment and complaint; neither: every single fault."""

    profile: str
    complaint: Complaint
    misheard: float = 0.0
    faults: tuple[Fault, ...] = ()
    small: tuple[Small, ...] = ()


@dataclass(frozen=True)
class Done:
    """What came of a job: runs and ratios to the optimum by chooser, in the job's order."""

    runs: dict[str, list[Run]]
    ratios: dict[str, list[float]]
    tried: int = 0
    missed: tuple[str, ...] = ()


def hunt(case: Case, house: Installation, choose: TestChooser) -> Run:
    """Test until enough is known, nothing tells more, or too many tests are done."""
    names = list(case.belief.predictor.tests)
    spent = 0.0
    while True:
        name = choose(case, names)
        now = verdict(case, name)
        if now.enough or name is None or len(case.asked) >= MOST_TESTS:
            named = now.chance >= NAMED
            wrong = named and now.part not in house.hidden.parts
            return Run(len(case.asked), spent, named, wrong)
        spent += case.minutes(name)
        case = case.heard(name, house.answer(name, case.asked.count(name)))


def fault_jobs(
    profile: str, faults: int, seed: int, misheard: float, compared: int | None = None
) -> Iterator[Job]:
    """Random faults, half of them per complaint.

    Choosers that ours is only compared with are tried on the first ``compared`` of them.
    """
    for part, complaint in enumerate(COMPLAINTS):
        rows = _faults(open_case(profile, complaint, misheard=misheard))
        weight = np.array([weight for _, weight in rows])
        rng = np.random.default_rng((seed, part))
        count = (faults + 1 - part) // len(COMPLAINTS)
        some = count if compared is None else (compared + 1 - part) // len(COMPLAINTS)
        drawn = rng.choice(len(rows), count, p=weight / weight.sum())
        hidden = [Fault(rows[index][0], int(rng.integers(2**32)), nth < some)
                  for nth, index in enumerate(drawn)]  # fmt: skip
        for piece in _pieces(hidden):
            yield Job(profile, complaint, misheard, faults=tuple(piece))


def _faults(case: Case) -> list[tuple[int, float]]:
    """Rows and weights of what may be hidden."""
    return [(i, h.weight) for i, h in enumerate(case.belief.predictor.hypotheses) if h.parts]


def small_jobs(profile: str, cases: int, seed: int, rows: int, tests: int) -> Iterator[Job]:
    """Random cases small enough to have an optimum: so many hypotheses, each of another part."""
    for part, complaint in enumerate(COMPLAINTS):
        predictor = open_case(profile, complaint).belief.predictor
        single = {next(iter(h.parts)): i for i, h in enumerate(predictor.hypotheses)
                  if len(h.parts) == 1}  # fmt: skip
        rng = np.random.default_rng((seed, 10 + part))
        drawn = []
        for _ in range(cases // len(COMPLAINTS)):
            some = rng.choice(sorted(single.values()), min(rows, len(single)), replace=False)
            names = rng.choice(list(predictor.tests), tests, replace=False)
            drawn.append(Small(tuple(map(int, some)), tuple(map(str, names))))
        for piece in _pieces(drawn):
            yield Job(profile, complaint, small=tuple(piece))


def _pieces(whole: Sequence[_Piece]) -> Iterator[Sequence[_Piece]]:
    for start in range(0, len(whole), A_JOB):
        yield whole[start : start + A_JOB]


def do(job: Job) -> Done:
    """A job from beginning to end."""
    runs: dict[str, list[Run]] = {name: [] for name in CHOOSERS}
    ratios: dict[str, list[float]] = {name: [] for name in CHOOSERS}
    if not job.faults and not job.small:
        return Done(runs, ratios, *_every_fault_for_certain(job))
    misheard = job.misheard if job.faults else None
    case = open_case(job.profile, job.complaint, misheard=misheard)
    hypotheses, tests = case.belief.predictor.hypotheses, case.belief.predictor.tests
    for fault in job.faults:
        house = install(all_equipment()[job.profile], hypotheses[fault.row],
                        tuple(tests.values()), fault.house, job.misheard)  # fmt: skip
        for name, choose in CHOOSERS.items():
            if fault.all_choosers or name == OURS:
                runs[name].append(hunt(case, house, choose))
    for drawn in job.small:
        small = small_case(case, drawn.rows, drawn.tests)
        best = optimum(small)
        for name, choose in CHOOSERS.items():
            if best > 0:
                ratios[name].append(expected(small, choose).minutes / best)
    return Done(runs, ratios)


def _every_fault_for_certain(job: Job) -> tuple[int, tuple[str, ...]]:
    """Single faults tried, and those whose part is not named: noise-free, in a middling house."""
    tried = 0
    missed: list[str] = []
    start = open_case(job.profile, job.complaint)
    tests = tuple(start.belief.predictor.tests.values())
    for hidden in start.belief.predictor.hypotheses:
        if len(hidden.parts) != 1:
            continue
        house = install(all_equipment()[job.profile], hidden, tests, 0, 0.0, middling=True)
        case, tried = start, tried + 1
        while True:
            name = by_plan(case, list(case.belief.predictor.tests))
            if name is None or verdict(case, name).enough or len(case.asked) >= MOST_TESTS:
                break
            case = case.heard(name, house.certain(name))
        if next(iter(case.belief.by_part())) not in hidden.parts:
            missed.append(f"{job.complaint}: {hidden.name}")
    return tried, tuple(missed)


Spread = Callable[[Iterable[Job]], Iterator[Done]]


@contextmanager
def spread_over(workers: int) -> Iterator[Spread]:
    """Do jobs in so many processes, what came of them in the order of the jobs."""
    if workers == 1:
        yield lambda jobs: map(do, jobs)
        return
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # for the processes to come: one core each
    spawning = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=spawning) as pool:
        yield lambda jobs: pool.map(do, jobs)


def gathered(done: Iterable[Done]) -> Done:
    """All jobs as if they had been one."""
    whole = Done({name: [] for name in CHOOSERS}, {name: [] for name in CHOOSERS})
    tried = 0
    missed: tuple[str, ...] = ()
    for one in done:
        for name in CHOOSERS:
            whole.runs[name].extend(one.runs[name])
            whole.ratios[name].extend(one.ratios[name])
        tried, missed = tried + one.tried, missed + one.missed
    return Done(whole.runs, whole.ratios, tried, missed)
