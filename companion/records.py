"""The commands on records of calls that are over: read, put right, give away, learn from."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from argparse import _SubParsersAction

    Subparsers = _SubParsersAction[argparse.ArgumentParser]

_CORRECT = """\
Put right a word that was misheard, or add a remark. Nothing is overwritten: what was heard
and done stays on record, the correction is appended. With --from, take the file that a
review page saves.
"""

_LEARN = """\
Count proved repairs over all calls, by kind of part and of fault, equipment and season, and
hold the counts towards the shipped priors: few calls move them little. Writes, into --out,
priors.toml for all calls, one such file for each equipment and season, and figures.html.
Each is of the form of dialogs/circuit/priors.toml, so that it can take its place.
"""


def add_record_commands(commands: Subparsers) -> None:
    """Add them all. Each leaves ``on_record`` in the parsed arguments: options to exit status."""
    calls = argparse.ArgumentParser(add_help=False)
    calls.add_argument(
        "--calls", type=Path, default=Path("calls"), metavar="FOLDER",
        help="where calls are kept, a folder each (default: ./calls)",
    )  # fmt: skip
    one = argparse.ArgumentParser(add_help=False, parents=[calls])
    one.add_argument(
        "call", nargs="?", metavar="CALL",
        help="its folder, its name, or the beginning of it (default: the newest)",
    )  # fmt: skip

    def command(
        name: str, summary: str, run: Any, parent: argparse.ArgumentParser = one, about: str = ""
    ) -> argparse.ArgumentParser:
        made = commands.add_parser(
            name, parents=[parent], help=summary, description=about or summary + ".",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )  # fmt: skip
        made.set_defaults(on_record=run)
        return made

    made = command("calls", "list calls, or those in which all words occur", _calls, calls)
    made.add_argument("words", nargs="*", metavar="WORD")

    made = command("review", "write the page of a call, and name it", _review)
    made.add_argument("--sound", choices=["opus", "flac", "none"], default="opus",
                      help="how the page carries it (default: %(default)s)")  # fmt: skip
    made.add_argument(
        "--out", type=Path, metavar="FILE", help="(default: review.html in its folder)"
    )
    _redaction(made)

    made = command("verify", "check that a record is whole and was not changed", _verify)
    made.add_argument("--seal", metavar="HEX", help="of a page that was made of it earlier")
    command("schema", "print the JSON Schema of a line of the journal", _schema,
            argparse.ArgumentParser(add_help=False))  # fmt: skip

    made = command(
        "correct", "put right a misheard word, or add a remark", _correct, about=_CORRECT
    )
    made.add_argument("--line", type=int, metavar="N", help="line of what was heard, from 0")
    made.add_argument("--word", type=int, metavar="K", help="which of its words, from 1")
    made.add_argument("--meant", metavar="WORD", help="what was really said")
    made.add_argument("--remark", metavar="TEXT")
    made.add_argument("--by", default="", metavar="NAME")
    made.add_argument("--from", dest="file", type=Path, metavar="FILE")

    command(
        "misheard", "which words were taken for which, over all calls, as CSV", _misheard, calls
    )

    made = command("export", "give a call away: as text, Markdown or a table", _export)
    made.add_argument("--as", dest="form", default="markdown",
                      choices=["markdown", "work-order", "csv", "parquet"],
                      help="(default: %(default)s)")  # fmt: skip
    made.add_argument("--all", action="store_true", help="every call, not only one")
    _redaction(made)
    made.add_argument("--out", type=Path, metavar="FILE", help="(default: the screen)")

    made = command("lock", "encrypt a call where it lies", _lock)
    made.add_argument("--for", dest="recipients", action="append", default=[], metavar="KEY",
                      help="whose key unlocks it; without, a passphrase is asked for")  # fmt: skip
    made.add_argument("--new-key", type=Path, metavar="FILE", help="make a key, and print its KEY")
    made = command("unlock", "decrypt a call", _unlock, argparse.ArgumentParser(add_help=False))
    made.add_argument("file", type=Path, metavar="FILE")
    made.add_argument("--key", type=Path, metavar="FILE", help="else the passphrase is asked for")

    made = command("learn", "how often which part fails, as priors, and a page of figures", _learn,
                   calls, about=_LEARN)  # fmt: skip
    made.add_argument("--from", dest="place", metavar="PARQUET",
                      help="files of lines, a glob or an address, in place of --calls")  # fmt: skip
    made.add_argument("--strength", type=float, default=50.0, metavar="CALLS",
                      help="what the shipped priors are worth (default: %(default)s)")  # fmt: skip
    made.add_argument("--lines", type=Path, metavar="PARQUET",
                      help="also write all lines of all calls, to learn elsewhere")  # fmt: skip
    made.add_argument("--out", type=Path, default=Path("learned"), metavar="FOLDER",
                      help="(default: ./learned)")  # fmt: skip


def _redaction(made: argparse.ArgumentParser) -> None:
    made.add_argument("--redact", action="store_true",
                      help="without sound, and of free speech only words of the trade")  # fmt: skip
    made.add_argument("--hide", action="append", default=[], metavar="NAME",
                      help="with --redact: this, too")  # fmt: skip


# ── What they do ─────────────────────────────────────────────────────────────


def _calls(options: argparse.Namespace) -> int:
    from companion.review.shelf import listed, row, unreadable

    for call in listed(options.calls, options.words):
        print(row(call))
    for damaged in unreadable(options.calls):
        print(damaged, file=sys.stderr)
    return 0


def _review(options: argparse.Namespace) -> int:
    from companion.datafiles import folder
    from companion.journal import JOURNAL, read
    from companion.review import review_page
    from companion.review.redaction import redacted_past
    from companion.review.shelf import find

    place, dialogs = find(options.calls, options.call), folder("dialogs")
    past, carried = read(place / JOURNAL), options.sound
    out = options.out or place / "review.html"
    if options.redact:
        past, carried = redacted_past(past, dialogs, options.hide), "none"
        out = options.out or place / "review-redacted.html"
    page = review_page(past, place, dialogs, carried, redacted=options.redact)
    _write(out, page.encode())
    print(out)
    return 0


def _verify(options: argparse.Namespace) -> int:
    from companion.journal import JOURNAL, altered_clips, read
    from companion.review.shelf import find

    place = find(options.calls, options.call)
    past = read(place / JOURNAL)
    faults = (
        [] if past.changed_at is None else [f"changed after it was kept, line {past.changed_at}"]
    )
    faults += [f"sound gone or exchanged: {clip}" for clip in altered_clips(place, past.entries)]
    faults += [f"torn at its end, {past.torn_bytes} bytes"] if past.torn else []
    if options.seal and not any(entry.chain == options.seal for entry in past.entries):
        faults.append("not the record that this seal was printed of")
    for fault in faults:
        print(f"{place}: {fault}")
    if not faults:
        seal = past.seal or "none: an older schema, kept without seals"
        print(f"{place}: {len(past.entries)} lines, whole and as they were kept. Seal: {seal}")
    return 1 if faults else 0


def _schema(options: argparse.Namespace) -> int:
    from companion.journal.schema import schema_text

    sys.stdout.write(schema_text())
    return 0


def _correct(options: argparse.Namespace) -> int:
    from companion.journal.afterwards import append, corrections_in, word_at
    from companion.messages import Remark
    from companion.review.shelf import find

    place = find(options.calls, options.call)
    if options.file is not None:
        added = corrections_in(options.file)
    elif options.remark is not None:
        added = [Remark(about=options.line, text=options.remark, by=options.by)]
    elif None not in (options.line, options.word, options.meant):
        added = [word_at(place, options.line, options.word - 1, options.meant, options.by)]
    else:
        print("companion correct: give --from, --remark, or --line with --word and --meant",
              file=sys.stderr)  # fmt: skip
        return 2
    append(place, added)
    print(f"{place}: {len(added)} appended.")
    return 0


def _export(options: argparse.Namespace) -> int:
    from companion.review import giving

    data = giving.given(
        options.calls, options.call, options.form, every=options.all,
        redact=options.redact, hide=options.hide,
    )  # fmt: skip
    if options.out is not None:
        _write(options.out, data)
    elif options.form == "parquet":
        print("companion export: parquet needs --out FILE", file=sys.stderr)
        return 2
    else:
        sys.stdout.write(data.decode())
    return 0


def _lock(options: argparse.Namespace) -> int:
    from getpass import getpass

    from companion.journal import locked
    from companion.review.shelf import find

    if options.new_key is not None:
        print(locked.new_key(options.new_key))
        return 0
    word = "" if options.recipients else getpass("Passphrase: ")
    print(locked.lock(find(options.calls, options.call), options.recipients, word))
    return 0


def _unlock(options: argparse.Namespace) -> int:
    from getpass import getpass

    from companion.journal import locked

    key = "" if options.key is None else options.key.read_text(encoding="utf-8")
    word = getpass("Passphrase: ") if options.key is None else ""
    print(locked.unlock(options.file, key, word))
    return 0


def _misheard(options: argparse.Namespace) -> int:
    from companion.review.misheard import misheard_table

    sys.stdout.write(misheard_table(options.calls))
    return 0


def _learn(options: argparse.Namespace) -> int:
    from companion.datafiles import folder
    from companion.review.figures import figures_page
    from companion.review.installation import installations
    from companion.review.learning import as_priors, learn
    from companion.review.many import connect, export_lines, gather_calls

    dialogs = folder("dialogs")
    known = list(installations(dialogs))
    priors = dialogs / "circuit" / "priors.toml"
    database = connect()
    found = gather_calls(
        database, options.place or options.calls, [(i.answer, i.id) for i in known]
    )
    learned = learn(database, priors, known, options.strength)
    options.out.mkdir(parents=True, exist_ok=True)
    shipped = priors.read_text(encoding="utf-8")
    for group in learned:
        name = "priors.toml" if group.group == "all" else f"priors.{group.group}.toml"
        _write(options.out / name, as_priors(group, shipped).encode())
    _write(options.out / "figures.html", figures_page(database, learned).encode())
    if options.lines is not None:
        export_lines(database, options.lines)
    proved = sum(learned[0].calls.values())
    print(f"{found} calls, {proved:g} proved repairs, {len(learned)} groups: {options.out}")
    return 0


def _write(path: Path, data: bytes) -> None:
    from companion.errors import JournalError

    try:
        path.write_bytes(data)
    except OSError as error:
        raise JournalError(
            f"{path} can't be written: {error.strerror}.",
            safe="The record of the call is as it was.",
            do="Name another place with --out.",
        ) from error
