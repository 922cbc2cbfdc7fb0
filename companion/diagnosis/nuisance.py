"""What nobody knows of an installation and every prediction is averaged over.

Cable lengths, source voltage and impedance, winding, bonding, the fault's own ohms and
where along a cable it sits are drawn once, as columns that all hypotheses share, so that
they stay the same from reading to reading; so does the meter's own error. For ohms, healthy
loads are not drawn: their tolerance widens each prediction instead (``predict``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from companion.circuit.shapes import Sources
from companion.datafiles import Span
from companion.diagnosis.tables import FaultOhms
from companion.equipment import Circuit, Equipment

Floats = NDArray[Any]

# How a board takes a call: the load alone hangs on the terminal; an input of the board's own is
# beside it; or an input alone, the board driving the load by a relay. Kept apart from the columns:
# each terminal may be any, and few columns would be left to fit all of them.
Board = Literal["alone", "beside", "logic"]
BOARDS: tuple[Board, ...] = ("alone", "beside", "logic")


def board_shares(circuit: Circuit | None) -> Floats:
    """How likely each of ``BOARDS`` is on a terminal."""
    logic = 0.0 if circuit is None or circuit.logic is None else circuit.logic.share
    beside = 0.0 if circuit is None or circuit.board_ohm is None else BESIDE_SHARE
    shares = np.array([(1.0 - logic) * (1.0 - beside), (1.0 - logic) * beside, logic])
    return np.asarray(np.maximum(shares, LEAST_SHARE))


class Draws(Protocol):
    """What a draw needs of ``numpy.random.Generator``."""

    def permutation(self, count: int, /) -> Floats:
        """The first so many whole numbers in some order."""

    def random(self, count: int, /) -> Floats:
        """So many numbers from 0 to below 1."""


class Halfway:
    """In place of chance: the middle of everything."""

    def permutation(self, count: int, /) -> Floats:
        """In order."""
        return np.arange(count)

    def random(self, count: int, /) -> Floats:
        """Halves."""
        return np.full(count, 0.5)


# Judgement: loads of one make differ by so much of the standard spread of their span.
ALIKE_SPREAD = 0.3
LEAST_SHARE = 1e-6  # so that logarithms stay finite
GHOST_SHARE = (0.08, 0.6)  # judgement: ghosts read up to tens of percent (common practice)
BESIDE_SHARE = 0.5  # judgement: boards with an input of their own beside a load
BONDED_SHARE = 0.75  # judgement: common bonded to chassis, often, not always


@dataclass(frozen=True)
class Columns:
    """Draws, each an array of ``count`` values.

    ``ghost`` is the share of an open conductor's coupling that is to R; ``load_z`` shifts loads
    in standard spreads, ``live_z`` does so when energized;
    ``meter_z`` is the meter's own error as a share of its limit, the same all through a call.
    """

    length_ft: Mapping[str, Floats]
    along: Floats
    open_volt: Floats
    source_ohm: Floats
    winding_ohm: Floats
    bonded: Floats
    fault_ohm: Mapping[str, Floats]
    turns_left: Floats
    accessory_va: Floats
    load_z: Mapping[str, Floats]
    live_z: Mapping[str, Floats]
    ghost: Floats
    meter_z: Floats

    @property
    def count(self) -> int:
        """Number of columns."""
        return len(self.along)


def draw(
    equipment: Equipment,
    faults: FaultOhms,
    sources: Sources,
    count: int,
    rng: Draws,
    *,
    loads_vary: bool = False,
) -> Columns:
    """Latin hypercube over the spans: each quantity takes one value from each of ``count`` strata.

    Ohms of a fault are spread evenly by logarithm, all else evenly. With ``loads_vary`` the
    loads' ohms are drawn too, as a simulated installation needs.
    """

    def even(span: Span) -> Floats:
        strata = (rng.permutation(count) + rng.random(count)) / count
        return span[0] + (span[1] - span[0]) * strata

    def by_log(span: Span) -> Floats:
        return np.asarray(np.exp(even((float(np.log(span[0])), float(np.log(span[1]))))))

    transformer = sources.transformer
    names = ("short", "chassis", "cross", "leak", "joint", "dead_coil")
    reach = 3.0**0.5  # uniform over the logarithm of a load's span, in standard spreads
    live = {c.terminal: even((-reach, reach)) for c in equipment.circuits}
    first: dict[str, str] = {}
    for c in equipment.circuits:
        kin = first.setdefault(c.alike, c.terminal) if c.alike else c.terminal
        if kin != c.terminal:
            other = live[kin] + ALIKE_SPREAD * even((-reach, reach))
            live[c.terminal] = np.clip(other, -reach, reach)
    live |= {load.name: even((-reach, reach)) for load in equipment.r_side.loads}
    return Columns(
        length_ft={name: even(cable.length_ft) for name, cable in equipment.cables.items()},
        along=even((0.02, 0.98)),
        open_volt=even(transformer.open_volt),
        source_ohm=even(transformer.impedance_ohm) * 40.0 / equipment.transformer_va,
        winding_ohm=even(transformer.winding_ohm) * 40.0 / equipment.transformer_va,
        bonded=even((0.0, 1.0)) < BONDED_SHARE,
        fault_ohm={name: by_log(getattr(faults, name)) for name in names},
        turns_left=even(faults.turns_share),
        accessory_va=even(faults.accessory_va),
        load_z=live if loads_vary else {t: 0.0 * z for t, z in live.items()},
        live_z=live,
        ghost=even(GHOST_SHARE),
        meter_z=even((-1.0, 1.0)),
    )
