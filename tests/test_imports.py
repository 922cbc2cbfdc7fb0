"""Rooms know messages, not each other: the import rule, read off the source."""

from __future__ import annotations

import ast
from pathlib import Path

import companion

ROOT = Path(companion.__file__).parent
FOR_ALL = {
    "messages",
    "errors",
    "quantities",
    "datafiles",
    "counsel",
    "expected",
    "understood",
    "loads",
    "equipment",
    "fitting",
    "sound_alike",
}
MAY_IMPORT: dict[str, set[str]] = {
    "hearing": set(),
    "understanding": set(),
    "circuit": set(),
    "diagnosis": {"circuit"},
    "procedure": set(),
    "speaking": set(),
    "journal": set(),
    "review": {"journal"},
    "practice": {"circuit", "diagnosis", "speaking"},
    "closed_loop": {"hearing", "procedure", "diagnosis", "speaking", "practice", "turns"},
}


def imported_rooms(file: Path) -> set[str]:
    """First name under ``companion`` of everything a file imports, wherever in the file."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: a relative import hides which room it is from"
            names = [node.module or ""]
            if node.module == "companion":
                names = [f"companion.{alias.name}" for alias in node.names]
        else:
            continue
        found |= {n.split(".")[1] for n in names if n.startswith("companion.")}
    return found


def test_rooms_import_only_what_they_may():
    rooms = {path.name for path in ROOT.iterdir() if (path / "__init__.py").exists()}
    assert rooms - {"shipped"} == set(MAY_IMPORT)
    for room, allowed in MAY_IMPORT.items():
        for file in (ROOT / room).rglob("*.py"):
            extra = imported_rooms(file) - allowed - FOR_ALL - {room}
            assert not extra, f"{file.relative_to(ROOT)} imports {sorted(extra)}"


def test_what_all_may_import_imports_no_room():
    for name in FOR_ALL:
        assert imported_rooms(ROOT / f"{name}.py") <= FOR_ALL


def test_only_the_top_sees_all():
    top = {path.stem for path in ROOT.glob("*.py")} - FOR_ALL
    assert top == {
        "__init__", "__main__", "cli", "wiring", "call", "turns", "screen", "glance", "demo",
        "big_letters", "check", "asleep", "sound_choice", "records", "taped", "practising",
    }  # fmt: skip
    for name in ("screen", "demo", "big_letters", "asleep", "sound_choice"):
        assert imported_rooms(ROOT / f"{name}.py") <= FOR_ALL
