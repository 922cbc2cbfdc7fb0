"""Putting ears, voice, screen and journal together for a command."""

from __future__ import annotations

import sys
import threading
from argparse import Namespace
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from companion.call import Call, new_call_id
from companion.datafiles import folder
from companion.demo import load_scenario
from companion.errors import DataFileError, JournalError, VoiceError
from companion.hearing import (
    SHIPPED,
    Ears,
    Microphone,
    Recogniser,
    Recording,
    SpokenEars,
    TypedEars,
    find_model,
)
from companion.journal import JOURNAL, Journal, read
from companion.messages import CallOpened, Concluded
from companion.review import plain_record
from companion.screen import Terminal
from companion.speaking import MutedVoice, SpokenVoice, Voice, play, why_silent
from companion.turns import Dialogs, load_dialogs, missing_words, require_words

EXIT_MISSED = 1
EXIT_UNFINISHED = 2
EXIT_INTERRUPTED = 130


def demo(options: Namespace, stack: ExitStack) -> int:
    """The command ``demo``."""
    dialogs = load_dialogs(folder("dialogs"))
    scenario, audio = load_scenario(folder("dialogs"), options.scenario)
    print(f"{scenario.title}\n{scenario.story}\n")
    options.wav, options.typed, options.profile = options.audio or audio, False, None
    place = options.calls / f"demo-{new_call_id(datetime.now(UTC))}"
    concluded = _run(options, stack, dialogs, place, aloud=options.aloud)
    hidden = f"{scenario.circuit}, {scenario.part}"
    if scenario.reached_by(concluded):
        print(f"The call reached what the scenario hides: {hidden}.")
        return 0
    print(f"The call did not reach what the scenario hides: {hidden}.")
    return EXIT_MISSED


def call(options: Namespace, stack: ExitStack) -> int:
    """The command ``call``."""
    dialogs = load_dialogs(folder("dialogs"))
    profiles = dialogs.library.profiles
    if options.profile is not None and options.profile not in profiles:
        raise DataFileError("--profile", options.profile, f"expected one of {', '.join(profiles)}")
    place = options.calls / new_call_id(datetime.now(UTC))
    if options.resume is not None:
        place = Path(options.resume) if options.resume else _newest_unfinished(options.calls)
        if not (place / JOURNAL).exists():
            raise _nothing_to_resume(place)
    concluded = _run(options, stack, dialogs, place, aloud=not options.mute)
    if concluded is None:
        print(f"Unfinished. Go on with: companion call --resume {place}")
        return EXIT_UNFINISHED
    return 0


@dataclass
class _Hearing:
    """The ears of a call, and what the record says of them."""

    ears: Ears
    source: str
    model: str
    floor: Mapping[str, float]
    microphone: Microphone | None = None


def _run(
    options: Namespace, stack: ExitStack, dialogs: Dialogs, place: Path, *, aloud: bool
) -> Concluded | None:
    """One call, from its journal's opening to its plain record."""
    screen = Terminal(echo=not (options.typed and sys.stdin.isatty()))
    hearing = _hearing(options, dialogs, place, screen)
    stack.callback(hearing.ears.close)
    journal = stack.enter_context(Journal(place))
    voice = MutedVoice() if options.mute else _voice(place, screen)
    stack.callback(voice.close)
    quiet = why_silent() if aloud else None
    if quiet is not None:
        screen.warn(quiet)
    opened = CallOpened(
        call_id=place.name,
        procedure=dialogs.library.procedure.id,
        profile=options.profile,
        dialogs_digest=dialogs.library.digest,
        model=hearing.model,
        source=hearing.source,
        floor=dict(hearing.floor),
    )
    try:
        running = Call(
            dialogs, journal, opened, ears=hearing.ears, voice=voice, screen=screen,
            play=_player(hearing.microphone) if aloud and quiet is None else None,
        )  # fmt: skip
        return running.run()
    except KeyboardInterrupt:
        print(f"\nInterrupted. Go on with: companion call --resume {place}")
        raise SystemExit(EXIT_INTERRUPTED) from None
    finally:
        record = place / "record.txt"
        record.write_text(plain_record(read(place / JOURNAL).entries), encoding="utf-8")
        print(f"\nRecord: {record}")


def _hearing(options: Namespace, dialogs: Dialogs, place: Path, screen: Terminal) -> _Hearing:
    if options.typed:
        return _Hearing(TypedEars(sys.stdin), "typed", "none", {"usual": 0.0, "safety": 0.0})
    tape = Recording(options.wav) if options.wav else None
    model = find_model(options.model)
    recogniser = Recogniser(model)
    if model == folder("models") / SHIPPED:
        require_words(dialogs, recogniser.words, folder("dialogs"))
    elif missing := missing_words(dialogs, recogniser.words):
        screen.warn(f"The model in {model} can't hear: {', '.join(sorted(missing))}")
    floor = {
        "usual": recogniser.confidence_floor("reading"),
        "safety": recogniser.confidence_floor("safety"),
    }
    if tape is not None:
        return _Hearing(SpokenEars(recogniser, tape, clips=place), "wav", model.name, floor)
    microphone = Microphone()
    ears = SpokenEars(recogniser, microphone, clips=place)
    return _Hearing(ears, "microphone", model.name, floor, microphone)


def _voice(place: Path, screen: Terminal) -> Voice:
    """A voice if there is one: a call can be read, so having none does not end it."""
    try:
        return SpokenVoice(place)
    except VoiceError as error:
        screen.warn(str(error))
        return MutedVoice()


def _player(microphone: Microphone | None) -> Callable[[Path], None]:
    """Plays a reply with the microphone deaf to it."""

    def play_reply(sound: Path) -> None:
        if microphone is not None:
            microphone.pause()
        try:
            play(sound, threading.Event())
        finally:
            if microphone is not None:
                microphone.resume()

    return play_reply


def _newest_unfinished(calls: Path) -> Path:
    """The call written to last that has not concluded.

    Raises:
        JournalError: there is none.
    """
    journals = sorted(calls.glob(f"*/{JOURNAL}"), key=lambda path: path.stat().st_mtime)
    for path in reversed(journals):
        if not any(isinstance(entry.message, Concluded) for entry in read(path).entries):
            return path.parent
    raise _nothing_to_resume(calls)


def _nothing_to_resume(place: Path) -> JournalError:
    return JournalError(
        f"There is no unfinished call in {place}.",
        safe="Nothing was changed.",
        do="Name the folder of a call, or begin a new one.",
    )
