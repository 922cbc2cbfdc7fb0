"""Spoken numbers, as technicians say them, to every value they can mean.

A phrase that can mean two values gives both, so that the caller asks instead of
guessing: "two four" is 24 or 2.4, "twelve fifty" is 1250 or 12.5. What has one
customary meaning has one value: "two forty" 240, "one oh five" 105,
"twelve four" 12.4, "twenty six eight" 26.8 (common practice, no source).
"""

from __future__ import annotations

from decimal import Decimal
from functools import cached_property

from companion.understanding.vocabulary import NumberWords, Tokens

Values = frozenset[Decimal]
NOTHING: Values = frozenset()


def _one(value: int | Decimal) -> Values:
    return frozenset({Decimal(value)})


class SpokenNumbers:
    """Parser over one set of number words. Values are exact, from zero to below 1e9."""

    def __init__(self, words: NumberWords) -> None:
        self._words = words

    @cached_property
    def vocabulary(self) -> frozenset[str]:
        """Every word that can stand inside a number."""
        w = self._words
        return frozenset(
            {
                *w.point,
                w.hundred,
                *w.scales,
                w.and_,
                *w.article,
                *w.digits,
                *w.teens,
                *w.tens,
                *w.parts,
                *w.tenths,
            }
        )

    def parse(self, tokens: Tokens) -> Values:
        """All values that the whole of ``tokens`` can mean; empty if it is no number."""
        if not tokens or not self.vocabulary.issuperset(tokens):
            return NOTHING
        for point in self._words.point:
            if point in tokens:
                return self._decimal(tokens, tokens.index(point))
        return (
            self._whole(tokens)
            | self._short_decimal(tokens)
            | self._broken(tokens)
            | self._one_of_two(tokens)
        )

    def digit_by_digit(self, tokens: Tokens) -> Values:
        """The whole number that a run of digits spells; what begins with a zero lacks a point."""
        run = self._digit_run(tokens)
        return run if len(tokens) > 1 and self._words.digits.get(tokens[0], 0) else NOTHING

    def _decimal(self, tokens: Tokens, at: int) -> Values:
        """``[whole] point fraction``"""
        before, after = tokens[:at], tokens[at + 1 :]
        wholes = self._whole(before) | self._digit_run(before) if before else _one(0)
        digits = self._fraction_digits(after)
        if digits is None:
            return NOTHING
        return frozenset(whole + Decimal(f"0.{digits}") for whole in wholes)

    def _fraction_digits(self, tokens: Tokens) -> str | None:
        """Digits after the point: "oh five" 05, "two five" 25, "twenty five" 25."""
        if tokens and all(t in self._words.digits for t in tokens):
            return "".join(str(self._words.digits[t]) for t in tokens)
        pair = self._below_hundred(tokens)
        return str(pair) if pair is not None and pair >= 10 else None

    def _below_hundred(self, tokens: Tokens) -> int | None:
        w = self._words
        match tokens:
            case (a,):
                return w.digits.get(a, w.teens.get(a, w.tens.get(a)))
            case (a, b) if a in w.tens and w.digits.get(b, 0) > 0:
                return w.tens[a] + w.digits[b]
        return None

    def _below_thousand(self, tokens: Tokens) -> int | None:
        """Cardinals, and the customary short forms "two forty" and "one oh five"."""
        w = self._words
        if w.hundred in tokens:
            at = tokens.index(w.hundred)
            head, rest = tokens[:at], tokens[at + 1 :]
            hundreds = 1 if head in {(a,) for a in w.article} else self._below_hundred(head)
            if rest and rest[0] == w.and_:
                rest = rest[1:]
                if not rest:
                    return None
            tail = self._below_hundred(rest) if rest else 0
            if hundreds is None or tail is None or not 1 <= hundreds < 100:
                return None
            return hundreds * 100 + tail
        match tokens:
            case (a, b, c) if w.digits.get(a, 0) and w.digits.get(b) == 0 and w.digits.get(c, 0):
                return w.digits[a] * 100 + w.digits[c]
            case (a, _, *_) if w.digits.get(a, 0):
                tail = self._below_hundred(tokens[1:])
                return w.digits[a] * 100 + tail if tail is not None and tail >= 10 else None
        return self._below_hundred(tokens)

    def _whole(self, tokens: Tokens) -> Values:
        w = self._words
        for name, size in sorted(w.scales.items(), key=lambda scale: -scale[1]):
            if name in tokens:
                at = tokens.index(name)
                head, rest = tokens[:at], tokens[at + 1 :]
                count = 1 if head in {(a,) for a in w.article} else self._below_thousand(head)
                if len(rest) > 1 and rest[0] == w.and_:
                    rest = rest[1:]
                tails = self._whole(rest) if rest else _one(0)
                if not count or count >= 1000:
                    return NOTHING
                return frozenset(count * size + tail for tail in tails if tail < size)
        value = self._below_thousand(tokens)
        if value is not None:
            return _one(value)
        return self._digit_run(tokens) if len(tokens) >= 3 else NOTHING

    def _digit_run(self, tokens: Tokens) -> Values:
        """Digit by digit: "two four zero"."""
        if not tokens or not all(t in self._words.digits for t in tokens):
            return NOTHING
        digits = "".join(str(self._words.digits[t]) for t in tokens)
        if digits.startswith("0") and len(digits) > 1:
            return NOTHING
        return _one(int(digits))

    def _short_decimal(self, tokens: Tokens) -> Values:
        """The point left out: "twelve four" is 12.4; "twenty eight" stays 28."""
        if len(tokens) < 2 or tokens[-1] not in self._words.digits:
            return NOTHING
        head = self._below_hundred(tokens[:-1])
        tail = self._words.digits[tokens[-1]]
        if head is None or head < 10 or self._below_hundred(tokens) is not None:
            return NOTHING
        return _one(head + Decimal(tail) / 10)

    def _broken(self, tokens: Tokens) -> Values:
        """ "half", "a quarter", "one and a half", "four tenths"."""
        w = self._words
        if tokens[-1] in w.tenths and len(tokens) == 2 and w.digits.get(tokens[0], 0):
            return _one(Decimal(w.digits[tokens[0]]) / 10)
        if tokens[-1] not in w.parts:
            return NOTHING
        part = Decimal(str(w.parts[tokens[-1]]))
        head = tokens[:-1]
        if head in {(), *((a,) for a in w.article), ("one",)}:
            return _one(part)
        if len(head) >= 3 and head[-1] in w.article and head[-2] == w.and_:
            return frozenset(whole + part for whole in self._whole(head[:-2]))
        return NOTHING

    def _one_of_two(self, tokens: Tokens) -> Values:
        """What people say for two different numbers; both are returned."""
        w = self._words
        match tokens:
            case (a, b) if a in w.digits and b in w.digits:
                pair = w.digits[a], w.digits[b]
                return frozenset({Decimal(pair[0] * 10 + pair[1]), Decimal(f"{pair[0]}.{pair[1]}")})
            case (a, o, b) if w.digits.get(o) == 0 and w.digits.get(b, 0) and a in w.teens | w.tens:
                return _two_sizes((w.teens | w.tens)[a], w.digits[b])
        for cut in range(1, len(tokens)):
            head, tail = self._below_hundred(tokens[:cut]), self._below_hundred(tokens[cut:])
            if head is not None and tail is not None and head >= 10 and tail >= 10:
                return _two_sizes(head, tail)
        return NOTHING


def _two_sizes(head: int, tail: int) -> Values:
    """ "twelve fifty": 1250 or 12.50."""
    return frozenset({Decimal(head * 100 + tail), head + Decimal(tail) / 100})
