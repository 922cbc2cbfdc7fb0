"""24 V loads: families of them in ``dialogs/circuit/loads.toml``, and one as it is fitted."""

from __future__ import annotations

from functools import cache
from typing import Literal

from pydantic import Field, field_validator, model_validator

from companion.datafiles import Positive, Shape, Share, Span, folder, load


class Family(Shape):
    """A family of loads: DC ohms, and VA at 24 V when sealed and while pulling in.

    ``coil`` is whether the part can be lifted and read by itself.
    """

    name: str
    ohms: Span
    sealed_va: Span
    inrush_va: Span
    coil: bool = True
    source: str


class Turns(Shape):
    """When DC ohms speak of shorted turns."""

    suspect_share: Share
    dead_ohm: Positive
    coupling: Share
    source: str


class Loads(Shape):
    """``loads.toml``."""

    family: tuple[Family, ...] = Field(min_length=1)
    turns: Turns

    def of(self, name: str) -> Family:
        """A family by name.

        Raises:
            KeyError: there is none of that name.
        """
        for family in self.family:
            if family.name == name:
                return family
        raise KeyError(name)


@cache
def loads() -> Loads:
    """The shipped families.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    return load(folder("dialogs") / "circuit" / "loads.toml", Loads)


class Load(Shape):
    """What a terminal feeds. The part's own label comes before its family."""

    name: str
    family: str
    outdoor: bool = False
    label_ohms: Span | None = None
    label_source: str = ""

    @field_validator("family")
    @classmethod
    def _listed(cls, family: str) -> str:
        known = sorted(entry.name for entry in loads().family)
        if family not in known:
            raise ValueError(f"expected one of {known}")
        return family

    @model_validator(mode="after")
    def _sourced(self) -> Load:
        if (self.label_ohms is None) != (not self.label_source):
            raise ValueError("expected label_ohms and label_source together")
        return self

    @property
    def kind(self) -> Family:
        """Its family."""
        return loads().of(self.family)

    @property
    def ohms(self) -> Span:
        """Healthy DC ohms of the part alone."""
        return self.label_ohms or self.kind.ohms

    @property
    def ohms_source(self) -> str:
        """Where those are from."""
        return self.label_source or self.kind.source

    @property
    def where(self) -> Literal["indoor", "outdoor"]:
        """Whether the part shares a cabinet with a run capacitor."""
        return "outdoor" if self.outdoor else "indoor"
