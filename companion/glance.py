"""The call at a glance: what to do now, the last reading, the suspects, in very large type.

Nothing on it wants touching. Redrawn when something happens and never in between.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.panel import Panel
from rich.text import Text

from companion.big_letters import HEIGHT, big
from companion.messages import Concluded, Message, Suspicion
from companion.understood import Answer, Command, NotUnderstood, Reading, Understood, Utterance

_BAR = 20

# A sign and a word for each state; the colour only repeats them.
_STATES = {
    "listening": ("●", "LISTENING", "black on green"),
    "thinking": ("…", "THINKING", "black on yellow"),
    "hold": ("■", "ON HOLD  say: resume", "white on red"),
    "deaf": ("✕", "NO MICROPHONE", "white on red"),
    "closed": ("✓", "CALL CLOSED", "black on white"),
}


class Glance:
    """A screen of a call that fills the terminal.

    Args:
        console: where to; the terminal by default.
    """

    def __init__(self, console: Console | None = None) -> None:
        self.console = console or Console()
        self._state = "listening"
        self._now: list[str] = []
        self._last = ""
        self._suspicion: Suspicion | None = None
        self._warning = ""
        self._live = Live(
            self, console=self.console, screen=True, auto_refresh=False, transient=True
        )

    def open(self) -> None:
        """Take over the terminal."""
        self._live.start(refresh=True)

    def close(self) -> None:
        """Give the terminal back, as it was."""
        self._live.stop()

    def heard(self, utterance: Utterance, understood: Understood) -> None:
        """What was heard, and what was made of it."""
        self._warning = ""
        match understood:
            case Reading(at=at) as reading:
                self._last = f"{reading}" + (f" at {at}" if at else "")
            case Answer() as answer:
                self._last = str(answer)
            case Command(name="stop"):
                self._state = "hold"
            case Command(name="resume"):
                self._state = "listening"
            case Command(reading=reading, answer=answer) if reading or answer:
                self._last = f"{reading or answer}"
            case NotUnderstood():
                self._warning = f"Not taken: {utterance.text}"
        if self._state == "listening":
            self._state = "thinking"
        self._redraw()

    def said(self, lines: Sequence[str]) -> None:
        """What the companion says; the last line is what to do."""
        self._now = list(lines)
        if self._state == "thinking":
            self._state = "listening"
        self._redraw()

    def followed(self, messages: Sequence[Message]) -> None:
        """Suspects, and the end of the call."""
        for message in messages:
            if isinstance(message, Suspicion):
                self._suspicion = message
            elif isinstance(message, Concluded):
                self._state = "closed"
        if self._state == "thinking":
            self._state = "listening"
        self._redraw()

    def warn(self, line: str) -> None:
        """Something that is wrong, and does not end the call."""
        self._warning = line
        if "microphone is gone" in line:
            self._state = "deaf"
        elif self._state == "deaf" and "microphone is back" in line:
            self._state = "listening"
        self._redraw()

    def _redraw(self) -> None:
        if self._live.is_started:
            self._live.update(self, refresh=True)

    def __rich__(self) -> RenderableType:
        width, height = self.console.size
        sign, words, colour = _STATES[self._state]
        state = Text(f" {sign} {words} ".center(width), style=f"bold {colour}")
        warning = [Text(f"! {self._warning}", style="bold", overflow="ellipsis", no_wrap=True)]
        warning = warning if self._warning else []
        inner = width - 4
        # The instruction comes first: the rest gets smaller until there is room for it.
        for large_last, suspects in ((True, 3), (True, 1), (False, 3), (False, 1), (False, 0)):
            below = self._boxed("suspects", self._suspects(suspects))
            last = self._boxed("last, as understood", self._reading(inner, large_last))
            lines = sum(rows for _, rows in (*below, *last)) + len(warning) + 1 + 2
            now = self._instruction(inner, height - 1 - lines)
            if now is not None:
                break
        else:
            now = Text("\n".join(self._now), style="bold")
        return Group(state, Panel(now), *(box for box, _ in (*last, *below)), *warning)

    @staticmethod
    def _boxed(title: str, lines: list[Text]) -> list[tuple[RenderableType, int]]:
        """A box and the rows that it takes; none around nothing."""
        if not lines:
            return []
        return [(Panel(Group(*lines), title=title, title_align="left"), len(lines) + 2)]

    def _instruction(self, columns: int, rows: int) -> RenderableType | None:
        """The last thing asked in big letters, what led to it above, as far as there is room."""
        if not self._now:
            return Text("")
        *before, now = self._now
        for keep in range(len(before) + 1):
            small = [Text(line, style="bold") for line in before[keep:]]
            used = sum(1 + len(line) // columns for line in before[keep:])
            large = big(now, columns, rows - used - bool(used))
            if large is not None:
                gap = [Text("")] if small else []
                return Group(*small, *gap, *(Text(row, no_wrap=True) for row in large))
        return None

    def _reading(self, columns: int, large: bool) -> list[Text]:
        if not self._last:
            return []
        rows = big(self._last, columns, HEIGHT) if large else None
        return [Text(row, style="bold", no_wrap=True) for row in rows or [self._last]]

    def _suspects(self, most: int) -> list[Text]:
        if self._suspicion is None:
            return []
        lines = []
        for number, suspect in enumerate(self._suspicion.suspects[:most], start=1):
            full = round(suspect.chance * _BAR)
            bar = "█" * full + "░" * (_BAR - full)
            terminal = f"{suspect.terminal}: " if suspect.terminal else ""
            named = f"{terminal}{suspect.part}, {suspect.fault}"
            line = f"{number}  {suspect.chance:4.0%}  {bar}  {named}"
            lines.append(Text(line, style="bold", overflow="ellipsis", no_wrap=True))
        return lines
