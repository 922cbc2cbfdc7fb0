"""``python -m companion.closed_loop.spoken``: simulated calls spoken by a machine, heard for real.

Each line of the technician is spoken by eSpeak NG in one of several voices, laid into noise like
a fan's, and heard by the shipped model through the ears of a call. Such voices were among those
that the model was trained on, so this measures the loop, not how well people are heard.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from functools import cache, partial
from math import inf
from pathlib import Path
from typing import Literal, get_args

import numpy as np

from companion import datafiles
from companion.closed_loop.aloud import Heard, Speaker, in_noise
from companion.closed_loop.held import run
from companion.closed_loop.many import Drawn, draw, ended, technician_of
from companion.closed_loop.report import RIGHT
from companion.closed_loop.sweeping import Sweeping
from companion.hearing import Recogniser, find_model
from companion.hearing.source import Samples
from companion.practice import STEADY
from companion.turns import kept_counsel, load_dialogs

VOICES = ("gmw/en-us", "gmw/en-us+f3", "gmw/en-gb-scotland", "gmw/en-us+m7")
LEVELS_DB = (inf, 20.0, 15.0, 10.0, 5.0)
Variant = Literal["whole", "fixed sweep", "no read-back", "no phrase lists"]
RATES = (160, 125, 190, 140)  # words a minute; said again, nobody says it alike


def _says(
    speaker: Speaker, voice: str, snr_db: float, rng: np.random.Generator, line: str, take: int
) -> Samples:
    rate = RATES[take % len(RATES)]
    return in_noise(speaker.says(_spoken(line), voice, rate), snr_db, rng)


def _spoken(line: str) -> str:
    """Single letters apart, so that they are spelled."""
    return " ".join(f"{w.upper()}." if len(w) == 1 and w not in "ai" else w for w in line.split())


@dataclass(frozen=True)
class Row:
    """One line of the table: how loud the noise is, and what is left out."""

    snr_db: float
    variant: Variant = "whole"


@dataclass(frozen=True)
class Tally:
    """What was heard in a call, and how it ended."""

    right: int
    lines: int
    exact: int
    turned_away: int
    other_value: int
    stood: int
    other_safety: int
    asked: int
    breaches: int
    tests: int
    minutes: float


@cache
def _ears() -> Recogniser:
    return Recogniser(find_model(None).resolve())


@cache
def _speaker(place: str) -> Speaker:
    own = Path(place) / str(os.getpid())
    own.mkdir()
    return Speaker(own)


def hold(row: Row, drawn: Drawn, seed: int, place: str) -> Tally:
    """One call by sound."""
    dialogs, recogniser = load_dialogs(datafiles.folder("dialogs")), _ears()
    unheeding = replace(STEADY, heeds=0.0)
    technician = technician_of(drawn, unheeding if row.variant == "no read-back" else STEADY)
    rng = np.random.default_rng((seed, drawn.number))
    says = partial(_says, _speaker(place), VOICES[drawn.number % len(VOICES)], row.snr_db, rng)
    heard = Heard(says, recogniser, technician, listed=row.variant != "no phrase lists")
    counsel = Sweeping.counsel if row.variant == "fixed sweep" else kept_counsel
    outcome = run(dialogs, technician, counsel, heard, recogniser.floors)
    return Tally(
        int(ended(outcome, technician) in RIGHT), heard.lines, heard.exact, heard.turned_away,
        heard.other_value, technician.slips - technician.taken_back, heard.other_safety,
        outcome.asked_again, len(outcome.breaches) + technician.touched_live, technician.tests,
        technician.house.minutes,
    )  # fmt: skip


def at_each_level(variant: Variant, drawn: Drawn, seed: int, place: str) -> list[Tally]:
    """One call in noise of every level: what is installed is worked out once for all of them."""
    return [hold(Row(snr_db, variant), drawn, seed, place) for snr_db in LEVELS_DB]


def told(row: Row, tallies: Sequence[Tally]) -> tuple[str, ...]:
    """A line of the table."""
    calls, lines = len(tallies), sum(t.lines for t in tallies)
    return (
        "quiet" if np.isinf(row.snr_db) else f"{row.snr_db:.0f} dB",
        row.variant,
        f"{sum(t.right for t in tallies)} of {calls}",
        str(lines),
        f"{sum(t.exact for t in tallies) / lines:.1%}",
        f"{sum(t.turned_away for t in tallies) / lines:.1%}",
        str(sum(t.other_value for t in tallies)),
        str(sum(t.stood for t in tallies)),
        str(sum(t.other_safety for t in tallies)),
        f"{sum(t.lines for t in tallies) / calls:.0f}",
        f"{sum(t.tests for t in tallies) / calls:.1f}",
        f"{sum(t.minutes for t in tallies) / calls:.0f}",
        str(sum(t.breaches for t in tallies)),
    )


HEADS = ("noise", "variant", "calls ended right", "lines", "understood as meant", "asked again",
         "taken for another value", "of these not contradicted", "at safety steps",
         "lines a call", "tests", "minutes", "breaches")  # fmt: skip


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser("companion.closed_loop.spoken", description=__doc__)
    parser.add_argument("--calls", type=int, default=4, help="a row (%(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="(%(default)s)")
    parser.add_argument("--workers", type=int, default=os.cpu_count(), help="(%(default)s)")
    parser.add_argument("--variant", action="append", choices=get_args(Variant), help="(all)")
    options = parser.parse_args(argv)
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # for the processes to come: one core each
    variants: Sequence[Variant] = options.variant or get_args(Variant)
    drawn = draw(options.calls, options.seed)
    print("| " + " | ".join(HEADS) + " |\n" + "|---" * len(HEADS) + "|")
    spawning = multiprocessing.get_context("spawn")
    with (
        tempfile.TemporaryDirectory() as place,
        ProcessPoolExecutor(options.workers, mp_context=spawning) as pool,
    ):
        held = {
            pool.submit(at_each_level, variant, one, options.seed, place): (variant, one)
            for variant in variants
            for one in drawn
        }
        done: dict[Variant, list[list[Tally]]] = {variant: [] for variant in variants}
        for call in as_completed(held):
            variant, one = held[call]
            done[variant].append(call.result())
            ends = sum(tally.right for tally in call.result())
            print(f"{variant}, call {one.number}: {ends} of {len(LEVELS_DB)}", file=sys.stderr)
            if len(done[variant]) == len(drawn):
                for snr_db, *tallies in zip(LEVELS_DB, *done[variant], strict=True):
                    row = told(Row(snr_db, variant), tallies)
                    print("| " + " | ".join(row) + " |", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
