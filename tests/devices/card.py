"""A sound card made of software: PulseAudio with three null sinks, private to one test.

``spk`` is the loudspeaker, ``lips`` what the technician says, and the monitor of ``mic``
is the microphone: it hears the lips, a little noise and, if the test wants, the
loudspeaker. The monitors of the first two are the wires to measure on.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

RATE = 16_000
BLOCK = RATE // 100
SPEECH_DBFS = -50.0

Sound = NDArray[np.float32]

_SCRIPT = """
load-module module-native-protocol-unix auth-anonymous=1 socket={folder}/native
load-module module-null-sink sink_name=spk rate=48000 channels=2
load-module module-null-sink sink_name=lips rate=48000 channels=1
load-module module-null-sink sink_name=mic rate=48000 channels=1
load-module module-null-sink sink_name=nothing
set-default-sink spk
set-default-source mic.monitor
"""

_ALSA = """
pcm.!default { type pulse }
ctl.!default { type pulse }
pcm.headset {
  type asym
  playback.pcm { type pulse device "spk" }
  capture.pcm { type pulse device "mic.monitor" }
  hint { show on description "headset" }
}
"""


def why_not() -> str | None:
    """Why no card can be made here; None when one can."""
    needed = ("pulseaudio", "pactl", "parec", "pacat")
    missing = [name for name in needed if shutil.which(name) is None]
    if missing:
        return f"not installed: {', '.join(missing)} (Debian: pulseaudio, pulseaudio-utils)"
    try:
        import sounddevice  # noqa: F401
    except OSError:
        return "not installed: PortAudio (Debian: libportaudio2)"
    if not list(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so")):
        return "not installed: ALSA's way to PulseAudio (Debian: libasound2-plugins)"
    return None


def pcm(sound: Sound) -> bytes:
    data: bytes = (np.clip(sound, -1, 1) * 32767).astype(np.int16).tobytes()
    return data


class Wire:
    """What goes over one monitor: the level of each 10 ms, and when it arrived."""

    def __init__(self, card: Card, source: str) -> None:
        self.blocks: list[tuple[float, float]] = []
        self.sound: list[bytes] = []
        self._process = card.run(
            "parec", f"--device={source}", "--raw", f"--rate={RATE}", "--channels=1",
            "--format=s16le", "--latency-msec=10", stdout=subprocess.PIPE,
        )  # fmt: skip
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop listening. One left open costs the server work for as long as the card is there."""
        self._process.kill()
        self._process.wait()
        self._thread.join()

    def _read(self) -> None:
        assert self._process.stdout is not None
        while data := self._process.stdout.read(2 * BLOCK):
            samples = np.frombuffer(data, np.int16).astype(np.float64) / 32768
            level = 10 * np.log10(np.mean(samples**2) + 1e-12)
            self.blocks.append((time.monotonic(), float(level)))
            self.sound.append(data)

    def loud(self, since_s: float, until_s: float = float("inf")) -> list[float]:
        """Moments at which there was sound."""
        newest = len(self.blocks)
        found = []
        for at_s, level in reversed(self.blocks[:newest]):
            if at_s < since_s:
                break
            if level > SPEECH_DBFS and at_s < until_s:
                found.append(at_s)
        return found[::-1]

    def quiet_for(self, since_s: float) -> float:
        """Seconds without a sound until now, of those after ``since_s``."""
        last = self.loud(since_s)
        return time.monotonic() - (last[-1] if last else since_s)


class Card:
    """The running card.

    Args:
        folder: an empty one, for its socket and settings.
    """

    def __init__(self, folder: Path) -> None:
        self._processes: list[subprocess.Popen[bytes]] = []
        run = folder / "run"
        run.mkdir(mode=0o700, parents=True)
        (folder / ".asoundrc").write_text(_ALSA)
        (folder / "default.pa").write_text(_SCRIPT.format(folder=folder))
        self.environment = os.environ | {
            "HOME": str(folder), "XDG_RUNTIME_DIR": str(run), "PULSE_RUNTIME_PATH": str(run),
            "PULSE_STATE_PATH": str(folder), "PULSE_SERVER": f"unix:{folder}/native",
            "XDG_CONFIG_HOME": str(folder / "config"),
        }  # fmt: skip
        # Started without a server to be: a client of its own socket it can't be.
        own = {k: v for k, v in self.environment.items() if k != "PULSE_SERVER"}
        self._server = subprocess.Popen(
            ["pulseaudio", "-n", "-F", str(folder / "default.pa"), "--daemonize=no",
             "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm=yes",
             "--realtime=no", "--high-priority=no", f"--log-target=file:{folder}/log"],
            env=own, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        until = time.monotonic() + 10
        while not (folder / "native").exists():
            if time.monotonic() > until or self._server.poll() is not None:
                raise RuntimeError(f"PulseAudio did not start: {self._log(folder)}")
            time.sleep(0.05)
        self.plugged()

    @staticmethod
    def _log(folder: Path) -> str:
        log = folder / "log"
        return log.read_text()[-2000:] if log.exists() else "no log"

    def run(self, *command: str, **options: int) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(command, env=self.environment, **options)  # type: ignore[call-overload]
        self._processes.append(process)
        return process  # type: ignore[no-any-return]

    def control(self, *command: str) -> str:
        done = subprocess.run(
            ["pactl", *command], env=self.environment, capture_output=True, text=True, check=True
        )
        return done.stdout.strip()

    def say(self, sound: Sound, sink: str = "lips") -> subprocess.Popen[bytes]:
        """Play, without waiting."""
        process = self.run(
            "pacat", f"--device={sink}", "--raw", f"--rate={RATE}", "--channels=1",
            "--format=s16le", "--latency-msec=20", stdin=subprocess.PIPE,
        )  # fmt: skip

        def feed() -> None:
            assert process.stdin is not None
            with contextlib.suppress(OSError):
                process.stdin.write(pcm(sound))
                process.stdin.close()

        threading.Thread(target=feed, daemon=True).start()
        return process

    def plugged(self) -> None:
        """The microphone hears the lips, and noise 75 dB under full scale as any does."""
        self._lead("lips", 1.0)
        rng = np.random.default_rng(1)
        self._noise = self.say(
            rng.normal(0, 10 ** (-75 / 20), RATE * 1200).astype(np.float32), "mic"
        )

    def echo(self, volume: float) -> None:
        """Let the microphone hear the loudspeaker, after a moment, at this share of its level."""
        self._lead("spk", volume)

    def _lead(self, sink: str, volume: float) -> None:
        """Volume is a factor on the amplitude; the server's own scale is its cube root."""
        module = self.control(
            "load-module", "module-loopback", f"source={sink}.monitor", "sink=mic",
            "latency_msec=100",
        )  # fmt: skip
        for line in self.control("list", "short", "sink-inputs").splitlines():
            if line.split()[3] == "module-loopback.c":
                newest = line.split()[0]
        assert module
        self.control("set-sink-input-volume", newest, f"{volume ** (1 / 3) * 65536:.0f}")

    def pull(self) -> None:
        """Pull the microphone out. The server moves who listens to a source that gives nothing."""
        self.control("set-default-source", "nothing.monitor")
        self.control("suspend-sink", "nothing", "1")
        self._noise.kill()
        for wanted in ("module-loopback", "sink_name=mic"):
            for line in self.control("list", "short", "modules").splitlines():
                if wanted in line:
                    self.control("unload-module", line.split()[0])

    def put_back(self) -> None:
        """Plug it in again."""
        self.control("load-module", "module-null-sink", "sink_name=mic", "rate=48000", "channels=1")
        self.control("set-default-source", "mic.monitor")
        self.plugged()

    def close(self) -> None:
        for process in [*self._processes, self._server]:
            process.kill()
            process.wait()


@contextlib.contextmanager
def card(folder: Path) -> Iterator[Card]:
    made = Card(folder)
    try:
        yield made
    finally:
        made.close()


def segments(sound: Sound, gap_s: float = 0.7) -> list[Sound]:
    """A recording cut where it is quiet for longer than ``gap_s``, each with a margin."""
    frame = RATE // 50
    frames = sound[: len(sound) // frame * frame].reshape(-1, frame)
    loud = np.flatnonzero(np.sqrt((frames**2).mean(axis=1)) > 10 ** (-45 / 20))
    breaks = np.flatnonzero(np.diff(loud) > gap_s * 50)
    starts, ends = loud[np.r_[0, breaks + 1]], loud[np.r_[breaks, len(loud) - 1]]
    return [
        sound[max(0, (s - 4) * frame) : (e + 5) * frame] for s, e in zip(starts, ends, strict=True)
    ]
