"""What nobody knows of an installation and every prediction is averaged over.

Cable lengths, source voltage and impedance, winding, bonding, the fault's own ohms and
where along a cable it sits are drawn once, as columns that all hypotheses share, so that
they stay the same from reading to reading; so does the meter's own error. For ohms, healthy
loads are not drawn: their tolerance widens each prediction instead (``predict``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.circuit.shapes import Sources, Span
from companion.diagnosis.equipment import Equipment
from companion.diagnosis.tables import FaultOhms

Floats = NDArray[Any]

BONDED_SHARE = 0.75  # judgement: common bonded to chassis, often, not always


@dataclass(frozen=True)
class Columns:
    """Draws, each an array of ``count`` values.

    ``load_z`` shifts loads in standard spreads, ``live_z`` does so when energized;
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
    meter_z: Floats

    def fault_moved(self) -> Columns:
        """The same, each fault at e times its ohms: how a prediction depends on them."""
        return replace(self, fault_ohm={n: v * np.e for n, v in self.fault_ohm.items()})

    @property
    def count(self) -> int:
        """Number of columns."""
        return len(self.along)


def draw(
    equipment: Equipment,
    faults: FaultOhms,
    sources: Sources,
    count: int,
    rng: np.random.Generator,
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
        meter_z=even((-1.0, 1.0)),
    )
