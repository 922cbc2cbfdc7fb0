"""The decoding graphs: every word's phones as a loop (HCLr.fst), and a flat word model (Gr.fst).

The word loop needs no context and no determinisation: one branch per pronunciation, the word's
label on its first arc, silence allowed between words. Speech outside the vocabulary is matched by
any row of phones ([unk]), or by an everyday word (strangers.py) where the list asks for those
([other]). What they cost trades wrong words against words turned away: a row of phones costs for
each of them, so that it wins only where no word fits; an everyday word costs more the nearer it is
to one of ours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from models.recipe import strangers, topology
from models.recipe.lexicon import OTHER, PHONES, UNKNOWN, Lexicon
from models.recipe.strangers import Sounds

EPSILON = "<eps>"
DISAMBIGUATION = "#0"
_SILENCE_COST = -math.log(0.5)
_START, _LOOP = 0, 1


@dataclass(frozen=True)
class Costs:
    """Negative log weights. A word's cost keeps short words from being inserted."""

    word: float = 3.5
    unknown: float = 4.0
    """Any row of phones, once."""
    unknown_phone: float = 4.0
    """Any row of phones, for each phone."""
    unknown_minimum: int = 3
    """Fewest phones in a row; two at least."""
    stranger: float = 3.5
    """An everyday word that is none of ours."""
    near: float = 3.0
    """The same, for each sound that it is nearer than two to a word of ours."""


@dataclass
class _Arcs:
    """A transducer under construction, as text lines for the compiler."""

    lines: list[str] = field(default_factory=list)
    states: int = 2

    def state(self) -> int:
        self.states += 1
        return self.states - 1

    def add(
        self, source: int, target: int, sound: int = 0, word: int = 0, cost: float = 0.0
    ) -> None:
        self.lines.append(f"{source} {target} {sound} {word} {cost:.5g}")

    def phone(self, source: int, number: int, word: int = 0, cost: float = 0.0) -> int:
        """Adds a phone after a state: its first frame, then any number of further frames."""
        target = self.state()
        self.add(source, target, topology.first_transition(number), word, cost)
        self.add(target, target, topology.further_transition(number))
        return target

    def to_loop(self, source: int) -> None:
        """Back to where words begin, with or without silence."""
        self.add(source, _LOOP, cost=_SILENCE_COST)
        quiet = self.phone(source, topology.NAMES.index(topology.SILENCE), cost=_SILENCE_COST)
        self.add(quiet, _LOOP)


def word_numbers(lexicon: Lexicon) -> dict[str, int]:
    """Number of every symbol: epsilon is 0, then the words in order with those for speech that is
    none of them, then the marker."""
    return {
        name: number
        for number, name in enumerate(
            (EPSILON, *sorted({*lexicon, UNKNOWN, OTHER}), DISAMBIGUATION)
        )
    }


def word_loop(lexicon: Lexicon, costs: Costs, everyday: Lexicon | None = None) -> str:
    """Text form of the word loop: source, target, transition identifier, word, cost. `everyday`
    words come out as one word, OTHER."""
    numbers = word_numbers(lexicon)
    arcs = _Arcs()
    arcs.to_loop(_START)
    for word in sorted(lexicon):
        for sounds in lexicon[word]:
            _add_word(arcs, sounds, numbers[word], costs.word)
    _add_unknown(arcs, numbers[UNKNOWN], costs)
    if everyday:
        _add_strangers(arcs, numbers[OTHER], costs, strangers.chosen(everyday, lexicon))
    return "\n".join(arcs.lines) + f"\n{_LOOP} 0\n"


def _add_word(arcs: _Arcs, sounds: Sequence[str], word: int, cost: float) -> None:
    state = _LOOP
    for at, phone in enumerate(topology.in_word(sounds)):
        state = arcs.phone(state, phone, 0 if at else word, 0.0 if at else cost)
    arcs.to_loop(state)


def _add_unknown(arcs: _Arcs, word: int, costs: Costs) -> None:
    entry = arcs.state()
    arcs.add(_LOOP, entry, word=word, cost=costs.unknown)
    state = _any_phone(arcs, entry, "B", costs)
    for _ in range(costs.unknown_minimum - 2):
        state = _any_phone(arcs, state, "I", costs)
    again = _any_phone(arcs, state, "I", costs)
    arcs.add(again, state)
    arcs.to_loop(_any_phone(arcs, state, "E", costs))


def _any_phone(arcs: _Arcs, source: int, place: str, costs: Costs) -> int:
    """Any one phone between two states."""
    target = arcs.state()
    for phone in PHONES:
        number = topology.NAMES.index(f"{phone}_{place}")
        arcs.add(arcs.phone(source, number, cost=costs.unknown_phone), target)
    return target


def _add_strangers(arcs: _Arcs, word: int, costs: Costs, ways: dict[Sounds, float]) -> None:
    """Everyday words as a tree, so that those that begin alike share the work."""
    root = arcs.state()
    arcs.add(_LOOP, root, word=word, cost=costs.stranger)
    states: dict[Sounds, int] = {(): root}
    for way, distance in ways.items():
        phones = topology.in_word(way)
        for at in range(1, len(way)):
            if way[:at] not in states:
                states[way[:at]] = arcs.phone(states[way[: at - 1]], phones[at - 1])
        end = arcs.phone(states[way[:-1]], phones[-1], cost=costs.near * (2 - distance))
        arcs.to_loop(end)


def flat_words(lexicon: Lexicon) -> str:
    """Text form of a word model that likes every word equally; used when no phrase list is
    given."""
    numbers = word_numbers(lexicon)
    spoken = [numbers[word] for word in sorted({*lexicon, UNKNOWN})]
    cost = math.log(len(spoken) + 1)
    return "".join(f"0 0 {word} {word} {cost:.5g}\n" for word in spoken) + f"0 {cost:.5g}\n"


def write(folder: Path, lexicon: Lexicon, costs: Costs, everyday: Lexicon) -> None:
    """Writes the graph folder of a model. Raises OSError."""
    import kaldifst  # type: ignore[import-untyped]

    (folder / "phones").mkdir(parents=True, exist_ok=True)
    loop = kaldifst.compile(word_loop(lexicon, costs, everyday), acceptor=False)
    kaldifst.arcsort(loop, sort_type="olabel")
    loop.write(str(folder / "HCLr.fst"))
    words = kaldifst.compile(flat_words(lexicon), acceptor=False)
    kaldifst.arcsort(words, sort_type="ilabel")
    words.write(str(folder / "Gr.fst"))
    _write_table(
        folder / "words.txt", [f"{word} {number}" for word, number in word_numbers(lexicon).items()]
    )
    (folder / "phones.txt").write_text(topology.phone_table(), "utf-8")
    (folder / "phones" / "word_boundary.int").write_text(topology.boundary_table(), "utf-8")
    # The recogniser wants at least one; no arc uses this number.
    _write_table(folder / "disambig_tid.int", [str(2 * topology.COUNT + 1)])


def _write_table(path: Path, lines: Sequence[str]) -> None:
    path.write_text("".join(f"{line}\n" for line in lines), "utf-8")
