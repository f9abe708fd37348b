"""Our print time and filament beside a slicer's: slicer.py [--check] PROGRAM SLICER.

Six masks are drawn by PROGRAM (`skewstar`) and sliced by the command SLICER with the settings of slicer/printer.ini. The table has both sides;
--check fails where time is off by more than 20 % or filament by more than 5 %.
"""

import json
import pathlib
import re
import subprocess
import sys
import tempfile

HERE = pathlib.Path(__file__).resolve().parent
SCENARIOS = HERE.parent.parent / "scenarios"
RING = 'mask.grip={ fit = "over-tube", tube_diameter_mm = 191.0, notch_azimuth_deg = 208.0 }'
MASKS = [
    ("one triplet", SCENARIOS / "mask-one-triplet-refractor.toml", []),
    ("three triplets", SCENARIOS / "mask-three-triplet-focus.toml", []),
    ("two zones", SCENARIOS / "mask-two-zone-coma.toml", []),
    ("two zones, ring", SCENARIOS / "mask-two-zone-coma.toml", ["--set", RING, "--set", "mask.slot_pitch_mm=3.4"]),
    ("worn: ring, slit, tabs", HERE / "slicer" / "worn.toml", []),
    ("six holes, 3.2 mm", HERE / "slicer" / "holes.toml", []),
]
TIME, FILAMENT = 0.20, 0.05


def ours(program, scenario, more, folder):
    command = [program, "mask", "check", str(scenario), "--json", *more]
    answer = json.loads(subprocess.run(command, capture_output=True, text=True).stdout)
    found = {f["what"]: f["value"] for f in answer["findings"]}
    draw = [program, "mask", "draw", str(scenario), "--quiet", "--force", "--out", str(folder), *more]
    subprocess.run(draw, check=True, capture_output=True)
    return 3600 * found["print time"], found["filament"]


def slicers(slicer, stl, folder):
    gcode = folder / "out.gcode"
    command = [slicer, "--load", str(HERE / "slicer" / "printer.ini"), "--export-gcode", "--output", str(gcode), str(stl)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    text = gcode.read_text()
    parts = re.search(r"estimated printing time \(normal mode\) = (.*)", text).group(1).split()
    unit = {"d": 86400, "h": 3600, "m": 60, "s": 1}
    seconds = sum(int(part[:-1]) * unit[part[-1]] for part in parts)
    return seconds, float(re.search(r"filament used \[mm\] = ([0-9.]+)", text).group(1)) / 1000


def main(program, slicer, check):
    missed = []
    print(f"{'mask':24}{'time':>8}{'slicer':>8}{'off':>8}{'filament':>11}{'slicer':>9}{'off':>8}")
    for name, scenario, more in MASKS:
        with tempfile.TemporaryDirectory() as temporary:
            folder = pathlib.Path(temporary)
            time, filament = ours(program, scenario, more, folder)
            their_time, their_filament = slicers(slicer, folder / f"{scenario.stem}.stl", folder)
        off = time / their_time - 1, filament / their_filament - 1
        print(
            f"{name:24}{time / 60:6.0f} m{their_time / 60:6.0f} m{100 * off[0]:+7.1f}%"
            f"{filament:9.2f} m{their_filament:7.2f} m{100 * off[1]:+7.1f}%",
            flush=True,
        )
        if abs(off[0]) > TIME or abs(off[1]) > FILAMENT:
            missed.append(name)
    if check and missed:
        sys.exit(f"off by more than {100 * TIME:.0f} % in time or {100 * FILAMENT:.0f} % in filament: {', '.join(missed)}")


if __name__ == "__main__":
    main(*sys.argv[-2:], "--check" in sys.argv)
