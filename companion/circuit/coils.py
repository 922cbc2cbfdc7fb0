"""Coils: DC ohms against AC impedance, sealed and pulling in; shorted turns; verdicts."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

from companion.circuit.copper import ALPHA_20C_PER_K
from companion.circuit.tables import loads

CoilVerdict = Literal["dead short", "shorted turns suspected", "plausible", "open or other part"]

# Above this multiple of its family's most ohms it is no such part any more (judgement).
NO_SUCH_PART = 2.0


def impedance_ohm(va: float, volt: float = 24.0) -> float:
    """|Z| = V^2/S."""
    return volt**2 / va


def reactance_ohm(impedance: float, dc_ohm: float) -> float:
    """X = sqrt(Z^2 - R^2), core loss left out; 0 for a load that is all resistance."""
    return sqrt(max(0.0, impedance**2 - dc_ohm**2))


def at_temperature(ohm_20c: float, temperature_c: float) -> float:
    """A copper winding's DC ohms at another temperature (IEC 60028 coefficient)."""
    return ohm_20c * (1.0 + ALPHA_20C_PER_K * (temperature_c - 20.0))


def with_shorted_turns(dc_ohm: float, x_ohm: float, share: float, coupling: float) -> complex:
    """Impedance of a coil of which a share of the turns is shorted on itself.

    Z = (1-p) R + j (1-p)^2 X + (k p (1-p) X)^2 / (p R + j p^2 X): inductance goes with
    turns squared, the shorted loop is a loaded secondary. The coupling k is a guess, so the
    shape counts, not the digits. Source: coupled-circuit theory of any circuits text.

    Raises:
        ValueError: the share is not below 1, or is below 0.
    """
    if not 0.0 <= share < 1.0:
        raise ValueError(f"a share of shorted turns of {share} is outside 0 to below 1")
    left = (1.0 - share) * dc_ohm + 1j * (1.0 - share) ** 2 * x_ohm
    if share == 0.0:
        return left
    mutual = coupling * share * (1.0 - share) * x_ohm
    return left + mutual**2 / (share * dc_ohm + 1j * share**2 * x_ohm)


@dataclass(frozen=True)
class Judged:
    """A coil's verdict, with the interval it was held against, and what to do about doubt."""

    verdict: CoilVerdict
    healthy_ohm: tuple[float, float]
    sealed_ampere: tuple[float, float]
    words: str
    source: str


def judge_coil(
    net_ohm: float | None,
    family: str,
    *,
    healthy_ohm: tuple[float, float] | None = None,
    standard_ohm: float = 0.0,
) -> Judged:
    """A coil read by itself, leads taken off; None for over limit.

    The part's own label or profile (``healthy_ohm``) comes before its family. A reading
    within two standard uncertainties of an edge is given the benefit of the doubt.

    Raises:
        KeyError: there is no such family.
    """
    kind, turns = loads().of(family), loads().turns
    least, most = healthy_ohm or kind.ohms
    ampere = (kind.sealed_va[0] / 24.0, kind.sealed_va[1] / 24.0)
    source = kind.source if healthy_ohm is None else "as given for this part"
    verdict: CoilVerdict
    if net_ohm is None or net_ohm > NO_SUCH_PART * most:
        verdict, words = "open or other part", "Open, or not this part."
    elif net_ohm <= min(turns.dead_ohm, turns.suspect_share * least):
        verdict, words = "dead short", "Shorted dead."
    elif net_ohm + 2.0 * standard_ohm < turns.suspect_share * least:
        verdict = "shorted turns suspected"
        words = "Low. Check the label: a bigger coil reads so too. Amps on a call decide."
    else:
        verdict, words = "plausible", "Plausible. Few shorted turns don't show in DC; amps do."
    return Judged(verdict, (least, most), ampere, words, source)
