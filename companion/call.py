"""One call, run: listen, record, understand, record, answer, until it ends.

Any ears, any voice. Whatever is acted on has been on disk before.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Protocol

from companion.errors import VoiceError
from companion.hearing import Ears
from companion.journal import Journal
from companion.messages import (
    CallOpened,
    CallResumed,
    Concluded,
    Message,
    Prompt,
    Spoken,
    Understood,
    Utterance,
)
from companion.speaking import Voice, to_ear, to_eye
from companion.turns import Dialogs, Turns, replay


class Screen(Protocol):
    """Shows the dialogue as it happens."""

    def heard(self, utterance: Utterance, understood: Understood) -> None:
        """What was heard, and what was made of it."""

    def said(self, lines: Sequence[str]) -> None:
        """What the companion says."""

    def warn(self, line: str) -> None:
        """Something that is wrong, and does not end the call."""


def new_call_id(now: datetime) -> str:
    """A name for a call that sorts by time and collides with no other."""
    return f"{now:%Y%m%d-%H%M%S}-{secrets.token_hex(2)}"


class Call:
    """A call on its way, new or resumed.

    Args:
        journal: its open record; if there is something in it, the call is resumed.
        opened: the first record of a new call.
        play: plays a sound file and waits for its end; None where nothing is played.
    """

    def __init__(
        self,
        dialogs: Dialogs,
        journal: Journal,
        opened: CallOpened,
        *,
        ears: Ears,
        voice: Voice,
        screen: Screen,
        play: Callable[[Path], None] | None = None,
    ) -> None:
        self._journal, self._ears, self._voice = journal, ears, voice
        self._screen, self._play = screen, play
        past = [entry.message for entry in journal.past.entries]
        if past:
            self._turns, unwritten = replay(dialogs, past)
            journal.append(unwritten)
            if self._turns.concluded is None:
                journal.append([CallResumed(dropped_bytes=journal.dropped_bytes)])
                self._follow(self._turns.resumed())
        else:
            self._turns = Turns(dialogs, opened)
            journal.append([opened])
            self._follow(self._turns.begin())

    @property
    def concluded(self) -> Concluded | None:
        """How the call ended; None while it is open."""
        return self._turns.concluded

    def run(self) -> Concluded | None:
        """Turn by turn until the call is concluded or nothing more can be heard.

        Raises:
            JournalError: the record can't be kept; nothing was done that is not in it.
            AudioError: the source of sound failed.
        """
        while self._turns.concluded is None:
            utterance = self._ears.listen(self._turns.phrases(), self._turns.settled)
            if utterance is None:
                break
            understood = self._turns.understand(utterance)
            self._journal.append([utterance, understood])
            self._screen.heard(utterance, understood)
            self._follow(self._turns.take(understood))
        return self._turns.concluded

    def _follow(self, messages: list[Message]) -> None:
        """Put on record what follows, then say it."""
        self._journal.append(messages)
        prompts = [message for message in messages if isinstance(message, Prompt)]
        if not prompts:
            return
        self._screen.said([_sentence(to_eye(prompt)) for prompt in prompts])
        self._speak(" ".join(_sentence(to_ear(prompt)) for prompt in prompts))

    def _speak(self, text: str) -> None:
        try:
            sound = self._voice.say(text)
        except VoiceError as error:
            self._screen.warn(str(error))
            sound = None
        self._journal.append([Spoken(text=text, clip=None if sound is None else sound.name)])
        if sound is not None and self._play is not None:
            self._play(sound)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
