"""Ears for sound: a recording or a microphone, heard through the recogniser."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile
from pydantic import BaseModel

from companion.errors import AudioError
from companion.hearing.ears import Settled, never
from companion.hearing.recogniser import Recogniser
from companion.hearing.source import RATE, Block, Samples, Source
from companion.messages import HeardWord, Utterance

_REHEARD_S = 0.2
_CLIP_MARGIN_S = 0.3
_STEADY_S = 0.24


class _Word(BaseModel):
    word: str
    conf: float = 1.0
    start: float
    end: float


class _Result(BaseModel):
    """vosk's JSON; times in seconds of the sound that this recogniser was given."""

    text: str = ""
    result: list[_Word] = []


class _Partial(BaseModel):
    """vosk's JSON before the end of an utterance."""

    partial: str = ""


class _Heard:
    """What a recogniser was given in this turn. Times are its own: seconds of sound given."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []
        self._gone = 0  # samples given and no longer kept

    def forget(self) -> None:
        """Let the sound go, keep the count."""
        self._gone += sum(len(block.samples) for block in self.blocks)
        self.blocks = []

    def source_s(self, given_s: float) -> float:
        """The same moment on the source's clock, which runs on while nobody listens."""
        at_s = self._gone / RATE
        for block in self.blocks[:-1]:
            length_s = len(block.samples) / RATE
            if given_s < at_s + length_s:
                return block.start_s + given_s - at_s
            at_s += length_s
        return self.blocks[-1].start_s + given_s - at_s

    def _index(self, given_s: float) -> int:
        return max(0, round(given_s * RATE) - self._gone)

    def between(self, start_s: float, end_s: float) -> Samples:
        """The sound of this stretch and a margin on either side, as far as it is there."""
        sound = np.concatenate([block.samples for block in self.blocks])
        return sound[self._index(start_s - _CLIP_MARGIN_S) : self._index(end_s + _CLIP_MARGIN_S)]

    def tail(self, since_s: float) -> Block | None:
        """The last of it, from ``since_s`` on but no more than is worth hearing again."""
        sound = np.concatenate([block.samples for block in self.blocks])
        begin = max(self._index(since_s), len(sound) - round(_REHEARD_S * RATE))
        if begin >= len(sound):
            return None
        return Block(self.source_s((self._gone + begin) / RATE), sound[begin:])


class _Steady:
    """Whether words that nothing can follow have stood unchanged long enough."""

    def __init__(self, settled: Settled) -> None:
        self._settled = settled
        self._text, self._steady_s = "", 0.0

    def __call__(self, partial: str, block_s: float) -> bool:
        """Take the recogniser's words so far, and how much sound brought no others."""
        text = _Partial.model_validate_json(partial).partial
        self._steady_s = self._steady_s + block_s if text == self._text else 0.0
        self._text = text
        return bool(text) and self._steady_s >= _STEADY_S and self._settled(text)


def _keep(path: Path, sound: Samples) -> None:
    try:
        soundfile.write(path, sound, RATE)
    except (OSError, soundfile.LibsndfileError) as error:
        raise AudioError(
            f"The sound of an answer can't be written to {path}: {error}.",
            safe="The record up to this answer is whole.",
            do="Make room there and resume the call.",
        ) from error


class SpokenEars:
    """Listens to a source until something was said.

    A file only runs on while somebody listens, and no sound is lost between two
    turns: the quiet that ended one utterance is heard again at the start of the next.

    Args:
        recogniser: the loaded model.
        source: what to listen to; closed with the ears.
        clips: folder for the sound of each utterance (``utterance-0001.flac`` and so
            on, after those that are there already), or None to keep none.
    """

    def __init__(self, recogniser: Recogniser, source: Source, clips: Path | None = None) -> None:
        self._recogniser, self._source, self._clips = recogniser, source, clips
        self._again: Block | None = None
        self._count = 0
        if clips is not None:
            clips.mkdir(parents=True, exist_ok=True)
            taken = [p.stem.rpartition("-")[2] for p in clips.glob("utterance-*.flac")]
            self._count = max((int(number) for number in taken if number.isdecimal()), default=0)

    def listen(self, phrases: Sequence[str], settled: Settled = never) -> Utterance | None:
        """The next utterance with words in it; ``[unk]`` stands for words off the list.

        Word times are in seconds from the start of the source. Words that nothing can
        follow end the utterance once they have stood unchanged for a moment.

        Raises:
            AudioError: the source failed, or a clip can't be written.
            ModelError: the model can hear none of the phrases.
        """
        ear = self._recogniser.build(phrases)
        heard, steady = _Heard(), _Steady(settled)
        while (block := self._next()) is not None:
            heard.blocks.append(block)
            ended = ear.AcceptWaveform(block.samples.tobytes())
            if not ended and not steady(ear.PartialResult(), len(block.samples) / RATE):
                continue
            result = _Result.model_validate_json(ear.Result() if ended else ear.FinalResult())
            if result.result:
                self._again = heard.tail(result.result[-1].end)
                return self._utterance(result, heard)
            heard.forget()  # only quiet, and memory is to stay flat however long it lasts
        result = _Result.model_validate_json(ear.FinalResult())
        return self._utterance(result, heard) if result.result else None

    def _next(self) -> Block | None:
        if self._again is not None:
            again, self._again = self._again, None
            return again
        return self._source.read()

    def _utterance(self, result: _Result, heard: _Heard) -> Utterance:
        words = tuple(
            HeardWord(
                text=word.word,
                confidence=min(max(word.conf, 0.0), 1.0),
                start_s=round(heard.source_s(word.start), 3),
                end_s=round(heard.source_s(word.end), 3),
            )
            for word in result.result
        )
        clip = None
        if self._clips is not None:
            self._count += 1
            clip = self._clips / f"utterance-{self._count:04d}.flac"
            _keep(clip, heard.between(result.result[0].start, result.result[-1].end))
        return Utterance(
            text=" ".join(word.text for word in words),
            source=self._source.kind,
            words=words,
            clip=clip.name if clip else None,
        )

    def close(self) -> None:
        """Close the source."""
        self._source.close()
