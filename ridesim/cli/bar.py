"""A progress bar that appears only when the work takes long enough to need one."""

from __future__ import annotations

import time
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, ProgressColumn, Task, TextColumn, TimeRemainingColumn
from rich.text import Text


class Rate(ProgressColumn):
    """How much is done a second."""

    def __init__(self, what: str) -> None:
        super().__init__()
        self._what = what

    def render(self, task: Task) -> Text:
        """Return the rate, nothing before it is known."""
        return Text(f"{task.speed:,.0f} {self._what}/s" if task.speed else "")


class LateBar:
    """A bar on stderr that shows itself after `after_s` seconds; `what` is counted a second."""

    def __init__(self, words: str, total: int | None, after_s: float, what: str | None = None) -> None:
        columns: tuple[ProgressColumn, ...] = (
            TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f}%")
        )  # fmt: skip
        columns += () if what is None else (Rate(what),)
        self._bar = Progress(*columns, TimeRemainingColumn(), console=Console(stderr=True), transient=True)
        self._task = self._bar.add_task(words, total=total)
        self._due = time.monotonic() + after_s
        self._shown = False

    def __enter__(self) -> LateBar:
        return self

    def advance(self, done: int = 1) -> None:
        """Count work done; show the bar once it is due."""
        self._bar.advance(self._task, done)
        if not self._shown and time.monotonic() >= self._due:
            self._bar.start()
            self._shown = True

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        if self._shown:
            self._bar.stop()
