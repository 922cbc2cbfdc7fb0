"""Trains the acoustic network: `python -m models.recipe.train PACK... --watch PACK --out OUT
--minutes 9` (PyTorch, GPU or CPU).

PACK is a folder made by pack.py. OUT gets weights.npz after every few passes, and curve.csv: pass,
seconds, learning rate, training loss, loss on unseen texts in training voices, loss on held-out
voices, quiet and in noise (watched, not chosen by).
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import random
import time
from pathlib import Path

import torch
from torch import Tensor

from models.recipe.corpus import batches, load
from models.recipe.network import Network, Shape
from models.recipe.trainer import Hardship, prepare, sieved


def learning_rate(progress: float, peak: float) -> float:
    """Warm-up over the first twentieth, then half a cosine down to nearly nothing; progress runs
    from 0 to 1."""
    warm = min(1.0, progress / 0.05)
    return peak * warm * (0.5 + 0.5 * math.cos(math.pi * max(0.0, progress - 0.05) / 0.95)) + 1e-6


def train(args: argparse.Namespace) -> None:
    """Trains for the minutes asked and leaves the last weights."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(args.seed)
    random.seed(args.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    corpus, watched = load(args.packs, device, args.joined), load([args.watch], device)
    rows = sieved(corpus, args.sieve, args.sieve_share, device) if args.sieve else corpus.rows
    order = rows[torch.randperm(len(rows))]
    unseen, seen = order[: len(order) // 50], order[len(order) // 50 :]
    shape = Shape(args.width, args.rank, tuple(map(tuple, json.loads(args.deep))))
    network = Network(shape, args.dropout).to(device)
    hardship = Hardship(not args.narrow, args.hidden)
    generator = torch.Generator(device).manual_seed(args.seed)
    trainer = prepare(corpus, network, hardship, generator, args.start, args.teachers)
    trainer.teaching = args.teaching
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
                "held_out_voices_in_noise_loss",
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
                loss = trainer.step(corpus, rows)
                optimiser.zero_grad()
                loss.backward()  # type: ignore[no-untyped-call]
                torch.nn.utils.clip_grad_norm_(trainer.network.parameters(), 5.0)
                optimiser.step()
                losses.append(loss.detach())
            passes += 1
            if passes % 5 == 1 or progress >= 1:
                checks = [
                    float(trainer.losses(c, batches(c, r, 600), noisy).mean())
                    for c, r, noisy in (
                        (corpus, unseen, False),
                        (watched, watched.rows, False),
                        (watched, watched.rows, True),
                    )
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
    parser.add_argument("--start", type=Path, help="weights to go on from, of the same shape")
    parser.add_argument(
        "--joined", type=float, default=0.3, help="joined utterances for each one read"
    )
    parser.add_argument("--minutes", type=float, default=9)
    parser.add_argument("--width", type=int, default=448)
    parser.add_argument("--rank", type=int, default=0, help="of each residual layer, 0 for full")
    parser.add_argument(
        "--deep", default=json.dumps([[-3, 0, 3]] * 6), help="offsets of the residual layers (JSON)"
    )
    parser.add_argument("--narrow", action="store_true", help="fewer kinds of noise and lines")
    parser.add_argument("--hidden", type=int, default=2, help="strips and stretches hidden")
    parser.add_argument(
        "--teachers", type=Path, nargs="*", default=[], help="weights to learn from"
    )
    parser.add_argument("--teaching", type=float, default=0.5, help="weight of their opinion")
    parser.add_argument("--sieve", type=Path, help="weights that judge which speech is bad")
    parser.add_argument("--sieve-share", type=float, default=0.015)
    parser.add_argument("--dropout", type=float, default=0.1)
    parser.add_argument("--peak", type=float, default=2e-3, help="highest learning rate")
    parser.add_argument("--batch-seconds", type=float, default=700)
    parser.add_argument("--seed", type=int, default=1)
    train(parser.parse_args())


if __name__ == "__main__":
    main()
