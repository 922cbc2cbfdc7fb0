"""Control wire by American Wire Gauge.

d(n) = 0.127 mm x 92^((36 - n)/39)            ASTM B258
rho(20 C) = 1.7241e-8 ohm m, alpha = 0.00393/K  IEC 60028 (100 % IACS)

Other materials, and stranded wire, are in ``dialogs/circuit/conductors.toml``.
"""

from __future__ import annotations

from math import pi
from typing import Literal

from companion.circuit.tables import conductors

RHO_20C_OHM_M = 1.7241e-8
ALPHA_20C_PER_K = 0.00393
METRES_PER_FOOT = 0.3048  # exact: international foot

Construction = Literal["solid", "stranded"]


def diameter_m(awg: int) -> float:
    """Diameter of solid wire in metres; gauge 36 to 0000 written as -3 (ASTM B258).

    Raises:
        ValueError: the gauge is outside -3 to 40.
    """
    if not -3 <= awg <= 40:
        raise ValueError(f"AWG {awg} is outside -3 to 40")
    return float(0.127e-3 * 92.0 ** ((36 - awg) / 39))


def ohms_per_metre(
    awg: int,
    temperature_c: float = 20.0,
    material: str = "copper",
    construction: Construction = "solid",
) -> float:
    """DC resistance of one uncoated conductor.

    Valid from about -40 to 100 C, where the linear coefficient of IEC 60028 holds.

    Raises:
        ValueError: the gauge is outside -3 to 40.
        KeyError: there is no such material.
    """
    rho_ohm_m, alpha_per_k, factor = RHO_20C_OHM_M, ALPHA_20C_PER_K, 1.0
    if material != "copper" or construction != "solid":
        known = conductors()
        by_name = {entry.name: entry for entry in known.material}
        rho_ohm_m = by_name[material].rho_20c_ohm_m
        alpha_per_k = by_name[material].alpha_20c_per_k
        factor = getattr(known.construction, construction)
    area_m2 = pi / 4 * diameter_m(awg) ** 2
    return factor * rho_ohm_m / area_m2 * (1.0 + alpha_per_k * (temperature_c - 20.0))


def loop_ohms(
    awg: int,
    length_ft: float,
    temperature_c: float = 20.0,
    material: str = "copper",
    construction: Construction = "solid",
) -> float:
    """Out and back along a cable of this length."""
    per_metre = ohms_per_metre(awg, temperature_c, material, construction)
    return 2.0 * per_metre * METRES_PER_FOOT * length_ft
