"""The star through a two-zone mask at f/2, by numpy alone, and where its spikes lie with coma.

For an invented 152 mm f/2 telescope: once with the border between the zones at 62 mm, once at 72.3 mm, which leaves the outer zone 1.7 mm of
lit radius. The pupil is decided point by point, the wavefront is Noll 7 written out, a plain FFT takes it to the sensor, and the seeing is
a transfer function. Nothing of the program is used; what it prints is kept in tests/data/mask_spikes and read by tests/masked/outside.rs.

    python tests/references/mask_spikes.py [--check FILE]
"""

import argparse
import json
import sys
from pathlib import Path

import numpy as np

APERTURE_MM, FOCAL_MM, SHADOW_MM = 152.0, 304.0, 64.0
PITCH_MM, SLANT_DEG, RIM_MM, INNER_RIM_MM, RIB_MM = 3.0, 20.0, 4.0, 2.0, 1.6
PLATE_MM = (68.0, 160.0)
PIXEL_UM, SEEING_ARCSEC = 2.9, 2.1
BAND_NM, COLOURS = (500.0, 600.0), 9
CELLS, PAD = 608, 2048  # cells of a quarter of a millimetre
FRAME_PX = 81
COMA_NM = (0.0, 20.0, 50.0, 100.0)


def mask(zone_mm):
    """Open or not, 0 to 1, on cells of the pupil; 3 x 3 points in each."""
    step = APERTURE_MM / CELLS
    axis = (np.arange(3 * CELLS) + 0.5) * step / 3 - APERTURE_MM / 2
    x, y = np.meshgrid(axis, axis)
    radius, azimuth = np.hypot(x, y), np.degrees(np.arctan2(y, x)) % 360
    outer = radius > zone_mm
    rims = (radius > PLATE_MM[0] / 2 + INNER_RIM_MM) & (radius < PLATE_MM[1] / 2 - RIM_MM) & (abs(radius - zone_mm) > RIB_MM / 2)
    lit = (radius < APERTURE_MM / 2) & (radius > SHADOW_MM / 2)
    found = np.zeros(x.shape, bool)
    for c in (90, 210, 330):
        regions = [
            (c - 30, 60, True, c), (c + 150, 60, True, c),
            (c + 60, 30, False, c + SLANT_DEG), (c - 90, 30, False, c + SLANT_DEG),
            (c + 90, 30, False, c - SLANT_DEG), (c - 120, 30, False, c - SLANT_DEG),
        ]  # fmt: skip
        for first, width, is_outer, slot in regions:
            across = x * np.cos(np.radians(slot + 90)) + y * np.sin(np.radians(slot + 90))
            in_slot = abs(across / PITCH_MM - np.round(across / PITCH_MM)) < 0.25
            inside = (azimuth - first) % 360 < width
            for border in (first, first + width):
                b = np.radians(border)
                rib = (abs(x * np.sin(b) - y * np.cos(b)) < RIB_MM / 2) & (x * np.cos(b) + y * np.sin(b) > 0)
                inside &= ~rib
            found |= inside & in_slot & (outer == is_outer)
    # light passes beside the plate, in its hole
    found = (found & rims) | (radius < PLATE_MM[0] / 2)
    return (found & lit).reshape(CELLS, 3, CELLS, 3).mean((1, 3))


def star(openings, coma_nm):
    """Share of the light in pixels of the sensor, row 0 at the bottom."""
    step = APERTURE_MM / CELLS
    axis = (np.arange(CELLS) + 0.5) * step / (APERTURE_MM / 2) - 1
    x, y = np.meshgrid(axis, axis)
    radius2 = x * x + y * y
    wave_nm = coma_nm * np.sqrt(8) * (3 * radius2 - 2) * y  # Noll 7
    total = np.zeros((FRAME_PX, FRAME_PX))
    edges = BAND_NM[0] + (BAND_NM[1] - BAND_NM[0]) / COLOURS * (np.arange(COLOURS) + 0.5)
    for nm in edges:
        field = openings * np.exp(-2j * np.pi * wave_nm / nm)
        image = np.abs(np.fft.fft2(field, (PAD, PAD))) ** 2
        # seeing: 0.976 lambda / FWHM, FWHM by lambda^-0.2
        fwhm = SEEING_ARCSEC / 206264.806 * (nm / 500.0) ** -0.2
        fried_m = 0.975863432579 * nm * 1e-9 / fwhm
        lag = np.fft.fftfreq(PAD, 1 / PAD) * step * 1e-3
        baseline = np.hypot(*np.meshgrid(lag, lag))
        blur = np.exp(-3.44 * (baseline / fried_m) ** (5 / 3))
        image = np.fft.ifft2(np.fft.fft2(image) * blur).real
        sample_um = nm * 1e-3 * FOCAL_MM / (PAD * step)
        # bin samples into pixels, each sample shared among 8 x 8 points
        at = np.fft.fftfreq(PAD, 1 / PAD) * sample_um
        kept = np.flatnonzero(abs(at) < (FRAME_PX / 2 + 2) * PIXEL_UM)
        fine = ((np.arange(8) + 0.5) / 8 - 0.5) * sample_um
        place = np.floor((at[kept][:, None] + fine) / PIXEL_UM + FRAME_PX / 2).astype(int)
        share = np.zeros((FRAME_PX, len(kept)))
        for column, pixels in enumerate(place):
            for pixel in pixels[(pixels >= 0) & (pixels < FRAME_PX)]:
                share[pixel, column] += 1 / 8
        total += share @ image[np.ix_(kept, kept)] @ share.T / image.sum()
    return total / COLOURS


def profile(image, slot_deg, half_px=6.0):
    """Mean brightness across a spike (pixels along its slots), over its first order on both sides."""
    middle = (FRAME_PX - 1) / 2
    row, column = np.indices(image.shape)
    x, y = column - middle, row - middle
    s = np.radians(slot_deg)
    across, along = x * np.cos(s) + y * np.sin(s), abs(y * np.cos(s) - x * np.sin(s))
    order = [nm * 1e-3 * FOCAL_MM / PITCH_MM / PIXEL_UM for nm in BAND_NM]
    near = (along > order[0] - 0.5) & (along < order[1] + 0.5)
    places = np.arange(-half_px, half_px + 0.01, 0.25)
    bells = np.exp(-0.5 * ((across[near][None] - places[:, None]) / 0.6) ** 2)
    return places, bells @ image[near] / bells.sum(1)


def crest(image, slot_deg):
    places, bright = profile(image, slot_deg, 3.0)
    top = int(np.argmax(bright[1:-1])) + 1
    a, b, c = bright[top - 1 : top + 2]
    return float(places[top] + 0.25 * 0.5 * (a - c) / (a - 2 * b + c))


def prominence(image, slot_deg):
    """How far the highest crest near the line rises over the higher trough, as a fraction of that trough."""
    places, bright = profile(image, slot_deg, 7.0)
    near = np.flatnonzero(abs(places) <= 2.5)
    top = near[np.argmax(bright[near])]
    floor = max(bright[:top + 1].min(), bright[top:].min())
    return float(bright[top] / floor - 1)


def made():
    found = {}
    for zone_mm in (62.0, 72.3):
        openings = mask(zone_mm)
        stars = [star(openings, nm) for nm in COMA_NM]
        moved = []
        for image in stars:
            middle, left, right = (crest(image, 90 + lean) for lean in (0, SLANT_DEG, -SLANT_DEG))
            moved.append(middle - (left + right) / 2 / np.cos(np.radians(SLANT_DEG)))
        found[f"zone {zone_mm}"] = {
            "coma_nm": COMA_NM,
            "reading_px": [float(m - moved[0]) for m in moved],
            "middle_stands_out": prominence(stars[0], 90),
            "partner_stands_out": prominence(stars[0], 90 + SLANT_DEG),
        }
    return {"numpy": np.__version__, "telescope": "152 mm f/2, see mask_spikes.py", "found": found}


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--check", type=Path)
    check = arguments.parse_args().check
    own = made()
    if check is None:
        print(json.dumps(own, indent=2))
        sys.exit(0)
    kept = json.loads(check.read_text())["found"]
    for zone, rows in own["found"].items():
        for key, value in rows.items():
            if not np.allclose(value, kept[zone][key], rtol=1e-6, atol=1e-9):
                sys.exit(f"{zone}: {key} is {value}, kept {kept[zone][key]}")
