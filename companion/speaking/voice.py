"""A voice: text in, a WAV file out, never a hang."""

from __future__ import annotations

import contextlib
import os
import queue
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import Protocol

import companion
from companion.errors import VoiceError
from companion.speaking.engine import EngineName
from companion.speaking.exchange import CHILD, Reply, Request

_SAFE = "Every prompt can still be read on the screen."
_START_S = 10.0  # a busy machine loads it slowly
_GRACE_S = 1.0  # the child gives up by itself first, if it can still run


class Voice(Protocol):
    """Makes the sound of a prompt."""

    def say(self, text: str) -> Path | None:
        """The WAV file of ``text``; None where nothing is to be heard.

        Raises:
            VoiceError: no sound could be made.
        """
        ...

    def keep_pace(self, factor: float) -> None:
        """Speak so many times as fast as usual from here on."""
        ...

    def close(self) -> None:
        """End what the voice runs; saying more is then an error."""
        ...


class MutedVoice:
    """The voice of a call that is only read."""

    def say(self, text: str) -> None:
        """Nothing to hear."""

    def keep_pace(self, factor: float) -> None:
        """Nothing to slow down."""

    def close(self) -> None:
        """Nothing to end."""


class _Child:
    """The running child, with its replies on a queue so that waiting can have a limit."""

    def __init__(self, rate: int, engine: EngineName, limit_s: float) -> None:
        # It must find the package wherever we did.
        ours = str(Path(companion.__file__).resolve().parents[1])
        search = os.pathsep.join(filter(None, [ours, os.environ.get("PYTHONPATH")]))
        self._process = subprocess.Popen(
            [sys.executable, "-m", CHILD, str(rate), engine, str(limit_s)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            text=True, encoding="utf-8",
            env={**os.environ, "PYTHONPATH": search},
            start_new_session=True,  # Ctrl-C is for us; the child ends when its input does
        )  # fmt: skip
        self._replies: queue.Queue[str] = queue.Queue()
        threading.Thread(target=self._collect, daemon=True).start()

    def _collect(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._replies.put(line)
        self._replies.put("")  # the child has ended

    @property
    def alive(self) -> bool:
        return self._process.poll() is None

    def ask(self, request: Request) -> None:
        assert self._process.stdin is not None
        print(request.model_dump_json(), file=self._process.stdin, flush=True)

    def reply(self, limit_s: float) -> Reply:
        """Raises TimeoutError when it is silent too long, EOFError when it has ended."""
        try:
            line = self._replies.get(timeout=limit_s)
        except queue.Empty:
            raise TimeoutError from None
        if not line:
            raise EOFError
        return Reply.model_validate_json(line)

    def end(self) -> None:
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):  # a request may still be in it
                    pipe.close()


class SpokenVoice:
    """pyttsx3 in a child process, one prompt at a time, each in a file of its own.

    Args:
        folder: where ``prompt-0001.wav`` and so on go; made if it is not there.
            Numbers go on after those that are there already.
        rate: words a minute.
        engine: ``any``, or ``bundled`` to insist on the engine from its own wheel.
        limit_s: seconds that one prompt may take to make; a second later its process is ended.

    Raises:
        VoiceError: no engine, or the folder can't be written.
    """

    def __init__(
        self, folder: Path, rate: int = 165, engine: EngineName = "any", limit_s: float = 1.5
    ) -> None:
        folder = folder.absolute()
        self._folder, self._engine, self._limit_s = folder, engine, limit_s
        self._usual_rate = self._rate = rate
        try:
            folder.mkdir(parents=True, exist_ok=True)
            # The engine hangs on a place that it can't write to, so try that first.
            with tempfile.TemporaryFile(dir=folder):
                pass
        except OSError as error:
            raise VoiceError(
                f"The sound of prompts can't be written to {folder}: {error.strerror}.",
                safe=_SAFE, do="Make room there, or name another folder for this call.",
            ) from error  # fmt: skip
        taken = [p.stem.rpartition("-")[2] for p in folder.glob("prompt-*.wav")]
        self._count = max((int(number) for number in taken if number.isdecimal()), default=0)
        self._child: _Child | None = self._started()

    def _started(self) -> _Child:
        started = _Child(self._rate, self._engine, self._limit_s)
        try:
            reply = started.reply(max(_START_S, self._limit_s + _GRACE_S))
        except (TimeoutError, EOFError) as error:
            started.end()
            raise self._lost("did not start") from error
        if reply.state != "ready":
            started.end()
            raise VoiceError(reply.what, safe=_SAFE, do=reply.do)
        return started

    def _lost(self, how: str) -> VoiceError:
        return VoiceError(
            f"The speech engine {how}.", safe=_SAFE,
            do="Say 'repeat' to try once more; a fresh engine is started by itself.",
        )  # fmt: skip

    def say(self, text: str) -> Path | None:
        """The WAV file of ``text``, whole and closed; None for text without words.

        An engine that fails, dies or hangs is ended, and a fresh one tries once more:
        pyttsx3 now and then reports success and has written nothing.

        Raises:
            VoiceError: this prompt could not be spoken, by a fresh engine either.
        """
        if not text.strip():
            return None
        try:
            return self._spoken(text)
        except VoiceError:
            return self._spoken(text)

    def _spoken(self, text: str) -> Path:
        if self._child is None or not self._child.alive:
            self.close()
            self._child = self._started()
        path = self._folder / f"prompt-{self._count + 1:04d}.wav"
        try:
            self._child.ask(Request(text=text, path=path))
            reply = self._child.reply(self._limit_s + _GRACE_S)
        except TimeoutError as error:
            self.close()
            raise self._lost("hung and was ended") from error
        except (EOFError, OSError) as error:
            self.close()
            raise self._lost("ended by itself") from error
        if reply.state != "done":
            self.close()
            raise self._lost(f"failed ({reply.what})")
        self._count += 1
        return path

    def keep_pace(self, factor: float) -> None:
        """Speak so many times as fast as usual; the next prompt starts an engine that does."""
        rate = round(self._usual_rate * factor)
        if rate != self._rate:
            self._rate = rate
            self.close()

    def close(self) -> None:
        """End the child process."""
        if self._child is not None:
            self._child.end()
            self._child = None
