"""A call of our own invention, with the technician's side as spoken audio."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict

from companion.datafiles import load
from companion.messages import Concluded


class Scenario(BaseModel):
    """dialogs/demo/*.toml: what is hidden in the installation, and the recording of the call."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: str
    story: str
    audio: str
    outcome: Literal["repaired", "found", "not_found", "unsafe", "handed_over"]
    circuit: str
    part: str
    proved: bool

    def reached_by(self, concluded: Concluded | None) -> bool:
        """Whether a call came to the truth that the scenario hides."""
        return concluded == Concluded(
            outcome=self.outcome, circuit=self.circuit, part=self.part, proved=self.proved
        )


def load_scenario(dialogs: Path, name: str) -> tuple[Scenario, Path]:
    """A scenario, and where its recording lies.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    path = dialogs / "demo" / f"{name}.toml"
    scenario = load(path, Scenario)
    return scenario, path.parent / scenario.audio
