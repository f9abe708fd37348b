"""What a person hands over, made ready for the compiled half: scenarios, images, what is told beside them."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any, NamedTuple, Union

import numpy as np
import numpy.typing as npt

from . import _toml
from ._error import Error

#: A path, a dict, or TOML text (a text with a line break).
Scenario = Union[str, "os.PathLike[str]", Mapping[str, Any]]
#: ``{"state.sensor_offset_um": 420.0}``, or texts as ``--set`` has them.
Set = Union[Mapping[str, Any], Iterable[str]]
#: A path, or pixel values of shape (rows, columns), row 0 at the bottom.
Image = Union[str, "os.PathLike[str]", npt.ArrayLike]

class Source(NamedTuple):
    """A scenario: its path, or its text and a name for messages; and what is set in it, as ``KEY=VALUE``."""

    path: str
    text: str | None
    set: list[str]


class Text(NamedTuple):
    """A file: its path, or its text and a name for messages."""

    path: str
    text: str | None


class Told(NamedTuple):
    """What is told beside a frame."""

    side: str | None
    mask_on: bool | None
    portable: bool


def text_or_path(given: Scenario, what: str) -> Text:
    """Tells a dict, a text and a path apart."""
    if isinstance(given, Mapping):
        return Text(f"<{what}>", _toml.document(given))
    if isinstance(given, str) and "\n" in given:
        return Text(f"<{what}>", given)
    try:
        path = os.fspath(given)
    except TypeError:
        path = None
    if not isinstance(path, str):
        raise TypeError(f"{what} must be a path, a dict, or TOML text with a line break, not {type(given).__name__}")
    return Text(path, None)


def source(scenario: Scenario, set: Set, seed: int | None = None, what: str = "scenario") -> Source:
    """A scenario with what is set in it."""
    path, text = text_or_path(scenario, what)
    arguments = arguments_of(set)
    if seed is not None:
        arguments.append(f"seed={_toml.value_of(seed, 'seed')}")
    return Source(path, text, arguments)


def arguments_of(set: Set) -> list[str]:
    """What is set, as the program's ``--set`` has it."""
    if isinstance(set, Mapping):
        return [f"{key}={_toml.value_of(value, str(key))}" for key, value in set.items()]
    if isinstance(set, str):
        return [set]
    return [str(argument) for argument in set]


def image(given: Image, what: str) -> str | tuple[npt.NDArray[np.float64], int, float | None]:
    """A path; or values, the bits of a stored one, and the largest that they can hold."""
    if isinstance(given, (str, os.PathLike)):
        return os.fspath(given)
    values = np.ma.asarray(given) if isinstance(given, np.ma.MaskedArray) else np.asarray(given)
    kind, bits = values.dtype.kind, 8 * values.dtype.itemsize
    if kind not in "uif":
        raise Error(
            f"{what} holds {values.dtype} values, but must hold counts",
            "give whole or real numbers, as the camera wrote them",
        )
    if values.ndim != 2:
        raise Error(
            f"{what} has the shape {values.shape}, but must have (rows, columns)",
            "give one plane; of a colour picture the green one",
        )
    ceiling = float(np.iinfo(values.dtype).max) if kind in "ui" and bits <= 16 else None
    if isinstance(values, np.ma.MaskedArray):
        return np.ma.filled(values.astype(np.float64), np.nan), bits, ceiling
    return np.asarray(values, dtype=np.float64), bits, ceiling


def told(side: str | None, mask: str | bool | None, portable: bool) -> Told:
    """Side of focus and mask."""
    if side not in (None, "inside", "outside"):
        raise Error(f"side is {side!r}, but must be 'inside' or 'outside'", "leave it out where it is not known")
    if mask is None or isinstance(mask, bool):
        return Told(side, mask, portable)
    if mask not in ("on", "off"):
        raise Error(f"mask is {mask!r}, but must be 'on' or 'off'", "leave it out: on where the instrument has one")
    return Told(side, mask == "on", portable)


def place(at: Iterable[float] | None) -> list[float] | None:
    """Column and row of a star."""
    if at is None:
        return None
    numbers = [float(value) for value in at]
    if len(numbers) != 2 or not all(map(math.isfinite, numbers)):
        raise Error(f"at is {at!r}, but must be two numbers", "(column, row) in pixels from the bottom left")
    return numbers


def kelvin(temperature: float | None) -> float | None:
    """Temperature of a star."""
    if temperature is not None and not 1000.0 <= temperature <= 100_000.0:
        raise Error(
            f"temperature is {temperature!r}, but must be a number from 1000 to 100000 kelvin",
            "leave it out for a flat spectrum",
        )
    return None if temperature is None else float(temperature)


def turns_of(given: float | str, what: str) -> float:
    """Turns of a screw: a number, or a text such as ``1/8``."""
    try:
        return float(Fraction(given.strip())) if isinstance(given, str) else float(given)
    except (ValueError, ZeroDivisionError, TypeError):
        raise Error(f"{what} has the turns {given!r}, which are no number", "for example 0.125 or '1/8'") from None
