"""What every kind of ears offers to the call."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from companion.understood import Utterance

Settled = Callable[[str], bool]
Meaning = Callable[[str], bool]


def never(text: str) -> bool:
    """Always wait for the end of speech."""
    return False


class Ears(Protocol):
    """Anything that waits for the technician and gives back words."""

    def listen(
        self, phrases: Sequence[str], settled: Settled = never, meaning: Meaning = never
    ) -> Utterance | None:
        """Wait for the next utterance.

        Args:
            phrases: what can be said at this step, lower case, words separated by spaces.
            settled: tells of words heard so far whether nothing can follow them, so
                that there is no need to wait for more.
            meaning: tells of words heard so far whether they mean something here, so
                that a pause may end them, and that the companion gives way to them.

        Returns:
            The words, or None when the source has ended for good.

        Raises:
            AudioError: the source failed before its end.
        """
        ...

    def close(self) -> None:
        """Let go of the source."""
        ...
