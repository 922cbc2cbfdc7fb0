"""The speech model, and the recognisers that it makes for one turn each."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from companion import datafiles
from companion.errors import ModelError
from companion.hearing import model_files
from companion.hearing.source import RATE

UNKNOWN = "[unk]"
"""What the recogniser writes for speech that is on no list."""


class Floors(BaseModel):
    """Least word confidence at which a word counts.

    The defaults are guesses that nobody measured; a model that was measured says
    its own in ``hearing.toml``.
    """

    model_config = ConfigDict(extra="forbid")

    reading: float = Field(default=0.5, ge=0.0, le=1.0)
    safety: float = Field(default=0.7, ge=0.0, le=1.0)


class Hearing(BaseModel):
    """The file ``hearing.toml`` in a model's folder."""

    model_config = ConfigDict(extra="forbid")

    confidence: Floors = Floors()


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
        self._floors = datafiles.load(tuned, Hearing).confidence if tuned.exists() else Floors()
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
        self._always = [UNKNOWN] if self._model.vosk_model_find_word(UNKNOWN) >= 0 else []

    def confidence_floor(self, kind: Literal["reading", "safety"]) -> float:
        """Word confidence (0 to 1) under which a reading, or an answer on safety, is not sure."""
        return self._floors.safety if kind == "safety" else self._floors.reading

    def missing_words(self, phrases: Iterable[str]) -> frozenset[str]:
        """Words of these phrases that the model can't hear."""
        return frozenset(word for phrase in phrases for word in phrase.split()) - self.words

    def build(self, phrases: Sequence[str]) -> Any:
        """A fresh vosk recogniser at 16 kHz for one turn, which reports words with their times.

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
            self._model, RATE, json.dumps([*known, *self._always], ensure_ascii=False)
        )
        recogniser.SetWords(True)
        return recogniser
