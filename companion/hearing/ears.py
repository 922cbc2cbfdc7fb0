"""What every kind of ears offers to the call."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from companion.messages import Utterance


class Ears(Protocol):
    """Anything that waits for the technician and gives back words."""

    def listen(self, phrases: Sequence[str]) -> Utterance | None:
        """Wait for the next utterance.

        Args:
            phrases: what can be said at this step, lower case, words separated by spaces.

        Returns:
            The words, or None when the source has ended for good.

        Raises:
            AudioError: the source failed before its end.
        """
        ...

    def close(self) -> None:
        """Let go of the source."""
        ...
