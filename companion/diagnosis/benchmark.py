"""``python -m companion.diagnosis.benchmark``: random faults, every chooser, one table.

Deterministic by seed, however many processes, but for the times; those are taken last, in one
process. Installations are drawn apart from what the reasoner averages over, with meter error
and misheard readings; see ``simulate``.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from time import perf_counter, process_time

import numpy as np

from companion.diagnosis.case import Case, open_case
from companion.diagnosis.choosers import by_plan
from companion.diagnosis.hypotheses import hypotheses
from companion.diagnosis.layout import Layout
from companion.diagnosis.tables import priors
from companion.diagnosis.trying import (
    CHOOSERS,
    COMPLAINTS,
    OURS,
    Done,
    Job,
    Run,
    fault_jobs,
    gathered,
    small_jobs,
    spread_over,
)
from companion.equipment import all_equipment

SMALL_ROWS, SMALL_TESTS = 7, 12
TIMED = "heat-pump-two-stage"
Row = tuple[str, ...]


def milliseconds(profile: str, count: int) -> tuple[int, float, float, float]:
    """Hypotheses, then processor time in ms: the first choice, one more, and one after ohms."""
    layout = Layout(all_equipment()[profile])
    weights = sorted((h.weight for h in hypotheses(layout, priors(), "opens", pair_least=0.0)
                      if len(h.parts) > 1), reverse=True)  # fmt: skip
    singles = len(hypotheses(layout, priors(), "opens", pair_least=1.0))
    pairs = max(0, min(count - singles, len(weights) - 1))
    whole = sum(h.weight for h in hypotheses(layout, priors(), "opens", pair_least=1.0))
    total = whole + sum(weights) / (1.0 - sum(weights))  # weights before they were normalised
    case = open_case(profile, "opens", pair_least=weights[pairs] * total)
    names = list(case.belief.predictor.tests)
    start = process_time()
    by_plan(case, names)
    first = process_time() - start
    rows = len(case.belief.predictor.hypotheses)
    read = case.heard(f"ohms {case.belief.predictor.layout.terminals[0]}-C at the board", 60.0)
    return rows, first * 1e3, _one_choice(case, names), _one_choice(read, names)


def _one_choice(case: Case, names: Sequence[str]) -> float:
    times = []
    for _ in range(9):
        anew = replace(case, belief=replace(case.belief))  # nothing worked out for it yet
        assert anew.belief.weight.size
        start = process_time()
        by_plan(anew, names)
        times.append(process_time() - start)
    return float(np.median(times)) * 1e3


def jobs(profile: str, args: argparse.Namespace) -> Iterator[Job]:
    """Everything to be done about one kind of equipment."""
    yield from fault_jobs(profile, args.faults, args.seed, args.misheard, args.compared)
    yield from small_jobs(profile, args.small, args.seed, SMALL_ROWS, SMALL_TESTS)
    if args.certain:
        yield from (Job(profile, complaint) for complaint in COMPLAINTS)


def rows(profile: str, done: Done, certain: bool) -> Iterator[Row]:
    """The table's rows about one kind of equipment: measure, goal, then each chooser."""
    runs, to_best, columns = done.runs, done.ratios, list(CHOOSERS)

    def row(measure: str, goal: str, cells: Iterable[str]) -> Row:
        return (f"{profile}: {measure}", goal, *cells)

    tried = {n: np.array([(r.tests, r.minutes, r.wrong, not r.named) for r in runs[n]], float)
             for n in columns}  # fmt: skip

    def of_tried(cell: Callable[[str], str]) -> list[str]:  # blank where none was tried
        return [cell(n) if len(tried[n]) else "" for n in columns]

    if len(tried[OURS]):
        yield row("tests, mean", "", of_tried(lambda n: f"{tried[n][:, 0].mean():.2f}"))
        yield row("effort, min, mean", "", of_tried(lambda n: f"{tried[n][:, 1].mean():.1f}"))
        if count := len(runs["fixed sweep"]):
            same = {n: _first_of(runs[n], count) for n in columns}
            yield row("less effort than fixed sweep", ">= 40 %",
                      (f"{1 - same[n] / same['fixed sweep']:.1%}" for n in columns))  # fmt: skip
        yield row("wrong part named", "<= 1 %",
                  of_tried(lambda n: f"{tried[n][:, 2].sum():.0f} of {len(tried[n])}"))  # fmt: skip
        yield row("no part named", "", of_tried(lambda n: f"{tried[n][:, 3].mean():.2%}"))
    if certain:
        share = f"{1 - len(done.missed) / done.tried:.1%} of {done.tried}"
        yield row("part named, noise-free", ">= 99 %", ("", "", "", share))
    if to_best[OURS]:
        yield row("effort to optimum, mean", "<= 1.05",
                  (f"{np.mean(to_best[n]):.3f}" for n in columns))  # fmt: skip
        yield row("effort to optimum, 95 %", "<= 1.15",
                  (f"{np.quantile(to_best[n], 0.95):.3f}" for n in columns))  # fmt: skip


def timed(sizes: Sequence[int]) -> Iterator[Row]:
    """Rows of what a choice takes; nothing else should run meanwhile."""
    for count in sizes:
        found, first, later, read = milliseconds(TIMED, count)
        goal = "<= 20 ms" if count == 200 else ""
        label = f"time per choice, {found} hypotheses, then once ohms were read (first)"
        yield label, goal, "", "", "", f"{later:.1f} ms, {read:.1f} ms ({first:.0f} ms)"


def _first_of(runs: Sequence[Run], count: int) -> float:
    """Mean minutes on the first faults of either complaint, which every chooser was tried on."""
    half = len(runs) - len(runs) // 2
    first = [*runs[: count - count // 2], *runs[half : half + count // 2]]
    return float(np.mean([run.minutes for run in first]))


def _print(rows: Iterable[Row]) -> None:
    for row in rows:
        print("|", " | ".join(row), "|", flush=True)


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser("companion.diagnosis.benchmark", description=__doc__)
    every = list(all_equipment())
    parser.add_argument("--equipment", nargs="*", default=every, choices=every)
    parser.add_argument("--faults", type=int, default=2000, help="per profile (%(default)s)")
    parser.add_argument("--compared", type=int, default=200,
                        help="faults for the others too; 0: ours alone (%(default)s)")  # fmt: skip
    parser.add_argument("--certain", action="store_true", help="try every fault noise-free too")
    parser.add_argument("--small", type=int, default=200, help="small cases (%(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="(%(default)s)")
    parser.add_argument("--misheard", type=float, default=0.02, help="rate (%(default)s)")
    parser.add_argument("--sizes", type=int, nargs="*", default=[50, 200, 1000],
                        help="hypotheses to time a choice at (%(default)s)")  # fmt: skip
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1,
                        help="processes (%(default)s)")  # fmt: skip
    args = parser.parse_args(argv)
    begun = perf_counter()
    print("| measure | goal |", " | ".join(CHOOSERS), "|")
    print("|---" * (2 + len(CHOOSERS)) + "|")
    with spread_over(args.workers) as spread:
        work = [(profile, list(jobs(profile, args))) for profile in args.equipment]
        done = spread([job for _, some in work for job in some])
        for profile, some in work:
            whole = gathered(next(done) for _ in some)
            _print(rows(profile, whole, args.certain))
    _print(timed(args.sizes))
    print(f"\nseed {args.seed}, {args.workers} processes, {perf_counter() - begun:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
