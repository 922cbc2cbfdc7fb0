"""The command ``practice``: a hidden fault in a simulated installation, and a coach."""

from __future__ import annotations

import argparse
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from argparse import _SubParsersAction

    from companion.hearing import Ears
    from companion.practice.exercise import Exercise
    from companion.practice.moves import Moves
    from companion.speaking import Mouth, Voice

    Subparsers = _SubParsersAction[argparse.ArgumentParser]

_ABOUT = """\
Practise on a simulated installation with a hidden fault. You say what you do, and hear what
the meter shows:

    power off / meter proven / leads on R and C, volts / fuse out / leads on Y and C, ohms
    jumper on Y / call Y / outdoor wire off Y / look at outdoor splice / test contactor coil
    hint / why / do that / status / repair contactor coil / I don't know

Unsafe moves are not done: they are counted, and explained. At the end it is told how few tests
the reasoner would have needed. What you found well comes back later, what you did not sooner.
"""
EXIT_MISSED = 1
SPOKEN_OF_DEBRIEF = 2


def add_practice_command(commands: Subparsers) -> None:
    """Add it. It leaves ``on_record`` in the parsed arguments: options to exit status."""
    made = commands.add_parser(
        "practice", help="find a hidden fault in a simulated installation", description=_ABOUT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    made.add_argument("--name", default="apprentice", metavar="NAME",
                      help="whose progress it is (default: %(default)s)")  # fmt: skip
    made.add_argument("--kept", type=Path, default=Path("practice"), metavar="FOLDER",
                      help="where progress is kept, a file each (default: ./practice)")  # fmt: skip
    made.add_argument("--equipment", default="cooling-gas-furnace", metavar="ID",
                      help="by its id in dialogs/equipment (default: %(default)s)")  # fmt: skip
    made.add_argument("--difficulty", choices=["easy", "fair", "hard"], default="easy",
                      help="(default: %(default)s)")  # fmt: skip
    made.add_argument("--complaint", choices=["opens", "nothing"],
                      help="the fuse opens, or nothing answers (default: dealt)")  # fmt: skip
    made.add_argument("--fault", metavar="NAME", help="choose it; --fault list names them all")
    made.add_argument("--typed", action="store_true", help="type instead of speaking")
    made.add_argument("--mute", action="store_true", help="print only; make no speech")
    made.add_argument("--wav", type=Path, metavar="FILE", help="listen to a sound file")
    made.add_argument("--model", metavar="FOLDER", help="a Vosk model to hear with")
    made.set_defaults(on_record=practise, device=None)


def practise(options: argparse.Namespace) -> int:
    """One exercise, from its story to its debrief; progress is kept.

    Raises:
        CompanionError: equipment or fault is not known, progress can't be kept, ears failed.
    """
    from companion.datafiles import folder
    from companion.equipment import all_equipment
    from companion.errors import DataFileError
    from companion.practice.debrief import best_for, debrief
    from companion.practice.exercise import Exercise
    from companion.practice.moves import Moves
    from companion.practice.progress import deal, kinds, load_progress, save_progress
    from companion.understanding import load_vocabulary

    known = all_equipment()
    if options.equipment not in known:
        raise DataFileError("--equipment", options.equipment, f"expected one of {', '.join(known)}")
    equipment = known[options.equipment]
    if options.fault == "list":
        for complaint in ("opens", "nothing"):
            for names in kinds(equipment, complaint, "hard").values():
                print(*(f"--complaint {complaint} --fault {name!r}" for name in names), sep="\n")
        return 0
    path = options.kept / f"{options.name}.json"
    progress = load_progress(path)
    if options.fault is None:
        kind, house = deal(equipment, progress, options.difficulty, options.complaint)
    else:
        kind, house = _chosen(options, equipment, progress.sessions)
    vocabulary = load_vocabulary(folder("dialogs"))
    exercise = Exercise(house)
    with ExitStack() as stack:
        moves = Moves(equipment, vocabulary.terminals, vocabulary.tokens)
        ears, voice, mouth = _senses(options, moves, stack)
        _talk(exercise, moves, ears, voice, mouth, echo=not (options.typed and _is_terminal()))
        told = debrief(exercise)
        _tell(told[:SPOKEN_OF_DEBRIEF], voice, mouth)
    print("\n".join(told[SPOKEN_OF_DEBRIEF:]))
    if not exercise.over:
        return EXIT_MISSED
    least = sum(step.minutes for step in best_for(exercise))
    to_save = exercise.house.minutes - least
    well = exercise.right and not exercise.broken and to_save <= least
    save_progress(path, progress.after(
        kind, well=well, breaches={b.rule: n for b, n in exercise.broken.items()}, to_save=to_save,
    ))  # fmt: skip
    print(f"Kept in {path}.")
    return 0 if exercise.right else EXIT_MISSED


def _chosen(options: argparse.Namespace, equipment: Any, seed: int) -> tuple[str, Any]:
    from companion.errors import DataFileError
    from companion.practice.progress import house_of, kinds

    for complaint in (options.complaint,) if options.complaint else ("opens", "nothing"):
        for kind, names in kinds(equipment, complaint, "hard").items():
            if options.fault in names:
                return kind, house_of(equipment, complaint, options.fault, seed)
    raise DataFileError("--fault", options.fault, "expected one of --fault list")


def _talk(
    exercise: Exercise, moves: Moves, ears: Ears, voice: Voice, mouth: Mouth | None, *, echo: bool
) -> None:
    """Move by move until a part is named, or nothing more can be heard."""
    _tell([exercise.story], voice, mouth)
    while not exercise.over:
        utterance = ears.listen(moves.phrases, lambda text: _settled(text, moves))
        if utterance is None:
            return
        if echo:
            print(f"> {utterance.text}")
        _tell(exercise.take(moves.meant(utterance.text)), voice, mouth)


def _is_terminal() -> bool:
    """Whether what is typed can be seen without being shown again."""
    return sys.stdin.isatty()


def _settled(text: str, moves: Moves) -> bool:
    """Whether words mean a move that no other begins with."""
    words = text.split()
    longer = any(p.split()[: len(words)] == words and p != text for p in moves.phrases)
    return moves.meant(text) is not None and not longer


def _tell(lines: list[str], voice: Voice, mouth: Mouth | None) -> None:
    from companion.errors import VoiceError
    from companion.messages import Prompt
    from companion.speaking import to_ear

    print("\n".join(lines))
    said = " ".join(to_ear(Prompt(role="tell", template="{it}", slots={"it": line}))
                    for line in lines)  # fmt: skip
    try:
        sound = voice.say(said)
    except VoiceError as error:
        print(error, file=sys.stderr)
        return
    if sound is not None and mouth is not None:
        mouth.say(sound, said)


def _senses(
    options: argparse.Namespace, moves: Moves, stack: ExitStack
) -> tuple[Ears, Voice, Mouth | None]:
    """The ears, the voice and the mouth of a call, without a record."""
    import tempfile

    from companion import hearing, speaking, wiring
    from companion.errors import VoiceError
    from companion.screen import Terminal
    from companion.taped import Taped

    screen = Terminal(echo=False)
    place = Path(stack.enter_context(tempfile.TemporaryDirectory()))
    voice: Voice = speaking.MutedVoice()
    mouth = None if options.mute else wiring.mouth_for(options, stack, screen)
    if mouth is not None:
        try:
            voice = speaking.SpokenVoice(place)
        except VoiceError as error:
            screen.warn(str(error))
    stack.callback(voice.close)
    if options.typed:
        return hearing.TypedEars(sys.stdin), voice, mouth
    recogniser = hearing.Recogniser(hearing.find_model(options.model))
    if lacking := recogniser.missing_words(moves.phrases):
        screen.warn(f"Can be typed only: {', '.join(sorted(lacking))}")
    if options.wav is not None:
        ears = hearing.SpokenEars(recogniser, hearing.Recording(options.wav))
    else:
        microphone = Taped(hearing.Microphone())
        if mouth is None:
            ears = hearing.SpokenEars(recogniser, microphone)
        else:
            ears = wiring.ears_that_yield(recogniser, microphone, None, mouth, screen)
    stack.callback(ears.close)
    return ears, voice, mouth
