"""The compiled half of the package: plain values in, arrays and JSON text out."""

from typing import Any, Final, final

import numpy as np
import numpy.typing as npt

from ._given import Source, Text, Told

__version__: Final[str]
__all__ = ["Items", "Set", "__version__", "check", "field", "learn", "mask_preview", "measure", "render"]

_Counts = npt.NDArray[np.uint16]
_Expected = npt.NDArray[np.float64]
_Image = str | tuple[npt.NDArray[np.float64], int, float | None]
_Item = tuple[_Counts, dict[str, Any]]

def render(source: Source, bound: bool, portable: bool) -> tuple[_Counts | None, _Expected, str]: ...
def check(source: Source, portable: bool) -> str: ...
def mask_preview(source: Source, portable: bool) -> tuple[str, list[tuple[str, _Expected]]]: ...
def field(source: Source, portable: bool) -> tuple[str, _Counts]: ...
def measure(
    image: _Image, source: Source, told: Told, asked: Any, second: _Image | None, response: Text | None
) -> tuple[str, list[str]]: ...
def learn(
    source: Source, frames: list[_Image], trials: list[tuple[int, int, str, float]], told: Told
) -> tuple[str, str, list[str]]: ...

@final
class Set:
    shape: tuple[int, int]
    def __new__(cls, recipe: Text, secret: str | None, portable: bool) -> Set: ...
    def item(self, number: int) -> _Item: ...
    def items(self, first: int, end: int) -> Items: ...
    def columns(self) -> list[tuple[str, str]]: ...

@final
class Items:
    def __iter__(self) -> Items: ...
    def __next__(self) -> _Item: ...
