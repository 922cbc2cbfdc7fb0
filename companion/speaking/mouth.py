"""What the companion is saying, at this moment: it can be cut, and whoever listens can ask."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:  # the voice's own process imports this package, and plays nothing
    import numpy as np
    from numpy.typing import NDArray

from companion.speaking.earcons import RATE, Cue, earcon
from companion.speaking.pacing import Said, paced
from companion.speaking.playback import Loudspeaker, load

_REMEMBERED_S = 15.0  # a busy machine hears this late
_PATIENCE_S = 1.2
_REMIND_S = 1.9
_HELD_S = 0.06
"""What the device still holds once it was given the last block."""


class _Job(NamedTuple):
    """Sound at ``RATE``, and the words in it."""

    sound: NDArray[np.float32]
    words: tuple[Said, ...]


class Mouth:
    """Plays prompts and earcons on a thread of its own, the newest first.

    Times are of the steady clock (``time.monotonic``), in seconds.

    Args:
        loudspeaker: where to.
        wait: whether ``say`` returns only when all is said, as beside a recording
            that nobody can talk to.
    """

    def __init__(self, loudspeaker: Loudspeaker, *, wait: bool = False) -> None:
        self._loudspeaker, self._wait = loudspeaker, wait
        self.loudness = 1.0
        """Factor on the level of prompts; what would be too loud is cut off at full scale."""
        self.sounded = False
        """Whether the last sound could be played."""
        self._change = threading.Condition()
        self._jobs: deque[_Job] = deque()
        self._cut = threading.Event()
        self._playing: _Job | None = None
        self._quiet_since_s = float("-inf")
        self._sent: deque[tuple[float, NDArray[np.float32]]] = deque()
        self._words: deque[Said] = deque()
        self._closed = self._release = False
        self._thread = threading.Thread(target=self._work, daemon=True, name="mouth")
        self._thread.start()

    def say(self, sound: Path, text: str) -> None:
        """Begin to say a prompt; a prompt still being said gives way, an earcon does not.

        Raises:
            AudioError: the file can't be read.
        """
        import soxr

        mono, rate = load(sound)
        loud = (soxr.resample(mono, rate, RATE) * self.loudness).clip(-1.0, 1.0)
        job = _Job(loud.astype("float32"), tuple(paced(text, len(mono) / rate)))
        with self._change:
            if self._playing is not None and self._playing.words:
                self._cut.set()
            self._jobs = deque(waiting for waiting in self._jobs if not waiting.words)
            self._jobs.append(job)
            self._change.notify_all()
        if self._wait:
            self.finish()

    def cue(self, cue: Cue) -> None:
        """Play an earcon now, in place of whatever is being said."""
        with self._change:
            self._hush()
            self._jobs.append(_Job(earcon(cue), ()))
            self._change.notify_all()

    @contextmanager
    def thinking(self) -> Iterator[None]:
        """While inside, never silent for two seconds: the hold earcon tells of the wait."""
        done = threading.Event()

        def remind() -> None:
            wait_s = _PATIENCE_S
            while not done.wait(wait_s):
                self.cue("hold")
                wait_s = _REMIND_S

        reminder = threading.Thread(target=remind, daemon=True, name="thinking")
        reminder.start()
        try:
            yield
        finally:
            done.set()
            reminder.join()

    def cut(self) -> None:
        """Fall silent within a block, and drop what was still to be said."""
        with self._change:
            self._hush()

    def _hush(self) -> None:
        self._jobs.clear()
        if self._playing is not None:
            self._cut.set()

    def finish(self, limit_s: float = 20.0) -> None:
        """Wait until everything is said, or the limit is over: a device may hang."""
        with self._change:
            self._change.wait_for(lambda: self._playing is None and not self._jobs, limit_s)

    def let_go(self) -> None:
        """Say what is still to be said, then let go of the loudspeaker until more is."""
        self.finish()
        with self._change:
            self._release = True
            self._change.notify_all()
            self._change.wait_for(lambda: not self._release, 2.0)

    def busy(self, since_s: float) -> bool:
        """Whether anything was being said at that moment or later."""
        with self._change:
            return bool(self._jobs) or self._playing is not None or self._quiet_since_s > since_s

    def words_between(self, start_s: float, end_s: float) -> frozenset[str]:
        """Words that may have sounded in this stretch of time."""
        with self._change:
            return frozenset(w.word for w in self._words if w.start_s < end_s and w.end_s > start_s)

    def sound_between(self, start_s: float, samples: int) -> NDArray[np.float32]:
        """What the loudspeaker was given to sound then: mono at 16 kHz, zeros where silent."""
        import numpy as np

        out = np.zeros(samples, np.float32)
        with self._change:
            for at_s, block in self._sent:
                offset = round((at_s - start_s) * RATE)
                begin, end = max(0, offset), min(samples, offset + len(block))
                if begin < end:
                    out[begin:end] = block[begin - offset : end - offset]
        return out

    def close(self) -> None:
        """Fall silent for good."""
        with self._change:
            self._hush()
            self._closed = True
            self._change.notify_all()
        self._thread.join(timeout=2.0)

    def _work(self) -> None:
        open_ = False
        while True:
            with self._change:
                if not open_:
                    self._change.wait_for(lambda: bool(self._jobs) or self._closed or self._release)
                if self._closed:
                    break
                if self._release:
                    self._loudspeaker.close()
                    open_ = self._release = False
                    self._change.notify_all()
                    continue
                self._playing = job = self._jobs.popleft() if self._jobs else None
                self._cut.clear()
            if job is None:
                open_ = self._loudspeaker.rest()
                continue
            self.sounded = open_ = self._play(job)
            with self._change:
                self._playing = None
                self._quiet_since_s = time.monotonic() + _HELD_S
                self._change.notify_all()
        self._loudspeaker.close()

    def _play(self, job: _Job) -> bool:
        at = 0

        def emitted(at_s: float, frames: int) -> None:
            nonlocal at
            with self._change:
                if at == 0:
                    self._words.extend(
                        Said(w.word, at_s + w.start_s, at_s + w.end_s) for w in job.words
                    )
                self._sent.append((at_s, job.sound[at : at + frames]))
                while self._sent[0][0] < at_s - _REMEMBERED_S:
                    self._sent.popleft()
                while self._words and self._words[0].end_s < at_s - _REMEMBERED_S:
                    self._words.popleft()
            at += frames

        return self._loudspeaker.play(job.sound, RATE, self._cut, emitted)
