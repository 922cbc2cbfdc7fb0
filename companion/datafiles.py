"""Finding and reading the data that ships beside the code: dialogs/ and models/.

In a checkout the two folders stand at the top; in a wheel they lie inside the
package. Every TOML file is checked against a pydantic model when it is loaded. Spans are
(least, most) in the unit that their key names.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from companion.errors import DataFileError

_Model = TypeVar("_Model", bound=BaseModel)

_PACKAGE = Path(__file__).resolve().parent


def _ordered(span: tuple[float, float]) -> tuple[float, float]:
    if not 0.0 <= span[0] <= span[1]:
        raise ValueError("expected [least, most], neither below zero")
    return span


Span = Annotated[tuple[float, float], AfterValidator(_ordered)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Positive = Annotated[float, Field(gt=0.0)]


class Shape(BaseModel):
    """Frozen, closed to unknown keys, and to numbers that are none."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def folder(name: str) -> Path:
    """The shipped folder ``dialogs`` or ``models``.

    Raises:
        DataFileError: neither the wheel's nor the checkout's folder is there.
    """
    for place in (_PACKAGE / "shipped" / name, _PACKAGE.parent / name):
        if place.is_dir():
            return place
    raise DataFileError(name, name, f"expected a folder {name!r} beside or inside the package")


def load(path: Path, shape: type[_Model]) -> _Model:
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
