"""Trains the acoustic network: `python -m models.recipe.train PACK... --watch PACK --out OUT
--minutes 9` (PyTorch, GPU or CPU).

PACK is a folder made by pack.py. OUT gets weights.npz after every few passes, and curve.csv: pass,
seconds, learning rate, training loss, loss on unseen texts in training voices, loss on held-out
voices (watched, not chosen by).
"""

from __future__ import annotations

import argparse
import csv
import math
import random
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from models.recipe import augment, features
from models.recipe.corpus import Corpus, batches, load
from models.recipe.loss import path_sum_loss
from models.recipe.network import STRIDE, Network
from models.recipe.topology import CLASSES
from models.recipe.weights import PRIOR_FLOOR

STRETCHES = tuple(round(0.82 + 0.03 * step, 2) for step in range(14))
"""Vocal tract factors tried in training."""
PRIOR_SCALE = 0.5
_SILENT_SHARE = 0.03
_PRIOR_PACE = 0.02


@dataclass
class Trainer:
    """Network, features and running prior on one device."""

    network: Network
    mfcc: features.Mfcc
    generator: torch.Generator
    mean: Tensor
    scale: Tensor
    prior: Tensor

    @property
    def device(self) -> torch.device:
        """Where training happens."""
        return self.mean.device

    def heard(
        self, corpus: Corpus, rows: Tensor, silent: int | None = None
    ) -> tuple[Tensor, Tensor]:
        """Features (batch, frames, 40), not normalised, and the frames of each row.

        Clean when `silent` is None; else as a microphone hears it, the first `silent` rows without
        speech.
        """
        draw = augment.Draw(len(rows), self.generator)
        placed = augment.place(corpus.pool, corpus.starts[rows], corpus.lengths[rows], draw)
        frames = (placed.stop - features.WINDOW) // features.HOP + 1
        if silent is None:
            samples = torch.round(placed.samples * 20000 + 5 * draw.normal(placed.samples.shape[1]))
            return self.mfcc.cepstra(self.mfcc.log_mel(samples)), frames
        plain = torch.round(draw.between(0, len(STRETCHES) - 1)).long().squeeze(1)
        bank = torch.where(draw.chance(0.35).squeeze(1) > 0, STRETCHES.index(1.0), plain)
        log_mel = self.mfcc.log_mel(augment.to_microphone(placed, draw, silent), bank)
        tempo = random.uniform(0.85, 1.4) if random.random() < 0.5 else 1.0
        slow = torch.nn.functional.interpolate(
            log_mel.transpose(1, 2), scale_factor=tempo, mode="linear"
        )
        hidden = augment.hide(slow.transpose(1, 2), draw)
        return self.mfcc.cepstra(hidden), (frames * tempo).long().clamp(max=hidden.shape[1])

    def inputs(self, cepstra: Tensor, frames: Tensor, noisy: bool) -> tuple[Tensor, Tensor]:
        """Network input (batch, 40, frames + context) and output frames of each row; noisy ones
        start anywhere."""
        normal = (cepstra - self.mean) / self.scale
        if noisy:
            skipped = random.randrange(STRIDE)  # the recogniser's stride may fall on any frame
            normal, frames = normal[:, skipped:], frames - skipped
            normal = augment.drop_frames(normal, augment.Draw(len(frames), self.generator))
        padded = torch.nn.functional.pad(
            normal.transpose(1, 2),
            (self.network.context, self.network.context + STRIDE),
            mode="replicate",
        )
        return padded, (frames + STRIDE - 1) // STRIDE

    def measure(self, corpus: Corpus, groups: list[Tensor]) -> float:
        """Mean loss per frame on clean speech, prior divided out as in training."""
        self.network.eval()
        losses: list[Tensor] = []
        with torch.no_grad():
            for rows in groups:
                inputs, frames = self.inputs(*self.heard(corpus, rows), noisy=False)
                scores = self.network(inputs) - PRIOR_SCALE * torch.log(self.prior + PRIOR_FLOOR)
                losses.append(path_sum_loss(scores, frames, corpus.targets.take(rows)))
        self.network.train()
        return float(torch.cat(losses).mean())

    def step(self, corpus: Corpus, rows: Tensor) -> Tensor:
        """Loss of one noisy batch, to be differentiated; moves the running prior."""
        silent = sum(random.random() < _SILENT_SHARE for _ in range(len(rows)))
        with torch.no_grad():
            inputs, frames = self.inputs(*self.heard(corpus, rows, silent), noisy=True)
        scores = self.network(inputs)
        with torch.no_grad():
            valid = torch.arange(scores.shape[1], device=self.device)[None] < frames[:, None]
            self.prior = (1 - _PRIOR_PACE) * self.prior + _PRIOR_PACE * scores.exp()[valid].mean(0)
        scores = scores - PRIOR_SCALE * torch.log(self.prior + PRIOR_FLOOR)
        return path_sum_loss(scores, frames, corpus.targets.take(rows, silent))

    def save(self, path: Path) -> None:
        """Writes the folded layers and the prior."""
        arrays = {
            name: array.numpy()
            for name, array in self.network.folded(self.mean, self.scale).items()
        }
        arrays["pri"] = self.prior.cpu().numpy()
        np.savez_compressed(path, **arrays)  # type: ignore[arg-type]


def learning_rate(progress: float, peak: float) -> float:
    """Warm-up over the first twentieth, then half a cosine down to nearly nothing; progress runs
    from 0 to 1."""
    warm = min(1.0, progress / 0.05)
    return peak * warm * (0.5 + 0.5 * math.cos(math.pi * max(0.0, progress - 0.05) / 0.95)) + 1e-6


def prepare(corpus: Corpus, args: argparse.Namespace, device: torch.device) -> Trainer:
    """A fresh network and the mean and spread of its input over some noisy batches."""
    generator = torch.Generator(device).manual_seed(args.seed)
    network = Network(args.width, args.residual, args.dropout).to(device)
    zero, one = (
        torch.zeros(features.BANDS, device=device),
        torch.ones(features.BANDS, device=device),
    )
    prior = torch.full((CLASSES,), 1 / CLASSES, device=device)
    trainer = Trainer(network, features.Mfcc(device, STRETCHES), generator, zero, one, prior)
    some = torch.randperm(len(corpus.starts))[:1200].split(60)  # type: ignore[no-untyped-call]
    frames = torch.cat(
        [trainer.heard(corpus, rows.to(device), 0)[0].reshape(-1, features.BANDS) for rows in some]
    )
    trainer.mean, trainer.scale = frames.mean(0), frames.std(0) + 1e-3
    if args.start:
        with np.load(args.start) as archive:
            arrays = {name: torch.from_numpy(archive[name]).float() for name in archive.files}
        trainer.prior = arrays["pri"].to(device)
        inputs, _ = trainer.inputs(
            *trainer.heard(corpus, torch.cat(some[:10]).to(device), 0), noisy=True
        )
        network.unfold(arrays, trainer.mean, trainer.scale, inputs)
    return trainer


def train(args: argparse.Namespace) -> None:
    """Trains for the minutes asked and leaves the last weights."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(args.seed)
    random.seed(args.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    corpus, watched = load(args.packs, device, args.joined), load([args.watch], device)
    order = torch.randperm(len(corpus.starts))
    unseen, seen = order[: len(order) // 50], order[len(order) // 50 :]
    trainer = prepare(corpus, args, device)
    optimiser = torch.optim.AdamW(trainer.network.parameters(), args.peak, weight_decay=2e-3)
    args.out.mkdir(parents=True, exist_ok=True)
    print(
        f"{len(seen)} utterances, {float(corpus.lengths[seen].sum()) / 16000 / 3600:.2f} h",
        flush=True,
    )
    print(
        f"{sum(part.numel() for part in trainer.network.parameters())} parameters on {device}",
        flush=True,
    )
    begun, passes = time.monotonic(), 0
    with (args.out / "curve.csv").open("w", newline="", encoding="utf-8") as file:
        curve = csv.writer(file)
        curve.writerow(
            [
                "pass",
                "seconds",
                "learning_rate",
                "training_loss",
                "unseen_texts_loss",
                "held_out_voices_loss",
            ]
        )
        progress = 0.0
        while progress < 1:
            losses: list[Tensor] = []
            for rows in batches(corpus, seen, args.batch_seconds):
                progress = (time.monotonic() - begun) / (args.minutes * 60)
                if progress >= 1:
                    break
                for group in optimiser.param_groups:
                    group["lr"] = learning_rate(progress, args.peak)
                loss = (
                    trainer.step(corpus, rows).clamp(max=20).mean()
                )  # an utterance too fast for its phones can't pull
                optimiser.zero_grad()
                loss.backward()  # type: ignore[no-untyped-call]
                torch.nn.utils.clip_grad_norm_(trainer.network.parameters(), 5.0)
                optimiser.step()
                losses.append(loss.detach())
            passes += 1
            if passes % 5 == 1 or progress >= 1:
                checks = [
                    trainer.measure(c, batches(c, r, 600))
                    for c, r in ((corpus, unseen), (watched, watched.rows))
                ]
                mean = float(torch.stack(losses).mean()) if losses else math.nan
                row = [
                    round(time.monotonic() - begun),
                    learning_rate(min(progress, 1), args.peak),
                    mean,
                    *checks,
                ]
                curve.writerow([passes, *(round(value, 6) for value in row)])
                file.flush()
                print(passes, *(f"{value:.4g}" for value in row), flush=True)
                trainer.save(args.out / "weights.npz")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="train the acoustic network")
    parser.add_argument("packs", type=Path, nargs="+")
    parser.add_argument(
        "--watch", type=Path, required=True, help="pack of held-out voices, for the curve only"
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument(
        "--start", type=Path, help="weights to go on from, of the same width and depth"
    )
    parser.add_argument(
        "--joined", type=float, default=0.3, help="joined utterances for each one read"
    )
    parser.add_argument("--minutes", type=float, default=9)
    parser.add_argument("--width", type=int, default=448)
    parser.add_argument("--residual", type=int, default=6)
    parser.add_argument("--dropout", type=float, default=0.1)
    parser.add_argument("--peak", type=float, default=2e-3, help="highest learning rate")
    parser.add_argument("--batch-seconds", type=float, default=700)
    parser.add_argument("--seed", type=int, default=1)
    train(parser.parse_args())


if __name__ == "__main__":
    main()
