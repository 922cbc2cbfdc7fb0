"""Ears for sound: a recording or a microphone, heard through the recogniser."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from pathlib import Path

import soundfile

from companion.hearing.ears import Meaning, Settled, never
from companion.hearing.endings import End, Lasting, LetGo, Partial, Result, Word, text_of
from companion.hearing.heard import Heard
from companion.hearing.overlap import STOP, Overlap, StopUnder
from companion.hearing.pauses import Pause
from companion.hearing.recogniser import UNKNOWN, Recogniser
from companion.hearing.source import RATE, Block, Samples, Source
from companion.understood import HeardWord, Utterance

_JUST_NOW_S = 0.3
_BEGINNING_S = 0.4


def _just_now(word: str, heard: Heard) -> Word:
    now_s = heard.given_s
    return Word(word=word, conf=0.0, start=now_s - _JUST_NOW_S, end=now_s)


def _keep(path: Path, sound: Samples) -> None:
    """Write a clip. What can't be written ends no call: the record tells of a clip that is not
    there."""
    with contextlib.suppress(OSError, soundfile.LibsndfileError):
        soundfile.write(path, sound, RATE)


class SpokenEars:
    """Listens to a source until something was said.

    A file only runs on while somebody listens, and no sound is lost between two
    turns: the quiet that ended one utterance is heard again at the start of the next.

    Args:
        recogniser: the loaded model.
        source: what to listen to; closed with the ears.
        clips: folder for the sound of each utterance (``utterance-0001.flac`` and so
            on, after those that are there already), or None to keep none.
        overlap: what to make of words heard while the companion speaks; None where
            it can't be heard, as on a recording.
    """

    def __init__(
        self,
        recogniser: Recogniser,
        source: Source,
        clips: Path | None = None,
        overlap: Overlap | None = None,
    ) -> None:
        self._recogniser, self._source, self._clips = recogniser, source, clips
        self._overlap = overlap
        self._pause = Pause()
        self._again: Block | None = None
        self._count = 0
        if clips is not None:
            clips.mkdir(parents=True, exist_ok=True)
            taken = [p.stem.rpartition("-")[2] for p in clips.glob("utterance-*.flac")]
            self._count = max((int(number) for number in taken if number.isdecimal()), default=0)

    def listen(
        self, phrases: Sequence[str], settled: Settled = never, meaning: Meaning = never
    ) -> Utterance | None:
        """The next utterance with words in it; ``[unk]`` stands for words off the list.

        Word times are in seconds from the start of the source. Words that nothing can
        follow end the utterance once they have stood unchanged for a moment. While the
        companion speaks, "stop" and words with a meaning cut it short; others, and its
        own, are let go.

        Raises:
            AudioError: the source failed.
            ModelError: the model can hear none of the phrases.
        """
        ear = self._recogniser.build(phrases)
        heard, end = Heard(), End(settled, meaning, self._pause)
        stop_under = self._stop_under(phrases)
        speaking = cut_in = stopped = hushed_by_stop = False
        insists, holds, let_go = Lasting(), Lasting(), LetGo()
        while (block := self._next()) is not None:
            heard.blocks.append(block)
            spoke, speaking = speaking, self._overlap_at(block)
            if spoke and not speaking and not cut_in and not self._overlap_cancelled():
                # What the companion said must not run on into the answer.
                ear = self._recogniser.build(phrases)
                heard, end = Heard(), End(settled, meaning, self._pause)
                heard.blocks.append(block)
            # Words that were misheard may have cut in; what was said may still be "stop".
            may_stop = (speaking or cut_in) and not stopped
            under = stop_under is not None and may_stop and stop_under(block)
            if insists(under, block) and self._overlap is not None:
                cut_in = stopped = self._overlap.cuts_in(STOP, never)
            ended = ear.AcceptWaveform(block.samples.tobytes())
            if not ended:
                so_far = Partial.model_validate_json(ear.PartialResult()).partial
                if speaking and not cut_in and self._overlap is not None:
                    so_far = self._overlap.technicians_text(so_far, block.at_s)
                    cut_in = self._overlap.cuts_in(so_far, meaning)
                    hushed_by_stop = cut_in and STOP in so_far.split()
                stopped = stopped or (cut_in and holds(STOP in so_far.split(), block))
                # The pause is looked for in the sound as it came: suppression makes gaps in words.
                as_it_came = block.samples if block.raw is None else block.raw
                if not end(STOP if stopped else so_far, as_it_came):
                    if not speaking and not so_far and (words := let_go.due(block.at_s)):
                        self._again = heard.tail(0.0)
                        return self._utterance(words, heard)
                    continue
            result = Result.model_validate_json(ear.Result() if ended else ear.FinalResult())
            words = self._technicians(result.result, heard)
            nothing = {word.word for word in words} <= {UNKNOWN}
            if STOP not in text_of(words).split() and (stopped or (hushed_by_stop and nothing)):
                # Heard once is heard: the recogniser has thought better of it, we don't.
                words.append(_just_now(STOP, heard))
            elif cut_in and not words:
                words.append(_just_now(UNKNOWN, heard))  # who was cut short asks again
            if words and speaking and not cut_in and self._overlap is not None:
                cut_in = self._overlap.cuts_in(text_of(words), meaning)
            if words and (cut_in or not self._overlapped(words, heard)):
                self._again = heard.tail(words[-1].end)
                if not cut_in:
                    words = self._second_thought(words, heard, phrases)
                return self._utterance(words, heard)
            if words:
                let_go.note(words, block.at_s)
            else:
                heard.forget()  # only quiet, and memory is to stay flat however long it lasts
        words = Result.model_validate_json(ear.FinalResult()).result
        if not words:
            return None
        return self._utterance(self._second_thought(words, heard, phrases), heard)

    def _stop_under(self, phrases: Sequence[str]) -> StopUnder | None:
        if self._overlap is None or not self._overlap.cancelled:
            return None
        return StopUnder(self._overlap, lambda: self._recogniser.build(phrases))

    def _overlap_at(self, block: Block) -> bool:
        return self._overlap is not None and self._overlap.speaking(block.at_s)

    def _overlap_cancelled(self) -> bool:
        return self._overlap is not None and self._overlap.cancelled

    def _technicians(self, words: list[Word], heard: Heard) -> list[Word]:
        """The technician's words; where he spoke and it can't be told what, an unknown one."""
        if self._overlap is None:
            return words
        theirs: list[Word] = []
        for word in words:
            start_s, end_s = heard.steady_s(word.start), heard.steady_s(word.end)
            whose = self._overlap.whose(word.word, start_s, end_s)
            if whose == "companion's":
                continue
            if not theirs and self._overlap.missed(start_s):
                # A number without its beginning is another number.
                begins_s = max(0.0, word.start - _BEGINNING_S)
                theirs.append(Word(word=UNKNOWN, start=begins_s, end=word.start))
            changes: dict[str, str | float] = {}
            if whose == "unclear":
                changes["word"] = UNKNOWN
            if self._overlap.drowned(start_s, end_s):
                changes["conf"] = 0.0
            theirs.append(word.model_copy(update=changes))
        return theirs

    def _second_thought(
        self, words: list[Word], heard: Heard, phrases: Sequence[str]
    ) -> list[Word]:
        """The words, or one ``[unk]`` if they were none of ours; "stop" stays "stop"."""
        said = {word.word for word in words}
        if STOP in said or said <= {UNKNOWN}:
            return words
        sound = heard.between(words[0].start, heard.given_s)
        if not self._recogniser.is_strange(phrases, sound.tobytes()):
            return words
        return [Word(word=UNKNOWN, start=words[0].start, end=words[-1].end)]

    def _overlapped(self, words: Sequence[Word], heard: Heard) -> bool:
        """Whether the companion still spoke when these words ended."""
        if self._overlap is None:
            return False
        return self._overlap.speaking(heard.steady_s(words[-1].end))

    def _next(self) -> Block | None:
        if self._again is not None:
            again, self._again = self._again, None
            return again
        return self._source.read()

    def _utterance(self, heard_words: Sequence[Word], heard: Heard) -> Utterance:
        words = tuple(
            HeardWord(
                text=word.word,
                confidence=min(max(word.conf, 0.0), 1.0),
                start_s=round(heard.source_s(word.start), 3),
                end_s=round(heard.source_s(word.end), 3),
            )
            for word in heard_words
        )
        clip = None
        if self._clips is not None:
            self._count += 1
            clip = self._clips / f"utterance-{self._count:04d}.flac"
            _keep(clip, heard.between(heard_words[0].start, heard_words[-1].end))
        return Utterance(
            text=" ".join(word.text for word in words),
            source=self._source.kind,
            words=words,
            clip=clip.name if clip else None,
        )

    def close(self) -> None:
        """Close the source."""
        self._source.close()
