"""What each test would read under each hypothesis: stacked nodal solutions, made when asked for.

Arrays are (hypotheses, columns). A test's setup is solved once for all hypotheses and for
every test that shares it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.circuit.fuses import opening_chance
from companion.circuit.network import solve_stack
from companion.circuit.supply import pull_in_volt
from companion.diagnosis.hypotheses import Hypothesis
from companion.diagnosis.stacks import stack
from companion.diagnosis.tables import Likelihoods
from companion.diagnosis.trial import Setup, Test
from companion.diagnosis.trust import lamp_words, looks
from companion.diagnosis.values import FUSE_OHM, Valued

Numbers = NDArray[Any]

HOLD_S = 10.0  # how long a jumper is held before "it holds" is said
METER_OHM = 10e6
FAULT_MOVES = 0.3  # judgement: relative standard change of a fault's ohms between readings
CHUNK = 128  # hypotheses solved at a time, to bound memory
AMPERE_SPREAD = 0.2  # judgement: what is left of the tolerance of VA between columns


@dataclass(frozen=True)
class Predicted:
    """A test under every hypothesis and column.

    Args:
        mean: of a number, (H, K), in SI.
        spread: relative standard spread of it, from loads and from the fault's own ohms.
        error: the meter's own, as a share of its limit, (K,).
        none: chance that protection has opened, so that zero is read instead.
        words: chance of each word, (H, K, words), where the test comes out in words.
        load: relative change for one standard spread of the loads, and ``moves`` the rest of
            ``spread``, where the two are known apart.
    """

    mean: Numbers | None = None
    spread: Numbers | None = None
    none: Numbers | None = None
    error: Numbers | None = None
    words: Numbers | None = None
    load: Numbers | None = None
    moves: Numbers | None = None


class Predictor:
    """Predictions for a list of hypotheses, kept once made.

    Args:
        valued: the installation with its columns.
        hypotheses: the rows.
        tests: those that may be asked for.
        trust: how observations go wrong.
        fuse_ampere: rating of the protection.
    """

    def __init__(
        self,
        valued: Valued,
        hypotheses: Sequence[Hypothesis],
        tests: Sequence[Test],
        trust: Likelihoods,
        fuse_ampere: float,
    ) -> None:
        self.hypotheses, self.tests = tuple(hypotheses), {t.name: t for t in tests}
        self._valued, self._trust, self._fuse_ampere = valued, trust, fuse_ampere
        self._moved = replace(valued, columns=valued.columns.fault_moved())
        self._by_setup: dict[Setup, list[Test]] = defaultdict(list)
        for test in tests:
            self._by_setup[test.setup].append(test)
        self._made: dict[str, Predicted] = {}
        multiples = np.linspace(1.0, 2.5, 61)
        chances = [opening_chance(float(m), HOLD_S) for m in multiples]
        self._opening = (multiples, np.array(chances))

    @property
    def columns(self) -> int:
        """Number of columns."""
        return self._valued.columns.count

    def of(self, name: str) -> Predicted:
        """The prediction for a test.

        Raises:
            KeyError: no such test.
        """
        if name not in self._made:
            test = self.tests[name]
            if test.measure == "look":
                chance = looks(test, self.hypotheses, self._trust)
                shape = (len(chance), self._valued.columns.count)
                seen = np.broadcast_to(chance[:, None], shape)
                self._made[name] = Predicted(words=np.stack([seen, 1.0 - seen], axis=-1))
            else:
                self._solve(test.setup)
        return self._made[name]

    def _solve(self, setup: Setup) -> None:
        tests = [t for t in self._by_setup[setup] if t.measure != "look"]
        parts = []
        for start in range(0, len(self.hypotheses), CHUNK):
            rows = self.hypotheses[start : start + CHUNK]
            solve = self._live if setup.power == "live" else self._dead
            parts.append(solve(setup, tests, rows))
        for index, test in enumerate(tests):
            whole = _joined([part[index] for part in parts])
            self._made[test.name] = replace(whole, error=self._valued.columns.meter_z)

    # ── Dead: ohms ───────────────────────────────────────────────────────────

    def _dead(
        self, setup: Setup, tests: Sequence[Test], rows: Sequence[Hypothesis]
    ) -> list[Predicted]:
        pairs = [self._pair(t) for t in tests]
        middle, high = (self._ohms(setup, rows, pairs, shift) for shift in (0.0, 1.0))
        stepped = self._ohms(setup, rows, pairs, 0.0, self._moved)
        # The columns stand for all ohms between them, and a fault's ohms move when touched.
        moves = FAULT_MOVES * np.log((stepped + 1e-3) / (middle + 1e-3))
        load = np.log((high + 1e-3) / (middle + 1e-3))
        spread, zero = np.hypot(load, moves), np.zeros(middle.shape[:2])
        return [
            Predicted(middle[..., k], spread[..., k], zero, load=load[..., k], moves=moves[..., k])
            for k in range(len(pairs))
        ]

    def _ohms(
        self,
        setup: Setup,
        rows: Sequence[Hypothesis],
        pairs: Sequence[tuple[int, int]],
        shift: float,
        valued: Valued | None = None,
    ) -> Numbers:
        matrix = stack(valued or self._valued, setup, rows, "dc", shift)
        size = matrix.shape[-1]
        right = np.zeros((size, len(pairs)))
        for k, (a, b) in enumerate(pairs):
            right[a, k] += 1.0
            right[b, k] -= 1.0
        volt = solve_stack(matrix, right)
        ohms = [volt[..., a, k] - volt[..., b, k] for k, (a, b) in enumerate(pairs)]
        return np.asarray(np.maximum(np.stack(ohms, axis=-1), 0.0))

    # ── Live: volts, amperes, protection ─────────────────────────────────────

    def _live(
        self, setup: Setup, tests: Sequence[Test], rows: Sequence[Hypothesis]
    ) -> list[Predicted]:
        nodes = self._valued.layout.nodes
        pairs = [self._pair(t) for t in tests if t.measure == "volts"]
        pulling = self._volts(setup, rows, pairs, "pulling")
        sealed = self._volts(setup, rows, pairs, "sealed")
        energized = setup.jumpers or setup.calls
        acts = np.ones(pulling.shape[:2], dtype=bool)
        for t in energized:
            across = np.abs(pulling[..., nodes[f"{t}.k"], 0] - pulling[..., nodes[f"{t}.r"], 0])
            acts &= across >= pull_in_volt()
            # Volts across an open or dead coil move nothing.
            dead = [any(c.at == f"{t}.load" and c.how != "turns" for c in h.changes) for h in rows]
            acts[np.array(dead)] = False
        if len(energized) > 1:  # one after the other, so that none pulls in on top of another
            acts[:] = True
        volt = np.where(acts[..., None, None], sealed, pulling)
        ohm = self._trust.lamp.hot_ohm if setup.protection == "lamp" else FUSE_OHM
        lost = np.abs(volt[..., nodes["S"], 0] - volt[..., nodes["R"], 0])
        ampere = lost / ohm
        chance = np.interp(ampere / self._fuse_ampere, *self._opening)
        out, k = [], 0
        for test in tests:
            if test.measure == "volts":
                a, b = pairs[k]
                k += 1
                open_volt = volt[..., a, 0] - volt[..., b, 0]
                seen_ohm = volt[..., a, k] - volt[..., b, k]
                mean = np.abs(open_volt * METER_OHM / (METER_OHM + seen_ohm))
                out.append(Predicted(mean, np.zeros_like(mean), chance))
            elif test.measure == "amperes":
                out.append(Predicted(ampere, np.full_like(ampere, AMPERE_SPREAD), chance))
            elif test.measure == "lamp":
                out.append(Predicted(words=lamp_words(lost, self._trust)))
            else:
                out.append(Predicted(words=self._breaker(chance, acts, bool(energized))))
        return out

    def _breaker(self, opens: Numbers, acts: Numbers, energized: bool) -> Numbers:
        wrong = self._trust.wrong_way
        runs = np.where(acts, 1.0 - wrong.runs, wrong.runs) if energized else 0.0 * opens
        words = np.stack([opens, (1.0 - opens) * runs, (1.0 - opens) * (1.0 - runs)], axis=-1)
        return np.asarray((1.0 - wrong.trips) * words + wrong.trips / 3.0)

    def _volts(
        self,
        setup: Setup,
        rows: Sequence[Hypothesis],
        pairs: Sequence[tuple[int, int]],
        state: str,
    ) -> Numbers:
        """Node voltages: column 0 with the source on, then per pair with 1 A and no source."""
        columns = self._valued.columns
        matrix = stack(self._valued, setup, rows, state, lamp_ohm=self._trust.lamp.hot_ohm)
        right = np.zeros((len(rows), columns.count, matrix.shape[-1], 1 + len(pairs)), complex)
        supplied = columns.open_volt / columns.source_ohm
        for row, hypothesis in enumerate(rows):
            if all(change.at != "supply" for change in hypothesis.changes):
                right[row, :, self._valued.layout.nodes["S"], 0] = supplied
        for k, (a, b) in enumerate(pairs):
            right[:, :, a, k + 1] += 1.0
            right[:, :, b, k + 1] -= 1.0
        return solve_stack(matrix, right)

    def _pair(self, test: Test) -> tuple[int, int]:
        nodes = self._valued.layout.nodes
        return nodes[test.at[0]], nodes[test.at[1]]


def _joined(parts: Sequence[Predicted]) -> Predicted:
    def whole(name: str) -> Numbers | None:
        arrays = [getattr(part, name) for part in parts]
        return None if arrays[0] is None else np.concatenate(arrays)

    return Predicted(whole("mean"), whole("spread"), whole("none"), words=whole("words"),
                     load=whole("load"), moves=whole("moves"))  # fmt: skip
