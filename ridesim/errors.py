"""The errors a user can cause, each with its place, its fault and its cure."""

from __future__ import annotations


class RidesimError(Exception):
    """Bad input. Reads `where: what is wrong; what to do`."""

    def __init__(self, where: str, what: str, to_do: str) -> None:
        super().__init__(where, what, to_do)
        self.where = where
        self.what = what
        self.to_do = to_do

    def __str__(self) -> str:
        return f"{self.where}: {self.what}; {self.to_do}"


class BuildError(RidesimError):
    """A build or part file that cannot be ridden. May hold several problems, one a line."""

    def __init__(self, where: str, what: str, to_do: str, problems: tuple[RidesimError, ...] = ()) -> None:
        super().__init__(where, what, to_do)
        self.problems = problems

    @classmethod
    def many(cls, problems: tuple[RidesimError, ...]) -> BuildError:
        """One error that carries every problem found in a file."""
        first = problems[0]
        return cls(first.where, first.what, first.to_do, problems)

    def __str__(self) -> str:
        if len(self.problems) > 1:
            return "\n".join(str(problem) for problem in self.problems)
        return super().__str__()


class RoadError(RidesimError):
    """A road that cannot be read or ridden."""


class LogError(RidesimError):
    """A recording of a ride or a bench that cannot be used."""


class RideError(RidesimError):
    """A ride, or a question about one, that makes no sense as asked."""
