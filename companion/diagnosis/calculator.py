"""Four sums a technician does on the spot, each with its interval and its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isinf

from companion.circuit import fuses, meter
from companion.circuit.coils import impedance_ohm, judge_coil, reactance_ohm
from companion.circuit.copper import loop_ohms
from companion.circuit.distance import Run, to_short
from companion.circuit.supply import va_budget as budget_of
from companion.circuit.tables import loads, sources
from companion.circuit.tables import meter as shipped_meter


@dataclass(frozen=True)
class Result:
    """A value in ``unit``, where it may lie, what it means, and where it is from."""

    name: str
    value: float
    unit: str
    interval: tuple[float, float]
    words: str
    source: str

    def __str__(self) -> str:
        low, high = self.interval
        if isinf(self.value):
            shown = f"{self.name}: over limit (above {low:,.0f} {self.unit})"
        else:
            span = f"{low:.4g} to {'no end' if isinf(high) else f'{high:.4g}'}"
            shown = f"{self.name}: {self.value:.4g} {self.unit} ({span})"
        return f"{shown}\n{self.words}\nSource: {self.source}"


def distance_to_short(
    reading_ohm: float,
    leads_ohm: float,
    awg: int,
    length_ft: float,
    temperature_c: float = 20.0,
    *,
    fault_ohm: tuple[float, float] = (0.0, 0.0),
    material: str = "copper",
    through_chassis: bool = False,
    landmarks: Mapping[str, float] | None = None,
) -> Result:
    """How far out a short is, in feet; about 95 % within the interval.

    See ``circuit.distance.to_short`` for range, errors and source.
    """
    marks = tuple(sorted((landmarks or {}).items(), key=lambda item: item[1]))
    run = Run(awg, length_ft, temperature_c, material, landmarks=marks)
    found = to_short(
        reading_ohm, leads_ohm, run, fault_ohm=fault_ohm, through_chassis=through_chassis
    )
    return Result(
        "distance to the short", found.estimate.value, "ft", (found.least_ft, found.most_ft),
        found.words, "loop test; ASTM B258, IEC 60028; uncertainty by JCGM 100, k = 2",
    )  # fmt: skip


def va_budget(loads_va: Mapping[str, tuple[float, float]], rating_va: float) -> Result:
    """Loads that may call together against the transformer, in VA.

    See ``circuit.supply.va_budget`` for range, errors and source.
    """
    budget = budget_of(loads_va, rating_va)
    middle = sum(budget.total_va) / 2.0
    low, high = budget.ampere
    words = (
        f"{budget.verdict.capitalize()}: {budget.share[0]:.0%} to {budget.share[1]:.0%} of "
        f"{rating_va:g} VA, {low:.2f} to {high:.2f} A at 24 V."
    )
    source = f"sum of VA, as if in phase; planning share: {sources().transformer.planning_source}"
    return Result("load of all calls", middle, "VA", budget.total_va, words, source)


def fuse_verdict(
    rating_ampere: float,
    loop_ohm: float,
    *,
    open_volt: tuple[float, float] | None = None,
    source_ohm: tuple[float, float] | None = None,
    marked_ampere: float | None = None,
) -> Result:
    """Whether a loop of so many ohms opens a blade fuse, and how soon, over the source's span.

    Args:
        rating_ampere: the fuse's.
        loop_ohm: from R out and back to C, the fault in it.
        open_volt: span of the unloaded secondary; that of sources.toml by default.
        source_ohm: span of its impedance; that of a 40 VA one by default.
        marked_ampere: the board's marking, which alone decides what may be fitted.

    Raises:
        ValueError: a rating that is not above zero, or a loop below zero.
    """
    if loop_ohm < 0:
        raise ValueError("a loop has no ohms below zero")
    transformer = sources().transformer
    volts = open_volt or transformer.open_volt
    ohms = source_ohm or transformer.impedance_ohm
    least = volts[0] / (ohms[1] + loop_ohm)
    most = volts[1] / (ohms[0] + loop_ohm)
    low, high = fuses.blade(least, rating_ampere), fuses.blade(most, rating_ampere)
    words = _fuse_words(low, high)
    if marked_ampere is not None:
        fitting = fuses.against_marking(rating_ampere, marked_ampere)
        if fitting != "same":
            words += f" Wrong rating: {fitting} the board's {marked_ampere:g} A. Fit that."
    return Result("fault current", (least + most) / 2.0, "A", (least, most), words,
                  f"{high.source}; source: {transformer.impedance_source}")  # fmt: skip


def _fuse_words(low: fuses.Verdict, high: fuses.Verdict) -> str:
    if low.opening == high.opening:
        said = f"{low.opening.capitalize()}"
    else:
        said = f"From '{low.opening}' to '{high.opening}', by the source"
    said += f": {low.multiple:.0%} to {high.multiple:.0%} of rating"
    if isinf(low.most_s):
        return said + "; no time is promised."
    return said + f"; within {high.least_s:.2g} to {low.most_s:.2g} s."


def coil_verdict(
    reading_ohm: float | None,
    family: str,
    *,
    leads_ohm: float = 0.0,
    healthy_ohm: tuple[float, float] | None = None,
) -> Result:
    """A coil read alone, both wires off; None for over limit. In ohms, leads taken off.

    Raises:
        KeyError: no such family in loads.toml.
    """
    kind = shipped_meter()
    if reading_ohm is None:
        judged = judge_coil(None, family, healthy_ohm=healthy_ohm)
        return Result("coil", float("inf"), "ohm", (kind.ohms.most, float("inf")), judged.words,
                      judged.source)  # fmt: skip
    net = max(0.0, reading_ohm - leads_ohm)
    standard = meter.standard(reading_ohm, kind.ohms)
    judged = judge_coil(net, family, healthy_ohm=healthy_ohm, standard_ohm=standard)
    low, high = judged.healthy_ohm
    ampere = judged.sealed_ampere
    va = loads().of(family).sealed_va
    reach = reactance_ohm(impedance_ohm(sum(va) / 2.0), net)
    words = (
        f"{judged.words} Healthy: {low:g} to {high:g} ohms DC; sealed {ampere[0]:.2g} to "
        f"{ampere[1]:.2g} A, about {reach:.0f} ohms of reactance."
    )
    return Result("coil", net, "ohm", (max(0.0, net - 2 * standard), net + 2 * standard), words,
                  judged.source)  # fmt: skip


def cable_loop(awg: int, length_ft: float, temperature_c: float = 20.0) -> Result:
    """Out and back along a cable, in ohms; a bolted short at its end reads this."""
    ohm = loop_ohms(awg, length_ft, temperature_c)
    return Result("loop of the cable", ohm, "ohm", (0.98 * ohm, 1.02 * ohm),
                  "A bolted short at the far end reads this, leads taken off.",
                  "ASTM B258, IEC 60028; 2 % for gauge and purity by judgement")  # fmt: skip
