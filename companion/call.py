"""One call, run: listen, record, understand, record, answer, until it ends.

Any ears, any voice. Whatever is acted on has been on disk before.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import datetime
from typing import Protocol

from companion.asleep import Asleep
from companion.errors import VoiceError
from companion.hearing import Ears
from companion.journal import Journal
from companion.messages import CallOpened, CallResumed, Concluded, Manner, Message, Prompt, Spoken
from companion.speaking import Cue, Mouth, Voice, to_ear, to_eye
from companion.turns import Dialogs, Turns, replay
from companion.understood import Command, NotUnderstood, Understood, Utterance


class Screen(Protocol):
    """Shows the dialogue as it happens."""

    def heard(self, utterance: Utterance, understood: Understood) -> None:
        """What was heard, and what was made of it."""

    def said(self, lines: Sequence[str]) -> None:
        """What the companion says."""

    def followed(self, messages: Sequence[Message]) -> None:
        """What followed from it, before it is said."""

    def warn(self, line: str) -> None:
        """Something that is wrong, and does not end the call."""

    def close(self) -> None:
        """Give the terminal back."""


_SLEPT_S = 30.0


def new_call_id(now: datetime) -> str:
    """A name for a call that sorts by time and collides with no other."""
    return f"{now:%Y%m%d-%H%M%S}-{secrets.token_hex(2)}"


class Call:
    """A call on its way, new or resumed.

    Args:
        journal: its open record; if there is something in it, the call is resumed.
        opened: the first record of a new call.
        mouth: plays what the voice makes; None where nothing is played.
        asleep: how long the computer has slept so far.
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
        mouth: Mouth | None = None,
        asleep: Asleep | None = None,
    ) -> None:
        self._journal, self._ears, self._voice = journal, ears, voice
        self._screen, self._mouth, self._asleep = screen, mouth, asleep or Asleep()
        self._untold: list[str] = []
        past = [entry.message for entry in journal.past.entries]
        if past:
            self._mind_manner(past)
            self._turns, unwritten = replay(dialogs, past)
            self._keep(unwritten)
            if self._turns.concluded is None:
                self._resume(CallResumed(dropped_bytes=journal.dropped_bytes, floor=opened.floor))
        else:
            self._turns = Turns(dialogs, opened)
            self._keep([opened])
            self._follow(self._turns.begin())

    @property
    def concluded(self) -> Concluded | None:
        """How the call ended; None while it is open."""
        return self._turns.concluded

    def run(self) -> Concluded | None:
        """Turn by turn until the call is concluded or nothing more can be heard.

        Raises:
            AudioError: the source of sound failed.
        """
        while self._turns.concluded is None:
            utterance = self._ears.listen(
                self._turns.phrases(), self._turns.settled, self._means_something
            )
            if utterance is None:
                break
            if self._asleep.since_last_asked_s() > _SLEPT_S:
                self._wake()
                continue
            understood = self._turns.understand(utterance)
            self._keep([utterance, understood])
            self._cue(understood)
            self._screen.heard(utterance, understood)
            with self._thinking():
                follows = self._turns.take(understood)
            self._follow(follows)
        if self._mouth is not None:
            self._mouth.finish()
        return self._turns.concluded

    def aside(self, text: str) -> None:
        """Say something that is not about the circuit, and keep it in the record."""
        self._screen.warn(text)
        self._speak(text)

    def _means_something(self, text: str) -> bool:
        """Whether words heard so far can be taken for something here."""
        understood = self._turns.understand(Utterance(text=text, source="microphone"))
        return not isinstance(understood, NotUnderstood)

    def _wake(self) -> None:
        """While the computer slept, anything may have been energized: as after a break."""
        self._screen.warn("The computer was asleep. What was said on waking was not taken.")
        self._resume(CallResumed())

    def _resume(self, resumed: CallResumed) -> None:
        self._keep([resumed])
        self._follow(self._turns.resumed(resumed))

    def _cue(self, understood: Understood) -> None:
        if self._mouth is not None:
            self._mouth.cue(_cue_for(understood))

    def _thinking(self) -> AbstractContextManager[None]:
        return nullcontext() if self._mouth is None else self._mouth.thinking()

    def _follow(self, messages: list[Message]) -> None:
        """Put on record what follows, then say it."""
        self._keep(messages)
        self._mind_manner(messages)
        self._screen.followed(messages)
        prompts = [message for message in messages if isinstance(message, Prompt)]
        if not prompts:
            return
        self._screen.said([_sentence(to_eye(prompt)) for prompt in prompts])
        told, self._untold = self._untold, []
        self._speak(" ".join([*told, *(_sentence(to_ear(prompt)) for prompt in prompts)]))

    def _mind_manner(self, messages: Sequence[Message]) -> None:
        for manner in (message for message in messages if isinstance(message, Manner)):
            self._voice.keep_pace(manner.pace)
            if self._mouth is not None:
                self._mouth.loudness = manner.loudness

    def _keep(self, messages: Sequence[Message]) -> None:
        """Put on record; what is wrong with the record is shown now, and said with what comes."""
        self._journal.append(messages)
        troubles = self._journal.troubles()
        for trouble in troubles:
            self._screen.warn(trouble)
        self._untold += troubles

    def _speak(self, text: str) -> None:
        try:
            with self._thinking():
                sound = self._voice.say(text)
        except VoiceError as error:
            self._screen.warn(str(error))
            sound = None
        clip = None if sound is None else self._journal.keep_sound(sound)
        self._keep([Spoken(text=text, clip=clip)])
        if sound is not None and self._mouth is not None:
            self._mouth.say(sound, text)


def _cue_for(understood: Understood) -> Cue:
    match understood:
        case NotUnderstood():
            return "not_heard"
        case Command(name="stop"):
            return "hold"
        case _:
            return "heard"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
