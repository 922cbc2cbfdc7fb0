"""Verdicts on single readings, from what is known of the circuit and the part.

A first, rule-based reasoner: each rule states where its numbers come from.
"""

from __future__ import annotations

from companion.circuit.coils import NO_SUCH_PART
from companion.circuit.copper import loop_ohms
from companion.circuit.fuses import against_marking
from companion.expected import Known
from companion.understood import Reading

VERDICTS: dict[str, tuple[str, ...]] = {
    "fuse_rating": ("same", "over", "under"),
    "terminal_ohms": ("short", "low", "fits", "open"),
    "coil_ohms": ("short", "low", "fits", "open"),
    "wiring_ohms": ("short", "clear"),
    "va_budget": ("within", "near", "over"),
}

# Rated secondary voltage, by which amperes are turned into VA (I = S / V).
SECONDARY_VOLT = 24.0
# A transformer loaded beyond this share of its rating has nothing to spare (common practice).
COMFORTABLE_SHARE = 0.8
# Ohms that a bolted or rubbed-through short adds at the fault itself (judgement).
FAULT_CONTACT_OHM = 0.5
# A coil below this share of its family's least ohms has shorted turns, likely (judgement).
SHORTED_TURNS_SHARE = 0.6
# A dead-shorted coil reads about 0.5 ohm (common practice, no source); twice that is allowed.
DEAD_COIL_OHM = 1.0


def judge(rule: str, reading: Reading, known: Known) -> str:
    """The verdict of a rule of ``VERDICTS`` on a reading.

    Raises:
        KeyError: there is no such rule.
        ValueError: the rule lacks what it rests on.
    """
    if rule == "fuse_rating":
        return _fuse_rating(reading, known)
    if rule == "va_budget":
        return _va_budget(reading, known)
    net_ohm = None if reading.value_si is None else max(0.0, reading.value_si - known.leads_ohm)
    if rule == "coil_ohms":
        return _load_ohms(net_ohm, known.ohms, short_ohm=DEAD_COIL_OHM)
    # A short may sit at the far end: its own wire, out and back, is then in the reading.
    far_short_ohm = FAULT_CONTACT_OHM + loop_ohms(known.cable_awg, known.cable_ft, known.cable_c)
    if rule == "terminal_ohms":
        return _load_ohms(net_ohm, known.ohms, short_ohm=far_short_ohm)
    if rule == "wiring_ohms":
        return "short" if net_ohm is not None and net_ohm <= far_short_ohm else "clear"
    raise KeyError(rule)


def _fuse_rating(reading: Reading, known: Known) -> str:
    if known.marked_ampere is None or reading.value_si is None:
        raise ValueError("a fuse is judged by its rating against the board's marking")
    return against_marking(reading.value_si, known.marked_ampere)


def _va_budget(reading: Reading, known: Known) -> str:
    if reading.value_si is None:
        raise ValueError("a budget is judged by the amperes at the secondary")
    share = reading.value_si * SECONDARY_VOLT / known.transformer_va
    return "over" if share > 1.0 else "near" if share > COMFORTABLE_SHARE else "within"


def _load_ohms(net_ohm: float | None, healthy: tuple[float, float], *, short_ohm: float) -> str:
    least, most = healthy
    if net_ohm is None or net_ohm > NO_SUCH_PART * most:
        return "open"
    if net_ohm <= min(short_ohm, SHORTED_TURNS_SHARE * least):
        return "short"
    return "low" if net_ohm < SHORTED_TURNS_SHARE * least else "fits"
