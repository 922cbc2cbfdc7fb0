"""What a speech model's folder must hold before it is handed to the recogniser.

vosk 0.3.45 ends the whole process on some faults (no HCLr.fst, for one) where it
should report them, so they are looked for first.
"""

from __future__ import annotations

import json
import struct
import subprocess
import sys
from pathlib import Path

from companion import datafiles
from companion.errors import DataFileError, ModelError

SHIPPED = "field-en"
"""The folder under models/ of the model that comes with the program."""

# Each in the layout of newer models, then of older ones.
_NEEDED = (
    ("am/final.mdl", "final.mdl"),
    ("conf/mfcc.conf", "mfcc.conf"),
    ("graph/HCLr.fst", "HCLr.fst"),
    ("graph/Gr.fst", "Gr.fst"),
    ("graph/disambig_tid.int", "disambig_tid.int"),
)
_FST_MAGIC = struct.pack("<i", 2125659606)
_SYMBOLS_MAGIC = struct.pack("<i", 2125658996)
_HAS_INPUT_SYMBOLS, _HAS_OUTPUT_SYMBOLS = 1, 2

# Hearing a little silence with a one-word list touches every part of a model.
_TRIAL = """
import sys, vosk
vosk.SetLogLevel(-1)
recogniser = vosk.KaldiRecognizer(vosk.Model(sys.argv[1]), 16000, sys.argv[2])
recogniser.SetWords(True)
recogniser.AcceptWaveform(bytes(16000))
recogniser.FinalResult()
"""


def _unusable(folder: Path, what: str, do: str) -> ModelError:
    return ModelError(
        f"The speech model in {folder} can't be used: {what}.",
        safe="No call was begun.",
        do=do,
    )


def place(folder: Path, newer: str, older: str) -> Path | None:
    """Where a model of either layout keeps this file; None if it has none."""
    return next((p for p in (folder / newer, folder / older) if p.is_file()), None)


def check(folder: Path) -> None:
    """Make sure that every file is there and that the graphs are graphs.

    Raises:
        ModelError: naming the folder and the file.
    """
    if not folder.is_dir():
        raise _unusable(folder, "there is no such folder", "Name the folder of a Vosk model.")
    if place(folder, "graph/HCLG.fst", "HCLG.fst") and not place(folder, *_NEEDED[2]):
        raise _unusable(
            folder,
            "its graph is one piece (HCLG.fst), which can't take the list of phrases of a step",
            "Use a model with HCLr.fst and Gr.fst.",
        )
    for newer, older in _NEEDED:
        file = place(folder, newer, older)
        if file is None or not file.stat().st_size:
            raise _unusable(folder, f"it has no {newer}", "Copy the model again, all of it.")
        if file.suffix == ".fst":
            with file.open("rb") as opened:
                if opened.read(4) != _FST_MAGIC:
                    raise _unusable(folder, f"{newer} is no graph", "Copy the model again.")


def try_out(folder: Path, word: str) -> None:
    """Load the model once in a process of its own, where a fault in it can do no harm.

    Not done for the model that ships with the program; any other costs one more loading.

    Raises:
        ModelError: with the last thing that the recogniser said.
    """
    try:
        shipped: Path | None = datafiles.folder("models") / SHIPPED
    except DataFileError:
        shipped = None
    if shipped is not None and folder.resolve() == shipped.resolve():
        return
    tried = subprocess.run(
        [sys.executable, "-c", _TRIAL, str(folder), json.dumps([word])],
        capture_output=True, text=True, errors="replace", check=False,
    )  # fmt: skip
    # Some faults are only written out: a graph that breaks off is then ignored.
    lines = [line.strip() for line in tried.stderr.splitlines() if line.startswith("ERROR")]
    if tried.returncode or lines:
        why = lines[-1] if lines else f"it ended with status {tried.returncode}"
        raise _unusable(folder, f"the recogniser fails on it ({why:.200})", "Copy the model again.")


def words(folder: Path) -> frozenset[str]:
    """Every word that the model can hear.

    From ``words.txt``, or else from the table inside ``Gr.fst``, as small public models have it.

    Raises:
        ModelError: neither holds a list of words.
    """
    listed = place(folder, "graph/words.txt", "words.txt")
    try:
        if listed is not None:
            text = listed.read_text(encoding="utf-8")
            if not text.endswith("\n"):  # half a number would give a word to another's sound
                raise ValueError("its last line breaks off")
            names = [line.split()[0] for line in text.splitlines() if line.strip()]
        else:
            grammar = place(folder, *_NEEDED[3])
            names = [] if grammar is None else _symbols(grammar.read_bytes())
    except (OSError, ValueError, struct.error) as error:
        raise _unusable(
            folder, f"its list of words can't be read ({error})", "Copy it again."
        ) from error
    spoken = frozenset(name for name in names if name[0] not in "<#![")
    if not spoken:
        raise _unusable(folder, "it has no list of words", "Use a model with words.txt.")
    return spoken


def _symbols(data: bytes) -> list[str]:
    """The output symbols (else the input symbols) stored in an OpenFst file."""
    at = 4

    def take(layout: str) -> int:
        nonlocal at
        (value,) = struct.unpack_from(f"<{layout}", data, at)
        at += struct.calcsize(f"<{layout}")
        return int(value)

    def text() -> str:
        nonlocal at
        size = take("i")
        at += size
        return data[at - size : at].decode("utf-8")

    text(), text(), take("i")  # type of graph, type of arc, version
    flags = take("i")
    at += 8 + 3 * 8  # properties; start, states, arcs
    found: list[str] = []
    for flag in (_HAS_INPUT_SYMBOLS, _HAS_OUTPUT_SYMBOLS):
        if flags & flag and data[at : at + 4] == _SYMBOLS_MAGIC:
            at += 4
            text(), take("q")  # name, next free number
            found = []
            for _ in range(take("q")):
                found.append(text())
                take("q")
    return found
