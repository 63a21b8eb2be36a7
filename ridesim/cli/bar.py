"""A progress bar that appears only when the work takes long enough to need one."""

from __future__ import annotations

import time
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn


class LateBar:
    """A bar on stderr that shows itself after `after_s` seconds."""

    def __init__(self, words: str, total: int | None, after_s: float) -> None:
        columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f}%"))
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
