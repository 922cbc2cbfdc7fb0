"""What can be said at a step, as the phrase list for the recogniser.

The recogniser makes a word bigram of the list, so it need not hold every number:
each pair of words that a number can contain must be there, in fair proportion.
Everything is in canonical tokens; the strict parser stands behind it.
"""

from __future__ import annotations

from collections.abc import Iterator

from companion.expected import Expectation
from companion.quantities import Quantity
from companion.understanding.vocabulary import Vocabulary


def phrases_for(expected: Expectation, vocabulary: Vocabulary) -> list[str]:
    """Phrases for one step: its values, every command, corrections and decoys. No duplicates."""
    words = vocabulary
    if expected.only:
        few = [said for name in expected.only for said in words.commands[name]]
        return _canonical([*few, *words.decoys.words], words)
    values = _values(expected, words)
    phrases = [*values, *_at_terminals(expected, words, values)]
    phrases += [f"{front} {value}" for front in words.fillers.front for value in _some(values, 6)]
    corrected = values if expected.corrects is None else _values(expected.corrects, words)
    for before in words.correction.before:
        phrases += [before, *(f"{before} {value}" for value in _some(corrected, 24))]
    for said in (*words.commands.values(), *words.skip_reasons.values()):
        phrases += said
    if expected.choices:
        phrases += (*words.choices.first, *words.choices.second)
    phrases += _asides(expected, words)
    return _canonical([*phrases, *words.decoys.words], words)


def _canonical(phrases: list[str], words: Vocabulary) -> list[str]:
    return list(dict.fromkeys(" ".join(words.tokens(phrase)) for phrase in phrases))


def _asides(expected: Expectation, words: Vocabulary) -> Iterator[str]:
    """Revisions of what was read, and questions with a part or a current in them."""
    asked = words.should_read
    for terminal, quantity in expected.read.items():
        names = (*words.terminals.get(terminal, ()), *expected.terminals.get(terminal, ()))
        values = list(_numbers(words, quantity))
        for name in names[:2]:
            yield f"{asked.before[0]} {name} {asked.after[0]}"
            for before in words.revision.before:
                yield from (f"{before} {name} {words.revision.between[0]} {value}"
                            for value in _some(values, 12))  # fmt: skip
    yield from (f"{before} {this} {after}" for before in asked.before for this in asked.this
                for after in asked.after)  # fmt: skip
    counts = [digit for digit, value in words.numbers.digits.items() if value][:4]
    amps = (*counts, "point five", "one point five")
    for before in words.can_carry.before:
        yield from (f"{before} {words.can_carry.more[0]} {number} amps" for number in amps)


def _values(expected: Expectation, words: Vocabulary) -> list[str]:
    """The answers, numbers and number-like phrases of a step."""
    phrases = [said for name in expected.answers for said in words.answers[name]]
    if expected.landed:
        names = [said for all_ in words.terminals.values() for said in all_]
        letters = [all_[0] for all_ in words.terminals.values()]
        phrases += [*names, *(f"{a} {b}" for a in letters for b in letters if a != b)]
    if expected.quantity is None:
        return phrases
    phrases += _numbers(words, expected.quantity)
    phrases += [said for entry in words.clarify.values() for said in entry.phrases]
    if expected.over_limit:
        phrases += words.readings.over_limit
    if expected.quantity == "resistance":
        phrases += words.readings.dead_short
    return phrases


def _some(phrases: list[str], how_many: int) -> list[str]:
    """A sample spread evenly over a list."""
    return phrases[:: max(1, len(phrases) // how_many)]


def _at_terminals(expected: Expectation, words: Vocabulary, values: list[str]) -> Iterator[str]:
    """Each terminal's names in front of a sample of values, alone and against common."""
    sample = _some(values, 40)
    for terminal, extra in expected.terminals.items():
        for name in (*words.terminals.get(terminal, ()), *extra):
            yield from (f"{name} {value}" for value in sample)
            yield f"{name} {words.pairs.between[0]} {words.terminals['C'][0]} {sample[0]}"
            yield f"{words.terminals['C'][0]} {words.pairs.between[0]} {name} {sample[0]}"


def _numbers(words: Vocabulary, quantity: Quantity) -> Iterator[str]:
    """Number phrases with and without unit, covering every pair of words in a number."""
    n = words.numbers
    all_units = words.units_of(quantity)
    usual = all_units[1]  # the plural of the unit without a prefix
    # "volt" beside "volts" makes the recogniser unsure of both, and is said of one alone;
    # only a fuse is "three amp".
    single = {unit for unit in all_units if f"{unit}s" in all_units and quantity != "current"}
    units = [unit for unit in all_units if unit not in single]
    digits, teens, tens = list(n.digits), list(n.teens), list(n.tens)
    point = n.point[0]

    def unit(i: int) -> str:
        return units[i % len(units)]

    for word in (*digits, *teens, *tens):
        yield word
        yield from (f"{word} {each}" for each in units)
        yield from (f"{n.hundred} {word}", f"{n.hundred} {n.and_} {word}")
        yield from (f"{scale} {word}" for scale in n.scales)
    yield from (f"{one} {unit}" for one in ("one", *n.article) for unit in all_units)
    for size in (n.hundred, *n.scales):
        yield from (f"{digit} {size} {usual}" for digit in digits)
        yield from (f"{teen} {size} {usual}" for teen in teens)
        yield from (f"{ten} {size}" for ten in tens)
        yield from (f"a {size} {usual}", f"{size} {point}")
    yield from (f"{n.hundred} {scale} {usual}" for scale in n.scales)
    for i, digit in enumerate(digits):
        yield from (f"{point} {digit}", f"zero {point} {digit}", f"o {point} {digit}")
        yield from (f"{point} {digit} {usual}", f"zero {point} {digit} {usual}")
        yield from (f"{digit} {point} {second} {unit(i + j)}" for j, second in enumerate(digits))
        yield from (f"{digit} {second} {point}" for second in digits)
        yield from (f"{digit} o {second} {usual}" for second in digits)
        yield from (f"{digit} {pair} {usual}" for pair in (*tens, *teens))
        yield from (f"{digit} {part} {usual}" for part in n.tenths)
        yield from (f"{digit} {n.and_} a {part} {usual}" for part in n.parts)
    for word in (*teens, *tens):
        yield from (f"{word} {point} {digit} {unit(i)}" for i, digit in enumerate(digits))
        yield from (f"{word} {digit} {usual}" for digit in digits)
    for ten in tens:
        yield from (f"{ten} {digit}" for digit in digits)
        yield from (f"{ten} {digit} {point} {digit} {usual}" for digit in digits)
    for part in n.parts:
        yield from (f"{part} an {all_units[0]}", f"a {part} {usual}", f"{part} {usual}")
