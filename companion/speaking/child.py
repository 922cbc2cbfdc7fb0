"""The process that makes the sound: ``python -m companion.speaking.child RATE ENGINE LIMIT_S``.

One JSON request a line on standard input, one JSON reply a line on standard
output. It lives apart because pyttsx3 can hang for good and two threads can't
share it; whoever started it may end it at any time.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any, cast

from companion.errors import VoiceError
from companion.speaking import engine as engines
from companion.speaking.exchange import Reply, Request


def _as_wav(path: Path) -> None:
    """Some systems' engines write AIFF under any name; everything after us reads WAV."""
    with path.open("rb") as file:
        if file.read(4) == b"RIFF":
            return
    import soundfile

    samples, rate = soundfile.read(path, dtype="int16")
    soundfile.write(path, samples, rate, format="WAV", subtype="PCM_16")


def _speak(engine: Any, request: Request, limit_s: float) -> None:
    text = engines.respelled(request.text) if engines.speaks_espeak(engine) else request.text
    # Under another name until it is whole, so nobody ever plays half a prompt.
    unfinished = request.path.with_suffix(".part")
    engines.write(engine, text, unfinished, limit_s)
    _as_wav(unfinished)
    unfinished.replace(request.path)


def main(rate: int, wanted: engines.EngineName, limit_s: float) -> None:
    """Serve requests until standard input ends."""
    # pyttsx3 prints on standard output; keep ours for replies and give it the bin.
    replies = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)

    def reply(answer: Reply) -> None:
        print(answer.model_dump_json(), file=replies, flush=True)

    try:
        engine = engines.start(wanted, rate)
    except VoiceError as error:
        reply(Reply(state="no_engine", what=error.what, do=error.do))
        return
    reply(Reply(state="ready"))
    for line in sys.stdin:
        try:
            _speak(engine, Request.model_validate_json(line), limit_s)
        except Exception as error:  # whatever a system's engine throws, the caller must hear of it
            reply(Reply(state="failed", what=str(error)))
        else:
            reply(Reply(state="done"))


if __name__ == "__main__":
    main(int(sys.argv[1]), cast(engines.EngineName, sys.argv[2]), float(sys.argv[3]))
