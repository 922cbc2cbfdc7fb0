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
from typing import Any

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
    batch, time, _ = scores.shape
    index = targets.phones[:, None, :].expand(batch, time, targets.phones.shape[1])
    enter, stay = scores.gather(2, 2 * index), scores.gather(2, 2 * index + 1)
    loss: Tensor = _PathSum.apply(enter, stay, frames, targets.skip, targets.ends)  # type: ignore[no-untyped-call]
    return loss


def _from_before(state: Tensor, skip: Tensor) -> Tensor:
    """Score of arriving at each place from the one before, or the one before optional silence."""
    padded = torch.nn.functional.pad(state, (2, 0), value=_NEVER)
    return torch.logaddexp(padded[..., 1:-1], padded[..., :-2] + skip)


class _PathSum(torch.autograd.Function):
    """Forward and backward scores by hand: much faster than to differentiate frame by frame."""

    @staticmethod
    def forward(  # type: ignore[override]
        ctx: Any, enter: Tensor, stay: Tensor, frames: Tensor, skip: Tensor, ends: Tensor
    ) -> Tensor:
        rows = torch.arange(len(enter), device=enter.device)
        state = torch.full_like(enter[:, 0], _NEVER)
        state[:, 0] = enter[:, 0, 0]
        history = [state]
        for entering, staying in zip(enter.unbind(1)[1:], stay.unbind(1)[1:], strict=True):
            state = torch.logaddexp(state + staying, _from_before(state, skip) + entering)
            history.append(state)
        forth = torch.stack(history, 1)
        total = forth[rows, frames - 1, ends]
        ctx.save_for_backward(enter, stay, frames, skip, ends, forth, total)
        return -total / frames

    @staticmethod
    def backward(ctx: Any, grad: Tensor) -> Any:  # type: ignore[override]
        enter, stay, frames, skip, ends, forth, total = ctx.saved_tensors
        last = torch.full_like(enter[:, 0], _NEVER).scatter_(1, ends[:, None], 0.0)
        skip_ahead = torch.nn.functional.pad(skip, (0, 2), value=_NEVER)[:, 2:]
        state = last
        history = [state]
        for at in range(enter.shape[1] - 1, 0, -1):
            ahead = torch.nn.functional.pad(enter[:, at] + state, (0, 2), value=_NEVER)
            moved = torch.logaddexp(ahead[:, 1:-1], ahead[:, 2:] + skip_ahead)
            state = torch.logaddexp(state + stay[:, at], moved)
            state = torch.where((frames == at)[:, None], last, state)
            history.append(state)
        back = torch.stack(history[::-1], 1) - total[:, None, None]
        valid = torch.arange(enter.shape[1], device=enter.device)[None] < frames[:, None]
        share = (-grad / frames)[:, None, None] * valid[:, :, None]
        arrived = torch.full_like(enter, _NEVER)
        arrived[:, 0, 0] = 0.0
        arrived[:, 1:] = _from_before(forth[:, :-1], skip[:, None])
        for_enter = share * torch.exp((arrived + enter + back).clamp(max=0.0))
        stayed = torch.nn.functional.pad(forth[:, :-1], (0, 0, 1, 0), value=_NEVER)
        return for_enter, share * torch.exp((stayed + stay + back).clamp(max=0.0)), None, None, None
