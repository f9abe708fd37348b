"""What the tests share: the program to compare with, and scenarios of the repository.

`SKEWSTAR_PROGRAM` names the program; without it `target/release/skewstar` and then `target/debug/skewstar` are looked for. Nothing is
skipped where there is none: the comparison is what the tests are for.
"""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[3]


class Program:
    """The program `skewstar`, run in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        named = os.environ.get("SKEWSTAR_PROGRAM")
        built = [ROOT / "target" / kind / "skewstar" for kind in ("release", "debug")]
        there = [path for path in ([Path(named)] if named else built) if path.exists()]
        assert there, "no program to compare with: cargo build --release, or set SKEWSTAR_PROGRAM"
        self.path = there[0].resolve()
        self.folder = folder

    def run(self, *arguments: object, status: int = 0) -> subprocess.CompletedProcess[str]:
        command = [str(self.path), *map(str, arguments)]
        done = subprocess.run(command, cwd=self.folder, capture_output=True, text=True, check=False)
        assert done.returncode == status, f"{command}: {done.stdout}{done.stderr}"
        return done

    def json(self, *arguments: object, status: int = 0) -> Any:
        return json.loads(self.run(*arguments, "--json", status=status).stdout)


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Program:
    monkeypatch.chdir(tmp_path)
    return Program(tmp_path)


@pytest.fixture
def scenarios() -> Path:
    return ROOT / "scenarios"


def fits(path: Path) -> np.ndarray:
    """The image of a FITS file (standard 4.0): cards of 80 letters in blocks of 2880 bytes, big-endian values, row 0 first."""
    data = path.read_bytes()
    cards: dict[str, str] = {}
    at = 0
    while "END" not in cards:
        block = data[at : at + 2880].decode("ascii")
        at += 2880
        for n in range(0, 2880, 80):
            card = block[n : n + 80]
            cards.setdefault(card[:8].strip(), card[10:].split("/")[0].strip())
    kind = {"16": ">i2", "-64": ">f8"}[cards["BITPIX"]]
    shape = int(cards["NAXIS2"]), int(cards["NAXIS1"])
    values = np.frombuffer(data, kind, shape[0] * shape[1], at).reshape(shape)
    if kind == ">i2":
        return (values.astype(np.int32) + int(float(cards["BZERO"]))).astype(np.uint16)
    return values.astype(np.float64)


#: A star that is rendered and measured in a moment.
SMALL = """
format = 1
title = "one screw short"
seed = 11
telescope = { aperture_mm = 130, focal_length_mm = 390, obstruction = { diameter_mm = 52 } }
state = { sensor_offset_um = 420, turns = { B = -0.1 } }
star = { magnitude = 4.0, temperature_k = 5800 }
exposure = { time_s = 0.3 }
sky = { seeing_arcsec = 2.0 }
[camera]
pixel_um = 3.5
width_px = 64
height_px = 60
orientation = "known"
passband_nm = [500, 560]
wavelengths = 2
quantum_efficiency = 0.7
gain_e_per_adu = 1.0
bias_adu = 300
read_noise_e = 2
full_well_e = 40000
bits = 16
[assembly]
screw_circle_radius_mm = 50
pitch_mm_per_turn = 0.5
screws = [{ name = "A", azimuth_deg = 90 }, { name = "B", azimuth_deg = 210 }, { name = "C", azimuth_deg = 330 }]
response = { coma_nm_per_arcmin = 40, image_shift_um_per_arcmin = 20, focus_um_per_mm = 1000, sensor_tilt_per_tilt = 1 }
"""

#: The same with few pixels and one wavelength: for what has nothing to do with light.
TINY = (
    SMALL.replace("wavelengths = 2", "wavelengths = 1")
    .replace("width_px = 64", "width_px = 24")
    .replace("height_px = 60", "height_px = 20")
    .replace("sensor_offset_um = 420", "sensor_offset_um = 60")
    .replace("sky = { seeing_arcsec = 2.0 }\n", "")
)
