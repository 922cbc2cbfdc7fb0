"""The one registry of units, and how a quantity is written on a screen.

Only the units a technician's meter shows are defined, so "meg ohms" can never
become milli and start-up stays short. Inside the program values are plain SI
floats with the unit in the name; units appear here, at the edges.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from pint import UnitRegistry

Quantity = Literal["resistance", "voltage", "current"]

SI_UNIT: dict[Quantity, str] = {"resistance": "ohm", "voltage": "volt", "current": "ampere"}
SYMBOL: dict[Quantity, str] = {"resistance": "Ω", "voltage": "V", "current": "A"}

# The span of a common handheld meter: what a display can show at all.
# From memory of typical handheld specifications: 50 MΩ, 1000 V, 20 A.
METER_SPAN_SI: dict[Quantity, tuple[float, float]] = {
    "resistance": (0.0, 50e6),
    "voltage": (0.0, 1000.0),
    "current": (0.0, 20.0),
}

_DEFINITIONS = (
    "milli- = 1e-3",
    "kilo- = 1e3",
    "mega- = 1e6",
    "ohm = [resistance]",
    "volt = [voltage]",
    "ampere = [current]",
)


@cache
def registry() -> UnitRegistry[Any]:
    """The project's registry: ohm, volt, ampere, and the prefixes milli, kilo, mega."""
    from pint import UnitRegistry  # 170 ms to import, so only when first needed

    units: UnitRegistry[Any] = UnitRegistry(None)
    for line in _DEFINITIONS:
        units.define(line)
    return units


def quantity_of(unit: str) -> Quantity:
    """Which quantity a unit such as ``"kiloohm"`` measures.

    Raises:
        KeyError: the unit is not one that a meter shows.
    """
    parsed = registry().Unit(unit)
    for quantity, si in SI_UNIT.items():
        if parsed.is_compatible_with(si):
            return quantity
    raise KeyError(unit)


@cache
def factor_to_si(unit: str) -> float:
    """What one of ``unit`` is in ohms, volts or amperes."""
    return float(registry().Quantity(1.0, unit).to(SI_UNIT[quantity_of(unit)]).magnitude)


def display(value_si: float, quantity: Quantity) -> str:
    """A value as it stands on a screen or in a record: ``0.5 Ω``, ``1.2 kΩ``, ``22 mA``.

    Up to six significant digits; no rounding of anything a meter can show.
    """
    for limit, scale, prefix in ((1e6, 1e6, "M"), (1e3, 1e3, "k")):
        if quantity == "resistance" and abs(value_si) >= limit:
            return f"{value_si / scale:.6g} {prefix}{SYMBOL[quantity]}"
    if quantity != "resistance" and 0 < abs(value_si) < 0.1:
        return f"{value_si * 1e3:.6g} m{SYMBOL[quantity]}"
    return f"{value_si:.6g} {SYMBOL[quantity]}"
