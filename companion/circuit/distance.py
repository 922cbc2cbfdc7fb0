"""How far out a short is, from ohms read at one end, and in which words to say so."""

from __future__ import annotations

from dataclasses import dataclass

from companion.circuit import meter
from companion.circuit.copper import (
    METRES_PER_FOOT,
    Construction,
    ohms_per_metre,
)
from companion.circuit.shapes import Meter
from companion.circuit.tables import conductors
from companion.circuit.tables import meter as shipped_meter
from companion.circuit.uncertainty import Estimate, Term, combine, rectangular, resolution

# Above this share of the cable's length the interval says nothing worth walking for.
CANNOT_LOCATE_SHARE = 0.4
CANNOT_LOCATE_SOURCE = "judgement: U > 0.4 L"


@dataclass(frozen=True)
class Run:
    """A cable, and landmarks along it by distance from the meter in feet, nearest first."""

    awg: int
    length_ft: float
    temperature_c: float = 20.0
    material: str = "copper"
    construction: Construction = "solid"
    landmarks: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Located:
    """Where along a cable; ``words`` is what to say; ``splits`` says to stop measuring."""

    estimate: Estimate
    least_ft: float
    most_ft: float
    splits: bool
    words: str


def to_short(
    reading_ohm: float,
    leads_ohm: float,
    run: Run,
    *,
    fault_ohm: tuple[float, float] = (0.0, 0.0),
    through_chassis: bool = False,
    instrument: Meter | None = None,
) -> Located:
    """Distance to a short between two conductors, or from one to chassis.

    D = (R - R_leads - R_fault) / (2 r), or / r when the return is the chassis, whose own
    resistance is then taken for part of the fault. A fault contact is taken at the middle
    of its span, so that a bolted short reads far, not near.

    Args:
        reading_ohm: as displayed, leads in it.
        leads_ohm: as displayed with the leads touched together.
        run: the cable. AWG -3 to 40, -40 to 100 C.
        fault_ohm: least and most resistance at the fault.
        through_chassis: one conductor is in the loop, not two.
        instrument: the meter; the shipped one by default.

    Raises:
        ValueError: readings below zero, or a cable of no length.

    Source: textbook loop test; budget by JCGM 100, see dialogs/circuit for half-widths.
    """
    if min(reading_ohm, leads_ohm, *fault_ohm) < 0 or run.length_ft <= 0:
        raise ValueError("ohms may not be below zero, and a cable has some length")
    kind = instrument or shipped_meter()
    ways = 1.0 if through_chassis else 2.0
    per_metre = ohms_per_metre(run.awg, run.temperature_c, run.material, run.construction)
    ohm_per_ft = ways * per_metre * METRES_PER_FOOT
    middle_ohm = (fault_ohm[0] + fault_ohm[1]) / 2.0
    feet = (reading_ohm - leads_ohm - middle_ohm) / ohm_per_ft
    estimate = combine(feet, "ft", _budget(reading_ohm, feet, ohm_per_ft, fault_ohm, run, kind))
    low, high = estimate.interval
    least, most = max(0.0, low), min(run.length_ft, high)
    splits = estimate.expanded > CANNOT_LOCATE_SHARE * run.length_ft or most < least
    words = _cannot(high, run) if splits else _words(feet, least, most, estimate.expanded, run)
    return Located(estimate, least, max(least, most), splits, words)


def from_both_ends(near_ohm: float, far_ohm: float, run: Run) -> tuple[float, float]:
    """Distance in feet and fault ohms, from net ohms read at either end of a known length.

    D = L/2 + (R_near - R_far)/(2 r'), R_fault = (R_near + R_far - r' L)/2, r' both ways.
    The fault's own resistance drops out of the distance. Source: textbook loop test.
    """
    per_metre = ohms_per_metre(run.awg, run.temperature_c, run.material, run.construction)
    loop_per_ft = 2.0 * per_metre * METRES_PER_FOOT
    feet = run.length_ft / 2.0 + (near_ohm - far_ohm) / (2.0 * loop_per_ft)
    return feet, (near_ohm + far_ohm - loop_per_ft * run.length_ft) / 2.0


def _budget(
    reading_ohm: float,
    feet: float,
    ohm_per_ft: float,
    fault_ohm: tuple[float, float],
    run: Run,
    kind: Meter,
) -> list[Term]:
    spread = conductors().spread
    step = kind.ohms.resolution
    accuracy = rectangular(meter.limit(reading_ohm, kind.ohms))
    alpha = next(m.alpha_20c_per_k for m in conductors().material if m.name == run.material)
    per_kelvin = alpha / (1.0 + alpha * (run.temperature_c - 20.0))
    per_ohm = 1.0 / ohm_per_ft
    contact = (fault_ohm[1] - fault_ohm[0]) / 2.0
    return [
        Term("meter accuracy", accuracy, per_ohm, kind.ohms.source),
        Term("display step", resolution(step), per_ohm, "JCGM 100, F.2.2.1"),
        Term("lead zero", resolution(step), per_ohm, "JCGM 100, F.2.2.1"),
        Term("fault contact", rectangular(contact), per_ohm, "as given"),
        Term("wire gauge and purity", rectangular(spread.relative), feet, spread.source),
        Term("temperature", rectangular(spread.temperature_k), feet * per_kelvin,
             spread.temperature_source),
    ]  # fmt: skip


def _nearest_five(feet: float) -> int:
    return int(5.0 * round(feet / 5.0))


def _words(feet: float, least: float, most: float, expanded: float, run: Run) -> str:
    about, give = _nearest_five(max(0.0, feet)), max(5, _nearest_five(expanded))
    if about == 0:
        said = f"At this end, within {give} feet"
    else:
        said = f"About {about} feet out, give or take {give}"
    past = [name for name, at in run.landmarks if at <= least]
    before = [name for name, at in run.landmarks if at >= most]
    where = [f"past {past[-1]}"] if past else []
    where += [f"before {before[0]}"] if before else []
    return f"{said}: {', '.join(where)}." if where else f"{said}."


def _cannot(high: float, run: Run) -> str:
    if high < 0:
        return "Less than the leads alone: zero the leads and read again."
    if high < run.length_ft / 2.0:
        return f"Within {_nearest_five(high)} feet of this end; ohms say no more. Split the cable."
    return "Ohms cannot locate it on this cable. Split the cable."
