"""``python -m companion.diagnosis.benchmark``: random faults, every chooser, one table.

Deterministic by seed but for the times. Installations are drawn apart from what the
reasoner averages over, with meter error and misheard readings; see ``simulate``.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from time import perf_counter

import numpy as np

from companion.diagnosis.case import Case, open_case
from companion.diagnosis.choosers import (
    TestChooser,
    by_entropy,
    by_fixed_order,
    by_gain_per_cost,
)
from companion.diagnosis.equipment import all_equipment
from companion.diagnosis.hypotheses import hypotheses
from companion.diagnosis.layout import Layout
from companion.diagnosis.optimum import expected, optimum, small_case
from companion.diagnosis.simulate import Installation, install
from companion.diagnosis.stopping import NAMED, verdict
from companion.diagnosis.tables import Complaint, priors

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


def hunts(profile: str, faults: int, seed: int, misheard: float) -> dict[str, list[Run]]:
    """Every chooser on the same random faults, half of them per complaint."""
    runs: dict[str, list[Run]] = {name: [] for name in CHOOSERS}
    for part, complaint in enumerate(COMPLAINTS):
        case = open_case(profile, complaint, misheard=misheard)
        rows = [h for h in case.belief.predictor.hypotheses if h.parts]
        weight = np.array([h.weight for h in rows])
        rng = np.random.default_rng((seed, part))
        tests = tuple(case.belief.predictor.tests.values())
        count = (faults + 1 - part) // len(COMPLAINTS)
        for index in rng.choice(len(rows), count, p=weight / weight.sum()):
            house = install(profile, rows[index], tests, int(rng.integers(2**32)), misheard)
            for name, choose in CHOOSERS.items():
                runs[name].append(hunt(case, house, choose))
    return runs


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


def milliseconds(profile: str, count: int) -> tuple[int, float, float]:
    """Hypotheses, then first and later time per choice in ms, all tests open, nothing heard."""
    layout = Layout(all_equipment()[profile])
    weights = sorted((h.weight for h in hypotheses(layout, priors(), "opens", pair_least=0.0)
                      if len(h.parts) > 1), reverse=True)  # fmt: skip
    singles = len(hypotheses(layout, priors(), "opens", pair_least=1.0))
    pairs = max(0, min(count - singles, len(weights) - 1))
    whole = sum(h.weight for h in hypotheses(layout, priors(), "opens", pair_least=1.0))
    total = whole + sum(weights) / (1.0 - sum(weights))  # weights before they were normalised
    case = open_case(profile, "opens", pair_least=weights[pairs] * total)
    names = list(case.belief.predictor.tests)
    start = perf_counter()
    by_gain_per_cost(case, names)
    first = perf_counter() - start
    times = []
    for _ in range(9):
        start = perf_counter()
        by_gain_per_cost(case, names)
        times.append(perf_counter() - start)
    rows = len(case.belief.predictor.hypotheses)
    return rows, first * 1e3, float(np.median(times)) * 1e3


def rows(args: argparse.Namespace) -> Iterator[tuple[str, ...]]:
    """The table's rows: measure, goal, then each chooser."""
    columns = list(CHOOSERS)
    for profile in all_equipment():
        runs = hunts(profile, args.faults, args.seed, args.misheard)
        of = {n: np.array([(r.tests, r.minutes, r.wrong, not r.named) for r in runs[n]], float)
              for n in columns}  # fmt: skip
        swept = of["fixed sweep"][:, 1].mean()
        yield (f"{profile}: tests, mean", "", *(f"{of[n][:, 0].mean():.2f}" for n in columns))
        yield (f"{profile}: effort, min, mean", "",
               *(f"{of[n][:, 1].mean():.1f}" for n in columns))  # fmt: skip
        yield (f"{profile}: less effort than fixed sweep", ">= 40 %",
               *(f"{1 - of[n][:, 1].mean() / swept:.1%}" for n in columns))  # fmt: skip
        yield (f"{profile}: wrong part named", "<= 1 %",
               *(f"{of[n][:, 2].mean():.2%}" for n in columns))  # fmt: skip
        yield (f"{profile}: no part named", "", *(f"{of[n][:, 3].mean():.2%}" for n in columns))
        to_best = ratios(profile, args.small, args.seed)
        yield (f"{profile}: effort to optimum, mean", "<= 1.05",
               *(f"{np.mean(to_best[n]):.3f}" for n in columns))  # fmt: skip
        yield (f"{profile}: effort to optimum, 95 %", "<= 1.15",
               *(f"{np.quantile(to_best[n], 0.95):.3f}" for n in columns))  # fmt: skip
    profile = list(all_equipment())[-1]
    for count in args.sizes:
        found, first, later = milliseconds(profile, count)
        goal = "<= 20 ms" if count == 200 else ""
        yield (f"time per choice, {found} hypotheses (first, networks solved)", goal, "", "",
               f"{later:.1f} ms ({first:.0f} ms)")  # fmt: skip


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser("companion.diagnosis.benchmark", description=__doc__)
    parser.add_argument("--faults", type=int, default=2000, help="per profile (%(default)s)")
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
