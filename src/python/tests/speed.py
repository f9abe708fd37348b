"""Frames a second from Python beside `skewstar dataset make`, on a quiet machine.

    python src/python/tests/speed.py PROGRAM [RECIPE] [--count N] [--rounds R]

Program and package are to be built alike (`cargo build --release`, `pip install .`). Each round makes the same items once by the program
(its own figure, which leaves out starting and writing to disk last) and once by a loop over `skewstar.Dataset`; the rounds alternate, and
the best of each counts. Ends with status 1 where Python makes less than 0.95 of the program's frames a second.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import skewstar

RECIPE = Path(__file__).resolve().parents[3] / "scenarios" / "recipes" / "doughnuts.toml"
AT_LEAST = 0.95


def by_program(program: str, recipe: Path, count: int) -> float:
    with tempfile.TemporaryDirectory() as folder:
        command = [program, "dataset", "make", str(recipe), "--count", str(count), "--out", folder]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    found = re.search(r"items in [0-9.]+ s: ([0-9.]+) a second", said)
    assert found, f"no figure in {said!r}"
    return float(found[1])


def by_python(recipe: Path, count: int) -> float:
    ds = skewstar.Dataset(recipe, count)
    began = time.perf_counter()
    made = sum(frame.shape[0] > 0 for frame, _ in ds)
    assert made == count
    return count / (time.perf_counter() - began)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("program")
    parser.add_argument("recipe", nargs="?", type=Path, default=RECIPE)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    rounds = [(by_program(asked.program, asked.recipe, asked.count), by_python(asked.recipe, asked.count)) for _ in range(asked.rounds)]
    program, python = (max(each) for each in zip(*rounds, strict=True))
    print(f"dataset make {program:.1f} frames a second, Python {python:.1f}: {python / program:.3f} of it")
    return 0 if python >= AT_LEAST * program else 1


if __name__ == "__main__":
    sys.exit(main())
