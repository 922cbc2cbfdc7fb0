"""What a display shows in words, and how an exercise went beside the best sequence of tests."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from companion.datafiles import Shape, folder, load
from companion.diagnosis.likelihood import OL
from companion.diagnosis.trial import Test
from companion.practice.best import Step, best_sequence

if TYPE_CHECKING:
    from companion.practice.exercise import Exercise

UNITS = {"ohms": "Ω", "volts": "V", "amperes": "A"}
WORDS = {"trips": "It trips.", "holds": "It holds.", "runs": "It runs.", "nothing": "Nothing runs."}


class Worth(Shape):
    """``dialogs/practice/worth.toml``: what an hour, a fuse and a sound part replaced cost."""

    money: str
    hour: float
    fuse: float
    sound_part: float


@cache
def worth() -> Worth:
    """The shipped figures.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    return load(folder("dialogs") / "practice" / "worth.toml", Worth)


def cost(minutes: float, fuses: int = 0, sound_parts: int = 0) -> float:
    """Money that a hunt takes: time, fuses burnt, sound parts replaced."""
    each = worth()
    return minutes / 60.0 * each.hour + fuses * each.fuse + sound_parts * each.sound_part


def display(shown: float | str, test: Test) -> str:
    """A number with its unit, OL, or what is seen."""
    if isinstance(shown, str):
        return WORDS.get(shown, f"{shown.capitalize()}.")
    return "OL." if shown == OL else f"{shown:g} {UNITS[test.measure]}."


def best_for(exercise: Exercise) -> list[Step]:
    """The reasoner's own sequence, with what the apprentice had at hand."""
    return best_sequence(exercise.house, exercise.allowed())


def debrief(exercise: Exercise) -> list[str]:
    """How it went, against the best sequence of tests."""
    best, house = best_for(exercise), exercise.house
    own, least = house.minutes, sum(step.minutes for step in best)
    out = [
        f"You: {len(exercise.done)} tests, {own:.0f} minutes; hints asked for: "
        f"{exercise.hints}, fuses burnt: {house.fuses_burnt}.",
        f"The reasoner: {len(best)} tests, {least:.0f} minutes.",
    ]
    if own > least:
        out.append(f"Minutes to be saved: {own - least:.0f}.")
    wrong = int(exercise.named is not None and not exercise.right)
    spent = cost(own, house.fuses_burnt, wrong)
    if spent > cost(least):
        out.append(f"Money to be saved: {spent - cost(least):.0f} {worth().money}.")
    out += [f"  {step.say} {display(step.shown, house.tests[step.test])}" for step in best]
    out += [f"Told nothing new: {name}." for name in dict.fromkeys(exercise.idle)]
    for breach, count in exercise.broken.items():
        times = "once" if count == 1 else f"{count} times"
        out.append(f"Unsafe, {times}: {breach.rule}. {breach.why}")
    return out if exercise.broken else [*out, "No safety rule broken."]
