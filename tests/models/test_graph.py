"""Every word has its path through the decoding graph, and a new word needs only the graph
rebuilt."""

import subprocess
import sys
from collections import defaultdict
from importlib.util import find_spec
from pathlib import Path

import pytest

from models.recipe import graph, lexicon, topology
from models.recipe.graph import Costs
from models.recipe.lexicon import OTHER, UNKNOWN, Lexicon

LOOP = 1
Arcs = dict[int, list[tuple[int, int, int]]]
SMALL: Lexicon = {
    "ohms": (("OW", "M", "Z"),),
    "o": (("OW",),),
    "zero": (("Z", "IH", "R", "OW"), ("Z", "IY", "R", "OW")),
}


def arcs_of(text: str) -> Arcs:
    arcs: Arcs = defaultdict(list)
    for line in text.splitlines():
        fields = line.split()
        if len(fields) == 5:
            source, target, sound, word = map(int, fields[:4])
            arcs[source].append((target, sound, word))
    return arcs


def words_along(arcs: Arcs, phones: list[int], word: int) -> bool:
    """Whether these phones lead from the loop back to it, with the word on the first arc and a
    self-loop each."""
    states = {LOOP}
    for at, phone in enumerate(phones):
        wanted = (topology.first_transition(phone), 0 if at else word)
        states = {
            target
            for state in states
            for target, sound, label in arcs[state]
            if (sound, label) == wanted
        }
        stay = topology.further_transition(phone)
        states = {state for state in states if (state, stay, 0) in arcs[state]}
    return any((LOOP, 0, 0) in arcs[state] for state in states)


def test_every_word_of_the_lexicon_has_a_path_for_each_pronunciation() -> None:
    words = lexicon.load()
    numbers = graph.word_numbers(words)
    arcs = arcs_of(graph.word_loop(words, Costs()))
    for word, ways in words.items():
        for sounds in ways:
            assert words_along(arcs, topology.in_word(sounds), numbers[word]), word


def test_a_word_that_is_not_there_has_no_path() -> None:
    arcs = arcs_of(graph.word_loop(SMALL, Costs()))
    assert not words_along(
        arcs, topology.in_word(("V", "OW", "L", "T")), graph.word_numbers(SMALL)["ohms"]
    )


@pytest.mark.parametrize("minimum", [2, 3, 5])
def test_unknown_speech_needs_its_minimum_of_phones(minimum: int) -> None:
    arcs = arcs_of(graph.word_loop(SMALL, Costs(unknown_minimum=minimum)))
    entry = next(
        target for target, _, word in arcs[LOOP] if word == graph.word_numbers(SMALL)[UNKNOWN]
    )
    fewest, states = 0, {entry}
    while (
        LOOP not in states and fewest < 10
    ):  # breadth first over phones, epsilon arcs followed freely
        fewest += 1
        entered = {
            target
            for state in states
            for target, sound, _ in arcs[state]
            if sound % 2 == 0 and sound
        }
        states = set(entered)
        while more := {t for s in states for t, sound, _ in arcs[s] if sound == 0} - states:
            states |= more
    assert fewest == minimum


def test_words_are_numbered_from_one_with_those_for_unknown_speech() -> None:
    numbers = graph.word_numbers(SMALL)
    assert numbers[graph.EPSILON] == 0
    assert sorted(numbers.values()) == list(range(len(SMALL) + 4))
    assert {UNKNOWN, OTHER} <= set(numbers)


def test_the_shipped_graph_is_the_lexicon_s() -> None:
    table = (lexicon.DEFAULT_PATH.with_name("field-en") / "graph" / "words.txt").read_text("utf-8")
    listed = dict(line.split() for line in table.splitlines())
    assert {word: int(number) for word, number in listed.items()} == graph.word_numbers(
        lexicon.load()
    )


def test_rebuilding_the_graph_gives_the_shipped_files(tmp_path: Path) -> None:
    if find_spec("kaldifst") is None:
        pytest.skip("kaldifst compiles the graphs; it is in the test extra")
    # Never imported here: kaldifst and vosk each carry OpenFst, and in one process they crash.
    command = [sys.executable, "-m", "models.recipe.build", "--add-words", "--out", str(tmp_path)]
    subprocess.run(command, check=True, cwd=Path(__file__).parents[2])
    shipped = lexicon.DEFAULT_PATH.with_name("field-en") / "graph"
    for name in (
        "HCLr.fst",
        "Gr.fst",
        "words.txt",
        "phones.txt",
        "phones/word_boundary.int",
        "disambig_tid.int",
    ):
        assert (tmp_path / "graph" / name).read_bytes() == (shipped / name).read_bytes(), name
