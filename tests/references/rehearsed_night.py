#!/usr/bin/env python3
"""A whole night rehearsed indoors, as it stands in a terminal: every command that is typed, and what is answered.

    python rehearsed_night.py PROGRAM [--seed 5] > night.txt

The telescope is simulated (`practice --as-camera`), the instrument file comes from its first frame (`new --from`), and the hand does what the
words say and nothing else: they are read here as a person reads them. Needs nothing but Python.
"""

import argparse
import pathlib
import re
import subprocess
import sys
import tempfile

MOST_FRAMES = 30
TURN = re.compile(r"^(\w+): .*?\b(clockwise|anticlockwise) \((\d+) degrees\)", re.M)
FOCUS = re.compile(r"move the sensor (\d+) um(?: \(.*?\))? (inwards|outwards)")
CARD = re.compile(r"Hold the card over the rim at screw (\w+)")


class Terminal:
    """Types commands in one folder and writes down what is seen."""

    def __init__(self, program, folder):
        self._program, self._folder = program, folder

    def type(self, line, shown=True):
        """Run `skewstar LINE`; returns what it printed."""
        done = subprocess.run([self._program, *line.split()], cwd=self._folder, capture_output=True, text=True, stdin=subprocess.DEVNULL)
        if done.returncode not in (0, 1):
            sys.exit(f"{line}: {done.stderr}")
        if shown:
            print(f"$ skewstar {line}")
            print("\n".join(row.rstrip() for row in done.stdout.strip("\n").splitlines()))
        return done.stdout


def rehearse(terminal, seed):
    """From an empty folder to the end of the night."""
    terminal.type("new garden", shown=False)
    terminal.type(f"practice start garden.toml --session drill.toml --as-camera frames --seed {seed}", shown=False)
    terminal.type("new mine --from frames/light-0001.fits --aperture 190 --shadow-at 208")
    terminal.type("night start --instrument mine.toml --session night.toml --side outside --settle 0")
    card = ""
    for frame in range(2, MOST_FRAMES):
        terminal.type(f"practice look --session drill.toml --as-camera frames --every 0.01 --frames 1{card}", shown=False)
        card = ""
        said = terminal.type(f"night frame frames/light-{frame:04d}.fits --session night.toml")
        turn, focus, held = TURN.search(said), FOCUS.search(said), CARD.search(said)
        if "Stop here" in said:
            break
        if "tell it: locked" in said:
            terminal.type("night locked --session night.toml")
        elif focus:
            um = int(focus[1]) * (1 if focus[2] == "outwards" else -1)
            terminal.type(f"practice focus {um} --session drill.toml", shown=False)
            terminal.type(f"night focused {um:+d} --session night.toml")
            terminal.type("practice expose 0.004 --session drill.toml", shown=False)
        elif held:
            card = f" --card {held[1]}"
            terminal.type(f"night card {held[1]} --session night.toml")
        elif turn:
            eighths = f"{int(turn[3]) * (1 if turn[2] == 'clockwise' else -1) / 360:.4f}"
            terminal.type(f"practice turn {turn[1]} {eighths} --session drill.toml", shown=False)
            terminal.type("practice recentre --session drill.toml", shown=False)
            terminal.type(f"night turned {turn[1]} {eighths} --session night.toml")
    print("# what was hidden:")
    terminal.type("practice reveal --session drill.toml")


def main():
    """As the head of this file says."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("program", type=pathlib.Path)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--keep", type=pathlib.Path, help="folder for the files of the night")
    arguments = parser.parse_args()
    program = str(arguments.program.resolve())
    if arguments.keep:
        arguments.keep.mkdir(parents=True, exist_ok=True)
        return rehearse(Terminal(program, arguments.keep), arguments.seed)
    with tempfile.TemporaryDirectory() as folder:
        rehearse(Terminal(program, folder), arguments.seed)
    return None


if __name__ == "__main__":
    main()
