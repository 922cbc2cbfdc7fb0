"""Finding and reading the data that ships beside the code: dialogs/ and models/.

In a checkout the two folders stand at the top; in a wheel they lie inside the
package. Every TOML file is checked against a pydantic model when it is loaded.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from companion.errors import DataFileError

Shape = TypeVar("Shape", bound=BaseModel)

_PACKAGE = Path(__file__).resolve().parent


def folder(name: str) -> Path:
    """The shipped folder ``dialogs`` or ``models``.

    Raises:
        DataFileError: neither the wheel's nor the checkout's folder is there.
    """
    for place in (_PACKAGE / "shipped" / name, _PACKAGE.parent / name):
        if place.is_dir():
            return place
    raise DataFileError(name, name, f"expected a folder {name!r} beside or inside the package")


def load(path: Path, shape: type[Shape]) -> Shape:
    """Read a TOML file into ``shape``.

    Raises:
        DataFileError: naming the file, the key (dotted) and what was expected there.
    """
    try:
        return shape.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        expected = f"expected a readable file: {error.strerror}"
        raise DataFileError(path, "(file)", expected) from error
    except UnicodeDecodeError as error:
        raise DataFileError(path, f"byte {error.start}", "expected UTF-8 text") from error
    except tomllib.TOMLDecodeError as error:
        raise DataFileError(path, "(syntax)", f"expected TOML: {error}") from error
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"]) or "(whole file)"
        got = "" if first["type"] == "missing" else f", got {first['input']!r:.80}"
        more = len(error.errors()) - 1
        rest = f" ({more} more like it in this file)" if more else ""
        raise DataFileError(path, key, f"{first['msg']}{got}{rest}") from error
