"""The errors a user can cause, each with its place, its fault and its cure."""

from __future__ import annotations

from typing import Self

MOST_TOLD = 20
"""Problems of one file that are told at once."""


class RidesimError(Exception):
    """Bad input. Reads `where: what is wrong; what to do`."""

    def __init__(self, where: str, what: str, to_do: str) -> None:
        super().__init__(where, what, to_do)
        self.where = where
        self.what = what
        self.to_do = to_do

    def __str__(self) -> str:
        return " ".join(f"{self.where}: {self.what}; {self.to_do}".splitlines())  # a file's name may break lines


class FileError(RidesimError):
    """A file of ours that cannot be used. May hold several problems, one a line."""

    def __init__(
        self, where: str, what: str, to_do: str, problems: tuple[RidesimError, ...] = (), untold: int = 0
    ) -> None:
        super().__init__(where, what, to_do)
        self.problems = problems[:MOST_TOLD]
        self.untold = untold + len(problems) - len(self.problems)

    @classmethod
    def many(cls, problems: tuple[RidesimError, ...], untold: int = 0) -> Self:
        """Return one error that carries the problems found in a file; `untold` is how many more there are."""
        first = problems[0]
        return cls(first.where, first.what, first.to_do, problems, untold)

    def __str__(self) -> str:
        if len(self.problems) + self.untold < 2:
            return super().__str__()
        lines = [str(problem) for problem in self.problems]
        rest = [f"{self.where}: {self.untold} more problems; mend these first"] if self.untold else []
        return "\n".join(lines + rest)


class BuildError(FileError):
    """A build or part file that cannot be ridden."""


class GoalsError(FileError):
    """Goals of a search that cannot be read or met as asked."""


class RoadError(FileError):
    """A road that cannot be read or ridden."""


class LogError(RidesimError):
    """A recording of a ride or a bench that cannot be used."""


class RideError(RidesimError):
    """A ride, or a question about one, that makes no sense as asked."""


class Interrupted(KeyboardInterrupt):
    """A ride or a batch that a signal ended: `done` says in words how far it came, `left` is what it left behind."""

    def __init__(self, done: str, left: object = None) -> None:
        super().__init__(done)
        self.done = done
        self.left = left
