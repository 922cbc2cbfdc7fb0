"""Finding a speech engine for pyttsx3, and knowing when it has really written a file.

Runs in the child process only: an engine can be started once in a process, and
loading one leaves traces in it that the rest of the program has no need of.
"""

from __future__ import annotations

import ctypes
import os
import re
import struct
import sys
import time
from pathlib import Path
from typing import Any, Literal

from companion.errors import VoiceError

EngineName = Literal["any", "bundled"]

_PACE_TAKEN_S = 1.0
_NONE_FOUND = "No speech engine was found on this computer."
_SAFE = "Every prompt can still be read on the screen."
_GET_ONE = (
    "Install one: pip install 'companion[voice]', or your distribution's espeak-ng package."
    if sys.platform == "linux"
    else "Install eSpeak NG, or the voices of this system."
)


def _lend_bundled_library() -> None:
    """Load eSpeak NG from its own wheel, so that pyttsx3's look-up by name finds it loaded."""
    try:
        import espeakng_loader

        # The library looks for espeak-ng-data inside the folder that this names, and has
        # no room for the long path of a deep installation: so stand there and say "here".
        os.chdir(Path(espeakng_loader.get_data_path()).parent)
        os.environ["ESPEAK_DATA_PATH"] = "."
        ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
    except (ImportError, OSError, RuntimeError) as error:
        raise VoiceError(_NONE_FOUND, safe=_SAFE, do=_GET_ONE) from error


def _system_has_espeak() -> bool:
    try:
        ctypes.CDLL("libespeak-ng.so.1")
    except OSError:
        return False
    return True


def start(wanted: EngineName, rate: int) -> Any:
    """A pyttsx3 engine that speaks US English at ``rate`` words a minute.

    Args:
        wanted: ``any`` prefers the system's engine; ``bundled`` insists on the wheel's.
        rate: words a minute.

    Raises:
        VoiceError: there is no engine; it says what to install.
    """
    if sys.platform == "linux" and (wanted == "bundled" or not _system_has_espeak()):
        _lend_bundled_library()
    try:
        import pyttsx3

        engine = pyttsx3.init()
    except (ImportError, OSError, RuntimeError) as error:
        raise VoiceError(_NONE_FOUND, safe=_SAFE, do=_GET_ONE) from error
    if speaks_espeak(engine):
        engine.setProperty("voice", "gmw/en-us")
        engine.runAndWait()  # until its first loop it only remembers what is set
    set_pace(engine, rate)
    return engine


def set_pace(engine: Any, rate: int) -> None:
    """Speak ``rate`` words a minute from here on.

    eSpeak NG takes a pace in a thread of its own, and pyttsx3 stops what that thread
    does when a prompt is next asked for: a pace still on its way would be lost.
    """
    engine.setProperty("rate", rate)
    until = time.monotonic() + _PACE_TAKEN_S
    while speaks_espeak(engine) and engine.getProperty("rate") != rate:
        if time.monotonic() > until:
            return  # it has bounds of its own, and speaks as near as it can
        time.sleep(0.001)


def speaks_espeak(engine: Any) -> bool:
    """Whether the engine is eSpeak NG, which wants some words spelled its own way."""
    return "espeak" in type(engine.proxy._driver).__module__


def respelled(text: str) -> str:
    """The text with words that eSpeak NG gets wrong written so that it says them right.

    Version 1.51 says "kye-loam" for kilohm.
    """
    return re.sub(r"\b([Kk])ilohm", r"\1illohm", text)


def whole_sound(path: Path) -> bool:
    """Whether a finished sound lies there: RIFF or FORM whose size is all on disk."""
    try:
        with path.open("rb") as file:
            head = file.read(8)
            on_disk = file.seek(0, os.SEEK_END)
    except FileNotFoundError:
        return False
    order = {b"RIFF": "<", b"FORM": ">"}.get(head[:4])
    if order is None or len(head) < 8:
        return False
    (claimed,) = struct.unpack(f"{order}I", head[4:])
    return on_disk > 44 and on_disk >= claimed + 8


def write(engine: Any, text: str, path: Path, limit_s: float) -> None:
    """Speak ``text`` into ``path`` and wait until all of it is there.

    ``runAndWait`` may come back before the engine's own thread has written the
    file, and says nothing when the writing failed: only the file itself tells.
    It also takes a pace that is just being set for speech, and the stop it gives to that
    may cut what is spoken next, to nothing or in its midst: then it is spoken again.

    Raises:
        OSError: nothing can be written there.
        TimeoutError: no whole file within ``limit_s`` seconds.
    """
    until = time.monotonic() + limit_s
    while _cut_short(engine, text, path):
        _mind(until, path)
    while not whole_sound(path):
        _mind(until, path)
        time.sleep(0.001)


def _cut_short(engine: Any, text: str, path: Path) -> bool:
    """Have ``text`` spoken into ``path``; whether the engine itself stopped before its end."""
    cut = []

    def finished(completed: bool, **_: object) -> None:
        cut.append(not completed)

    path.write_bytes(b"")  # the engine hangs on a place that it can't write to
    listening = engine.connect("finished-utterance", finished)
    try:
        engine.save_to_file(text, str(path))
        engine.runAndWait()
    finally:
        engine.disconnect(listening)
    return any(cut)


def _mind(until_s: float, path: Path) -> None:
    if time.monotonic() > until_s:
        raise TimeoutError(f"no sound in {path}")
