"""Recognisers to measure: any Vosk model, heard as in a call, and PocketSphinx's own."""

from __future__ import annotations

import json
import math
import tempfile
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any, Protocol

from companion.hearing.overlap import STOP
from companion.hearing.recogniser import Recogniser
from models.measure.clips import Samples
from models.measure.lists import UNKNOWN

_BLOCK = 16000 // 20


@dataclass(frozen=True)
class Heard:
    """Words, and how sure each is (1 for an engine that does not say)."""

    words: tuple[str, ...]
    confidence: tuple[float, ...]

    @property
    def text(self) -> str:
        """The words in one string."""
        return " ".join(self.words)

    @property
    def weakest(self) -> float:
        """Confidence of the least sure word, 1 if there is none."""
        return min(self.confidence, default=1.0)


class Engine(Protocol):
    """A recogniser with a phrase list."""

    name: str

    def hear(self, samples: Samples, phrases: Sequence[str]) -> Heard:
        """The words of a whole recording."""
        ...


class VoskModel:
    """A Vosk model's folder, used just as the companion does."""

    def __init__(self, folder: Path) -> None:
        self.name = folder.resolve().name
        self.recogniser = Recogniser(folder)

    def hear(self, samples: Samples, phrases: Sequence[str]) -> Heard:
        """The words of a whole recording, given in blocks of 50 ms."""
        ear = self.recogniser.build(phrases)
        results: list[Any] = []
        for at in range(0, len(samples), _BLOCK):
            if ear.AcceptWaveform(samples[at : at + _BLOCK].tobytes()):
                results += json.loads(ear.Result()).get("result", [])
        results += json.loads(ear.FinalResult()).get("result", [])
        said = {part["word"] for part in results}
        sure = STOP in said or said <= {UNKNOWN}  # as SpokenEars does
        if not sure and self.recogniser.is_strange(phrases, samples.tobytes()):
            return Heard((UNKNOWN,), (1.0,))
        return Heard(
            tuple(part["word"] for part in results), tuple(float(part["conf"]) for part in results)
        )


class Sphinx:
    """PocketSphinx with the US English model of its package (extra `peer`).

    It takes the same list in the same way: as a bigram of the phrases' words.
    """

    name = "PocketSphinx"

    def __init__(self) -> None:
        import pocketsphinx  # type: ignore[import-not-found,unused-ignore]

        self._sphinx: Any = pocketsphinx
        dictionary = files("pocketsphinx").joinpath("model/en-us/cmudict-en-us.dict")
        self._sounds: dict[str, list[str]] = defaultdict(list)
        for line in dictionary.read_text("utf-8").splitlines():
            self._sounds[line.split()[0].split("(")[0]].append(line)
        self._decoders: dict[tuple[str, ...], Any] = {}

    def hear(self, samples: Samples, phrases: Sequence[str]) -> Heard:
        """The words of a whole recording."""
        listed = tuple(phrases)
        if listed not in self._decoders:
            self._decoders[listed] = self._decoder(listed)
        decoder = self._decoders[listed]
        decoder.start_utt()
        decoder.process_raw(samples.tobytes(), full_utt=True)
        decoder.end_utt()
        found = decoder.hyp()
        words = tuple(found.hypstr.split()) if found else ()
        return Heard(words, (1.0,) * len(words))

    def _decoder(self, phrases: tuple[str, ...]) -> Any:
        split = [phrase.split() for phrase in phrases if phrase != UNKNOWN]
        sayable = [words for words in split if all(word in self._sounds for word in words)]
        used = sorted({word for words in sayable for word in words})
        with tempfile.TemporaryDirectory() as folder:
            model, dictionary = Path(folder) / "bigram.arpa", Path(folder) / "words.dict"
            model.write_text(bigram(sayable), "utf-8")
            lines = [line for word in used for line in self._sounds[word]]
            dictionary.write_text("\n".join(lines) + "\n", "utf-8")
            return self._sphinx.Decoder(lm=str(model), dict=str(dictionary), loglevel="FATAL")


def bigram(phrases: Sequence[Sequence[str]], discount: float = 0.5) -> str:
    """A word bigram of phrases as an ARPA file: absolute discount, backing off to word counts."""
    rows = [("<s>", *words, "</s>") for words in phrases]
    after: dict[str, Counter[str]] = defaultdict(Counter)
    for row in rows:
        for one, two in pairwise(row):
            after[one][two] += 1
    counts = Counter(word for row in rows for word in row[1:])
    total = sum(counts.values())
    share = {word: count / total for word, count in counts.items()}
    twos, backoff = list[str](), dict[str, float]()
    for one, following in after.items():
        said = sum(following.values())
        left = discount * len(following) / said / max(1e-9, 1 - sum(share[w] for w in following))
        backoff[one] = math.log10(min(left, 1.0))
        twos += [
            f"{math.log10((count - discount) / said):.4f} {one} {two}"
            for two, count in following.items()
        ]
    ones = [f"-99 <s> {backoff['<s>']:.4f}"]
    ones += [
        f"{math.log10(part):.4f} {word} {backoff.get(word, 0.0):.4f}"
        for word, part in share.items()
    ]
    head = f"\\data\\\nngram 1={len(ones)}\nngram 2={len(twos)}\n"
    parts = [head, "\\1-grams:", *ones, "", "\\2-grams:", *twos, "", "\\end\\", ""]
    return "\n".join(parts)
