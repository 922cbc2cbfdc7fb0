"""The companion's own voice, taken out of what the microphone hears."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from companion.hearing.source import RATE, Block, Samples, Source

_FRAME = RATE // 100
_LEAD_S = 0.02
_AUDIBLE = 1e-6  # 60 dB under full scale
_MOSTLY = 0.1
_CLEARLY, _PERHAPS = 2.5, 1.6  # over what the room usually gives back
_USUALLY = 90  # percent
_MOSTLY_GONE = 0.25
_FAINT = 2e-3  # 27 dB under the loudspeaker: nothing of a voice goes with it
_LOUD, _STIRRED = 0.05, 4.0
_GONE = 1e-3  # thirty decibels, of sixty that are usual
_BURST_S = 1.5
_OVER = 10.0
_ROOM_S = 0.3
_REMEMBERED = 200  # blocks; eight seconds
_SOME_TIME = 50  # blocks


class Saying(Protocol):
    """What the companion is saying. Times are of the steady clock, in seconds."""

    def busy(self, since_s: float) -> bool:
        """Whether anything was being said at that moment or later."""
        ...

    def cut(self) -> None:
        """Fall silent at once."""
        ...

    def words_between(self, start_s: float, end_s: float) -> frozenset[str]:
        """Words that may have sounded in this stretch of time."""
        ...

    def sound_between(self, start_s: float, samples: int) -> NDArray[np.float32]:
        """What the loudspeaker was given to sound then, mono at 16 kHz in −1 … 1."""
        ...


def _power(samples: Samples) -> float:
    return float(np.mean(np.square(samples, dtype=np.float64))) / 32768**2


def _share(noted: Iterable[tuple[float, bool]], start_s: float, end_s: float) -> float:
    found = [yes for at_s, yes in noted if start_s <= at_s <= end_s]
    return sum(found) / len(found) if found else 0.0


def _pcm(sound: NDArray[np.float32]) -> Samples:
    pcm: Samples = (np.clip(sound, -1.0, 1.0) * 32767).astype(np.int16)
    return pcm


class WithoutEcho:
    """A microphone less noise and what the loudspeaker gives, by WebRTC's audio processing.

    Always at work: taking it in and out would break a word in two. The delay between
    loudspeaker and microphone is found by itself.

    Args:
        source: the microphone; its blocks carry the steady clock.
        saying: what the loudspeaker gives.

    Raises:
        ImportError: the package ``livekit`` is not installed.
    """

    def __init__(self, source: Source, saying: Saying) -> None:
        from livekit import rtc

        self._frame_of: Any = rtc.AudioFrame
        self._canceller: Any = rtc.AudioProcessingModule(
            echo_cancellation=True, noise_suppression=True, high_pass_filter=True
        )
        self._source, self._saying = source, saying
        self._left: deque[tuple[float, bool]] = deque(maxlen=_REMEMBERED)
        self._perhaps: deque[tuple[float, bool]] = deque(maxlen=_REMEMBERED)
        self._through: deque[tuple[float, bool]] = deque(maxlen=_REMEMBERED)
        self._drowned: deque[tuple[float, bool]] = deque(maxlen=_REMEMBERED)
        self._swallowed: deque[tuple[float, bool]] = deque(maxlen=_REMEMBERED)
        self._gone_s = float("-inf")
        self._coupling: deque[float] = deque([1.0], maxlen=_REMEMBERED)
        self._rest_of_echo: deque[float] = deque([1.0], maxlen=_REMEMBERED)
        self._stirs: deque[tuple[float, bool]] = deque(maxlen=_REMEMBERED)
        self._rest = np.empty(0, np.int16)

    @property
    def _usual_coupling(self) -> float:
        return float(np.percentile(self._coupling, _USUALLY))

    @property
    def faint(self) -> bool:
        """Whether next to none of the loudspeaker comes back, as on a headset, for some time."""
        return len(self._coupling) > _SOME_TIME and self._usual_coupling < _FAINT

    @property
    def kind(self) -> Literal["microphone", "wav"]:
        """As the source."""
        return self._source.kind

    def read(self) -> Block | None:
        """The next block, of whole hundredths of a second."""
        while (block := self._source.read()) is not None:
            early_s = len(self._rest) / RATE
            sound = np.concatenate([self._rest, block.samples])
            whole = len(sound) - len(sound) % _FRAME
            self._rest = sound[whole:]
            if whole:
                at_s = block.at_s - early_s
                clean = self._cleaned(sound[:whole], at_s)
                self._watch(at_s, _power(sound[:whole]), _power(clean), whole)
                return Block(block.start_s - early_s, clean, at_s, sound[:whole])
        return None

    def _watch(self, at_s: float, before: float, after: float, samples: int) -> None:
        """Note whether more was heard than the loudspeaker can account for."""
        given = self._saying.sound_between(at_s - _ROOM_S, samples + round(_ROOM_S * RATE))
        parts = given[: len(given) // _FRAME * _FRAME].reshape(-1, _FRAME)
        loudest = float(np.square(parts).mean(axis=1).max(initial=0.0))
        expected, stirs = 0.0, False
        if loudest > _AUDIBLE:
            nothing, only_echo = before < _FAINT * loudest, after < _MOSTLY_GONE * before
            if nothing or only_echo:  # so this is what the room gives back
                self._coupling.append(before / loudest)
            coupling = self._usual_coupling
            expected = coupling * loudest
            self._rest_of_echo.append(after)
            stirs = coupling > _LOUD and after > _STIRRED * float(np.median(self._rest_of_echo))
        louder = before > max(_AUDIBLE, _CLEARLY * expected)
        if after < _GONE * expected:
            self._gone_s = at_s
        came = louder or after > max(_AUDIBLE, _MOSTLY * expected)
        through = came and at_s < self._gone_s + _BURST_S
        self._through.append((at_s, through))
        self._stirs.append((at_s, stirs))
        self._drowned.append((at_s, not self.faint and after < _OVER * expected))
        self._swallowed.append((at_s, louder and after < _MOSTLY * before))
        self._perhaps.append((at_s, before > max(_AUDIBLE, _PERHAPS * expected)))
        self._left.append((at_s, louder and after > max(_AUDIBLE, _MOSTLY * before)))

    def left_between(self, start_s: float, end_s: float) -> float:
        """Share of that time in which there was somebody else's sound, and it was left in."""
        return _share(self._left, start_s, end_s)

    def through_between(self, start_s: float, end_s: float) -> float:
        """Share of that time in which sound came through just after none of the echo did.

        What comes through for longer may as well be an echo that is no longer taken out.
        """
        return _share(self._through, start_s, end_s)

    def drowned_between(self, start_s: float, end_s: float) -> float:
        """Share of that time in which what was left was hardly more than the echo taken out.

        Taking out an echo takes something of a voice as loud with it.
        """
        return _share(self._drowned, start_s, end_s)

    def swallowed_between(self, start_s: float, end_s: float) -> float:
        """Share of that time in which somebody else's sound was taken out with the echo.

        A canceller that has hardly heard the room does it, most where there is no echo at all.
        """
        return _share(self._swallowed, start_s, end_s)

    def stirs_between(self, start_s: float, end_s: float) -> float:
        """Share of that time in which more than usual was left of an echo as loud as a voice."""
        return _share(self._stirs, start_s, end_s)

    def perhaps_between(self, start_s: float, end_s: float) -> float:
        """Share of that time in which it was louder than the loudspeaker usually is."""
        return _share(self._perhaps, start_s, end_s)

    def _cleaned(self, sound: Samples, at_s: float) -> Samples:
        given = _pcm(self._saying.sound_between(at_s + _LEAD_S, len(sound)))
        out = np.empty_like(sound)
        for at in range(0, len(sound), _FRAME):
            stretch = slice(at, at + _FRAME)
            reference = self._frame_of(given[stretch].tobytes(), RATE, 1, _FRAME)
            self._canceller.process_reverse_stream(reference)
            frame = self._frame_of(bytearray(sound[stretch].tobytes()), RATE, 1, _FRAME)
            self._canceller.process_stream(frame)
            out[stretch] = np.frombuffer(bytes(frame.data), np.int16)
        return out

    def close(self) -> None:
        """Close the microphone."""
        self._source.close()
