"""A reasoner that asks for anything in any order: interlocks must hold whatever is asked."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from zlib import crc32

from companion.counsel import Evidence, TestCard
from companion.diagnosis.judges import judge
from companion.equipment import Equipment
from companion.expected import Known
from companion.messages import Suspect, Suspicion
from companion.understood import Answer, Reading

_OHMS = {"quantity": "resistance", "most_si": 50e6, "over_limit": True, "power": "dead",
         "means": "meter"}  # fmt: skip
_LIVE = {"power": "live"}


def _card(name: str, **more) -> TestCard:
    return TestCard.model_validate(
        {"name": name, "say": f"{name}?", "why": f"Because of {name}.", **more}
    )


def _cards() -> list[TestCard]:
    found = []
    for t in ("G", "Y", "W"):
        found += [
            _card(f"ohms {t}-C at the board", terminal=t, **_OHMS),
            _card(f"ohms {t}-C, base on", terminal=t, base_on=True, **_OHMS),
            _card(f"breaker, R to {t}", terminal=t, means="breaker",
                  answers=("trips", "runs", "nothing_runs"), **_LIVE),
            _card(f"lamp, R to {t}", terminal=t, means="lamp",
                  answers=("bright", "dim", "dark"), **_LIVE),
            _card(f"volts {t}-C, called", terminal=t, means="meter", quantity="voltage",
                  most_si=600.0, base_on=True, **_LIVE),
        ]  # fmt: skip
    found += [
        _card("ohms, contactor coil alone", terminal="Y", outdoor=True, where="outdoor unit",
              **_OHMS),
        _card("ohms Y-C on the roof", terminal="Y", outdoor=True, where="roof", **_OHMS),
        _card("look at the outdoor splice", means="look", power="any", where="outdoor unit",
              outdoor=True, answers=("damaged", "sound")),
        _card("look along the outdoor cable", means="look", power="any", where="outdoor unit",
              answers=("damaged", "sound")),
    ]  # fmt: skip
    return found


CARDS = {card.name: card for card in _cards()}


class Anyhow:
    """Asks for whatever the evidence so far hashes to; is sure of something after some tests."""

    def __init__(self, equipment: Equipment, patience: int = 12) -> None:
        self._patience = patience
        terminals = [c.terminal for c in equipment.circuits]
        self._blames = "Y" if "Y" in terminals else terminals[0]

    def prepare(self) -> None:
        pass

    def cards(self) -> dict[str, TestCard]:
        return CARDS

    def next(self, heard: Sequence[Evidence], allowed: Collection[str]) -> str | None:
        if len(heard) >= self._patience or not allowed:
            return None
        names = sorted(allowed)
        return names[_hash(heard) % len(names)]

    def suspicion(self, heard: Sequence[Evidence]) -> Suspicion:
        enough = len(heard) >= self._patience
        kind = _hash(heard) % 4
        part = ("contactor coil", "none now", "something else", "outdoor cable")[kind]
        chance = 0.95 if enough else 0.4
        first = Suspect(part=part, fault="short", terminal=self._blames, chance=chance)
        return Suspicion(suspects=(first,), enough=enough, words=f"Likely the {part}.")

    def verdict(self, rule: str, reading: Reading, known: Known) -> str:
        return "within" if rule == "va_budget" else judge(rule, reading, known)

    def how_far(self, heard: Sequence[Evidence]) -> str:
        return "About twenty feet out."

    def should_read(self, name: str) -> str:
        return f"{name} should read twelve to sixteen ohms."

    def can_carry(self, more_ampere: float) -> str:
        return "No."


def _hash(heard: Sequence[Evidence]) -> int:
    values = [e.value for e in heard]
    said = [v.name if isinstance(v, Answer) else str(v) for v in values]
    return crc32("|".join([*(e.test for e in heard), *said]).encode())


def anyhow(equipment: Equipment, complaint: str, history: tuple[str, ...]) -> Anyhow:
    del complaint, history
    return Anyhow(equipment)


class InOrder(Anyhow):
    """Asks for ohms at the board, terminal by terminal; then it is sure."""

    def next(self, heard, allowed):
        asked = {e.test for e in heard}
        names = [f"ohms {t}-C at the board" for t in ("G", "Y", "W")]
        return next((n for n in names if n not in asked and n in allowed), None)

    def suspicion(self, heard):
        found = super().suspicion(heard)
        enough = len({e.test for e in heard}) == 3
        first = found.suspects[0].model_copy(
            update={"part": "contactor coil", "chance": 0.95 if enough else 0.4}
        )
        return Suspicion(suspects=(first,), enough=enough, words="Likely the contactor coil.")


def in_order(equipment: Equipment, complaint: str, history: tuple[str, ...]) -> InOrder:
    del complaint, history
    return InOrder(equipment)
