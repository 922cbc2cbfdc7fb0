"""Listening to tapes of a technician, turn by turn."""

import weakref
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from companion.errors import BadRecording
from companion.hearing.heard import Heard
from companion.hearing.recogniser import Recogniser
from companion.hearing.recording import Recording
from companion.hearing.source import Block, Samples
from companion.hearing.spoken import SpokenEars

from .conftest import RATE, Sound, quiet

Say = Callable[[str], Sound]
ANSWERS = ["yes", "no", "open line", "zero point five ohms", "fifteen volts"]


def tape(path: Path, *parts: Sound) -> Recording:
    soundfile.write(path, np.concatenate(parts), RATE)
    return Recording(path)


def test_each_turn_takes_one_utterance_off_the_tape(
    recogniser: Recogniser, technician: Say, tmp_path: Path
) -> None:
    said = [technician(words) for words in ("zero point five ohms", "yes", "open line")]
    between = quiet(1.5)
    source = tape(tmp_path / "call.wav", quiet(0.5), said[0], between, said[1], between, said[2])
    ears = SpokenEars(recogniser, source)
    heard = [ears.listen(ANSWERS) for _ in range(3)]
    assert [utterance and utterance.text for utterance in heard] == [
        "zero point five ohms", "yes", "open line",
    ]  # fmt: skip
    assert ears.listen(ANSWERS) is None
    assert ears.listen(ANSWERS) is None
    begins = np.cumsum([0.5, *(len(part) / RATE + 1.5 for part in said[:-1])])
    for utterance, begin, part in zip(heard, begins, said, strict=True):
        assert utterance is not None
        assert utterance.source == "wav"
        times = [t for word in utterance.words for t in (word.start_s, word.end_s)]
        assert times == sorted(times)
        assert times[0] == pytest.approx(begin, abs=0.3)
        assert times[-1] == pytest.approx(begin + len(part) / RATE, abs=0.5)
        assert utterance.least_confidence is not None


def test_words_that_nothing_can_follow_are_not_waited_on(
    recogniser: Recogniser, technician: Say, tmp_path: Path
) -> None:
    """The same tape, heard with and without knowing that the reading is whole."""

    def heard_until(settled: Callable[[str], bool]) -> float:
        said = technician("zero point five ohms")
        source = tape(tmp_path / "call.wav", quiet(0.5), said, quiet(3.0))
        utterance = SpokenEars(recogniser, source).listen(ANSWERS, settled)
        assert utterance is not None
        assert utterance.text == "zero point five ohms"
        after = source.read()
        assert after is not None
        return after.start_s

    patient = heard_until(lambda text: False)
    early = heard_until(lambda text: text.endswith("ohms"))
    assert early <= patient - 0.15


def test_the_tape_stands_still_while_nobody_listens(
    recogniser: Recogniser, technician: Say, tmp_path: Path
) -> None:
    source = tape(
        tmp_path / "call.wav", quiet(0.5), technician("yes"), quiet(4), technician("no"), quiet(1)
    )
    ears = SpokenEars(recogniser, source)
    first = ears.listen(ANSWERS)
    assert first is not None
    assert first.text == "yes"
    after = source.read()
    assert after is not None
    # It stopped within the silence after the word, well before the next one.
    assert 0 < after.start_s - (first.words[-1].end_s or 0) < 2.5


class Tap:
    """The real recogniser, noting the sound that it is given in each turn."""

    def __init__(self, recogniser: Recogniser) -> None:
        self._recogniser = recogniser
        self.turns: list[bytes] = []

    def build(self, phrases: Sequence[str]) -> Any:
        self._ear = self._recogniser.build(phrases)
        self.turns.append(b"")
        return self

    def is_strange(self, phrases: Sequence[str], sound: bytes) -> bool:
        return self._recogniser.is_strange(phrases, sound)

    def AcceptWaveform(self, data: bytes) -> int:  # noqa: N802, vosk's own name
        self.turns[-1] += data
        return int(self._ear.AcceptWaveform(data))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._ear, name)


def test_no_sound_is_lost_between_two_turns(
    recogniser: Recogniser, technician: Say, tmp_path: Path
) -> None:
    parts = [part for words in ANSWERS for part in (quiet(1.3), technician(words))]
    ears = SpokenEars(tap := Tap(recogniser), tape(tmp_path / "call.wav", *parts))  # type: ignore[arg-type]
    while ears.listen(ANSWERS) is not None:
        pass
    assert len(tap.turns) > len(ANSWERS)
    whole = Recording(tmp_path / "call.wav")
    everything = b"".join(iter(lambda: (b := whole.read()) and b.samples.tobytes(), None))
    heard = b""
    for turn in tap.turns:
        # Each turn begins with the quiet that ended the one before, then goes on from there.
        again = next(n for n in range(6400, -1, -2) if heard.endswith(turn[:n]))
        assert not heard or again > 640 or not turn
        heard += turn[again:]
    assert heard == everything


def test_what_is_heard_again_never_holds_a_word_already_taken() -> None:
    heard = Heard()
    heard.blocks = [Block(5 + n * 0.04, np.full(640, n, np.int16)) for n in range(25)]
    assert heard.tail(2.0) is None
    late, early = heard.tail(0.9), heard.tail(0.1)
    assert late is not None
    assert early is not None
    assert (late.start_s, len(late.samples)) == (pytest.approx(5.9), 1600)
    assert (early.start_s, len(early.samples)) == (pytest.approx(5.8), 3200)
    assert early.samples[0] == 20


class Watched(Recording):
    """Knows how many of its blocks somebody still keeps."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self._refs: list[weakref.ref[Samples]] = []
        self.most_kept = 0

    def read(self) -> Block | None:
        block = super().read()
        if block is not None:
            fresh = Block(block.start_s, block.samples.copy())
            self._refs.append(weakref.ref(fresh.samples))
            self.most_kept = max(self.most_kept, sum(ref() is not None for ref in self._refs))
            return fresh
        return None


def test_long_quiet_is_no_utterance_and_is_not_kept(
    recogniser: Recogniser, technician: Say, tmp_path: Path
) -> None:
    path = tmp_path / "call.wav"
    tape(path, quiet(40), technician("zero point five ohms"), quiet(1.5))
    source = Watched(path)
    clips = tmp_path / "clips"
    utterance = SpokenEars(recogniser, source, clips).listen(ANSWERS)
    assert utterance is not None
    assert utterance.text == "zero point five ohms"
    assert utterance.words[0].start_s == pytest.approx(40, abs=0.4)
    assert utterance.clip is not None
    length = soundfile.info(clips / utterance.clip).duration
    assert length < len(technician("zero point five ohms")) / RATE + 1.0
    assert source.most_kept < 15 / 0.04


@pytest.mark.parametrize("quiet_s", np.arange(5.6, 6.5, 0.1).round(1))
def test_an_answer_that_begins_as_long_quiet_is_let_go_keeps_its_beginning(
    recogniser: Recogniser, technician: Say, tmp_path: Path, quiet_s: float
) -> None:
    said = technician("zero point five ohms")
    source = tape(tmp_path / "call.wav", quiet(quiet_s), said, quiet(1.5))
    utterance = SpokenEars(recogniser, source, tmp_path).listen(ANSWERS)
    assert utterance is not None
    assert utterance.text == "zero point five ohms"
    assert utterance.clip is not None
    clip, _ = soundfile.read(tmp_path / utterance.clip, dtype="float32")
    assert np.flatnonzero(np.abs(clip) > 0.02)[0] / RATE > 0.15


def test_a_tape_of_quiet_ends_without_a_word(recogniser: Recogniser, tmp_path: Path) -> None:
    assert SpokenEars(recogniser, tape(tmp_path / "call.wav", quiet(2))).listen(ANSWERS) is None


def test_the_sound_of_each_answer_is_kept(
    recogniser: Recogniser, technician: Say, tmp_path: Path
) -> None:
    clips = tmp_path / "clips"
    clips.mkdir()
    (clips / "utterance-0006.flac").write_bytes(b"from before the call was resumed")
    source = tape(
        tmp_path / "call.wav",
        quiet(2), technician("zero point five ohms"), quiet(1.5), technician("yes"), quiet(0.1),
    )  # fmt: skip
    ears = SpokenEars(recogniser, source, clips)
    first, second = ears.listen(ANSWERS), ears.listen(ANSWERS)
    ears.close()
    assert first is not None
    assert second is not None
    assert (first.clip, second.clip) == ("utterance-0007.flac", "utterance-0008.flac")
    clip = clips / "utterance-0007.flac"
    assert soundfile.info(clip).samplerate == RATE
    spoken_s = (first.words[-1].end_s or 0) - (first.words[0].start_s or 0)
    assert soundfile.info(clip).duration == pytest.approx(spoken_s + 0.6, abs=0.05)
    again = SpokenEars(recogniser, Recording(clip)).listen(ANSWERS)
    assert again is not None
    assert again.text == "zero point five ohms"


def test_a_recording_from_a_phone_is_heard_like_any_other(
    recogniser: Recogniser, technician: Say, tmp_path: Path
) -> None:
    import soxr

    said = np.concatenate([quiet(0.5), technician("fifteen volts"), quiet(1)])
    path = tmp_path / "phone.wav"
    soundfile.write(path, np.repeat(soxr.resample(said, RATE, 44100)[:, None], 2, axis=1), 44100)
    utterance = SpokenEars(recogniser, Recording(path)).listen(ANSWERS)
    assert utterance is not None
    assert utterance.text == "fifteen volts"


def test_a_tape_that_breaks_in_mid_call_says_so(
    recogniser: Recogniser, technician: Say, tmp_path: Path
) -> None:
    path = tmp_path / "call.flac"
    noise = np.random.default_rng(3).normal(0, 0.001, RATE * 8).astype(np.float32)
    begin = np.concatenate([quiet(0.3), technician("yes"), quiet(1.5)])
    noise[: len(begin)] += begin
    soundfile.write(path, noise, RATE)
    data = bytearray(path.read_bytes())
    data[len(data) * 3 // 4 : len(data) * 3 // 4 + 4000] = bytes(4000)
    path.write_bytes(data)
    ears = SpokenEars(recogniser, Recording(path))
    first = ears.listen(ANSWERS)
    assert first is not None
    assert first.text == "yes"
    with pytest.raises(BadRecording, match=r"call\.flac: it can't be read past"):
        ears.listen(ANSWERS)
