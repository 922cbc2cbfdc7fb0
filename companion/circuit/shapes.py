"""The shapes of ``dialogs/circuit/*.toml``: what circuits are made of, with sources beside.

Spans are (least, most) in the unit that the key names.
"""

from __future__ import annotations

from pydantic import Field

from companion.datafiles import Positive, Shape, Share, Span


class Material(Shape):
    """A conductor's resistivity and temperature coefficient at 20 C."""

    name: str
    rho_20c_ohm_m: Positive
    alpha_20c_per_k: Positive
    source: str


class Construction(Shape):
    """Factors on the resistance of solid wire."""

    solid: Positive
    stranded: Positive
    source: str


class WireSpread(Shape):
    """Half-widths of what is not known of a cable."""

    relative: Share
    source: str
    temperature_k: float = Field(ge=0.0)
    temperature_source: str


class Conductors(Shape):
    """``conductors.toml``."""

    material: tuple[Material, ...] = Field(min_length=1)
    construction: Construction
    spread: WireSpread


class Range(Shape):
    """A meter function's accuracy: +-(relative x reading + counts x resolution)."""

    relative: Share
    counts: int = Field(ge=0)
    resolution: Positive
    most: Positive
    source: str


class Contact(Shape):
    """Probe to terminal, as a half-width."""

    half_width_ohm: float = Field(ge=0.0)
    source: str


class MeterInput(Shape):
    """What a voltmeter itself loads the circuit with."""

    ohm: Positive
    low_ohm: Positive
    source: str


class Beep(Shape):
    """Continuity sounds surely below one resistance, never above another."""

    sure_ohm: Positive
    never_ohm: Positive
    source: str


class Meter(Shape):
    """``meter.toml``."""

    ohms: Range
    volts: Range
    amperes: Range
    contact: Contact
    input: MeterInput
    beep: Beep


class Band(Shape):
    """Shortest and longest time to open at a multiple of the rating."""

    multiple: float = Field(gt=1.0)
    least_s: Positive
    most_s: Positive


class Colour(Shape):
    """The colour of one rating."""

    rating_ampere: Positive
    colour: str


class Blade(Shape):
    """A blade fuse's time-current bands, by rising multiple."""

    never_opens_at: float = Field(ge=1.0)
    source: str
    band: tuple[Band, ...] = Field(min_length=2)
    colour: tuple[Colour, ...]


class WireCeiling(Shape):
    """What wire of a gauge may be fused at, at the very most."""

    awg_18_ampere: Positive
    awg_16_ampere: Positive
    source: str


class Fuses(Shape):
    """``fuses.toml``."""

    blade: Blade
    wire_ceiling: WireCeiling


class Class2(Shape):
    """Class 2 limits for 20 to 30 V AC."""

    most_volt: Positive
    inherent_most_ampere: Positive
    nameplate_most_va: Positive
    protection_va: Positive
    source: str


class Transformer(Shape):
    """A 24 V secondary as an open voltage behind an impedance."""

    open_volt: Span
    open_volt_source: str
    impedance_ohm: Span
    impedance_source: str
    winding_ohm: Span
    winding_source: str
    planning_share: Share
    planning_source: str
    rated_volt: Positive


class PullIn(Shape):
    """Shares of the rated voltage between which a contactor works."""

    least_share: Share
    most_share: Positive
    source: str


class Coupling(Shape):
    """Capacitance between two conductors of a cable."""

    picofarad_per_ft: Positive
    source: str


class Sources(Shape):
    """``sources.toml``."""

    class2: Class2
    transformer: Transformer
    pull_in: PullIn
    coupling: Coupling
