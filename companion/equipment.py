"""A kind of equipment: what hangs on which wire, and what it should read.

One file of ``dialogs/equipment`` each. The procedure takes terminals, names and healthy
ohms from it; the reasoner makes its network of it.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Collection, Iterator
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple

from pydantic import Field, model_validator

from companion.datafiles import Positive, Shape, Share, Span, folder, load
from companion.errors import DataFileError
from companion.loads import Load

HOT_CABLE_C = 40.0  # judgement: a run through an attic


class Cable(Shape):
    """A cable from the board; ``far`` is the place of its other end."""

    awg: int = Field(ge=10, le=26)
    length_ft: Span
    temperature_c: float = Field(ge=-40.0, le=90.0)
    far: str
    outdoor: bool = False


class Run(NamedTuple):
    """The longest run of control cable to be reckoned with."""

    awg: int
    length_ft: float
    temperature_c: float


class Joint(Shape):
    """Something in series on the way to a load: near the board, or at the cable's far end."""

    name: str
    kind: Literal["splice", "switch"]
    near: bool = False


class Logic(Shape):
    """A call that some boards take as an input, driving the load by a relay of their own."""

    ohms: Span
    share: Share
    source: str


class Terminal(Shape):
    """What one terminal feeds. ``wire`` is the usual colour: a hint, never an identity."""

    function: str
    said: tuple[str, ...] = ()
    wire: str = ""
    wiring: str

    terminal: str

    @property
    @abstractmethod
    def sweep(self) -> bool:
        """Whether a sweep takes it in."""

    @property
    @abstractmethod
    def ohms(self) -> Span:
        """Healthy DC ohms from common to the terminal, thermostat off its base."""

    @property
    @abstractmethod
    def ohms_source(self) -> str:
        """Where those are from."""

    @property
    @abstractmethod
    def coils(self) -> tuple[Load, ...]:
        """Its parts that can be read by themselves."""


class Circuit(Terminal):
    """From a terminal to its load and back to common.

    ``board_ohm`` is an input of the board beside the load; ``drops_out`` a terminal that is fed
    at rest and goes dark on a call; ``called_by`` what closes it to R. Circuits that are ``alike``
    by the same word have loads of one make, which read much the same.
    """

    board_ohm: Positive | None = None
    logic: Logic | None = None
    cable: str | None = None
    called_by: Literal["thermostat", "board"] = "thermostat"
    drops_out: bool = False
    alike: str = ""
    load: Load
    joints: tuple[Joint, ...] = ()

    @property
    def sweep(self) -> bool:
        """Every load is swept."""
        return True

    @property
    def ohms(self) -> Span:
        """The load beside the board's input; up to a logic input's where it may be one."""
        least, most = self.load.ohms
        if self.board_ohm is not None:
            least, most = (least * self.board_ohm / (least + self.board_ohm),
                           most * self.board_ohm / (most + self.board_ohm))  # fmt: skip
        return (least, most if self.logic is None else max(most, self.logic.ohms[1]))

    @property
    def ohms_source(self) -> str:
        """The load's, and the logic input's."""
        logic = "" if self.logic is None else f"; {self.logic.source}"
        return f"{self.load.ohms_source}{logic}"

    @property
    def coils(self) -> tuple[Load, ...]:
        """The load, if it is a part by itself."""
        return (self.load,) if self.load.kind.coil else ()


class RSide(Terminal):
    """R itself: found when the breaker trips with nothing calling. ``loads`` hang on it always."""

    terminal: Literal["R"] = "R"
    at_rest_ohms: Span
    at_rest_source: str
    loads: tuple[Load, ...] = ()
    joints: tuple[Joint, ...] = ()

    @property
    def sweep(self) -> bool:
        """R to C is never jumped."""
        return False

    @property
    def ohms(self) -> Span:
        """With nothing fitted, electronics only; else from the lowest load's least."""
        least = min([self.at_rest_ohms[0], *(fitted.ohms[0] for fitted in self.loads)])
        return (least, self.at_rest_ohms[1])

    @property
    def ohms_source(self) -> str:
        """Where those are from."""
        return self.at_rest_source

    @property
    def coils(self) -> tuple[Load, ...]:
        """What hangs on R."""
        return self.loads


class Equipment(Shape):
    """One kind of installation. ``answer`` is the word of the vocabulary that chooses it."""

    id: str
    title: str
    answer: str
    transformer_va: Positive
    fuse_ampere: Positive
    source: str
    wire_source: str
    cables: dict[str, Cable]
    r_side: RSide
    circuits: tuple[Circuit, ...] = Field(min_length=1)

    def __hash__(self) -> int:
        return hash(self.id)

    @model_validator(mode="after")
    def _hangs_together(self) -> Equipment:
        for complaint in self._faults():
            raise ValueError(complaint)
        return self

    def _faults(self) -> Iterator[str]:
        if "thermostat" not in self.cables:
            yield "expected a cable 'thermostat'"
        terminals = [c.terminal for c in self.circuits]
        if len(set(terminals)) != len(terminals) or {"R", "C"} & set(terminals):
            yield "expected each terminal once, and neither R nor C among them"
        names = [c.load.name for c in self.circuits] + [part.name for part in self.r_side.loads]
        if len(set(names)) != len(names):
            yield "expected each load to have a name of its own"
        for circuit in self.circuits:
            if circuit.cable is not None and circuit.cable not in self.cables:
                yield f"circuit {circuit.terminal}: no cable {circuit.cable!r}"
            if circuit.cable is None and not all(joint.near for joint in circuit.joints):
                yield f"circuit {circuit.terminal}: joints far out need a cable to be on"
        if not all(joint.near for joint in self.r_side.joints):
            yield "r_side: expected joints with near = true"

    @property
    def cable(self) -> Run:
        """The longest cable as hot as it may get, for a short at its far end."""
        longest = max(self.cables.values(), key=lambda cable: cable.length_ft[1])
        hottest = max(HOT_CABLE_C, longest.temperature_c)
        return Run(longest.awg, longest.length_ft[1], hottest)

    def circuit(self, terminal: str) -> Terminal:
        """The circuit on a terminal, R's own side too.

        Raises:
            KeyError: this equipment has no such terminal.
        """
        return self.r_side if terminal == "R" else self.fed(terminal)

    def fed(self, terminal: str) -> Circuit:
        """The circuit with a load on a terminal.

        Raises:
            KeyError: this equipment has no such terminal.
        """
        for circuit in self.circuits:
            if circuit.terminal == terminal:
                return circuit
        raise KeyError(terminal)


def read_all(dialogs: Path, answers: Collection[str] | None = None) -> dict[str, Equipment]:
    """Every file of a dialogs folder's ``equipment``, by id.

    Args:
        dialogs: the folder.
        answers: names of the vocabulary's answers, if each file's ``answer`` is to be checked.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    found: dict[str, Equipment] = {}
    for path in sorted((dialogs / "equipment").glob("*.toml")):
        equipment = load(path, Equipment)
        if answers is not None and equipment.answer not in answers:
            raise DataFileError(path, "answer", "expected an answer of vocabulary.toml")
        if equipment.id in found:
            raise DataFileError(path, "id", f"expected an id of its own, got {equipment.id!r}")
        found[equipment.id] = equipment
    return found


@cache
def all_equipment() -> dict[str, Equipment]:
    """The shipped equipment by id.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    return read_all(folder("dialogs"))
