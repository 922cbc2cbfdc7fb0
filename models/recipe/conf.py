"""The model folder's settings: features, search, endpoints."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

FEATURE_OPTIONS = {
    "use-energy": "false",
    "num-mel-bins": "40",
    "num-ceps": "40",
    "low-freq": "20",
    "high-freq": "7600",
    "dither": "0",
    "allow-upsample": "true",
    "allow-downsample": "true",
}
"""Kaldi's MFCC options; features.py computes the same in training."""


@dataclass(frozen=True)
class Search:
    """Decoder settings. Delays are seconds of silence after which an utterance is taken as
    ended."""

    acoustic_scale: float = 0.5
    beam: float = 10.0
    lattice_beam: float = 6.0
    """Wide, because word confidence is the share of the paths kept in the lattice."""
    min_active: int = 200
    max_active: int = 3000
    frames_at_once: int = 12
    """Of 10 ms: words can't come sooner than a chunk is full."""
    after_good_end: float = 0.4
    """The words so far end where a phrase may end, and the decoder is sure of it."""
    after_fair_end: float = 0.5
    after_any_end: float = 0.6
    before_speech: float = 6.0
    """Nothing was said yet."""

    def lines(self) -> list[str]:
        """Contents of conf/model.conf."""
        return [
            f"--min-active={self.min_active}",
            f"--max-active={self.max_active}",
            f"--beam={self.beam}",
            f"--lattice-beam={self.lattice_beam}",
            f"--acoustic-scale={self.acoustic_scale}",
            "--frame-subsampling-factor=3",
            f"--frames-per-chunk={self.frames_at_once}",
            "--endpoint.silence-phones=1",
            f"--endpoint.rule1.min-trailing-silence={self.before_speech}",
            f"--endpoint.rule2.min-trailing-silence={self.after_good_end}",
            f"--endpoint.rule3.min-trailing-silence={self.after_fair_end}",
            f"--endpoint.rule4.min-trailing-silence={self.after_any_end}",
        ]


def write(folder: Path, search: Search) -> None:
    """Writes the conf folder of a model. Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "mfcc.conf").write_text(
        "".join(f"--{name}={value}\n" for name, value in FEATURE_OPTIONS.items()), "utf-8"
    )
    (folder / "model.conf").write_text("".join(f"{line}\n" for line in search.lines()), "utf-8")
