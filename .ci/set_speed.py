#!/usr/bin/env python3
"""Frames a second and memory of the three recipes, as `dataset make` gives them on this machine.

    python3 .ci/set_speed.py PROGRAM [--memory]

Prints wall-clock and processor time; on a busy machine only the latter means something. With --memory the first recipe is
made with 1000 and with 10000 items, and the largest resident memory of both is printed: it must not grow.
Nothing is gated: times depend on the machine.
"""
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
JOBS = [("doughnuts", 1000, 200), ("doughnuts-128", 400, 100), ("masked-stars", 60, 10)]


def run(program, recipe, count, threads="2"):
    with tempfile.TemporaryDirectory() as out:
        command = [program, "dataset", "make", str(TOP / f"scenarios/recipes/{recipe}.toml"), "--out", out, "--count",
                   str(count), "--quiet"]
        began = time.monotonic()
        child = subprocess.Popen(command, stdout=subprocess.DEVNULL, env={**os.environ, "RAYON_NUM_THREADS": threads})
        _, status, used = os.wait4(child.pid, 0)
        if status != 0:
            sys.exit(f"{recipe} failed with status {status}")
        return time.monotonic() - began, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main():
    program = sys.argv[1]
    for recipe, count, aim in JOBS:
        wall, processor, memory = run(program, recipe, count)
        # what is done before the first item: the card's sampling error and the columns
        before_wall, before_processor, _ = run(program, recipe, 1)
        rate = (count - 1) / (wall - before_wall)
        each = (processor - before_processor) / (count - 1)
        print(f"{recipe:15} {count:5} items: {rate:7.1f} a second of wall clock (aim {aim}); "
              f"{1e3 * each:6.2f} ms of processor time each, so {2 / each:7.1f} a second on two free cores; {memory:.0f} MiB")
    if "--memory" in sys.argv:
        for count in (1000, 10000):
            _, _, memory = run(program, "doughnuts", count)
            print(f"doughnuts {count:6} items: {memory:.1f} MiB at most")


if __name__ == "__main__":
    main()
