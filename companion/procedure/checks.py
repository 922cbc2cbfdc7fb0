"""What must hold across a procedure before it may be walked.

The shapes check each value by itself; these rules check that values agree: that
every answer leads somewhere, and that no resistance step can be reached live.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from itertools import pairwise
from string import Formatter
from typing import get_args

from companion.errors import DataFileError
from companion.procedure.shapes import (
    AGAIN,
    NEXT,
    PARKED,
    PROTECTIONS,
    Interlock,
    Outcome,
    Procedure,
    Step,
)

SLOTS = frozenset(
    {"value", "terminal", "circuit", "part", "fault", "repair", "marked", "fitted", "new_fuse",
     "leads", "unfinished", "likeliest", "mended"}
)  # fmt: skip
ZERO_VOLTS_LIMIT = 1.0
FED_VOLTS = 18.0
# Judges of ohms between C and a terminal: the transformer's winding must be out of those.
BOARD_JUDGES = frozenset({"terminal_ohms", "wiring_ohms"})


def check(
    procedure: Procedure,
    where: Mapping[str, str],
    *,
    answers: Collection[str],
    verdicts: Mapping[str, Collection[str]],
    equipment: Collection[str],
) -> None:
    """Check a procedure as a whole.

    Args:
        procedure: to be checked.
        where: for each step the file and line it stands at; under "" the frame's file.
        answers: names that the vocabulary has words for.
        verdicts: for each judge, the verdicts that it can give.
        equipment: ids of what may be chosen.

    Raises:
        DataFileError: the first thing that does not hold, by its key.
    """
    for key, expected in _faults(procedure, answers, verdicts, equipment):
        table, _, name = key.partition(".")
        step = name.partition(".")[0] if table == "steps" else ""
        if table == "interlocks" and procedure.interlocks.get(name) in procedure.steps:  # type: ignore[call-overload]
            step = procedure.interlocks[name]  # type: ignore[index]
        raise DataFileError(where.get(step, where[""]), key, expected)


def _faults(
    procedure: Procedure,
    answers: Collection[str],
    verdicts: Mapping[str, Collection[str]],
    equipment: Collection[str],
) -> Iterator[tuple[str, str]]:
    steps = procedure.steps
    for key, target in _targets(procedure):
        if target not in steps and target not in {NEXT, AGAIN, PARKED}:
            yield key, f"expected the name of a step, got {target!r}"
    for name, step in steps.items():
        here = f"steps.{name}"
        yield from _texts(here, step)
        yield from _safety(here, step, procedure)
        yield from _lists(here, name, step, procedure)
        for answer in step.answers:
            if answer not in answers:
                yield f"{here}.answers", f"expected answers of vocabulary.toml, got {answer!r}"
        if step.judge is not None and step.judge not in verdicts:
            yield f"{here}.judge", f"expected one of {sorted(verdicts)}"
        else:
            yield from _coverage(here, step, verdicts)
        for outcome in step.outcomes:
            if outcome.profile is not None and outcome.profile not in equipment:
                got = outcome.profile
                yield f"{here}.outcomes", f"expected an id of dialogs/equipment, got {got!r}"
    yield from _interlocks(procedure)
    unreachable = set(steps) - _reachable(procedure)
    if unreachable:
        yield "steps", f"expected every step to be reachable, not so: {sorted(unreachable)}"


def _targets(procedure: Procedure) -> Iterator[tuple[str, str]]:
    yield "start", procedure.start
    yield "hunt", procedure.hunt
    yield "fuse_check", procedure.fuse_check
    for interlock, target in procedure.interlocks.items():
        yield f"interlocks.{interlock}", target
    for name, step in procedure.steps.items():
        for outcome in step.outcomes:
            if outcome.go is not None:
                yield f"steps.{name}.outcomes", outcome.go
        for entry in step.exhausted:
            yield f"steps.{name}.exhausted", entry.go
        for way in step.passes:
            yield f"steps.{name}.passes", way.go
        if step.skip is not None:
            yield f"steps.{name}.skip", step.skip


def _texts(here: str, step: Step) -> Iterator[tuple[str, str]]:
    said = [step.say, step.brief, step.why, step.caution, *(o.say for o in step.outcomes)]
    said += [entry.say for entry in step.exhausted]
    for text in filter(None, said):
        for _, slot, _, _ in Formatter().parse(text):
            if slot is not None and slot not in SLOTS:
                yield here, f"expected slots out of {sorted(SLOTS)}, got {slot!r}"


def _safety(here: str, step: Step, procedure: Procedure) -> Iterator[tuple[str, str]]:
    if step.quantity == "resistance" and step.power != "dead":
        yield f"{here}.power", "expected 'dead' where ohms are asked for"
    if step.judge in BOARD_JUDGES and not {"isolated", "unfused"} & set(step.needs):
        yield f"{here}.needs", "expected 'unfused' where ohms are read from C at the board"
    if step.safety and (step.skip is not None or {"yes", "no"} & set(step.answers)):
        yield here, "expected a safety step to have no skip, and no yes or no for an answer"
    if set(step.earns) - {"zeroed"} and not step.safety:
        yield f"{here}.earns", "expected 'safety = true' where an interlock is answered for"
    if PROTECTIONS & set(step.earns) and step.power != "dead":
        yield f"{here}.power", "expected 'dead' where something is fitted in the fuse's place"
    for o in step.outcomes:
        if o.gains and (step.quantity != "voltage" or (o.at_least or 0.0) < FED_VOLTS):
            yield f"{here}.outcomes", "expected 'gains' only where R was read to be fed"
        if o.go == PARKED and PROTECTIONS & set(step.earns):
            others = (PROTECTIONS - set(step.earns)) | {"isolated", "unfused"}
            if not others <= set(o.loses):
                yield f"{here}.outcomes", f"expected 'loses' with {sorted(others)}"
        takes_out = o.go == PARKED and {"isolated", "unfused"} & set(step.earns)
        if takes_out and not set(o.loses) >= PROTECTIONS:
            yield f"{here}.outcomes", f"expected 'loses' with {sorted(PROTECTIONS)}"
    parks = any(o.go == PARKED for o in step.outcomes)
    if parks != bool(step.earns):
        yield here, f"expected {PARKED} in, and only in, a step that earns an interlock"


def _lists(here: str, name: str, step: Step, procedure: Procedure) -> Iterator[tuple[str, str]]:
    goes = {o.go for o in step.outcomes} | {step.skip}
    if (NEXT in goes) and step.each is None:
        yield here, f"expected 'each' in a step that goes to {NEXT}"
    if (step.each == "tests") != (name == procedure.hunt):
        yield here, "expected 'each = \"tests\"' in the step named 'hunt', and there alone"
    if step.each is not None and (not step.exhausted or step.exhausted[-1].finding is not None):
        yield f"{here}.exhausted", "expected a last entry without 'finding'"


def _coverage(
    here: str, step: Step, verdicts: Mapping[str, Collection[str]]
) -> Iterator[tuple[str, str]]:
    """Every answer, verdict and value that the step accepts has an outcome."""
    for answer in step.answers:
        if not any(o.answer == answer for o in step.outcomes):
            yield f"{here}.outcomes", f"expected an outcome for the answer {answer!r}"
    if step.quantity is None:
        return
    if step.judge is not None:
        for verdict in verdicts[step.judge]:
            if not any(o.verdict == verdict for o in step.outcomes):
                yield f"{here}.outcomes", f"expected an outcome for the verdict {verdict!r}"
        return
    edges = {step.least, step.most}
    for o in step.outcomes:
        edges |= {edge for edge in (o.at_least, o.below) if edge is not None}
    points = sorted(edge for edge in edges if step.least <= edge <= step.most)
    points += [(a + b) / 2 for a, b in pairwise(points)]
    for point in points:
        if not any(spans(o, point) for o in step.outcomes):
            yield f"{here}.outcomes", f"expected an outcome for the value {point:g}"
    if step.over_limit and not any(o.over_limit for o in step.outcomes):
        yield f"{here}.outcomes", "expected an outcome with over_limit = true"


def spans(outcome: Outcome, value_si: float) -> bool:
    """Whether a number falls within an outcome's bounds; an outcome without any has no numbers."""
    if outcome.at_least is None and outcome.below is None:
        return False
    low = float("-inf") if outcome.at_least is None else outcome.at_least
    high = float("inf") if outcome.below is None else outcome.below
    return low <= value_si < high


def _interlocks(procedure: Procedure) -> Iterator[tuple[str, str]]:
    steps = procedure.steps
    for name in get_args(Interlock):
        if name not in procedure.interlocks:
            yield "interlocks", f"expected an entry step for {name!r}"
            continue
        way = chain(procedure, procedure.interlocks[name])
        last = steps[way[-1]]
        if name not in last.earns or not (name == "zeroed" or all(steps[s].safety for s in way)):
            yield f"interlocks.{name}", f"expected safety steps that lead to one earning {name!r}"
        if name == "dead" and not (
            len(way) > 1
            and last.quantity == "voltage"
            and all(
                o.below is not None and o.below <= ZERO_VOLTS_LIMIT
                for o in last.outcomes
                if o.go == PARKED
            )
        ):
            yield (
                "interlocks.dead",
                f"expected power off said, then a voltage below {ZERO_VOLTS_LIMIT:g} V",
            )


def chain(procedure: Procedure, entry: str) -> list[str]:
    """The steps from an interlock's entry to its end, along first outcomes."""
    way = [entry]
    while (go := procedure.steps[way[-1]].outcomes[0].go) in procedure.steps and go not in way:
        way.append(str(go))
    return way


def _reachable(procedure: Procedure) -> set[str]:
    todo = [procedure.start, procedure.fuse_check, *procedure.interlocks.values()]
    seen: set[str] = set()
    while todo:
        name = todo.pop()
        if name in seen:
            continue
        seen.add(name)
        step = procedure.steps[name]
        goes = [o.go for o in step.outcomes] + [e.go for e in step.exhausted] + [step.skip]
        goes += [way.go for way in step.passes]
        todo += [go for go in goes if go in procedure.steps and go is not None]
    return seen
