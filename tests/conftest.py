"""What tests of several rooms share: the shipped dialogs, and a call held in memory."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from companion.datafiles import folder
from companion.messages import CallOpened, Message, Prompt
from companion.procedure import CounselFor
from companion.turns import Dialogs, Turns, kept_counsel, load_dialogs
from companion.understood import Understood, Utterance


@pytest.fixture(scope="session")
def dialogs() -> Dialogs:
    return load_dialogs(folder("dialogs"))


def opened(dialogs: Dialogs, profile: str | None = None) -> CallOpened:
    return CallOpened(
        call_id="test", procedure="control-circuit", profile=profile,
        dialogs_digest=dialogs.library.digest, model="none", source="typed",
        floor={"usual": 0.0, "safety": 0.0},
    )  # fmt: skip


@dataclass
class Talk:
    """A call without sound: say a line, get what follows."""

    dialogs: Dialogs
    profile: str | None = None
    counsel_for: CounselFor = kept_counsel
    last: list[Message] = field(default_factory=list)
    understood: Understood | None = None

    def __post_init__(self) -> None:
        self.turns = Turns(self.dialogs, opened(self.dialogs, self.profile), self.counsel_for)
        self.last = self.turns.begin()

    def say(self, *lines: str) -> str:
        """Say lines one by one; returns the name of the step the call then stands at."""
        for line in lines:
            self.understood = self.turns.understand(Utterance(text=line, source="typed"))
            self.last = self.turns.take(self.understood)
        return self.step

    @property
    def step(self) -> str:
        return self.turns.walk.standing.place.step

    @property
    def about(self) -> str | None:
        return self.turns.walk.standing.place.about

    @property
    def prompts(self) -> list[str]:
        """The last turn's prompts, as templates."""
        return [message.template for message in self.last if isinstance(message, Prompt)]

    def kinds(self) -> list[str]:
        return [message.kind for message in self.last]


ARRIVED = ("site clear", "fuse blows", "furnace", "none", "nothing known", "thermostat off")
TO_SUPPLY = (*ARRIVED, "all clear")
DEAD = ("power off", "meter proven", "zero volts", "zero volts")
ISOLATED = ("fuse out base off",)
LEADS = ("point two",)
TO_METHOD = (*TO_SUPPLY, "zero volts", "twenty seven", "three amps", *DEAD, "three amps", "O L")
TO_HUNT = (*TO_METHOD, "meter", *ISOLATED, *LEADS)


class Quiet:
    """A screen that only remembers warnings."""

    def __init__(self) -> None:
        self.warnings: list[str] = []

    def heard(self, utterance, understood) -> None:
        pass

    def said(self, lines) -> None:
        pass

    def followed(self, messages) -> None:
        pass

    def warn(self, line: str) -> None:
        self.warnings.append(line)

    def close(self) -> None:
        pass
