"""A wheel carries dialogs and model: installed elsewhere, it runs the demo."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).parents[1]


def test_a_wheel_installed_elsewhere_runs_the_demo(tmp_path):
    wheels, site = tmp_path / "wheels", tmp_path / "site"
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(wheels)]
    subprocess.run(build, cwd=TOP, check=True, capture_output=True)
    (wheel,) = wheels.glob("*.whl")
    install = [sys.executable, "-m", "pip", "install", "--no-deps", "--no-index", "--quiet",
               "--target", str(site), str(wheel)]  # fmt: skip
    subprocess.run(install, check=True, capture_output=True)
    run = subprocess.run(
        [sys.executable, "-c", "import companion, sys; print(companion.__file__);"
         "from companion.cli import main; sys.exit(main(['demo']))"],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(site)}, capture_output=True, text=True,
        timeout=120, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    assert str(site) in run.stdout
    assert "contactor coil" in run.stdout
