"""What each test would read under each hypothesis, made when asked for.

Arrays are (hypotheses, columns). A test's setup is solved once for all hypotheses and for
every test that shares it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.circuit.fuses import opening_chance
from companion.circuit.supply import pull_in_volt
from companion.diagnosis.hypotheses import Hypothesis
from companion.diagnosis.layout import Layout
from companion.diagnosis.nuisance import BOARDS, BONDED_SHARE, Board, board_shares
from companion.diagnosis.predicted import Packed, Predicted, joined, packed
from companion.diagnosis.tables import Likelihoods
from companion.diagnosis.transfer import Transfer
from companion.diagnosis.trial import Setup, Test
from companion.diagnosis.trust import lamp_words, looks
from companion.diagnosis.values import FUSE_OHM, Valued, board_span, log_spread

Numbers = NDArray[Any]

HOLD_S = 10.0  # how long a jumper is held before "it holds" is said
FAULT_MOVES = 0.3  # judgement: relative standard change of a fault's ohms between readings
CABLE_MOVES = 0.25  # judgement: relative standard change of a cable's ohms between columns
VOLTS_MOVE = 0.2  # judgement: the same of volts lost, or of the few that are left
CHUNK = 64  # hypotheses solved at a time, to bound memory
LATELY = 6  # predictions that are kept unpacked: those of the circuit that is at hand
GHOSTLY_OHM, GHOST_SPREAD = 1e5, 0.3  # judgement: a wire in the air, and how it wanders
AMPERE_SPREAD = 0.3  # judgement: what is left of the tolerance of VA between columns


class Predictor:
    """Predictions for a list of hypotheses, kept once made.

    Args:
        valued: the installation with its columns.
        hypotheses: the rows.
        tests: those that may be asked for.
        trust: how observations go wrong.
        fuse_ampere: rating of the protection.
        bond_apart: whether common is bonded to the chassis is kept in the belief, not by columns.
    """

    _bond_apart = False

    def __init__(
        self,
        valued: Valued,
        hypotheses: Sequence[Hypothesis],
        tests: Sequence[Test],
        trust: Likelihoods,
        fuse_ampere: float,
        *,
        bond_apart: bool = False,
    ) -> None:
        self._bond_apart = bond_apart
        self.hypotheses, self.tests = tuple(hypotheses), {t.name: t for t in tests}
        self._valued, self._trust, self._fuse_ampere = valued, trust, fuse_ampere
        self._by_setup: dict[Setup, list[Test]] = defaultdict(list)
        for test in tests:
            self._by_setup[test.setup].append(test)
        self._made: dict[str, Packed] = {}
        self._lately: dict[str, Predicted] = {}
        multiples = np.linspace(1.0, 2.5, 61)
        chances = [opening_chance(float(m), HOLD_S) for m in multiples]
        self._opening = (multiples, np.array(chances))

    @property
    def layout(self) -> Layout:
        """The installation's nodes and elements."""
        return self._valued.layout

    @property
    def columns(self) -> int:
        """Number of columns."""
        return self._valued.columns.count

    def shares(self, circuit: str | None) -> Numbers:
        """How likely each way of a board to take a call is on a terminal, (boards,)."""
        fed = {c.terminal: c for c in self._valued.layout.equipment.circuits}
        return board_shares(fed.get(circuit or ""))

    @cached_property
    def bonded(self) -> Numbers:
        """Chance that a test to chassis reads as predicted, (H, 1), and not open: that common is
        bonded. Where a wire touches the chassis, columns say so one by one."""
        unsure = [self._bond_apart and "chassis" not in h.kinds for h in self.hypotheses]
        return np.where(unsure, BONDED_SHARE, 1.0)[:, None]

    def alike(self, circuit: str | None) -> str:
        """The word by which loads of several terminals are of one make; else the terminal."""
        for c in self._valued.layout.equipment.circuits:
            if c.terminal == circuit and c.alike:
                return c.alike
        return circuit or ""

    def turned(self, circuit: str | None) -> tuple[Numbers, float]:
        """Hypotheses with shorted turns in a terminal's load, (H,); and of the spread that its
        ohms have then, the share that is the load's own."""
        fed = {c.terminal: c for c in self._valued.layout.equipment.circuits}
        at = f"{circuit}.load"
        rows = [any(c.how == "turns" and c.at == at for c in h.changes) for h in self.hypotheses]
        spread = log_spread(fed[circuit].load.ohms) if circuit in fed else 0.0
        return np.array(rows), float(spread / np.hypot(spread, FAULT_MOVES))

    def of(self, name: str) -> Predicted:
        """The prediction for a test.

        Raises:
            KeyError: no such test.
        """
        if name not in self._lately:
            if name not in self._made:
                self._make(self.tests[name])
            if len(self._lately) >= LATELY:
                self._lately.pop(next(iter(self._lately)))
            self._lately[name] = self._made[name].unpacked()
        return self._lately[name]

    def _make(self, test: Test) -> None:
        if test.measure != "look":
            self._solve(test.setup)
            return
        chance = looks(test, self.hypotheses, self._trust)
        seen = np.repeat(chance[:, None], self._valued.columns.count, axis=1)
        self._made[test.name] = packed(Predicted(words=np.stack([seen, 1.0 - seen], axis=-1)))

    def _solve(self, setup: Setup) -> None:
        tests = [t for t in self._by_setup[setup] if t.measure != "look"]
        parts = []
        for start in range(0, len(self.hypotheses), CHUNK):
            rows = self.hypotheses[start : start + CHUNK]
            solve = self._live if setup.power == "live" else self._dead
            parts.append(solve(setup, tests, rows))
        for index, test in enumerate(tests):
            whole = joined([part[index] for part in parts])
            self._made[test.name] = packed(replace(whole, error=self._valued.columns.meter_z))

    # ── Dead: ohms ───────────────────────────────────────────────────────────

    def _dead(
        self, setup: Setup, tests: Sequence[Test], rows: Sequence[Hypothesis]
    ) -> list[Predicted]:
        by_board = [self._ohms(setup, tests, rows, board) for board in BOARDS]
        out = []
        for k in range(len(tests)):
            ohms, load, moves = (np.stack([found[n][..., k].T for found in by_board])
                                 for n in range(3))  # fmt: skip
            none = np.zeros_like(ohms)
            out.append(Predicted(ohms, np.hypot(load, moves), none, load=load, moves=moves))
        return out

    def _ohms(
        self, setup: Setup, tests: Sequence[Test], rows: Sequence[Hypothesis], board: Board
    ) -> tuple[Numbers, Numbers, Numbers]:
        """Ohms, and how they move with the loads' tolerance and with the fault's own ohms.

        An element of g siemens with v volts across it per ampere between the probes moves the
        reading by g v^2 for each e-fold of its ohms (Tellegen; any network theory text).
        """
        columns = self._valued.columns
        pairs = [self._pair(t) for t in tests]
        to_chassis = [k for k, t in enumerate(tests) if t.to_chassis]
        common = self._valued.layout.nodes["C"]
        pairs += [(pairs[k][0], common) for k in to_chassis]
        loads = self._tolerant(board)
        lengths = self._lengths(pairs)
        ports = [self._valued.layout.ends(name) for name in (*loads, *lengths)]
        net = Transfer(self._valued, setup, rows, "dc", [*pairs, *ports], board=board)
        ohms = np.abs(net.own(pairs))
        moved, shifted, unsure = (np.zeros_like(ohms) for _ in range(3))
        volts = net.across(ports, pairs) ** 2
        for index, (name, spread) in enumerate(loads.items()):
            if name not in net.base:
                continue
            still = np.array([self._still(name, h) for h in rows])
            left = np.array([any(c.how == "turns" and c.at == name for c in h.changes)
                             for h in rows])  # fmt: skip
            # The share of the turns that is left lies between columns as well. Like the load's own
            # place in its span it is one number all through a call: a second look tells it again.
            spreads = np.where(left, np.hypot(spread, FAULT_MOVES), spread)
            weight = np.where(left, 1.0 / columns.turns_left[:, None], 1.0) * still
            more = (net.base[name][:, None] * weight * spreads)[..., None] * volts[:, :, index]
            # What is known of a test's own load is no news of another, where wires are swapped.
            of = self.alike(name.split(".")[0])
            own = [self.alike(t.circuit) == of for t in (*tests, *(tests[k] for k in to_chassis))]
            shifted += np.where(own, more, 0.0)
            unsure += np.where(own, 0.0, more) ** 2
        for index, name in enumerate(lengths, len(loads)):
            if name in net.base:
                still = np.array([self._still(name, h) for h in rows])
                siemens = net.base[name][:, None] * still
                unsure += (CABLE_MOVES * siemens[..., None] * volts[:, :, index]) ** 2
        for group, across in net.at_faults(pairs):
            for place, changes in enumerate(group.made_by):
                for nth, change in enumerate(changes):
                    if change.how in {"join", "into"} and change.ohms in columns.fault_ohm:
                        siemens = 1.0 / columns.fault_ohm[change.ohms]
                        moved[:, group.rows[place]] += siemens[:, None] * across[:, place, nth] ** 2
        unsure = np.sqrt(unsure + (FAULT_MOVES * moved) ** 2)
        # Where no wire touches the chassis, it is common or nothing: which is kept in the belief.
        apart = [row for row, h in enumerate(rows) if "chassis" not in h.kinds]
        for array in (ohms, shifted, unsure) if self._bond_apart else ():
            for nth, k in enumerate(to_chassis, len(tests)):
                array[:, apart, k] = array[:, apart, nth]
        ohms, shifted, unsure = (array[..., : len(tests)] for array in (ohms, shifted, unsure))
        return ohms, shifted / (ohms + 1e-3), unsure / (ohms + 1e-3)

    def _lengths(self, pairs: Sequence[tuple[int, int]]) -> list[str]:
        """Stretches of cable on the conductors that are probed."""
        layout = self._valued.layout
        return [
            f"{cable}.{t}.{half}"
            for cable in layout.equipment.cables
            for t in ("R", "C", *layout.terminals)
            for half in ("near", "far")
            if f"{cable}.{t}.{half}" in layout.elements
        ]

    def _tolerant(self, board: Board) -> dict[str, float]:
        """Elements whose healthy ohms lie in a span, and its standard spread by logarithm."""
        equipment = self._valued.layout.equipment
        found = {f"{c.terminal}.load": log_spread(c.load.ohms) for c in equipment.circuits}
        found |= {f"R.{load.name}": log_spread(load.ohms) for load in equipment.r_side.loads}
        for c in equipment.circuits:
            span = board_span(c, board)
            if span is not None:
                found[f"{c.terminal}.board"] = log_spread(span)
        return found

    def _still(self, name: str, hypothesis: Hypothesis) -> bool:
        """Whether a load's own tolerance still counts under a hypothesis."""
        return not any(c.at == name and c.how in {"open", "into"} for c in hypothesis.changes)

    # ── Live: volts, amperes, protection ─────────────────────────────────────

    def _live(
        self, setup: Setup, tests: Sequence[Test], rows: Sequence[Hypothesis]
    ) -> list[Predicted]:
        nodes = self._valued.layout.nodes
        pairs = [self._pair(t) for t in tests if t.measure == "volts"]
        energized = setup.jumpers or setup.calls
        every = (*energized, *(t for t in self._valued.layout.terminals if t not in energized))
        coils = [(nodes[f"{t}.k"], nodes[f"{t}.r"]) for t in every]
        source, fuse = (nodes["S"], nodes["C"]), (nodes["S"], nodes["R"])
        probes = [source, fuse, *coils, *pairs]
        supplied = self._valued.columns.open_volt / self._valued.columns.source_ohm
        fed_by = np.array([all(c.at != "supply" for c in h.changes) for h in rows])
        ampere_in = supplied[:, None] * fed_by
        volt, seen = {}, {}
        for state in ("pulling", "sealed"):
            lamp_ohm = self._trust.lamp.hot_ohm
            net = Transfer(self._valued, setup, rows, state, probes, lamp_ohm)
            volt[state] = net.across(probes, [source])[..., 0] * ampere_in[..., None]
            seen[state] = net.own(pairs) if pairs else np.zeros((*ampere_in.shape, 0))
        pulls = [self._pulls(t, rows, volt["pulling"][..., 2 + i]) for i, t in enumerate(every)]
        acts = np.ones(ampere_in.shape, dtype=bool)
        for pulled in pulls[: len(energized)]:
            acts &= pulled
        other = np.zeros_like(acts)
        for pulled in pulls[len(energized) :]:
            other |= pulled
        if len(energized) > 1:  # one after the other, so that none pulls in on top of another
            acts[:] = True
        now = np.where(acts[..., None], volt["sealed"], volt["pulling"])
        ohms = np.where(acts[..., None], seen["sealed"], seen["pulling"])
        lost = np.abs(now[..., 1]).T
        ampere = lost / (self._trust.lamp.hot_ohm if setup.protection == "lamp" else FUSE_OHM)
        chance = np.interp(ampere / self._fuse_ampere, *self._opening)
        out, k = [], 0
        for test in tests:
            if test.measure == "volts":
                open_volt, seen_ohm = now[..., 2 + len(coils) + k].T, ohms[..., k].T
                mean = np.abs(open_volt * test.meter_ohm / (test.meter_ohm + seen_ohm))
                unloaded = self._valued.columns.open_volt
                lost_or_left = np.minimum(mean, np.abs(unloaded - mean)) / (mean + 1e-3)
                ghostly = np.abs(seen_ohm) > GHOSTLY_OHM
                spread = np.where(ghostly, GHOST_SPREAD, VOLTS_MOVE * lost_or_left)
                out.append(Predicted(mean, spread, chance))
                k += 1
            elif test.measure == "amperes":
                out.append(Predicted(ampere, np.full_like(ampere, AMPERE_SPREAD), chance))
            elif test.measure == "lamp":
                out.append(Predicted(words=lamp_words(lost, self._trust)))
            else:
                out.append(Predicted(words=self._breaker(test, rows, chance, acts.T, other.T)))
        return out

    def _pulls(self, t: str, rows: Sequence[Hypothesis], volt: Numbers) -> Numbers:
        """Where a load is seen to act: volts enough, across a coil not open or dead."""
        dead = [any(c.at == f"{t}.load" and c.how != "turns" for c in h.changes) for h in rows]
        seen = bool(self._valued.layout.equipment.fed(t).coils)
        return np.asarray((np.abs(volt) >= pull_in_volt()) & ~np.array(dead) & seen)

    def _breaker(
        self, test: Test, rows: Sequence[Hypothesis], opens: Numbers, acts: Numbers, other: Numbers
    ) -> Numbers:
        wrong = self._trust.wrong_way
        if "runs" in test.outcomes:
            right = 1.0 - 1.5 * wrong.runs  # half a slip to each of the two others, and one more
            runs = np.where(acts, right, wrong.runs)
            another = np.where(~acts & other, right, 0.5 * wrong.runs)
            words = np.stack([opens, (1.0 - opens) * runs, (1.0 - opens) * another,
                              (1.0 - opens) * (1.0 - runs - another)], axis=-1)  # fmt: skip
        else:
            if test.provokes is not None:
                shows = np.array([self._shows(test, h) for h in rows])[:, None]
                opens = 1.0 - (1.0 - opens) * (1.0 - shows)
            words = np.stack([opens, 1.0 - opens], axis=-1)
        return np.asarray((1.0 - wrong.trips) * words + wrong.trips / words.shape[-1])

    def _shows(self, test: Test, hypothesis: Hypothesis) -> float:
        """Chance that a fault that comes and goes trips the breaker while it is provoked."""
        for fault in hypothesis.faults:
            here = test.circuit in fault.circuits and test.sees in {None, fault.part}
            if fault.kind == "comes and goes" and here:
                return float(getattr(self._trust.provoked, str(test.provokes)))
        return 0.0

    def _pair(self, test: Test) -> tuple[int, int]:
        nodes = self._valued.layout.nodes
        return nodes[test.at[0]], nodes[test.at[1]]
