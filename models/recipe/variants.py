"""Trains a round of variants.toml side by side, spread over the GPUs there are:
`python -m models.recipe.variants ROUND PACK... --watch PACK --shipped WEIGHTS --out OUT`.

OUT gets NAME.npz (weights in 16 bits, for the trip back), NAME.csv (curve) and NAME.log.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import torch


def flags(text: str, shipped: Path, out: Path) -> list[str]:
    """Flags of one variant, with files in place of $NAME."""

    def file(match: re.Match[str]) -> str:
        name = match.group(1)
        return str(shipped if name == "shipped" else out / f"{name}.npz")

    return re.sub(r"\$(\w+)", file, text).split()


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="train several variants at once")
    parser.add_argument("round")
    parser.add_argument("packs", type=Path, nargs="+")
    parser.add_argument("--watch", type=Path, required=True)
    parser.add_argument("--shipped", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=8.5)
    parser.add_argument("--only", nargs="*", help="names, instead of the whole round")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    table = tomllib.loads(Path(__file__).with_name("variants.toml").read_text("utf-8"))
    chosen = {n: t for n, t in table[args.round].items() if not args.only or n in args.only}
    running: dict[str, subprocess.Popen[bytes]] = {}
    for number, (name, text) in enumerate(chosen.items()):
        gpu = str(number % max(1, torch.cuda.device_count()))
        environment = {**os.environ, "CUDA_VISIBLE_DEVICES": gpu, "OMP_NUM_THREADS": "2"}
        command = [sys.executable, "-m", "models.recipe.train", *map(str, args.packs)]
        command += ["--watch", str(args.watch), "--out", str(args.out / name)]
        command += ["--sieve", str(args.shipped), "--minutes", str(args.minutes)]
        command += flags(text, args.shipped, args.out)
        log = (args.out / f"{name}.log").open("wb")
        running[name] = subprocess.Popen(command, stdout=log, stderr=log, env=environment)
    for name, process in running.items():
        failed = process.wait()
        print(f"{name}: {'failed' if failed else 'done'}")
        print("".join((args.out / f"{name}.log").read_text("utf-8").splitlines(True)[-3:]))
        if not failed:
            (args.out / name / "curve.csv").rename(args.out / f"{name}.csv")
            with np.load(args.out / name / "weights.npz") as archive:
                short = {
                    part: array.astype(np.float16) if part.startswith("w") else array
                    for part, array in archive.items()
                }
            np.savez_compressed(args.out / f"{name}.npz", **short)


if __name__ == "__main__":
    main()
