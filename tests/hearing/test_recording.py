"""Sound files as technicians' phones and recorders make them, whole and broken."""

import io
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from companion.errors import BadRecording
from companion.hearing.recording import Recording
from companion.hearing.source import RATE, Block

TONE_HZ = 440


def tone(rate: int, seconds: float, channels: int = 1) -> np.ndarray:
    wave = 0.5 * np.sin(2 * np.pi * TONE_HZ * np.arange(round(rate * seconds)) / rate)
    return np.repeat(wave[:, None], channels, axis=1)


def encoded(samples: np.ndarray, rate: int, form: str, subtype: str) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, samples, rate, format=form, subtype=subtype)
    return file.getvalue()


def blocks(path: Path) -> list[Block]:
    recording, found = Recording(path), []
    try:
        while (block := recording.read()) is not None:
            found.append(block)
        assert recording.read() is None
    finally:
        recording.close()
    return found


@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 44100, 48000, 96000])
@pytest.mark.parametrize(
    ("form", "subtype", "channels"),
    [
        ("WAV", "PCM_U8", 1),
        ("WAV", "PCM_16", 2),
        ("WAV", "PCM_24", 1),
        ("WAV", "FLOAT", 2),
        ("WAV", "DOUBLE", 1),
        ("WAV", "ULAW", 1),
        ("WAV", "IMA_ADPCM", 1),
        ("WAVEX", "PCM_16", 6),
        ("WAVEX", "PCM_32", 2),
        ("FLAC", "PCM_16", 2),
        ("FLAC", "PCM_24", 1),
    ],
)
def test_the_same_tone_comes_out_of_every_kind_of_file(
    tmp_path: Path, rate: int, form: str, subtype: str, channels: int
) -> None:
    path = tmp_path / "tone"
    path.write_bytes(encoded(tone(rate, 1.0, channels), rate, form, subtype))
    found = blocks(path)
    assert all(0 < len(block.samples) <= RATE // 10 for block in found)
    ends = np.cumsum([0, *(len(block.samples) for block in found)]) / RATE
    assert np.allclose([block.start_s for block in found], ends[:-1])
    # ADPCM fills up its last packet of some hundred samples with silence.
    assert ends[-1] == pytest.approx(1.0, abs=0.13 if subtype == "IMA_ADPCM" else 0.002)
    sound = np.concatenate([block.samples for block in found])[: RATE - 800] / 32768
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    assert spectrum.argmax() * RATE / len(sound) == pytest.approx(TONE_HZ, abs=1.5)
    middle = sound[2000:-2000]
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(0.5 / np.sqrt(2), rel=0.03)


WHOLE = {
    name: encoded(tone(rate, 0.3, channels), rate, form, subtype)
    for name, rate, channels, form, subtype in [
        ("telephone", 8000, 1, "WAV", "ULAW"),
        ("phone", 44100, 2, "WAV", "PCM_16"),
        ("studio", 16000, 2, "WAVEX", "PCM_24"),
        ("float", 16000, 1, "WAV", "FLOAT"),
        ("flac", 16000, 1, "FLAC", "PCM_16"),
    ]
}


@pytest.mark.parametrize("name", WHOLE)
def test_uncut_they_can_be_read_to_their_end(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(WHOLE[name])
    assert sum(len(block.samples) for block in blocks(path)) == pytest.approx(0.3 * RATE, abs=16)


@pytest.mark.parametrize("name", WHOLE)
@given(data=st.data())
def test_a_file_cut_anywhere_is_refused(
    tmp_path_factory: pytest.TempPathFactory, name: str, data: st.DataObject
) -> None:
    whole = WHOLE[name]
    cut = data.draw(st.integers(0, len(whole) - 1) | st.integers(len(whole) - 40, len(whole) - 1))
    path = tmp_path_factory.getbasetemp() / f"cut-{name}"
    path.write_bytes(whole[:cut])
    with pytest.raises(BadRecording, match=f"cut-{name}"):
        Recording(path)  # at once, and not in the middle of a call


def test_what_is_wrong_is_named(tmp_path: Path) -> None:
    def refused(path: Path, *parts: bytes) -> str:
        if parts:
            path.write_bytes(b"".join(parts))
        with pytest.raises(BadRecording) as caught:
            blocks(path)
        assert str(path) in caught.value.what
        return caught.value.what

    whole, silent = WHOLE["phone"], encoded(tone(8000, 0), 8000, "WAV", "PCM_16")
    assert "No such file" in refused(tmp_path / "none.wav")
    assert "directory" in refused(tmp_path)
    assert "the file is empty" in refused(tmp_path / "0.wav", b"")
    assert "neither a WAV nor a FLAC" in refused(tmp_path / "note.wav", b"Y to C 0.5 ohms\n")
    assert "no sound" in refused(tmp_path / "silent.wav", silent)
    there = f"{len(whole) - 999} bytes of {len(whole)} are there"
    assert there in refused(tmp_path / "short.wav", whole[:-999])
    assert "can't be read as sound" in refused(
        tmp_path / "odd.wav", whole[:20], struct.pack("<H", 0x7FFE), whole[22:]
    )
    assert "no rate for speech" in refused(
        tmp_path / "slow.wav", encoded(tone(1000, 1), 1000, "WAV", "PCM_16")
    )
    # A recorder whose battery died never went back to fill in the sizes.
    unfinished = whole[:4] + b"\xff\xff\xff\xff" + whole[8:40] + b"\xff\xff\xff\xff" + whole[44:]
    assert "cut short" in refused(tmp_path / "unfinished.wav", unfinished)


def test_a_flac_damaged_in_the_middle_says_how_far_it_can_be_read(tmp_path: Path) -> None:
    noise = np.random.default_rng(2).normal(0, 0.1, (RATE * 4, 1))
    data = bytearray(encoded(noise, RATE, "FLAC", "PCM_16"))
    middle = len(data) // 2
    data[middle : middle + 2000] = bytes(2000)
    path = tmp_path / "scratched.flac"
    path.write_bytes(data)
    with pytest.raises(BadRecording, match=r"can't be read past [12]\.\d s"):
        blocks(path)


def test_digital_silence_gets_a_faint_noise_and_always_the_same(tmp_path: Path) -> None:
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(RATE), RATE)
    first, again = (np.concatenate([b.samples for b in blocks(path)]) for _ in range(2))
    assert np.array_equal(first, again)
    assert 1.5 < np.std(first) < 2.5
    assert np.abs(first).max() < 20


def test_samples_that_are_no_numbers_do_no_harm(tmp_path: Path) -> None:
    samples = tone(RATE, 0.1)[:, 0]
    samples[100], samples[200], samples[300] = np.nan, np.inf, 7.0
    path = tmp_path / "odd.wav"
    soundfile.write(path, samples, RATE, subtype="DOUBLE")
    sound = np.concatenate([block.samples for block in blocks(path)])
    assert abs(int(sound[100])) < 20
    assert sound[200] >= 32750
    assert sound[300] == 32767
