"""Everyday words are heard as unknown, except those that sound like the companion's own."""

from hypothesis import given
from hypothesis import strategies as st

from models.recipe import graph, lexicon, strangers, topology
from models.recipe.graph import Costs
from models.recipe.lexicon import OTHER, PHONES, Lexicon
from models.recipe.strangers import Neighbours, Sounds, chosen

OURS: Lexicon = {
    "two": (("T", "UW"),),
    "five": (("F", "AY", "V"),),
    "nine": (("N", "AY", "N"),),
    "open": (("OW", "P", "AH", "N"),),
}
sounds = st.lists(st.sampled_from(PHONES), min_size=1, max_size=6).map(tuple)


def plain_distance(one: Sounds, two: Sounds) -> float:
    """The same by the textbook, a sound at a time (Wagner and Fischer, 1974)."""
    costs = strangers._costs()
    before = [float(at) for at in range(len(two) + 1)]
    for row, sound in enumerate(one, 1):
        now = [float(row)]
        for at, other in enumerate(two, 1):
            changed = before[at - 1] + costs[PHONES.index(sound), PHONES.index(other)]
            now.append(min(changed, before[at] + 1, now[-1] + 1))
        before = now
    return before[-1]


@given(sounds)
def test_distance_is_that_to_the_nearest_word_and_two_at_most(way: Sounds) -> None:
    nearest = min(plain_distance(way, own) for ways in OURS.values() for own in ways)
    assert Neighbours(OURS).distance(way) == min(2.0, nearest)


def test_what_sounds_like_our_words_is_no_stranger() -> None:
    everyday: Lexicon = {
        "two": (("T", "UW"),),  # ours
        "to": (("T", "AH"), ("T", "UW")),  # the same sound
        "mine": (("M", "AY", "N"),),  # one like sound away
        "tooth": (("T", "UW", "TH"),),
        "nineteen": (("N", "AY", "N", "T", "UW", "N"), ("N", "AY", "N", "T", "UW")),  # two of ours
        "window": (("W", "IH", "N", "D", "OW"),),
    }
    assert chosen(everyday, OURS) == {
        ("T", "UW", "TH"): 1.0,
        ("W", "IH", "N", "D", "OW"): 2.0,
    }


def test_a_new_word_takes_its_likes_out_of_the_strangers() -> None:
    everyday = lexicon.load(strangers.PATH)
    word, ways = next(iter(chosen(everyday, OURS).items()))
    assert word not in chosen(everyday, {**OURS, "new": (word,)})
    assert ways > 0.5


def test_every_stranger_is_heard_as_unknown_and_dearer_the_nearer_it_is() -> None:
    everyday: Lexicon = {"car": (("K", "AA", "R"),), "card": (("K", "AA", "R", "D"),),
                         "fine": (("F", "AY", "N"),)}  # fmt: skip
    costs = Costs(stranger=3.0, near=2.0)
    text = graph.word_loop(OURS, costs, everyday)
    arcs: dict[int, list[tuple[int, int, int, float]]] = {}
    for line in text.splitlines():
        if len(fields := line.split()) == 5:
            source, target, sound, word = map(int, fields[:4])
            arcs.setdefault(source, []).append((target, sound, word, float(fields[4])))
    other = graph.word_numbers(OURS)[OTHER]
    for (way,) in everyday.values():
        paths = [(t, c) for t, s, w, c in arcs[1] if (s, w) == (0, other) and c == 3.0]
        for phone in topology.in_word(way):
            wanted = topology.first_transition(phone)
            paths = [(t, c + more) for at, c in paths for t, s, _, more in arcs[at] if s == wanted]
        distance = Neighbours(OURS).distance(way)
        assert [cost for _, cost in paths] == [3.0 + 2.0 * (2 - distance)]
