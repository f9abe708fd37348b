#!/usr/bin/env python3
"""Count the instructions of two small renders under callgrind, and compare them with the committed counts.

    python3 .ci/instructions.py PROGRAM [--update]

PROGRAM is skewstar as `cargo build` makes it, in the profile that tests run in. Times depend on the machine and its load; instruction counts hardly do. A job that needs 20 % more than what is committed
fails: make it leaner, or look at the change and commit the new counts with --update. 20 % fewer fails as well, so that the
committed counts stay true. The renders are portable and run on one thread.
"""
import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
COUNTS = TOP / "tests/data/instructions.json"
ALLOWED = 0.20
JOBS = {
    "doughnut": ["fast-unit-one-screw", "camera.width_px=40", "camera.height_px=40", "camera.wavelengths=2"],
    "masked": ["mask-three-triplet-focus", "camera.width_px=32", "camera.height_px=32", "camera.wavelengths=2"],
    "seeing": ["fast-unit-one-screw", "camera.width_px=40", "camera.height_px=40", "camera.wavelengths=2",
               "sky.seeing_arcsec=2.1"],
}


def count(program, scenario, *settings):
    with tempfile.TemporaryDirectory() as out:
        command = ["valgrind", "--tool=callgrind", f"--callgrind-out-file={out}/counts", program, "render",
                   str(TOP / f"scenarios/{scenario}.toml"), "--portable", "--quiet", "--out", out]
        for setting in settings:
            command += ["--set", setting]
        done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "RAYON_NUM_THREADS": "1"})
    found = re.search(r"Collected : (\d+)", done.stderr)
    if done.returncode != 0 or not found:
        sys.exit(f"callgrind did not count {scenario}:\n{done.stderr[-2000:]}")
    return int(found.group(1))


def main():
    counts = {name: count(sys.argv[1], *job) for name, job in JOBS.items()}
    if "--update" in sys.argv:
        COUNTS.write_text(json.dumps({"what": "instructions of .ci/instructions.py", **counts}, indent=1) + "\n")
    committed = json.loads(COUNTS.read_text())
    worst = 0.0
    for name, now in counts.items():
        change = now / committed[name] - 1.0
        worst = max(worst, abs(change))
        print(f"{name:9} {now / 1e6:9.1f} million instructions, {100 * change:+.1f} % of {committed[name] / 1e6:.1f}")
    if worst > ALLOWED:
        sys.exit(f"a job differs by more than {100 * ALLOWED:.0f} % from tests/data/instructions.json (see the head of this file)")


if __name__ == "__main__":
    main()
