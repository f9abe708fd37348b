"""Sets of frames with their truth, item by item."""

from __future__ import annotations

import operator
import os
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from . import _given, _native
from ._error import Error
from ._given import Scenario

#: Frame, truth.
Item = tuple[npt.NDArray[np.uint16], dict[str, Any]]


class Dataset:
    """A set of star frames with exact truth, made when asked for: nothing is stored.

    ``ds[i]`` is ``(frame, truth)``: the frame as ``uint16`` of shape (rows, columns), row 0 at the bottom, with the bytes that
    ``skewstar dataset make`` writes for item ``start + i``; the truth as a flat dict with the names of the truth table's columns, in its
    order (``None`` for an empty cell). Item ``i`` depends on the recipe, its scenario, the seed and ``i`` alone, so that any number of
    processes make the same set.

    A loop over the set makes the next items ahead on all threads. ``ds[i]`` makes one, and may be called from several threads or processes
    at once; a ``Dataset`` can be pickled, and a process that was forked off has threads of its own.

    Args:
        recipe: the recipe's path; or a dict or TOML text (a text with a line break), whose files are looked for from the working folder.
        count: number of items.
        start: number of the first one.
        secret: file with the secret of a sealed set (32 hexadecimal digits).
        portable: the same bytes on all processors, more slowly.

    Raises:
        Error: recipe, scenario or secret cannot be used; when an item is asked for, also what cannot be made of it.
        IndexError: there is no such item.
    """

    def __init__(
        self,
        recipe: Scenario,
        count: int,
        start: int = 0,
        secret: str | os.PathLike[str] | None = None,
        *,
        portable: bool = False,
    ) -> None:
        self._count = _whole(count, "count")
        self._start = _whole(start, "start")
        self._recipe = _given.text_or_path(recipe, "recipe")
        self._secret = None if secret is None else os.fspath(secret)
        self._portable = portable
        self._set = _native.Set(self._recipe, self._secret, portable)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of every frame."""
        return self._set.shape

    @property
    def columns(self) -> dict[str, str]:
        """The keys of every truth, in order, each with what it means."""
        return dict(self._set.columns())

    def __len__(self) -> int:
        return self._count

    def __getitem__(self, index: int) -> Item:
        number = operator.index(index)
        if not -self._count <= number < self._count:
            raise IndexError(f"item {number} of a set of {self._count}")
        return self._set.item(self._start + number % self._count)

    def __iter__(self) -> Iterator[Item]:
        return iter(self._set.items(self._start, self._start + self._count))

    def __repr__(self) -> str:
        rows, columns = self.shape
        end = self._start + self._count
        return f"<skewstar.Dataset {self._recipe.path!r}: items {self._start} to {end - 1}, {rows} rows, {columns} columns>"

    def __getstate__(self) -> dict[str, Any]:
        return {name: value for name, value in vars(self).items() if name != "_set"}

    def __setstate__(self, state: dict[str, Any]) -> None:
        vars(self).update(state)
        self._set = _native.Set(self._recipe, self._secret, self._portable)


#: As many items as the program counts.
_MOST = 1_000_000_000


def _whole(number: int, name: str) -> int:
    whole = operator.index(number)
    if not 0 <= whole <= _MOST:
        raise Error(f"{name} is {whole}, but must be from 0 to {_MOST}", "it counts items")
    return whole
