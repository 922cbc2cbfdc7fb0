"""Which speech model a call is heard with."""

from __future__ import annotations

import os
from pathlib import Path

from companion import datafiles
from companion.errors import ModelError
from companion.hearing.model_files import SHIPPED, check

VARIABLE = "COMPANION_MODEL"
"""Environment variable that names a model's folder."""


def find_model(named: str | None) -> Path:
    """The folder of the model to use.

    In this order: the one named; the one in the environment variable
    ``COMPANION_MODEL``; any usable one that the user has put into the shipped
    ``models/`` folder (the first by name, if several); the one that ships there.

    Args:
        named: a path given for this call, or None.

    Raises:
        ModelError: the one that was asked for is not usable, or there is none at all.
        DataFileError: there is no ``models/`` folder.
    """
    asked = named or os.environ.get(VARIABLE)
    if asked:
        check(Path(asked))
        return Path(asked)
    models = datafiles.folder("models")
    others = sorted(p for p in models.iterdir() if p.is_dir() and p.name != SHIPPED)
    for folder in [*others, models / SHIPPED]:
        try:
            check(folder)
        except ModelError:
            continue
        return folder
    raise ModelError(
        f"No speech model was found: none was named, {VARIABLE} is not set, and {models} "
        "holds no usable one.",
        safe="No call was begun; a call can be typed.",
        do="Put a Vosk model's folder there, or name one with --model.",
    )
