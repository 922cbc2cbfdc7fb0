"""Talking to the companion while it talks: a room with a loudspeaker, a microphone and a wall.

Nothing runs in real time: the room's clock is the count of samples that were read.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Literal, cast

import numpy as np
import pytest

from companion.hearing.echo import WithoutEcho
from companion.hearing.overlap import Overlap
from companion.hearing.recogniser import Recogniser
from companion.hearing.source import Block
from companion.hearing.spoken import SpokenEars
from companion.speaking.earcons import earcon
from companion.speaking.pacing import Said, paced
from tests.calls.make import texts_of
from tests.devices.talk import TOP, recorded

from .conftest import RATE, Sound, quiet

BLOCK = 640
CALL = TOP / "tests/calls/frozen_valve.flac"
ANSWERS = [
    "yes",
    "no",
    "open line",
    "zero point five ohms",
    "stop",
    "power off",
    "all clear",
    "capacitor safe",
    "meter proven",
    "customer told",
]
PROVE = "Power off, by your word. Prove the meter on a live source you know. Say: meter proven."
PROMPT = "Power off and locked out? Hands clear. Say power off."
Say = Callable[[str], Sound]

pytest.importorskip("livekit", reason="the echo canceller comes with the extra 'voice'")


class Room:
    """A prompt from a loudspeaker that comes back off a wall; somebody may speak too.

    The words of the prompt begin after ``before_s``; before, it is some other sound.
    """

    kind: Literal["microphone"] = "microphone"

    def __init__(
        self,
        prompt: Sound,
        text: str,
        echo: float,
        said: Sound,
        at_s: float,
        after_s: float = 2.0,
        before_s: float = 0.0,
    ) -> None:
        whole = max(len(prompt), round(at_s * RATE) + len(said)) + round(after_s * RATE)
        whole += -whole % BLOCK
        self._prompt = np.zeros(whole, np.float32)
        self._prompt[: len(prompt)] = prompt
        self._voice = quiet(whole / RATE + 1)[:whole].copy()
        self._voice[round(at_s * RATE) :][: len(said)] += said
        self._words = [
            Said(w.word, w.start_s + before_s, w.end_s + before_s)
            for w in paced(text, len(prompt) / RATE - before_s)
        ]
        rng = np.random.default_rng(5)
        self._wall = echo * np.r_[np.zeros(800), 1, 0.1 * rng.normal(0, 1, 2400) * np.exp(
            -np.arange(2400) / 600
        )]  # fmt: skip
        self._echo = np.convolve(self._prompt, self._wall)
        self._read, self._ends, self.cut_s = 0, len(prompt), None

    def read(self) -> Block | None:
        if self._read >= len(self._prompt):
            return None
        sound = self._echo[self._read : self._read + BLOCK] + self._voice[self._read :][:BLOCK]
        at_s, self._read = self._read / RATE, self._read + BLOCK
        return Block(at_s, (np.clip(sound, -1, 1) * 32767).astype(np.int16), at_s)

    @property
    def read_s(self) -> float:
        return self._read / RATE

    def close(self) -> None:
        pass

    def busy(self, since_s: float) -> bool:
        return self._ends / RATE > since_s

    def cut(self) -> None:
        if self.cut_s is None:
            self.cut_s = self._read / RATE
            self._ends = self._read
            self._prompt[self._read + BLOCK :] = 0
            self._echo = np.convolve(self._prompt, self._wall)

    def words_between(self, start_s: float, end_s: float) -> frozenset[str]:
        return frozenset(w.word for w in self._words if w.start_s < end_s and w.end_s > start_s)

    def sound_between(self, start_s: float, samples: int) -> Sound:
        begin = round(start_s * RATE)
        out = np.zeros(samples, np.float32)
        part = self._prompt[max(0, begin) : max(0, begin + samples)]
        offset = max(0, -begin)
        out[offset : offset + len(part)] = part
        return out


def clip_of(words: str) -> Sound:
    return recorded(CALL)[texts_of("frozen_valve").index(f"{words}.")]


def heard_in(room: Room, recogniser: Recogniser, *, cancel: bool = True) -> list[str]:
    source = WithoutEcho(room, room) if cancel else None
    ears = SpokenEars(recogniser, source or room, overlap=Overlap(room, source))
    texts = []
    while (
        utterance := ears.listen(ANSWERS, lambda text: text == "stop", lambda text: text in ANSWERS)
    ) is not None:
        texts.append(utterance.text)
    return texts


@pytest.fixture
def prompt(technician: Say) -> Sound:
    return 1.0 * technician(PROMPT)


@pytest.mark.parametrize("echo", [0.1, 0.5])
def test_it_does_not_hear_itself(recogniser: Recogniser, prompt: Sound, echo: float) -> None:
    room = Room(prompt, PROMPT, echo, np.zeros(0, np.float32), 0.0)
    assert heard_in(room, recogniser) == []
    assert room.cut_s is None


@pytest.mark.parametrize("cancel", [True, False])
@pytest.mark.parametrize("at_s", [0.9, 1.4, 2.1])
def test_stop_is_heard_over_the_prompt_and_silences_it(
    recogniser: Recogniser, technician: Say, prompt: Sound, at_s: float, cancel: bool
) -> None:
    said = technician("stop")
    room = Room(prompt, PROMPT, 0.1, said, at_s)
    assert "stop" in " ".join(heard_in(room, recogniser, cancel=cancel)).split()
    assert room.cut_s is not None
    assert room.cut_s - (at_s + len(said) / RATE) <= 0.5


GAP = np.zeros(RATE // 5, np.float32)
OPENED_S = (len(earcon("opening")) + len(GAP)) / RATE


def opened(prompt: Sound, echo: float, said: Sound, at_s: float) -> Room:
    """A call's first prompt, after the opening; what is said begins so long after the prompt."""
    whole = np.concatenate([earcon("opening"), GAP, prompt])
    return Room(whole, PROMPT, echo, said, OPENED_S + at_s, before_s=OPENED_S)


@pytest.mark.parametrize("echo", [0.0, 0.1, 0.5])
def test_the_opening_is_no_word(recogniser: Recogniser, prompt: Sound, echo: float) -> None:
    room = opened(prompt, echo, np.zeros(0, np.float32), 0.0)
    assert heard_in(room, recogniser) == []
    assert room.cut_s is None


@pytest.mark.parametrize("echo", [0.0, 0.1])
@pytest.mark.parametrize("at_s", [0.2, 0.5])
def test_after_the_opening_stop_is_heard_from_the_first_words_on(
    recogniser: Recogniser, technician: Say, prompt: Sound, echo: float, at_s: float
) -> None:
    """Without it the canceller takes the word for an echo that it does not know yet."""
    said = technician("stop")
    room = opened(prompt, echo, said, at_s)
    assert "stop" in " ".join(heard_in(room, recogniser)).split()
    assert room.cut_s is not None
    assert room.cut_s - (OPENED_S + at_s + len(said) / RATE) <= 0.5


def test_an_answer_cuts_in(recogniser: Recogniser, prompt: Sound) -> None:
    said = clip_of("customer told")
    room = Room(prompt, PROMPT, 0.1, said, 1.6)
    texts = heard_in(room, recogniser)
    assert room.cut_s is not None
    assert room.cut_s < 1.6 + len(said) / RATE + 0.6
    assert texts[0].split()[-1] == "told"


class SecondThoughts:
    """A recogniser that makes words of a sound once, and in the end nothing."""

    def __init__(self, first: str) -> None:
        self._first, self._blocks = first, 0

    def build(self, phrases: object) -> SecondThoughts:
        first, self._first = self._first, ""  # whoever else listens hears nothing
        return SecondThoughts(first)

    def AcceptWaveform(self, sound: bytes) -> bool:  # noqa: N802
        self._blocks += 1
        return self._blocks == 90

    def PartialResult(self) -> str:  # noqa: N802
        return json.dumps({"partial": self._first if self._blocks == 55 else ""})

    def Result(self) -> str:  # noqa: N802
        return json.dumps({"result": []})

    FinalResult = Result


@pytest.mark.parametrize(("first", "taken"), [("stop", "stop"), ("customer told", "[unk]")])
def test_who_silenced_the_companion_gets_an_answer(prompt: Sound, first: str, taken: str) -> None:
    """Even where nothing is left, in the end, of the words that silenced it."""
    room = Room(prompt, PROMPT, 0.1, clip_of("customer told"), 1.6)
    source = WithoutEcho(room, room)
    recogniser = cast(Recogniser, SecondThoughts(first))
    ears = SpokenEars(recogniser, source, overlap=Overlap(room, source))
    utterance = ears.listen(ANSWERS, meaning=lambda text: text in ANSWERS)
    assert room.cut_s is not None
    assert utterance is not None
    assert utterance.text == taken


def test_without_a_canceller_no_answer_is_taken_from_under_the_prompt(
    recogniser: Recogniser, technician: Say, prompt: Sound
) -> None:
    """Least of all "power off", which the prompt itself says. A false "stop" it may hear."""
    room = Room(prompt, PROMPT, 0.3, np.zeros(0, np.float32), 0.0)
    assert all("stop" in text.split() for text in heard_in(room, recogniser, cancel=False))
    after_s = len(prompt) / RATE + 0.4
    room = Room(prompt, PROMPT, 0.3, technician("power off"), after_s)
    assert heard_in(room, recogniser, cancel=False)[-1] == "power off"


def test_an_answer_just_after_the_prompt_is_its_own(
    recogniser: Recogniser, technician: Say, prompt: Sound
) -> None:
    room = Room(prompt, PROMPT, 0.3, technician("power off"), len(prompt) / RATE + 0.35)
    assert heard_in(room, recogniser) == ["power off"]


@pytest.mark.parametrize("early_s", [0.6, 0.8, 1.0])
def test_who_says_the_words_of_the_prompt_with_it_is_heard_or_asked_again(
    recogniser: Recogniser, technician: Say, early_s: float
) -> None:
    """Where nobody can tell whose words they were, that somebody spoke is plain."""
    prompt, said = technician(PROVE), clip_of("meter proven")
    room = Room(prompt, PROVE, 0.5, said, len(prompt) / RATE - early_s)
    (text,) = heard_in(room, recogniser)
    assert text == "meter proven" or text not in ANSWERS


def test_who_says_the_words_of_the_prompt_after_it_is_heard(
    recogniser: Recogniser, technician: Say
) -> None:
    prompt = technician(PROVE)
    for late_s in (0.1, 0.3, 0.6):
        room = Room(prompt, PROVE, 0.5, clip_of("meter proven"), len(prompt) / RATE + late_s)
        assert heard_in(room, recogniser) == ["meter proven"]


def test_what_the_companion_said_of_stop_is_not_the_technicians_later(
    recogniser: Recogniser, technician: Say
) -> None:
    text = "Stop it is. Hands clear of everything now. Say resume to go on from here."
    prompt = technician(text)
    room = Room(prompt, text, 0.15, 2.0 * clip_of("customer told"), len(prompt) / RATE - 1.5)
    assert all("stop" not in heard.split() for heard in heard_in(room, recogniser))
