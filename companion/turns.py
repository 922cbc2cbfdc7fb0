"""A call as a fold: what is heard in, what follows out, the same every time.

The journal holds both. To resume a call, what was heard is folded again without a
sound, and what follows is held against what is on record.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from companion.counsel import Complaint
from companion.diagnosis import VERDICTS
from companion.diagnosis.advisor import Advisor, counsel_for
from companion.equipment import Equipment
from companion.errors import DataFileError, ReplayDiffers
from companion.expected import Expectation
from companion.messages import Aside, CallOpened, CallResumed, Concluded, Consent, Message
from companion.procedure import Conversation, CounselFor, Library, Walk, load_library
from companion.understanding import Interpreter, Vocabulary, load_vocabulary, phrases_for
from companion.understood import Understood, Utterance

ARRIVING = "arrive"
"""The phase in which the equipment may still change: the networks are not solved before."""


@lru_cache(maxsize=8)
def kept_counsel(equipment: Equipment, complaint: Complaint, history: tuple[str, ...]) -> Advisor:
    """The reasoner for an installation; kept, since it depends on nothing else."""
    return counsel_for(equipment, complaint, history)


@dataclass(frozen=True)
class Dialogs:
    """Everything that the dialogs folder says, checked."""

    vocabulary: Vocabulary
    library: Library


def load_dialogs(folder: Path) -> Dialogs:
    """Load and cross-check the dialogs folder.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    vocabulary = load_vocabulary(folder)
    answers = vocabulary.answers
    return Dialogs(vocabulary, load_library(folder, answers=answers, verdicts=VERDICTS))


def missing_words(dialogs: Dialogs, model_words: frozenset[str]) -> dict[str, str]:
    """Words of the dialogs that a speech model does not know, and where each stands."""
    vocabulary = dialogs.vocabulary
    where = {
        word: f"equipment, {profile.id}, circuit {circuit.terminal}"
        for profile in dialogs.library.equipment.values()
        for circuit in profile.circuits
        for said in circuit.said
        for word in vocabulary.tokens(said)
    }
    where |= dict.fromkeys(vocabulary.all_words(), "vocabulary.toml")
    return {word: place for word, place in where.items() if word not in model_words}


def require_words(dialogs: Dialogs, model_words: frozenset[str], folder: Path) -> None:
    """Make sure that the shipped model knows every word of the dialogs.

    Raises:
        DataFileError: naming a missing word, and the file it stands in.
    """
    missing = missing_words(dialogs, model_words)
    for word, place in sorted(missing.items()):
        rest = f" ({len(missing) - 1} more are missing)" if len(missing) > 1 else ""
        expected = f"expected a word that the speech model knows{rest}"
        raise DataFileError(folder / place, word, expected)


class Turns:
    """The state of one call, moved on only by what is heard.

    Args:
        dialogs: what can be said and done.
        opened: the call's first record; it fixes profile and confidence floors.
        counsel: gives the reasoner; the shipped one by default.
    """

    def __init__(
        self, dialogs: Dialogs, opened: CallOpened, counsel: CounselFor = kept_counsel
    ) -> None:
        vocabulary = dialogs.vocabulary
        self._vocabulary = vocabulary
        self._opened = opened
        self._walk = Walk(dialogs.library, counsel)
        clarify = {name: entry.reply for name, entry in vocabulary.clarify.items()}
        said = {name: all_[0] for name, all_ in vocabulary.answers.items()}
        self._conversation = Conversation(self._walk, clarify, said)
        self._interpreter = Interpreter(vocabulary, opened.floor)

    @property
    def concluded(self) -> Concluded | None:
        """How the call ended, once it has."""
        return self._walk.concluded

    @property
    def walk(self) -> Walk:
        """Where the call stands."""
        return self._walk

    def expectation(self) -> Expectation:
        """What can be taken now."""
        return self._conversation.expectation()

    def phrases(self) -> list[str]:
        """What can be said now."""
        return phrases_for(self.expectation(), self._vocabulary)

    def settled(self, text: str) -> bool:
        """Whether words heard so far mean something that no more words can change."""
        return self._interpreter.settled(text, self.expectation())

    def begin(self) -> list[Message]:
        """What follows from opening the call."""
        return self._walk.begin(self._opened.profile, self._opened.style)

    def understand(self, utterance: Utterance) -> Understood:
        """What was meant, at this point of the call. Changes nothing."""
        return self._interpreter.interpret(utterance, self.expectation())

    def take(self, understood: Understood) -> list[Message]:
        """What follows from it."""
        after = self._conversation.take(understood)
        if self._walk.counsel is not None and self._walk.step.phase != ARRIVING:
            self._walk.counsel.prepare()
        return after

    def resumed(self, resumed: CallResumed) -> list[Message]:
        """What follows from going on after a break, perhaps with other ears."""
        if resumed.floor is not None:
            self._interpreter = Interpreter(self._vocabulary, resumed.floor)
        return self._conversation.resumed()


def replay(dialogs: Dialogs, record: Iterable[Message]) -> tuple[Turns, list[Message]]:
    """Fold a record again.

    Returns:
        The state it leads to, and what followed from the last thing heard but never
        came to be written, because the call was cut short there.

    Raises:
        ReplayDiffers: the record does not begin a call, or something else follows now
            from what was heard than what is on record.
    """
    messages = iter(record)
    opened = next(messages, None)
    if not isinstance(opened, CallOpened):
        raise _differs("The record does not begin with an opened call.")
    if opened.dialogs_digest != dialogs.library.digest:
        raise _differs("The dialogs have changed since this call was opened.")
    turns = Turns(dialogs, opened)
    due: deque[Message] = deque(turns.begin())
    for message in messages:
        if isinstance(message, Aside):
            continue
        if isinstance(message, Consent) and message not in due:
            continue  # given outside the conversation
        match message:
            case CallResumed() | Utterance() if due:
                raise _differs(f"The record lacks a {due[0].kind!r} before a {message.kind!r}.")
            case CallResumed():
                due = deque(turns.resumed(message))
            case Utterance():
                understood = turns.understand(message)
                due = deque([understood, *turns.take(understood)])
            case _:
                if not due or due.popleft() != message:
                    raise _differs(f"The record has a {message.kind!r} that does not follow.")
    return turns, list(due)


def _differs(what: str) -> ReplayDiffers:
    return ReplayDiffers(
        what,
        safe="The record is kept as it is, and can be read.",
        do="Begin a new call; say in a note which call it goes on from.",
    )
