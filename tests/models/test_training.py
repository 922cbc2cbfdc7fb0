"""Training's own pieces: features, criterion, folding. Needs PyTorch, which only training needs."""

import itertools

import numpy as np
import pytest

torch = pytest.importorskip(
    "torch", reason="PyTorch trains the model; running and rebuilding it need none"
)

from models.recipe import features, loss, topology, weights  # noqa: E402
from models.recipe.network import STRIDE, Network, Shape, restored  # noqa: E402
from models.recipe.widen import widened  # noqa: E402

CPU = torch.device("cpu")


def brute_force(scores: "np.ndarray", item: loss.Target) -> float:
    """Sum over all segmentations of all choices of optional silence, one by one."""
    choices = [(False, True) if optional else (True,) for optional in item.optional]
    total = -np.inf
    for kept in itertools.product(*choices):
        phones = [phone for phone, keep in zip(item.phones, kept, strict=True) if keep]
        for cuts in itertools.combinations(range(1, len(scores)), len(phones) - 1):
            starts = {0: phones[0], **dict(zip(cuts, phones[1:], strict=True))}
            score, current = 0.0, phones[0]
            for frame, row in enumerate(scores):
                current = starts.get(frame, current)
                score += row[2 * current + (frame not in starts)]
            total = np.logaddexp(total, score)
    return float(total)


def test_the_criterion_is_the_sum_over_all_paths() -> None:
    item = loss.target([("AA", "T"), ("M",)])
    assert item.optional == (False, False, False, True, False, False)
    scores = torch.log_softmax(torch.randn(2, 8, 82, generator=torch.Generator().manual_seed(1)), 2)
    targets = loss.stack([item, loss.target([])], CPU)
    got = loss.path_sum_loss(scores, torch.tensor([8, 5]), targets)
    assert got[0].item() == pytest.approx(-brute_force(scores[0].numpy(), item) / 8, rel=1e-5)
    silence = brute_force(scores[1, :5].numpy(), loss.target([]))
    assert got[1].item() == pytest.approx(-silence / 5, rel=1e-5)


def test_taking_rows_can_silence_some() -> None:
    targets = loss.stack([loss.target([("AA",)]), loss.target([("M", "T")])], CPU)
    taken = targets.take(torch.tensor([1, 0]), silent=1)
    assert taken.ends.tolist() == [0, 2]
    assert taken.phones[0].sum() == 0


def test_features_are_the_recogniser_s() -> None:
    fbank = pytest.importorskip(
        "kaldi_native_fbank", reason="an independent MFCC; needed for this comparison only"
    )
    samples = np.random.default_rng(2).normal(0, 900, 16000).round().astype(np.float32)
    options = fbank.MfccOptions()
    options.frame_opts.dither = 0
    options.use_energy = False
    options.mel_opts.num_bins = options.num_ceps = 40
    options.mel_opts.low_freq, options.mel_opts.high_freq = 20, 7600
    peer = fbank.OnlineMfcc(options)
    peer.accept_waveform(16000, samples.tolist())
    peer.input_finished()
    expected = np.stack([peer.get_frame(frame) for frame in range(peer.num_frames_ready)])
    mfcc = features.Mfcc(CPU)
    got = mfcc.cepstra(mfcc.log_mel(torch.from_numpy(samples)[None]))[0].numpy()
    assert got.shape == (features.frame_count(16000), 40)
    np.testing.assert_allclose(got, expected, atol=0.01)


SHAPES = [
    Shape(width=16, deep=((-3, 0, 3), (-6, -3, 0), (-6, 0, 6))),
    Shape(width=16, rank=8, deep=((-3, 0, 3), (-6, -3, 0), (-6, 0, 6))),
]


def trained(shape: Shape) -> Network:
    """A network whose batch norms have seen something."""
    torch.manual_seed(3)
    network = Network(shape)
    for _ in range(20):
        network(torch.randn(4, 40, 80) * 2 + 1)
    return network.eval()


@pytest.mark.parametrize("shape", SHAPES, ids=["full", "factored"])
def test_a_folded_network_taken_over_again_gives_the_same_scores(shape: Shape) -> None:
    network = trained(shape)
    mean, scale = torch.randn(40), torch.rand(40) + 0.5
    normal = torch.randn(2, 40, 80)
    plain = normal * scale[:, None] + mean[:, None]
    expected = network(normal)
    arrays = network.folded(mean, scale)
    other = Network(shape)
    other.unfold(arrays, torch.zeros(40), torch.ones(40), plain)
    torch.testing.assert_close(other.eval()(plain), expected, atol=1e-4, rtol=1e-4)
    torch.testing.assert_close(restored(arrays, CPU)(plain), expected, atol=1e-4, rtol=1e-4)
    assert expected.shape[1] == -(-(80 - network.left - network.right) // STRIDE)


def test_a_wider_network_computes_the_same_and_its_doubles_differ() -> None:
    arrays = trained(SHAPES[0]).folded(torch.zeros(40), torch.ones(40))
    width = len(arrays["b1"]) + 5
    wide = widened(arrays, width)
    heard = torch.randn(2, 40, 80)
    torch.testing.assert_close(
        restored(wide, CPU)(heard), restored(arrays, CPU)(heard), atol=1e-4, rtol=1e-4
    )
    assert len(wide["b1"]) == width
    last = max(int(name[1:]) for name in wide if name.startswith("w"))
    columns = wide[f"w{last}"].T
    assert len(torch.unique(columns, dim=0)) == width
    with pytest.raises(ValueError, match="can't become"):
        widened(wide, width - 1)


def test_the_prior_is_folded_into_the_last_bias(tmp_path) -> None:  # type: ignore[no-untyped-def]
    arrays = trained(SHAPES[1]).folded(torch.zeros(40), torch.ones(40))
    prior = np.linspace(1, 2, 82, dtype=np.float32)
    prior /= prior.sum()
    np.savez(tmp_path / "weights.npz", pri=prior, **{n: a.numpy() for n, a in arrays.items()})
    plain, divided = (weights.load(tmp_path / "weights.npz", scale) for scale in (0.0, 0.5))
    change = divided[-1].bias - plain[-1].bias
    np.testing.assert_allclose(change, -0.5 * np.log(prior + weights.PRIOR_FLOOR), rtol=1e-5)
    assert [layer.skips for layer in divided] == [0, 0, 0, 2, 0, 2, 0, 2, 0]


def test_the_criterion_s_gradient_is_the_share_of_paths() -> None:
    """Against finite differences, in rows of unlike length."""
    items = [loss.target([("AA", "T"), ("M",)]), loss.target([])]
    targets = loss.stack(items, CPU)
    frames = torch.tensor([9, 6])
    scores = torch.randn(2, 9, 82, generator=torch.Generator().manual_seed(4)).requires_grad_()
    loss.path_sum_loss(scores, frames, targets).sum().backward()
    for row, frame, phone in ((0, 2, "AA"), (0, 8, "SIL"), (1, 3, "SIL"), (1, 7, "SIL")):
        place = 2 * topology.BASE.index(phone) + 1
        nudged = scores.detach().clone()
        nudged[row, frame, place] += 0.01
        raised = loss.path_sum_loss(nudged, frames, targets).sum()
        nudged[row, frame, place] -= 0.02
        slope = (raised - loss.path_sum_loss(nudged, frames, targets).sum()) / 0.02
        assert scores.grad[row, frame, place].item() == pytest.approx(slope.item(), abs=2e-3)
