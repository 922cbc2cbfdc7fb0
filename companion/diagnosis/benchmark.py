"""``python -m companion.diagnosis.benchmark``: random faults, every chooser, one table.

Deterministic by seed but for the times. Installations are drawn apart from what the
reasoner averages over, with meter error and misheard readings; see ``simulate``.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from time import process_time

import numpy as np

from companion.diagnosis.case import Case, open_case
from companion.diagnosis.choosers import (
    TestChooser,
    by_entropy,
    by_fixed_order,
    by_gain_per_cost,
)
from companion.diagnosis.hypotheses import hypotheses
from companion.diagnosis.layout import Layout
from companion.diagnosis.optimum import expected, optimum, small_case
from companion.diagnosis.simulate import Installation, install
from companion.diagnosis.stopping import NAMED, verdict
from companion.diagnosis.tables import Complaint, priors
from companion.equipment import all_equipment

CHOOSERS: dict[str, TestChooser] = {
    "fixed sweep": by_fixed_order,
    "entropy": by_entropy,
    "gain per cost": by_gain_per_cost,
}
COMPLAINTS: tuple[Complaint, ...] = ("opens", "nothing")
MOST_TESTS = 40
SMALL_ROWS, SMALL_TESTS = 7, 12


@dataclass(frozen=True)
class Run:
    """One call as it went."""

    tests: int
    minutes: float
    named: bool
    wrong: bool


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


def hunts(
    profile: str, faults: int, seed: int, misheard: float, compared: int | None = None
) -> dict[str, list[Run]]:
    """Every chooser on the same random faults, half of them per complaint.

    Those that are only compared with are tried on the first ``compared`` faults.
    """
    runs: dict[str, list[Run]] = {name: [] for name in CHOOSERS}
    for part, complaint in enumerate(COMPLAINTS):
        case = open_case(profile, complaint, misheard=misheard)
        rows = [h for h in case.belief.predictor.hypotheses if h.parts]
        weight = np.array([h.weight for h in rows])
        rng = np.random.default_rng((seed, part))
        tests = tuple(case.belief.predictor.tests.values())
        count = (faults + 1 - part) // len(COMPLAINTS)
        some = count if compared is None else (compared + 1 - part) // len(COMPLAINTS)
        for nth, index in enumerate(rng.choice(len(rows), count, p=weight / weight.sum())):
            house = install(
                all_equipment()[profile], rows[index], tests, int(rng.integers(2**32)), misheard
            )
            for name, choose in CHOOSERS.items():
                if nth < some or choose is by_gain_per_cost:
                    runs[name].append(hunt(case, house, choose))
    return runs


def missed_for_certain(profile: str) -> tuple[int, list[str]]:
    """Single faults tried, and those whose part is not named: noise-free, in a middling house."""
    tried, missed = 0, []
    for complaint in COMPLAINTS:
        start = open_case(profile, complaint)
        tests = tuple(start.belief.predictor.tests.values())
        for hidden in start.belief.predictor.hypotheses:
            if len(hidden.parts) != 1:
                continue
            house = install(all_equipment()[profile], hidden, tests, 0, 0.0, middling=True)
            case, tried = start, tried + 1
            while True:
                name = by_gain_per_cost(case, list(case.belief.predictor.tests))
                if name is None or verdict(case, name).enough or len(case.asked) >= MOST_TESTS:
                    break
                case = case.heard(name, house.certain(name))
            if next(iter(case.belief.by_part())) not in hidden.parts:
                missed.append(f"{complaint}: {hidden.name}")
    return tried, missed


def ratios(profile: str, cases: int, seed: int) -> dict[str, list[float]]:
    """Expected minutes to the exhaustive optimum's, on random small noise-free cases."""
    found: dict[str, list[float]] = {name: [] for name in CHOOSERS}
    for part, complaint in enumerate(COMPLAINTS):
        case = open_case(profile, complaint)
        predictor = case.belief.predictor
        single = {next(iter(h.parts)): i for i, h in enumerate(predictor.hypotheses)
                  if len(h.parts) == 1}  # fmt: skip
        rng = np.random.default_rng((seed, 10 + part))
        for _ in range(cases // len(COMPLAINTS)):
            rows = rng.choice(sorted(single.values()), min(SMALL_ROWS, len(single)), replace=False)
            names = [str(n) for n in rng.choice(list(predictor.tests), SMALL_TESTS, replace=False)]
            small = small_case(case, [int(r) for r in rows], names)
            best = optimum(small)
            for name, choose in CHOOSERS.items():
                if best > 0:
                    found[name].append(expected(small, choose).minutes / best)
    return found


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
    by_gain_per_cost(case, names)
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
        by_gain_per_cost(anew, names)
        times.append(process_time() - start)
    return float(np.median(times)) * 1e3


def rows(args: argparse.Namespace) -> Iterator[tuple[str, ...]]:
    """The table's rows: measure, goal, then each chooser."""
    columns = list(CHOOSERS)
    for profile in args.equipment:
        runs = hunts(profile, args.faults, args.seed, args.misheard, args.compared)
        of = {n: np.array([(r.tests, r.minutes, r.wrong, not r.named) for r in runs[n]], float)
              for n in columns}  # fmt: skip
        same = {n: _first_of(runs[n], len(runs["fixed sweep"])) for n in columns}
        yield (f"{profile}: tests, mean", "", *(f"{of[n][:, 0].mean():.2f}" for n in columns))
        yield (f"{profile}: effort, min, mean", "",
               *(f"{of[n][:, 1].mean():.1f}" for n in columns))  # fmt: skip
        yield (f"{profile}: less effort than fixed sweep", ">= 40 %",
               *(f"{1 - same[n] / same['fixed sweep']:.1%}" for n in columns))  # fmt: skip
        yield (f"{profile}: wrong part named", "<= 1 %",
               *(f"{of[n][:, 2].mean():.2%}" for n in columns))  # fmt: skip
        yield (f"{profile}: no part named", "", *(f"{of[n][:, 3].mean():.2%}" for n in columns))
        if args.certain:
            tried, missed = missed_for_certain(profile)
            share = f"{1 - len(missed) / tried:.1%} of {tried}"
            yield (f"{profile}: part named, noise-free", ">= 99 %", "", "", share)
        to_best = ratios(profile, args.small, args.seed)
        yield (f"{profile}: effort to optimum, mean", "<= 1.05",
               *(f"{np.mean(to_best[n]):.3f}" for n in columns))  # fmt: skip
        yield (f"{profile}: effort to optimum, 95 %", "<= 1.15",
               *(f"{np.quantile(to_best[n], 0.95):.3f}" for n in columns))  # fmt: skip
    profile = "heat-pump-two-stage"
    for count in args.sizes:
        found, first, later, read = milliseconds(profile, count)
        goal = "<= 20 ms" if count == 200 else ""
        label = f"time per choice, {found} hypotheses, then once ohms were read (first)"
        yield (label, goal, "", "",
               f"{later:.1f} ms, {read:.1f} ms ({first:.0f} ms)")  # fmt: skip


def _first_of(runs: Sequence[Run], count: int) -> float:
    """Mean minutes on the first faults of either complaint, which every chooser was tried on."""
    half = len(runs) - len(runs) // 2
    first = [*runs[: count - count // 2], *runs[half : half + count // 2]]
    return float(np.mean([run.minutes for run in first]))


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser("companion.diagnosis.benchmark", description=__doc__)
    every = list(all_equipment())
    parser.add_argument("--equipment", nargs="*", default=every, choices=every)
    parser.add_argument("--faults", type=int, default=2000, help="per profile (%(default)s)")
    parser.add_argument("--compared", type=int, default=200,
                        help="faults for the other choosers (%(default)s)")  # fmt: skip
    parser.add_argument("--certain", action="store_true", help="try every fault noise-free too")
    parser.add_argument("--small", type=int, default=200, help="small cases (%(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="(%(default)s)")
    parser.add_argument("--misheard", type=float, default=0.02, help="rate (%(default)s)")
    parser.add_argument("--sizes", type=int, nargs="*", default=[50, 200, 1000])
    args = parser.parse_args(argv)
    print("| measure | goal |", " | ".join(CHOOSERS), "|")
    print("|---" * (2 + len(CHOOSERS)) + "|")
    for row in rows(args):
        print("|", " | ".join(row), "|", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
