"""The mean of several trainings from the same start, weight by weight: `python -m
models.recipe.mean OUT WEIGHTS...` (NumPy archives of train.py)."""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="average trained weights of one shape")
    parser.add_argument("out", type=Path)
    parser.add_argument("weights", type=Path, nargs="+")
    args = parser.parse_args()
    archives = [dict(np.load(path)) for path in args.weights]
    mean = dict(archives[0])
    for name in mean:
        if name[0] in "wbp":  # weights, biases, prior; the rest is the shape
            mean[name] = np.mean([archive[name].astype(np.float64) for archive in archives], 0)
            mean[name] = mean[name].astype(np.float32)
    np.savez_compressed(args.out, **mean)


if __name__ == "__main__":
    main()
