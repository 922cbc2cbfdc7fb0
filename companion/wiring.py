"""Putting ears, voice, screen and journal together for a command."""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from companion import check as sound_check
from companion.call import Call, Screen, new_call_id
from companion.datafiles import folder
from companion.demo import load_scenario
from companion.errors import DataFileError, JournalError, VoiceError
from companion.hearing import (
    SHIPPED,
    Ears,
    Event,
    Microphone,
    Overlap,
    Recogniser,
    Recording,
    SpokenEars,
    TypedEars,
    WithoutEcho,
    find_model,
)
from companion.journal import JOURNAL, Journal, read
from companion.messages import CallOpened, Concluded
from companion.review import plain_record
from companion.screen import Terminal
from companion.sound_choice import chosen
from companion.speaking import Loudspeaker, Mouth, MutedVoice, SpokenVoice, Voice
from companion.taped import Taped, consents, folder_for_clips
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
    options.device, options.glance, options.style = None, False, "usual"
    options.no_clips, options.consent = False, None
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
    profiles = dialogs.library.equipment
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


def check(options: Namespace) -> int:
    """The command ``check``."""
    return sound_check.main(Recogniser(find_model(options.model)), chosen(options.device))


@dataclass
class _Hearing:
    """The ears of a call, and what the record says of them."""

    ears: Ears
    source: str
    model: str
    floor: Mapping[str, float]
    microphone: Microphone | None = None
    taped: Taped | None = None


def _run(
    options: Namespace, stack: ExitStack, dialogs: Dialogs, place: Path, *, aloud: bool
) -> Concluded | None:
    """One call, from its journal's opening to its plain record."""
    screen = _screen(options, stack)
    mouth = mouth_for(options, stack, screen) if aloud else None
    hearing = _hearing(options, dialogs, place, screen, mouth)
    stack.callback(hearing.ears.close)
    journal = stack.enter_context(Journal(place))
    if hearing.taped is not None:
        hearing.taped.keep = journal.hear
    voice = MutedVoice() if options.mute else _voice(place, screen)
    stack.callback(voice.close)
    opened = CallOpened(
        call_id=place.name,
        procedure=dialogs.library.procedure.id,
        profile=options.profile,
        dialogs_digest=dialogs.library.digest,
        model=hearing.model,
        source=hearing.source,
        floor=dict(hearing.floor),
        style=options.style,
    )
    try:
        running = Call(
            dialogs, journal, opened,
            ears=hearing.ears, voice=voice, screen=screen, mouth=mouth,
        )  # fmt: skip
        journal.append(consents(options))
        if hearing.microphone is not None:
            _report(hearing.microphone, running, screen, mouth)
        return running.run()
    except KeyboardInterrupt:
        screen.close()
        print(f"\nInterrupted. Go on with: companion call --resume {place}")
        raise SystemExit(EXIT_INTERRUPTED) from None
    finally:
        screen.close()
        for trouble in journal.settle():
            screen.warn(trouble)
        _leave_text(place, screen)


def _leave_text(place: Path, screen: Screen) -> None:
    record = place / "record.txt"
    try:
        past = read(place / JOURNAL)
        record.write_text(plain_record(past.entries, past.seal), encoding="utf-8")
    except OSError as error:
        screen.warn(f"{record} can't be written: {error.strerror}.")
    else:
        print(f"\nRecord: {record}\nPage:   companion review {place}")


def _screen(options: Namespace, stack: ExitStack) -> Screen:
    if options.glance:
        from companion.glance import Glance  # rich: not needed for any other screen

        glance = Glance()
        stack.callback(glance.close)
        glance.open()
        return glance
    return Terminal(echo=not (options.typed and sys.stdin.isatty()))


def mouth_for(options: Namespace, stack: ExitStack, screen: Screen) -> Mouth | None:
    """The loudspeaker, ready to be spoken through; None, and told, where there is none."""
    loudspeaker = Loudspeaker(chosen(options.device))
    quiet = loudspeaker.why_silent()
    if quiet is not None:
        screen.warn(quiet)
        return None
    mouth = Mouth(loudspeaker, wait=options.typed or options.wav is not None)
    stack.callback(mouth.close)
    return mouth


def _report(microphone: Microphone, call: Call, screen: Screen, mouth: Mouth | None) -> None:
    """Say what befalls the microphone in mid-call."""

    def tell(event: Event) -> None:
        if event == "overrun":
            screen.warn(f"Sound was lost: {microphone.dropped_blocks} blocks so far.")
        else:
            call.aside(_MICROPHONE[event])

    microphone.tell = tell
    if mouth is not None:
        microphone.before_search = mouth.let_go


_MICROPHONE = {
    "lost": "The microphone is gone. Holding. Plug it in again.",
    "found": "The microphone is back. Go on.",
    "muted": "The microphone gives no sound at all. Is it muted?",
}


def _hearing(
    options: Namespace, dialogs: Dialogs, place: Path, screen: Screen, mouth: Mouth | None
) -> _Hearing:
    if options.typed:
        return _Hearing(TypedEars(sys.stdin), "typed", "none", {"usual": 0.0, "safety": 0.0})
    tape = Recording(options.wav) if options.wav else None
    model = find_model(options.model)
    recogniser = Recogniser(model)
    if model == folder("models") / SHIPPED:
        require_words(dialogs, recogniser.words, folder("dialogs"))
    elif missing := missing_words(dialogs, recogniser.words):
        screen.warn(f"The model in {model} can't hear: {', '.join(sorted(missing))}")
    floor = recogniser.floors
    clips = folder_for_clips(place)
    if tape is not None:
        taped = Taped(tape)
        ears = SpokenEars(recogniser, taped, clips=clips)
        return _Hearing(ears, "wav", model.name, floor, taped=taped)
    microphone = Microphone(chosen(options.device))
    taped = Taped(microphone)
    if mouth is None:
        ears = SpokenEars(recogniser, taped, clips=clips)
    else:
        ears = ears_that_yield(recogniser, taped, clips, mouth, screen)
    return _Hearing(ears, "microphone", model.name, floor, microphone, taped)


def ears_that_yield(
    recogniser: Recogniser, microphone: Taped, clips: Path | None, mouth: Mouth, screen: Screen
) -> SpokenEars:
    """Ears that can be spoken to while the companion speaks."""
    try:
        source = WithoutEcho(microphone, mouth)
    except ImportError:
        screen.warn(
            'While the companion speaks, only "stop" is heard: there is no echo canceller '
            "(pip install 'companion[voice]')."
        )
        overlap = Overlap(mouth)
        return SpokenEars(recogniser, microphone, clips=clips, overlap=overlap)
    mouth.cue("opening")
    return SpokenEars(recogniser, source, clips=clips, overlap=Overlap(mouth, source))


def _voice(place: Path, screen: Screen) -> Voice:
    """A voice if there is one: a call can be read, so having none does not end it."""
    try:
        return SpokenVoice(place)
    except VoiceError as error:
        screen.warn(str(error))
        return MutedVoice()


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
