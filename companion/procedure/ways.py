"""Where a target leads, given all that is known: past what needs no asking, along lists."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

from companion.counsel import Counsel
from companion.messages import Suspicion
from companion.procedure.asking import may_be_asked, most_asked
from companion.procedure.evidence import by_part, in_doubt, leading
from companion.procedure.library import Library
from companion.procedure.shapes import AGAIN, NEXT, PARKED, Fact, Finding
from companion.procedure.standing import Place, Standing

NOTHING_NOW = "none now"
ELSE = "something else"
"""Names that the reasoner has for no part at all."""
COMES_AND_GOES = "comes and goes"
FUSE = "fuse"
UNANSWERED = "nothing_runs"
LIKELY = 0.6
NAMED = 0.9
"""Below this chance candidates are told and no part is named."""


@dataclass(frozen=True)
class Way:
    """The place that a target means, the standing on arrival, and what is told on the way."""

    place: Place
    standing: Standing
    told: tuple[str, ...] = ()


class Ways:
    """Resolves targets.

    Args:
        library: the procedure and the equipment.
    """

    def __init__(self, library: Library) -> None:
        self._procedure = library.procedure

    def resolve(self, target: str, standing: Standing, counsel: Counsel | None) -> Way:
        """The place that a target means now."""
        here = standing.place
        if target == AGAIN:
            return Way(here, standing)
        if target == PARKED:
            if standing.parked is None:
                raise AssertionError("an interlock was entered with nothing waiting for it")
            return Way(standing.parked, standing)
        if target != NEXT:
            step = self._procedure.steps[target]
            for way in step.passes:
                if known(way.when, standing):
                    return self.resolve(way.go, standing, counsel)
            if step.each is None:
                return Way(Place(target), standing)
            here = Place(target)
            if step.each != "tests":
                standing = standing.without_findings(target)
        return self._next(here.step, standing, counsel)

    def _next(self, step: str, standing: Standing, counsel: Counsel | None) -> Way:
        each = self._procedure.steps[step].each
        if each != "tests":
            found = standing.found(step)
            listed = swept(standing) if each == "circuits" else _uncleared(standing)
            left = [terminal for terminal in listed if terminal not in found]
            if left:
                return Way(Place(step, left[0]), standing)
            return self._exhausted(step, None, standing, counsel)
        assert counsel is not None, f"{step}: tests are asked for before there is equipment"
        doubt = in_doubt(standing.evidence, counsel.cards())
        if doubt is not None and standing.setting("means", "meter") != "breaker":
            return Way(Place(self._procedure.fuse_check, doubt), standing)
        name = _next_test(standing, counsel)
        if name is not None:
            return Way(Place(step, name), standing)
        suspicion = counsel.suspicion(standing.evidence)
        return self._exhausted(step, suspicion, _naming(suspicion, standing), counsel)

    def _exhausted(
        self, step: str, suspicion: Suspicion | None, standing: Standing, counsel: Counsel | None
    ) -> Way:
        finding = _of_list(step, standing)
        if suspicion is not None:
            finding = _finding(suspicion, bool(standing.mended))
        if suspicion is not None and finding != "named" and standing.transformer_open:
            finding = "named"
            standing = replace(standing, part="transformer", fault="open")
        if suspicion is not None and finding != "named" and _fuse_may_tell(standing, counsel):
            finding = "fuse may tell"
        elif finding == "unclear" and _skipped_would_tell(standing, counsel):
            finding = "skipped would tell"
        for entry in self._procedure.steps[step].exhausted:
            if entry.finding is not None and entry.finding != finding:
                continue
            told = () if entry.say is None else (entry.say,)
            standing = replace(standing, settings={**standing.settings, **entry.sets})
            onward = self.resolve(entry.go, standing, counsel)
            return replace(onward, told=(*told, *onward.told))
        raise AssertionError(f"{step}: its list is done and leads nowhere; see the checks")


def swept(standing: Standing) -> list[str]:
    """The terminals that are called one by one, the one last named first."""
    terminals = [side.terminal for side in standing.sides if side.sweep]
    return sorted(terminals, key=lambda terminal: terminal != standing.terminal)


def _uncleared(standing: Standing) -> list[str]:
    """The terminals, R among them, that a short could still be on."""
    terminals = [s.terminal for s in standing.sides if s.terminal not in standing.cleared]
    return sorted(terminals, key=lambda terminal: terminal != standing.terminal)


def known(fact: Fact, standing: Standing) -> bool:
    """Whether something is known already, so that a step need not ask for it."""
    match fact:
        case "profile":
            return standing.profile is not None
        case "means":
            return "means" in standing.settings
        case "no circuit":
            return standing.circuit is None
        case "transformer lives":
            return not standing.transformer_open
        case "fuse whole":
            return standing.complaint == "nothing"


def _finding(suspicion: Suspicion, mended: bool = False) -> Finding:
    first = leading(suspicion)
    # The marked fuse goes in whatever else is found, so the wrong one need only be likely.
    wanted = LIKELY if first is not None and first.part == FUSE else NAMED
    if first is not None and first.chance >= wanted and first.part not in {ELSE, NOTHING_NOW}:
        return "named"
    hiding = [s for s in suspicion.suspects if s.part == NOTHING_NOW or s.fault == COMES_AND_GOES]
    if sum(s.chance for s in hiding) < LIKELY:
        return "unclear"
    return "sound again" if mended else "comes and goes"


def _next_test(standing: Standing, counsel: Counsel) -> str | None:
    heard = Counter(evidence.test for evidence in standing.evidence)
    allowed = [
        name
        for name, card in counsel.cards().items()
        if may_be_asked(card, standing) and heard[name] < most_asked(card)
    ]
    return counsel.next(standing.evidence, allowed)


def _fuse_may_tell(standing: Standing, counsel: Counsel | None) -> bool:
    """Whether with the marked fuse in there would be a test that tells, and there is none now."""
    if counsel is None or not standing.fuse_may_go_in or "fuse" in standing.settings:
        return False
    fused = replace(standing, settings={**standing.settings, "fuse": "may go in"})
    return _next_test(fused, counsel) is not None


def _skipped_would_tell(standing: Standing, counsel: Counsel | None) -> bool:
    """Whether a test that was passed over is what would be asked next."""
    anew = standing.with_skipped_open
    if counsel is None or anew.evidence == standing.evidence:
        return False
    skipped = {e.test for e in standing.evidence if e.value is None}
    return _next_test(anew, counsel) in skipped


def _of_list(step: str, standing: Standing) -> Finding | None:
    return "unanswered" if UNANSWERED in standing.found(step).values() else None


def _likeliest(suspicion: Suspicion) -> str:
    """The two parts that are suspected most, in words."""
    parts = [s.part for s in by_part(suspicion) if s.part not in {NOTHING_NOW, ELSE}]
    return ", then ".join(parts[:2]) or "nothing that I know"


def _naming(suspicion: Suspicion, standing: Standing) -> Standing:
    """Names the likeliest part, and with it every other that is as good as sure (two faults)."""
    if _finding(suspicion) != "named":
        return replace(
            standing, terminal=None, part=None, fault=None, likeliest=_likeliest(suspicion)
        )
    first, *others = by_part(suspicion)
    more = [s for s in others if s.chance >= NAMED]
    parts = " and ".join(suspect.part for suspect in (first, *more))
    return replace(standing, terminal=first.terminal, part=parts, fault=first.fault)
