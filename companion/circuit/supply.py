"""The 24 V source: regulation, Class 2 limits, what all calls draw, what the far coil gets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Literal

from companion.circuit.copper import loop_ohms
from companion.circuit.tables import sources


def rated_ampere(rating_va: float, rated_volt: float = 24.0) -> float:
    """I = S/V, by definition."""
    return rating_va / rated_volt


def source_ohm(open_volt: float, rating_va: float, rated_volt: float = 24.0) -> float:
    """Impedance of a source that falls from its open voltage to the rated one at full load.

    Taken as resistive: leakage reactance is left out (judgement). Raises:
        ValueError: the open voltage is below the rated one.
    """
    if open_volt < rated_volt:
        raise ValueError(f"an open voltage of {open_volt} V is below the rated {rated_volt} V")
    return (open_volt - rated_volt) / rated_ampere(rating_va, rated_volt)


def short_circuit_ampere(open_volt: float, source_ohm: float, loop_ohm: float) -> float:
    """What a short at the end of a loop draws, before anything opens."""
    return open_volt / (source_ohm + loop_ohm)


def most_protection_ampere(volt: float) -> float:
    """Class 2 ceiling for the protection of a source that does not limit itself: 100/Vmax.

    Valid above 20 V and up to 30 V. Source: NEC chapter 9 table 11(A), see sources.toml.

    Raises:
        ValueError: outside that band.
    """
    class2 = sources().class2
    if not 20.0 < volt <= class2.most_volt:
        raise ValueError(f"{volt} V is outside the band above 20 to {class2.most_volt:g} V")
    return class2.protection_va / volt


@dataclass(frozen=True)
class Budget:
    """What calls draw together against a transformer's rating."""

    total_va: tuple[float, float]
    rating_va: float
    share: tuple[float, float]
    ampere: tuple[float, float]
    verdict: Literal["fits", "tight", "may overload", "overload"]


def va_budget(loads_va: Mapping[str, tuple[float, float]], rating_va: float) -> Budget:
    """Sum of loads that may call together, each (least, most) VA.

    Apparent powers are added as if in phase, which errs on the safe side: the true sum is
    smaller where power factors differ. "tight" is above the planning share.

    Raises:
        ValueError: a rating that is not above zero.
    """
    if rating_va <= 0:
        raise ValueError("a transformer has a rating above zero")
    transformer = sources().transformer
    least = sum(span[0] for span in loads_va.values())
    most = sum(span[1] for span in loads_va.values())
    verdict: Literal["fits", "tight", "may overload", "overload"] = "fits"
    if least > rating_va:
        verdict = "overload"
    elif most > rating_va:
        verdict = "may overload"
    elif most > transformer.planning_share * rating_va:
        verdict = "tight"
    volt = transformer.rated_volt
    return Budget((least, most), rating_va, (least / rating_va, most / rating_va),
                  (least / volt, most / volt), verdict)  # fmt: skip


def pull_in_volt(rated_volt: float = 24.0) -> float:
    """Least voltage at which a contactor must pull in; source in sources.toml."""
    return sources().pull_in.least_share * rated_volt


def coil_volt(
    open_volt: float,
    source_ohm: float,
    wire_ohm: float,
    coil_ohm: tuple[float, float],
) -> float:
    """Voltage across a coil (resistance, reactance) behind source and wire."""
    r, x = coil_ohm
    around = sqrt((source_ohm + wire_ohm + r) ** 2 + x**2)
    return open_volt * sqrt(r**2 + x**2) / around


def drop_volt(ampere: float, awg: int, length_ft: float, temperature_c: float = 20.0) -> float:
    """I times the loop's resistance, as in any wiring handbook."""
    return ampere * loop_ohms(awg, length_ft, temperature_c)
