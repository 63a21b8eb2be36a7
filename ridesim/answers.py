"""What every answer can do beside its own fields: words, pictures, a table and a notebook's display.

Answers are made below the room that shows them; they find it through the package, when first asked.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    import pandas as pd
    from matplotlib.figure import Figure


class Answer:
    """The base of an answer. Looking rides nothing."""

    __slots__ = ()

    @property
    def figures(self) -> Any:
        """The figures as plain values; every key carries its unit, as in the JSON answer."""
        return self._shown.figures()

    def to_frame(self) -> pd.DataFrame:
        """Return the answer's main table as a pandas table, units in the column names."""
        return self._shown.frame()

    def draw(self, picture: str | None = None, units: str = "metric") -> Figure:
        """Return a picture of the answer as a matplotlib figure: the first, or the one named in `pictures`.

        Raises RideError for another name, or where there is nothing to draw.
        """
        return self._shown.draw(picture, units)

    @property
    def pictures(self) -> tuple[str, ...]:
        """Names of the pictures that `draw` knows."""
        return self._shown.pictures

    def view(self, units: str = "metric", *, pictures: bool = True) -> Any:
        """Return the answer as a `report.view.View`: words, tables and pictures, as terminal and page show it."""
        return self._shown.view(units, pictures)

    @property
    def _shown(self) -> Any:
        from importlib import import_module

        return import_module("ridesim.report.showing").shown(self)

    def __repr__(self) -> str:
        return str(self._shown.line())

    def _repr_html_(self) -> str:
        return str(self._shown.html())
