"""``python -m companion.closed_loop.many``: thousands of simulated calls, one table.

Deterministic by seed but for times and memory. Faults come by prior, single, double and coming
and going, over all equipment, both complaints and all three means.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import sys
import traceback
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from time import perf_counter
from typing import Literal

import numpy as np

from companion.closed_loop.held import MOST_TURNS, Outcome, run
from companion.closed_loop.report import RIGHT, dialogue, table
from companion.closed_loop.sweeping import Sweeping
from companion.counsel import Complaint
from companion.datafiles import folder
from companion.equipment import Equipment, all_equipment
from companion.practice import STEADY, USUAL, Habits, House, Technician, faults, hidden_fault
from companion.practice.best import best_sequence
from companion.practice.house import NOTHING_WRONG
from companion.turns import Dialogs, kept_counsel, load_dialogs

COMPLAINTS: tuple[Complaint, ...] = ("opens", "nothing")
MEANS = ("meter", "lamp", "breaker")
COMES_SHARE = 0.7  # of what shows as "none now": a fault that is there some of the time
COMES = 0.3  # share of that time
BEST_EVERY = 3  # calls that the reasoner goes through once more by itself, every answer true
A_JOB = 40  # calls that a process takes at a time
SIZES = {"five-minutes": 168, "nightly": 4200}
Variant = Literal["whole", "steady", "fixed sweep", "no read-back"]
VARIANTS: tuple[Variant, ...] = ("whole", "steady", "fixed sweep", "no read-back")
_HABITS: dict[Variant, Habits] = {
    "steady": STEADY, "no read-back": replace(USUAL, heeds=0.0),
}  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """One call to be held."""

    number: int
    equipment: str
    complaint: Complaint
    means: str
    hidden: str
    seed: int
    comes: float = 1.0


@dataclass(frozen=True)
class Result:
    """How one went."""

    drawn: Drawn
    variant: Variant
    ended: str
    tests: int = 0
    minutes: float = 0.0
    best_minutes: float = 0.0
    turns: int = 0
    asked_again: int = 0
    doubted: int = 0
    slips: int = 0
    taken_back: int = 0
    breaches: tuple[str, ...] = ()
    fuses: int = 0
    unasked: int = 0
    turn_s: tuple[float, ...] = ()
    memory_mb: float = 0.0
    lines: tuple[str, ...] = ()


def draw(count: int, seed: int) -> list[Drawn]:
    """Calls in turn over equipment, complaint and means, each fault by its prior."""
    known = all_equipment()
    places = [(e, c, m) for m in MEANS for c in COMPLAINTS for e in known]
    rows = {(e, c): _rows(known[e], c) for e in known for c in COMPLAINTS}
    found = []
    for number in range(count):
        equipment, complaint, means = places[number % len(places)]
        rng = np.random.default_rng((seed, number))
        names, weights = rows[equipment, complaint]
        hidden, comes = str(rng.choice(names, p=weights)), 1.0
        if hidden.startswith(NOTHING_WRONG) and rng.random() < COMES_SHARE:
            lasting = [n for n in names if not n.startswith(NOTHING_WRONG) and "+" not in n]
            hidden, comes = str(rng.choice(lasting)), COMES
        house_seed = int(rng.integers(2**31))
        found.append(Drawn(number, equipment, complaint, means, hidden, house_seed, comes))
    return found


def _rows(equipment: Equipment, complaint: Complaint) -> tuple[list[str], list[float]]:
    rows = [h for h in faults(equipment, complaint).values() if h.parts]
    whole = sum(h.weight for h in rows)
    return [h.name for h in rows], [h.weight / whole for h in rows]


@lru_cache(maxsize=1)
def _dialogs() -> Dialogs:
    return load_dialogs(folder("dialogs"))


def technician_of(drawn: Drawn, habits: Habits) -> Technician:
    """Whoever takes a drawn call, in its house."""
    equipment = all_equipment()[drawn.equipment]
    hidden = hidden_fault(equipment, drawn.complaint, drawn.hidden)
    house = House(equipment, drawn.complaint, hidden, drawn.seed, drawn.comes)
    said = _dialogs().vocabulary.answers[equipment.answer]
    return Technician(house, said[0], drawn.means, seed=drawn.seed + 1, habits=habits)


def hold(drawn: Drawn, variant: Variant = "whole") -> Result:
    """One call; an error in it is a way to end, too."""
    technician = technician_of(drawn, _HABITS.get(variant, USUAL))
    counsel = Sweeping.counsel if variant == "fixed sweep" else kept_counsel
    try:
        outcome = run(_dialogs(), technician, counsel)
    except Exception:
        last = traceback.format_exc().strip().splitlines()
        return Result(drawn, variant, f"error: {last[-1]} at {last[-3].strip()}")
    house = technician.house
    breaches = outcome.breaches + ["touched live"] * technician.touched_live
    compared = variant == "whole" and drawn.number % BEST_EVERY == 0
    best = sum(step.minutes for step in best_sequence(house)) if compared else 0.0
    return Result(
        drawn, variant, ended(outcome, technician), technician.tests, house.minutes, best,
        len(outcome.lines), outcome.asked_again, outcome.doubted(), technician.slips,
        technician.taken_back, tuple(breaches), house.fuses_burnt, technician.unasked,
        tuple(outcome.turn_s),
        resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, tuple(outcome.lines),
    )  # fmt: skip


def ended(outcome: Outcome, technician: Technician) -> str:
    """Success, or the class of failure."""
    ended, house = outcome.concluded, technician.house
    wrong = [part for part, right in technician.repairs if not right]
    if ended is None:
        return "no end" if len(outcome.lines) >= MOST_TURNS else "cut short"
    if wrong:
        return "wrong part, then right" if house.mended and ended.outcome == "repaired" else (
            "wrong part")  # fmt: skip
    if ended.outcome == "not_found":
        nothing = technician.nothing_was_wrong or house.comes_and_goes
        return "left, comes and goes" if nothing else "gave up"
    if ended.outcome != "repaired":
        return f"ended {ended.outcome}"
    if not house.mended:
        return "a fault left behind"
    return "success" if ended.proved else "mended, not proved"


def _job(work: tuple[Sequence[Drawn], Variant]) -> list[Result]:
    """Calls of one equipment and complaint: its networks are solved once, before the clock runs."""
    some, variant = work
    first = some[0]
    counsel = Sweeping.counsel if variant == "fixed sweep" else kept_counsel
    advisor = counsel(all_equipment()[first.equipment], first.complaint, ())
    advisor.prepare()
    advisor.next((), list(advisor.cards()))
    return [hold(drawn, variant) for drawn in some]


def jobs(drawn: Sequence[Drawn], variant: Variant) -> Iterator[tuple[Sequence[Drawn], Variant]]:
    """Work by equipment and complaint."""
    groups: dict[tuple[str, str], list[Drawn]] = {}
    for one in drawn:
        groups.setdefault((one.equipment, one.complaint), []).append(one)
    for group in groups.values():
        for start in range(0, len(group), A_JOB):
            yield group[start : start + A_JOB], variant


def hold_all(
    drawn: Sequence[Drawn], variants: Sequence[Variant], workers: int
) -> dict[Variant, list[Result]]:
    """Every call in every variant, in as many processes."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # for the processes to come: one core each
    work = [job for variant in variants for job in jobs(drawn, variant)]
    results: dict[Variant, list[Result]] = {variant: [] for variant in variants}
    spawning = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=spawning) as pool:
        for (_, variant), found in zip(work, pool.map(_job, work), strict=True):
            results[variant] += found
    return results


def main(argv: Sequence[str] | None = None) -> int:
    """Hold the calls, print the tables, then every failure with its number."""
    parser = argparse.ArgumentParser("companion.closed_loop.many", description=__doc__)
    parser.add_argument("--size", default="five-minutes",
                        help=f"{', '.join(SIZES)}, or a number (%(default)s)")  # fmt: skip
    parser.add_argument("--seed", type=int, default=1, help="(%(default)s)")
    parser.add_argument("--workers", type=int, default=os.cpu_count(), help="(%(default)s)")
    parser.add_argument("--variant", action="append", choices=VARIANTS, help="(all)")
    parser.add_argument("--failures", type=int, default=20, help="to be listed (%(default)s)")
    parser.add_argument("--replay", type=int, nargs="+", metavar="NUMBER", help="word for word")
    options = parser.parse_args(argv)
    if options.replay is not None:
        for number in options.replay:
            drawn = draw(number + 1, options.seed)[-1]
            technician = technician_of(drawn, USUAL)
            outcome = run(_dialogs(), technician)
            print(drawn, *dialogue(outcome), ended(outcome, technician), sep="\n")
        return 0
    count = SIZES.get(options.size) or int(options.size)
    begun = perf_counter()
    results = hold_all(draw(count, options.seed), options.variant or VARIANTS, options.workers or 1)
    print(table(results))
    print(f"\n{count} calls a column, seed {options.seed}, {options.workers} processes, "
          f"{perf_counter() - begun:.0f} s")  # fmt: skip
    whole = results.get("whole") or next(iter(results.values()))
    bad = [r for r in whole if r.ended not in RIGHT or r.breaches or r.fuses]
    for result in sorted(bad, key=lambda r: r.ended)[: options.failures]:
        more = [*result.breaches[:2], *["a fuse burnt"] * result.fuses]
        print(f"- {result.ended}: {result.drawn} {'; '.join(more)}")
    return 1 if any(r.breaches for some in results.values() for r in some) else 0


if __name__ == "__main__":
    sys.exit(main())
