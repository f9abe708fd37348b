"""Python values written as TOML: a scenario that is a dict, and the right side of what is set in one."""

from __future__ import annotations

import json
import numbers
import re
from collections.abc import Mapping
from typing import Any

from ._error import Error

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def document(table: Mapping[Any, Any]) -> str:
    """A mapping as a TOML document: each key on a line of its own, so that a message can name the line."""
    return "".join(f"{line}\n" for line in _section(table, ()))


def _section(table: Mapping[Any, Any], path: tuple[str, ...]) -> list[str]:
    if path:
        lines = ["", f"[{'.'.join(path)}]"]
    else:
        lines = []
    inner = [(key, value) for key, value in table.items() if isinstance(value, Mapping)]
    for key, value in table.items():
        if not isinstance(value, Mapping):
            lines.append(f"{_key(key)} = {value_of(value, _shown(path, key))}")
    for key, value in inner:
        lines += _section(value, (*path, _key(key)))
    return lines


def value_of(value: Any, name: str) -> str:
    """A value as TOML on one line; ``name`` is what a message calls it."""
    if hasattr(value, "tolist"):  # arrays and numbers of numpy
        value = value.tolist()
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, numbers.Integral):
        return str(int(value))
    if isinstance(value, numbers.Real):
        return repr(float(value))
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Mapping):
        inner = (f"{_key(key)} = {value_of(inside, f'{name}.{key}')}" for key, inside in value.items())
        return "{ " + ", ".join(inner) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(value_of(inside, f"{name}[{n}]") for n, inside in enumerate(value)) + "]"
    raise Error(
        f"{name} is {value!r}, which no scenario can hold",
        "give a number, a text, True or False, a list or a dict; leave a key out instead of giving None",
    )


def _shown(path: tuple[str, ...], key: Any) -> str:
    return ".".join((*path, str(key)))


def _key(key: Any) -> str:
    name = str(key)
    return name if _BARE.fullmatch(name) else _text(name)


def _text(text: str) -> str:
    # a TOML text in double quotes is written as one of JSON, but for the character 7F
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
