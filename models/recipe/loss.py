"""The training criterion: minus the log of the sum over all paths of the utterance's phones, per
frame.

Paths follow the decoder's topology: a phone gives its first-frame class once and its further-frame
class any number of times; silence between words may be left out. Class scores are divided by a
power of the classes' running prior before the sum, or else the network learns to end every phone
after a frame or two and to fill up with silence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import torch
from torch import Tensor

from models.recipe.lexicon import PHONES
from models.recipe.topology import BASE

_NEVER = -1e9
_INDEX = {name: number for number, name in enumerate(BASE)}
_FIRST_PHONE = len(BASE) - len(PHONES)


@dataclass(frozen=True)
class Target:
    """Base phones of an utterance with silence at both ends; `optional` marks silence that may be
    skipped."""

    phones: tuple[int, ...]
    optional: tuple[bool, ...]


def target(words: Sequence[Sequence[str]]) -> Target:
    """Target of words given as their sounds; no words at all is silence."""
    phones, optional = [0], [False]
    for number, sounds in enumerate(words):
        if number:
            phones.append(0)
            optional.append(True)
        phones += [_INDEX[sound] for sound in sounds]
        optional += [False] * len(sounds)
    if words:
        phones.append(0)
        optional.append(False)
    return Target(tuple(phones), tuple(optional))


@dataclass(frozen=True)
class Targets:
    """Targets of many utterances as arrays of one width, shape (utterances, width).

    `skip` is 0 where a phone may follow the one before optional silence, else a very large negative
    number; `ends` is the place of each utterance's last phone.
    """

    phones: Tensor
    skip: Tensor
    ends: Tensor

    def take(self, rows: Tensor, silent: int = 0) -> Targets:
        """Targets of some utterances, no wider than needed; the first `silent` of them become
        silence."""
        ends = self.ends[rows].clone()
        width = int(ends.max()) + 1
        phones, skip = self.phones[rows][:, :width].clone(), self.skip[rows][:, :width].clone()
        ends[:silent], phones[:silent], skip[:silent] = 0, 0, _NEVER
        return Targets(phones, skip, ends)


def stack(items: Sequence[Target], device: torch.device) -> Targets:
    """Puts targets into arrays."""
    longest = max(len(item.phones) for item in items)
    phones = torch.zeros(len(items), longest, dtype=torch.long)
    skip = torch.full((len(items), longest), _NEVER)
    for row, item in enumerate(items):
        phones[row, : len(item.phones)] = torch.tensor(item.phones)
        after = [at + 1 for at, optional in enumerate(item.optional) if optional]
        skip[row, after] = 0.0
    ends = torch.tensor([len(item.phones) - 1 for item in items])
    return Targets(phones.to(device), skip.to(device), ends.to(device))


def path_sum_loss(scores: Tensor, frames: Tensor, targets: Targets) -> Tensor:
    """Loss of each utterance per frame, shape (batch,).

    `scores` are log scores (batch, time, classes); `frames` the valid frames of each row. The loss
    is very large for a row with fewer frames than phones that can't be skipped.
    """
    device, (batch, time, _) = scores.device, scores.shape
    width = targets.phones.shape[1]
    index = targets.phones[:, None, :].expand(batch, time, width)
    enter, stay = scores.gather(2, 2 * index), scores.gather(2, 2 * index + 1)
    wall = torch.full((batch, 2), _NEVER, device=device)
    state = torch.cat([enter[:, 0, :1], torch.full((batch, width - 1), _NEVER, device=device)], 1)
    history = [state]
    for step in range(1, time):
        padded = torch.cat([wall, state], 1)
        arrive = torch.logaddexp(padded[:, 1:-1], padded[:, :-2] + targets.skip) + enter[:, step]
        state = torch.logaddexp(state + stay[:, step], arrive)
        history.append(state)
    last = torch.stack(history, 1)[torch.arange(batch, device=device), frames - 1, targets.ends]
    return -last / frames
