"""One network in training: what it hears, how far off it is, and the weights that it leaves."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from models.recipe import augment, features
from models.recipe.corpus import Corpus, batches
from models.recipe.loss import path_sum_loss
from models.recipe.network import STRIDE, Arrays, Network, restored
from models.recipe.placing import Draw, place
from models.recipe.topology import CLASSES
from models.recipe.weights import PRIOR_FLOOR
from models.recipe.widen import widened

STRETCHES = tuple(round(0.82 + 0.03 * step, 2) for step in range(14))
"""Vocal tract factors tried in training."""
PRIOR_SCALE = 0.5
_SILENT_SHARE = 0.03
_PRIOR_PACE = 0.02


@dataclass(frozen=True)
class Hardship:
    """How hard training makes it to hear: more kinds of noise and lines or not, and how many
    strips of bands and stretches of time are hidden."""

    wide: bool = True
    hidden: int = 2


@dataclass
class Trainer:
    """Network, features and running prior on one device. Teachers are networks whose mean opinion
    of each frame it also learns."""

    network: Network
    mfcc: features.Mfcc
    generator: torch.Generator
    hardship: Hardship
    mean: Tensor
    scale: Tensor
    prior: Tensor
    teachers: list[Network] = field(default_factory=list)
    teaching: float = 1.0
    """Weight of the teachers' opinion (per frame, in nats) beside the path criterion."""

    @property
    def device(self) -> torch.device:
        """Where training happens."""
        return self.mean.device

    @property
    def _reach(self) -> tuple[int, int]:
        nets = [self.network, *self.teachers]
        return max(net.left for net in nets), max(net.right for net in nets)

    def _run(self, network: Network, inputs: Tensor) -> Tensor:
        left, right = self._reach
        stop = inputs.shape[2] - (right - network.right)
        return network(inputs[:, :, left - network.left : stop])  # type: ignore[no-any-return]

    def heard(
        self, corpus: Corpus, rows: Tensor, silent: int | None = None
    ) -> tuple[Tensor, Tensor]:
        """Features (batch, frames, 40), not normalised, and the frames of each row.

        Clean when `silent` is None; else as a microphone hears it, the first `silent` rows without
        speech.
        """
        draw = Draw(len(rows), self.generator)
        placed = place(corpus.pool, corpus.starts[rows], corpus.lengths[rows], draw)
        frames = (placed.stop - features.WINDOW) // features.HOP + 1
        if silent is None:
            samples = torch.round(placed.samples * 20000 + 5 * draw.normal(placed.samples.shape[1]))
            return self.mfcc.cepstra(self.mfcc.log_mel(samples)), frames
        plain = torch.round(draw.between(0, len(STRETCHES) - 1)).long().squeeze(1)
        bank = torch.where(draw.chance(0.35).squeeze(1) > 0, STRETCHES.index(1.0), plain)
        sound = augment.to_microphone(placed, draw, silent, self.hardship.wide)
        log_mel = self.mfcc.log_mel(sound, bank)
        tempo = random.uniform(0.85, 1.4) if random.random() < 0.5 else 1.0
        slow = torch.nn.functional.interpolate(
            log_mel.transpose(1, 2), scale_factor=tempo, mode="linear"
        )
        hidden = augment.hide(slow.transpose(1, 2), draw, self.hardship.hidden)
        return self.mfcc.cepstra(hidden), (frames * tempo).long().clamp(max=hidden.shape[1])

    def inputs(self, cepstra: Tensor, frames: Tensor, noisy: bool) -> tuple[Tensor, Tensor]:
        """Network input (batch, 40, frames + context) and output frames of each row; noisy ones
        start anywhere."""
        normal = (cepstra - self.mean) / self.scale
        if noisy:
            skipped = random.randrange(STRIDE)  # the recogniser's stride may fall on any frame
            normal, frames = normal[:, skipped:], frames - skipped
            draw = Draw(len(frames), self.generator)
            normal = augment.drop_frames(normal, draw, self.hardship.hidden)
        left, right = self._reach
        padded = torch.nn.functional.pad(
            normal.transpose(1, 2), (left, right + STRIDE), mode="replicate"
        )
        return padded, (frames + STRIDE - 1) // STRIDE

    def losses(self, corpus: Corpus, groups: list[Tensor], noisy: bool = False) -> Tensor:
        """Loss per frame of each utterance of the groups, on clean speech or as a microphone hears
        it; prior divided out as in training."""
        self.network.eval()
        found: list[Tensor] = []
        with torch.no_grad():
            for rows in groups:
                heard = self.heard(corpus, rows, 0 if noisy else None)
                inputs, frames = self.inputs(*heard, noisy=False)
                scores = self._run(self.network, inputs) - self._prior_share()
                found.append(path_sum_loss(scores, frames, corpus.targets.take(rows)))
        self.network.train()
        return torch.cat(found).clamp(max=20)

    def _prior_share(self) -> Tensor:
        return PRIOR_SCALE * torch.log(self.prior + PRIOR_FLOOR)

    def step(self, corpus: Corpus, rows: Tensor) -> Tensor:
        """Loss of one noisy batch, to be differentiated; moves the running prior."""
        silent = sum(random.random() < _SILENT_SHARE for _ in range(len(rows)))
        with torch.no_grad():
            inputs, frames = self.inputs(*self.heard(corpus, rows, silent), noisy=True)
        scores = self._run(self.network, inputs)
        valid = torch.arange(scores.shape[1], device=self.device)[None] < frames[:, None]
        with torch.no_grad():
            self.prior = (1 - _PRIOR_PACE) * self.prior + _PRIOR_PACE * scores.exp()[valid].mean(0)
        loss = path_sum_loss(
            scores - self._prior_share(), frames, corpus.targets.take(rows, silent)
        ).clamp(max=20)  # an utterance too fast for its phones can't pull
        if self.teachers:
            loss = loss + self.teaching * self._strangeness(inputs, scores, valid)
        return loss.mean()

    def _strangeness(self, inputs: Tensor, scores: Tensor, valid: Tensor) -> Tensor:
        """How far the network's opinion is from the teachers' mean, per frame."""
        plain = inputs * self.scale[:, None] + self.mean[:, None]
        with torch.no_grad():
            said = torch.stack([self._run(net, plain).exp() for net in self.teachers]).mean(0)
        missed = -(said * scores).sum(2)[valid]
        return missed.mean()

    def save(self, path: Path) -> None:
        """Writes the folded layers and the prior."""
        folded = self.network.folded(self.mean, self.scale)
        arrays = {name: array.numpy() for name, array in folded.items()}
        arrays["pri"] = self.prior.cpu().numpy()
        np.savez_compressed(path, **arrays)  # type: ignore[arg-type]


def read(path: Path) -> Arrays:
    """Arrays of a weights file."""
    with np.load(path) as archive:
        arrays = {name: torch.from_numpy(archive[name]) for name in archive.files}
    return {name: a.float() if a.is_floating_point() else a for name, a in arrays.items()}


def prepare(
    corpus: Corpus,
    network: Network,
    hardship: Hardship,
    generator: torch.Generator,
    start: Path | None,
    teachers: list[Path],
) -> Trainer:
    """A trainer with the mean and spread of its input over some noisy batches, and the weights of
    `start`."""
    device = generator.device
    zero, one = (
        torch.zeros(features.BANDS, device=device),
        torch.ones(features.BANDS, device=device),
    )
    prior = torch.full((CLASSES,), 1 / CLASSES, device=device)
    mfcc = features.Mfcc(device, STRETCHES)
    trainer = Trainer(network, mfcc, generator, hardship, zero, one, prior)
    some = torch.randperm(len(corpus.starts))[:1200].split(60)  # type: ignore[no-untyped-call]
    frames = torch.cat(
        [trainer.heard(corpus, rows.to(device), 0)[0].reshape(-1, features.BANDS) for rows in some]
    )
    trainer.mean, trainer.scale = frames.mean(0), frames.std(0) + 1e-3
    if start:
        arrays = widened(read(start), network.width)
        trainer.prior = arrays["pri"].to(device)
        inputs, _ = trainer.inputs(
            *trainer.heard(corpus, torch.cat(some[:10]).to(device), 0), noisy=True
        )
        on_device = {name: array.to(device) for name, array in arrays.items()}
        network.unfold(on_device, trainer.mean, trainer.scale, inputs)
    trainer.teachers = [restored(read(path), device) for path in teachers]
    return trainer


def sieved(corpus: Corpus, by: Path, share: float, device: torch.device) -> Tensor:
    """Numbers of the utterances left when the `share` that the model `by` finds least like its
    words is thrown out: speech that came out clipped, mumbled or wrong."""
    arrays = read(by)
    zero, one = (
        torch.zeros(features.BANDS, device=device),
        torch.ones(features.BANDS, device=device),
    )
    judge = restored(arrays, device)
    generator = torch.Generator(device).manual_seed(0)
    mfcc, prior = features.Mfcc(device, STRETCHES), arrays["pri"].to(device)
    trainer = Trainer(judge, mfcc, generator, Hardship(), zero, one, prior)
    groups = batches(corpus, corpus.rows, 700)
    losses = trainer.losses(corpus, groups)
    order = torch.cat(groups)[torch.argsort(losses)]
    return order[: round(len(order) * (1 - share))].cpu()
