"""The commands. ``companion --help`` tells what they do."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from companion.diagnosis.commands import add_commands
from companion.errors import CompanionError
from companion.practising import add_practice_command
from companion.records import add_record_commands

EXIT_UNFINISHED = 2
EXIT_INTERRUPTED = 130

_ABOUT = """\
Talk through a fault in a 24 V control circuit with both hands on the meter leads.
You say what the meter says; the companion says what it means, how it was read, and
what to touch next. Works without any network.

For qualified technicians only. Local codes and the manufacturer's instructions come
first. The companion advises; you decide. Say "stop" at any time.
"""

_CALL = """\
Walk a call: make safe, check the supply and the fuse, find the circuit that is shorted,
open or miswired with a resettable breaker, a test lamp or the meter alone, then the part,
then prove the repair.

Say numbers as you read them: "zero point five ohms", "point five", "twelve four",
"two forty", "O L". Say "no, point six" or "correction, point six" to replace the last
value. Always there: stop, resume, repeat, back, skip, why, status, note, help.

Every call has a folder of its own under --calls, with journal.jsonl, record.txt and
the sound of both sides. A call cut short goes on with --resume.
"""

_DEMO = """\
Play an invented call: the technician's side is a recording, recognised for real. Prints
the dialogue and leaves journal, replies and record in a folder under --calls. Exit
status 0 only if the call reaches the circuit and the part that the scenario hides.
"""

_CHECK = """\
Says a sentence, asks for one back, and tells what it heard: devices, noise, level, how long
sound takes out and in, what to expect, and what to mend. Exit status 0 if there is nothing
to mend, 1 if there is.
"""

_RECKON = """\
The companion's own arithmetic, by hand: each answer comes with its unit, its interval and
where the numbers are from. For one, how far out a short is that reads 0.9 ohms, with
leads of 0.2, on 100 feet of 18 AWG:

    companion reckon distance 0.9 --leads 0.2 --feet 100
"""


def _parser() -> argparse.ArgumentParser:
    raw = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser("companion", description=_ABOUT, formatter_class=raw)
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument(
        "--calls",
        type=Path,
        default=Path("calls"),
        metavar="FOLDER",
        help="where calls are kept, a folder each (default: ./calls)",
    )
    common.add_argument(
        "--model",
        metavar="FOLDER",
        help="a Vosk model to hear with (default: $COMPANION_MODEL, else a model placed in "
        "models/, else the one shipped)",
    )
    common.add_argument("--mute", action="store_true", help="print only; make no speech")

    demo = commands.add_parser(
        "demo",
        parents=[common],
        help="play an invented call from recorded speech",
        description=_DEMO,
        formatter_class=raw,
    )
    demo.add_argument(
        "--scenario",
        default="wasp_nest",
        metavar="NAME",
        help="a scenario of dialogs/demo (default: %(default)s)",
    )
    demo.add_argument(
        "--audio", type=Path, metavar="FILE", help="another recording for the technician's side"
    )
    demo.add_argument("--aloud", action="store_true", help="play the replies on the loudspeaker")

    call = commands.add_parser(
        "call",
        parents=[common],
        help="walk a call, by voice, typing or recording",
        description=_CALL,
        formatter_class=raw,
    )
    listen = argparse.ArgumentParser(add_help=False)
    for command in (call, listen):
        command.add_argument(
            "--device",
            metavar="NAME",
            help="part of the name of the headset, or of the microphone and loudspeaker; "
            "remembered, until 'default'",
        )
    commands.add_parser(
        "check",
        parents=[common, listen],
        help="check microphone, loudspeaker and noise before a call",
        description=_CHECK,
        formatter_class=raw,
    )
    call.add_argument(
        "--glance", action="store_true", help="fill the terminal with the one thing to do now"
    )
    source = call.add_mutually_exclusive_group()
    source.add_argument(
        "--wav",
        type=Path,
        metavar="FILE",
        help="listen to a sound file (WAV or FLAC, any rate), as if on tape",
    )
    source.add_argument("--typed", action="store_true", help="type instead of speaking")
    call.add_argument(
        "--profile",
        metavar="ID",
        help="the equipment, if you don't want to be asked; a file of dialogs/equipment by its id",
    )
    call.add_argument(
        "--style",
        choices=["usual", "brief", "explain"],
        default="usual",
        help="how much is said: brief for the experienced, explain for those who learn "
        "(default: %(default)s; or say: short version, long version)",
    )
    call.add_argument(
        "--resume",
        nargs="?",
        const="",
        metavar="CALL",
        help="go on with a call cut short: its folder, or the newest unfinished one",
    )
    call.add_argument(
        "--no-clips", action="store_true", help="keep no sound of what the technician says"
    )
    call.add_argument(
        "--consent",
        metavar="WORDS",
        help="keep the sound of the whole call; WORDS tell how everyone present agreed",
    )
    reckon = commands.add_parser(
        "reckon",
        help="reckon distance to a short, VA budget, fuse and coil, with interval and source",
        description=_RECKON,
        formatter_class=raw,
    )
    add_commands(reckon.add_subparsers(dest="what", required=True, metavar="WHAT"))
    add_record_commands(commands)
    add_practice_command(commands)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; the exit status says how it went.

    0 done; 1 the demo missed the truth, or the sound check found something; 2 the call is
    unfinished; 3 to 8 an error of ``errors.py``; 130 interrupted.
    """
    parser = _parser()
    options = parser.parse_args(arguments)
    try:
        if hasattr(options, "on_record"):
            return int(options.on_record(options))
        if options.command == "reckon":
            try:
                print(options.run(options))
            except KeyError as error:
                parser.error(f"nothing is known of {error}")
            except ValueError as error:
                parser.error(str(error))
            return 0
        from companion import wiring  # vosk and pydantic models: not needed for --help

        with ExitStack() as stack:
            if options.command == "demo":
                return wiring.demo(options, stack)
            if options.command == "check":
                return wiring.check(options)
            return wiring.call(options, stack)
    except CompanionError as error:
        print(f"companion: {error.what}\n  Safe: {error.safe}\n  Do:   {error.do}", file=sys.stderr)
        return error.exit_status
