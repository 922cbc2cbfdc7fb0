"""The speech model, and the recognisers that it makes for one turn each."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from companion import datafiles
from companion.errors import ModelError
from companion.hearing import model_files
from companion.hearing.source import RATE

UNKNOWN = "[unk]"
"""What the recogniser writes for speech that is on no list."""
_OTHER = "[other]"
"""The model's everyday words that are none of ours, all as one word."""


class Floors(BaseModel):
    """Least word confidence at which a word counts.

    The defaults are guesses that nobody measured; a model that was measured says
    its own in ``hearing.toml``.
    """

    model_config = ConfigDict(extra="forbid")

    reading: float = Field(default=0.5, ge=0.0, le=1.0)
    safety: float = Field(default=0.7, ge=0.0, le=1.0)


class Doubt(BaseModel):
    """How the recogniser's alternatives become a word's confidence."""

    model_config = ConfigDict(extra="forbid")

    alternatives: int = Field(default=20, ge=2)
    """Readings of the same sound that are weighed against each other."""
    temperature: float = Field(default=3.0, gt=0.0)
    """A score this much lower makes an alternative less likely by a factor of e."""
    light: tuple[str, ...] = ("it", "it's", "is", "the", "a", "an", "uh", "um")
    """Words that alternatives may differ in and still say the same: "trips", "it trips"."""


class Hearing(BaseModel):
    """The file ``hearing.toml`` in a model's folder."""

    model_config = ConfigDict(extra="forbid")

    confidence: Floors = Floors()
    doubt: Doubt = Doubt()


class Ear:
    """A vosk recogniser for one turn, which says how sure it is of each word.

    Vosk's own word confidence comes out near 1 whether a word is right or not. This one is
    the share of the alternatives, weighed by their scores, that have the word at its place or
    say the same.
    """

    def __init__(self, recogniser: Any, doubt: Doubt) -> None:
        self._recogniser, self._doubt = recogniser, doubt

    def AcceptWaveform(self, sound: bytes) -> bool:  # noqa: N802
        """Take sound (16-bit, 16 kHz); whether an utterance has ended."""
        return bool(self._recogniser.AcceptWaveform(sound))

    def PartialResult(self) -> str:  # noqa: N802
        """Words so far, as JSON with "partial"."""
        return str(self._recogniser.PartialResult())

    def Result(self) -> str:  # noqa: N802
        """The utterance that ended, as JSON: "text", and "result" with each word's "word", "conf",
        "start" and "end"."""
        return self._weighed(self._recogniser.Result())

    def FinalResult(self) -> str:  # noqa: N802
        """What was said up to now, as ``Result``."""
        return self._weighed(self._recogniser.FinalResult())

    def _weighed(self, found: str) -> str:
        alternatives = json.loads(found.replace(_OTHER, UNKNOWN))["alternatives"]
        best = alternatives[0]
        scores = [a["confidence"] - best["confidence"] for a in alternatives]
        weights = [math.exp(score / self._doubt.temperature) for score in scores]
        same = [self._core(a["text"]) == self._core(best["text"]) for a in alternatives]
        words = best.get("result", [])
        for word in words:
            votes = (
                weight
                for weight, alternative, agrees in zip(weights, alternatives, same, strict=True)
                if agrees or _has(alternative.get("result", []), word)
            )
            word["conf"] = sum(votes) / sum(weights)
        return json.dumps({"text": best["text"], "result": words})

    def _core(self, text: str) -> list[str]:
        return [word for word in text.split() if word not in self._doubt.light]


def _has(words: list[dict[str, Any]], sought: dict[str, Any]) -> bool:
    """Whether the same word is among these, at about the same time."""
    return any(
        word["word"] == sought["word"]
        and word["start"] < sought["end"]
        and sought["start"] < word["end"]
        for word in words
    )


class Recogniser:
    """A Vosk model, loaded once and used for a whole call.

    Args:
        model_folder: a Vosk model that takes phrase lists.

    Raises:
        ModelError: the folder is no such model.
        DataFileError: its ``hearing.toml`` holds something else.
    """

    def __init__(self, model_folder: Path) -> None:
        model_files.check(model_folder)
        self.words: frozenset[str] = model_files.words(model_folder)
        tuned = model_folder / "hearing.toml"
        hearing = datafiles.load(tuned, Hearing) if tuned.exists() else Hearing()
        self._floors, self._doubt = hearing.confidence, hearing.doubt
        model_files.try_out(model_folder, min(self.words))
        import vosk  # 120 ms to import, so only when first needed

        vosk.SetLogLevel(-1)
        self._vosk: Any = vosk
        try:
            self._model: Any = vosk.Model(str(model_folder))
        except Exception as error:  # vosk raises nothing narrower
            raise ModelError(
                f"The speech model in {model_folder} can't be loaded.",
                safe="No call was begun.", do="Copy the model again, all of it.",
            ) from error  # fmt: skip
        self._always = self._if_known(UNKNOWN)
        self._others = self._if_known(_OTHER)

    @property
    def floors(self) -> dict[str, float]:
        """Word confidence (0 to 1) under which a reading (``usual``), or an answer on safety, is
        not sure."""
        return {"usual": self._floors.reading, "safety": self._floors.safety}

    def _if_known(self, word: str) -> list[str]:
        return [word] if self._model.vosk_model_find_word(word) >= 0 else []

    def missing_words(self, phrases: Iterable[str]) -> frozenset[str]:
        """Words of these phrases that the model can't hear."""
        return frozenset(word for phrase in phrases for word in phrase.split()) - self.words

    def is_strange(self, phrases: Sequence[str], sound: bytes) -> bool:
        """Whether an utterance that had words in it has none when it is heard once more with
        thousands of everyday words beside the list, because each part is nearer to one of those.

        They are no part of the first hearing, because there they would swallow words spoken over
        a prompt. Never so with a model that has no such words.
        """
        if not self._others:
            return False
        ear = self.build(phrases, self._others)
        ear.AcceptWaveform(sound)
        text = json.loads(ear.FinalResult())["text"]
        return bool(text) and set(text.split()) == {UNKNOWN}

    def build(self, phrases: Sequence[str], others: Sequence[str] = ()) -> Ear:
        """A fresh recogniser at 16 kHz for one turn, which reports words with their times.

        Fresh, because changing the list of a running one can abort the process.
        Phrases with a word that the model lacks are left out; ``missing_words`` tells them.

        Raises:
            ModelError: the model can hear none of the phrases.
        """
        split = {phrase: set(phrase.split()) for phrase in phrases}
        known = [phrase for phrase, words in split.items() if words and words <= self.words]
        if not known:  # vosk crashes on an empty list
            raise ModelError(
                "The speech model can hear none of what can be said here.",
                safe="Nothing was taken as an answer.", do="Type the answer, or use another model.",
            )  # fmt: skip
        recogniser = self._vosk.KaldiRecognizer(
            self._model, RATE, json.dumps([*known, *self._always, *others], ensure_ascii=False)
        )
        recogniser.SetWords(True)
        recogniser.SetMaxAlternatives(self._doubt.alternatives)
        return Ear(recogniser, self._doubt)
