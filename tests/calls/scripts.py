"""The invented calls of ``calls.toml``, and how one is held."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import Field

from companion.closed_loop.held import Outcome, run
from companion.datafiles import Shape, folder, load
from companion.equipment import Equipment, all_equipment
from companion.fitting import fit, from_terminals
from companion.practice import STEADY, USUAL, House, Technician, hidden_fault
from companion.turns import Dialogs, load_dialogs

HERE = Path(__file__).parent


class Script(Shape):
    """One call: what is hidden, what is said out of turn, how it should end."""

    name: str
    story: str
    equipment: str = ""
    complaint: Literal["opens", "nothing"]
    hidden: str
    landed: str | None = None
    accessories: tuple[str, ...] = ()
    means: Literal["meter", "lamp", "breaker"] = "meter"
    seed: int = 1
    replies: dict[str, str] = Field(default={})
    in_between: dict[str, tuple[str, ...]] = Field(default={})
    over_limit_said: str = "O L"
    ends: Literal["repaired", "not_found", "found", "unsafe"] = "repaired"
    leaves: str | None = None
    comes: float = 1.0
    burns: int = 0
    fails: str = ""
    habits: Literal["steady", "usual"] = "steady"
    habits_seed: int = 0
    circuit: str | None = None
    part: str | None = None


class Scripts(Shape):
    """``calls.toml``."""

    call: tuple[Script, ...] = Field(min_length=1)


@cache
def replays() -> dict[str, Script]:
    """Calls that ended wrong when they were found, by name: one of each class of failure."""
    return {script.name: script for script in load(HERE / "replays.toml", Scripts).call}


@cache
def scripts() -> dict[str, Script]:
    """Every call by name."""
    return {script.name: script for script in load(HERE / "calls.toml", Scripts).call}


def _told(script: Script, dialogs: Dialogs) -> tuple[Equipment, str, dict[str, str]]:
    """The equipment of a call, what it is called, and what is said at single steps."""
    said, replies = dialogs.vocabulary.answers, dict(script.replies)
    if script.landed is None:
        equipment = all_equipment()[script.equipment]
        chosen = said[equipment.answer][0]
    else:
        equipment = from_terminals(script.landed.split())
        chosen = said["on_the_board"][0]
        replies["landed"] = script.landed
    return fit(equipment, *script.accessories), chosen, replies


def technician_for(script: Script, dialogs: Dialogs) -> Technician:
    """Who holds a call, in the house that it is about."""
    equipment, chosen, replies = _told(script, dialogs)
    hidden = hidden_fault(equipment, script.complaint, script.hidden)
    fitted = tuple(name.replace("-", " ") for name in script.accessories)
    return Technician(
        House(equipment, script.complaint, hidden, script.seed, script.comes),
        chosen,
        script.means,
        replies=replies,
        in_between={"accessories": fitted, **script.in_between},
        over_limit_said=script.over_limit_said,
        seed=script.habits_seed,
        habits=USUAL if script.habits == "usual" else STEADY,
    )


def hold(script: Script, dialogs: Dialogs) -> tuple[House, Outcome]:
    """The call, typed and watched."""
    technician = technician_for(script, dialogs)
    return technician.house, run(dialogs, technician)


@cache
def lines_of(name: str) -> tuple[str, ...]:
    """Everything that the technician says in a call."""
    return tuple(hold(scripts()[name], load_dialogs(folder("dialogs")))[1].lines)
