"""The demo hears its recording for real: other sound, other end."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from companion import cli
from companion.datafiles import folder
from companion.journal import JOURNAL, read
from companion.messages import Concluded, Spoken, Taken
from companion.turns import replay
from companion.understood import Utterance

DEMO_AUDIO = folder("dialogs") / "demo" / "wasp_nest.flac"
OTHER_CALL = Path(__file__).parent / "calls" / "frozen_valve.flac"


def demo(calls: Path, *options: str) -> tuple[int, Path]:
    status = cli.main(["demo", "--calls", str(calls), *options])
    (call,) = calls.iterdir()
    return status, call


def test_the_demo_reaches_circuit_and_part_from_audio(tmp_path, capsys, dialogs):
    status, call = demo(tmp_path)
    out = capsys.readouterr().out
    assert status == 0, out
    messages = [entry.message for entry in read(call / JOURNAL).entries]
    assert messages[-2] == Concluded(
        outcome="repaired", circuit="Y", part="contactor coil", proved=True
    )
    heard = [m for m in messages if isinstance(m, Utterance)]
    assert all(m.source == "wav" and m.words for m in heard)
    for clip in [m.clip for m in heard] + [m.clip for m in messages if isinstance(m, Spoken)]:
        assert soundfile.info(call / clip).duration > 0.2
    assert replay(dialogs, messages)[0].concluded == messages[-2]
    record = (call / "record.txt").read_text(encoding="utf-8")
    assert "Circuit    Y" in record
    assert "Part       contactor coil" in record
    for taken in (m for m in messages if isinstance(m, Taken)):
        assert str(taken.value) in record


def test_the_demo_fails_on_silence(tmp_path, capsys):
    silence = tmp_path / "silence.wav"
    rng = np.random.default_rng(1)
    soundfile.write(silence, rng.normal(0, 1e-4, 16000 * 78).astype(np.float32), 16000)
    status, call = demo(tmp_path / "calls", "--mute", "--audio", str(silence))
    assert status == 1
    assert not any(isinstance(e.message, Taken) for e in read(call / JOURNAL).entries)


def test_the_demo_fails_on_another_call(tmp_path, capsys):
    status, call = demo(tmp_path, "--mute", "--audio", str(OTHER_CALL))
    assert status == 1
    ends = [e.message for e in read(call / JOURNAL).entries if isinstance(e.message, Concluded)]
    assert all(end.circuit != "Y" for end in ends)


def test_the_other_call_reaches_its_own_end(tmp_path, capsys):
    status = cli.main(["call", "--mute", "--calls", str(tmp_path), "--wav", str(OTHER_CALL)])
    (call,) = tmp_path.iterdir()
    assert status == 0, capsys.readouterr().out
    assert read(call / JOURNAL).entries[-2].message == Concluded(
        outcome="repaired", circuit="O", part="reversing valve coil", proved=True
    )


def test_the_demo_in_fan_noise_at_20_db(tmp_path, capsys):
    """Broad-band noise over the whole recording, its power against that of the speech."""
    speech, rate = soundfile.read(DEMO_AUDIO, dtype="float32")
    rng = np.random.default_rng(7)
    noise = np.convolve(rng.normal(0, 1, len(speech) + 31), np.hanning(32), "valid")
    power = np.mean(speech[np.abs(speech) > 0.02] ** 2)
    noise *= np.sqrt(power / np.mean(noise**2) / 100)
    noisy = tmp_path / "noisy.wav"
    soundfile.write(noisy, speech + noise.astype(np.float32), rate)
    status, _ = demo(tmp_path / "calls", "--mute", "--audio", str(noisy))
    assert status == 0, capsys.readouterr().out
