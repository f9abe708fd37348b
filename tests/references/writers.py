#!/usr/bin/env python3
"""Many programs write one set into one folder, on the same range and on ranges of their own, and are killed at random moments.

    python writers.py PROGRAM RECIPE [WRITERS [BATCHES [ITEMS]]]

Each of BATCHES batches starts WRITERS programs (16 and 50 when left out): half of them make the whole set of ITEMS items (64), half a
part of it each, in shards of four items. A third of the programs of a batch are killed (SIGKILL) at random moments; the next batch starts the work again, as
a scheduler would that hands a task out twice. No program may fail that was not killed. At the end one run completes the set: the folder
must hold, byte for byte, what a single run makes, and not one file more.
"""
import random
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path


SHARD = 4


def small_shards(recipe, folder):
    """The recipe with shards of four items, in another folder."""
    text = re.sub(r"^shard_items = .*\n", "", Path(recipe).read_text(), flags=re.M)
    near = str(Path(recipe).resolve().parent)
    text = re.sub(r'^scenario = "(.*)"', lambda found: f'scenario = "{near}/{found[1]}"\nshard_items = {SHARD}', text, flags=re.M)
    Path(f"{folder}/set.toml").write_text(text)
    return f"{folder}/set.toml"


def contents(folder):
    return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}


def start(program, recipe, out, first, count):
    command = [program, "dataset", "make", recipe, "--out", out, "--start", str(first), "--count", str(count), "--quiet", "--threads", "1"]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)


def batch(program, recipe, out, writers, items, chance):
    step = -(-items // max(writers // 2, 1))
    step = -(-step // SHARD) * SHARD  # ranges begin where shards do, or two cuts would hold the same items
    parts = [(first, min(step, items - first)) for first in range(0, items, step)]
    jobs = [(0, items) if number % 2 == 0 else parts[number // 2 % len(parts)] for number in range(writers)]
    chance.shuffle(jobs)
    running = [start(program, recipe, out, first, count) for first, count in jobs]
    doomed = chance.sample(running, len(running) // 3)
    for child in doomed:
        time.sleep(chance.uniform(0.0, 0.3))
        child.kill()
    killed = 0
    for child in running:
        _, told = child.communicate()
        if child.returncode == -9:
            killed += 1
        elif child.returncode != 0:
            sys.exit(f"a program failed that was not killed: {told}")
    return killed


def main():
    program, recipe = sys.argv[1:3]
    writers, batches, items = (int(text) for text in (sys.argv[3:] + ["16", "50", "64"][len(sys.argv) - 3:])[:3])
    chance = random.Random(20417)
    with tempfile.TemporaryDirectory() as top:
        recipe = small_shards(recipe, top)
        one = f"{top}/one"
        _, told = start(program, recipe, one, 0, items).communicate()
        killed = 0
        for number in range(batches):
            # a fresh folder every tenth batch, so that kills fall into all stages of a set
            out = f"{top}/out-{number // 10}"
            killed += batch(program, recipe, out, writers, items, chance)
        for number in range(0, batches, 10):
            out = f"{top}/out-{number // 10}"
            _, told = start(program, recipe, out, 0, items).communicate()
            if contents(out) != contents(one):
                differ = {name for name in contents(out).keys() ^ contents(one).keys()}
                sys.exit(f"the folder is not that of one run: {told} {sorted(differ)[:5]}")
        print(f"{writers} programs x {batches} batches, {killed} of {writers * batches} killed: the same bytes as one run of {items} items")


if __name__ == "__main__":
    main()
