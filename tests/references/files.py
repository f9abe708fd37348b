#!/usr/bin/env python3
"""Small image files as cameras and programs write them, made by astropy and Pillow, for tests/camera_files.rs.

    files.py           writes them into tests/data/camera_files
    files.py --check   makes them afresh and compares them, byte by byte, with the committed ones

Each packed file has a plain twin: NAME.fits beside NAME.rice.fits and so on. Where packing loses something (quantised floats), the
twin is what astropy itself reads back from the packed file, so that the test asks for the same numbers, not for nearly the same.
"""

import gzip
import io
import pathlib
import sys
from unittest import mock

import numpy as np
from astropy.io import fits
from PIL import Image

FOLDER = pathlib.Path(__file__).resolve().parents[1] / "data" / "camera_files"
SHAPE = (25, 31)  # rows, columns: neither square nor a multiple of a tile
TILES = (7, 31)


def counts():
    """A ring over a sky, 16 bits, drawn once with a fixed seed."""
    row, column = np.mgrid[: SHAPE[0], : SHAPE[1]]
    radius = np.hypot(row - 10.3, column - 14.6)
    light = 300.0 + 9000.0 * np.exp(-(((radius - 6.0) / 1.7) ** 2))
    return np.random.default_rng(20).poisson(light).astype(np.uint16)


def written(units):
    """The bytes of a file."""
    memory = io.BytesIO()
    fits.HDUList(units).writeto(memory, output_verify="exception")
    return memory.getvalue()


def plain(values):
    """One image in the primary unit."""
    unit = fits.PrimaryHDU(values)
    cards(unit.header)
    return written([unit])


def cards(header):
    """What a camera program says."""
    header["EXPTIME"] = 0.25
    header["EGAIN"] = 0.9
    header["ROWORDER"] = "TOP-DOWN"
    header["BAYERPAT"] = "RGGB"


def tiled(values, kind, **options):
    """One image in tiles."""
    unit = fits.CompImageHDU(values, compression_type=kind, tile_shape=TILES, **options)
    cards(unit.header)
    return written([fits.PrimaryHDU(), unit])


def read_back(packed):
    """What astropy reads from the packed file, as a plain one."""
    return plain(fits.getdata(io.BytesIO(packed), 1))


def gzipped(content):
    """The same bytes on every day: no name, no time."""
    memory = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", fileobj=memory, mtime=0) as file:
        file.write(content)
    return memory.getvalue()


def integers():
    """Whole numbers by every way of packing."""
    sixteen, wide = counts(), counts().astype(np.int32) * 1000 - 70_000
    files = {"counts.fits": plain(sixteen), "wide.fits": plain(wide), "counts.fits.gz": gzipped(plain(sixteen))}
    for name, kind in [("rice", "RICE_1"), ("gzip1", "GZIP_1"), ("gzip2", "GZIP_2"), ("hcompress", "HCOMPRESS_1")]:
        files[f"counts.{name}.fits"] = tiled(sixteen, kind)
        files[f"wide.{name}.fits"] = tiled(wide, kind)
    # PLIO holds numbers from 0 to 2^24 only, and astropy packs unsigned ones as signed
    small = (counts() // 4).astype(np.int16)
    files["small.fits"], files["small.plio.fits"] = plain(small), tiled(small, "PLIO_1")
    files["counts.rice.fits.gz"] = gzipped(files["counts.rice.fits"])
    return files


def floats():
    """Floating point: whole in GZIP, quantised without and with both dithers; some pixels hold no number."""
    values = counts().astype(np.float32) * np.float32(0.37)
    values[3, 4] = values[20, 30] = np.nan
    values[12, 8] = 0.0
    files = {"real.fits": plain(values), "real.gzip2.fits": tiled(values, "GZIP_2", quantize_level=0.0)}
    for name, method in [("plain", -1), ("dither1", 1), ("dither2", 2)]:
        packed = tiled(values, "RICE_1", quantize_level=16, quantize_method=method, dither_seed=77)
        files[f"real.{name}.rice.fits"] = packed
        files[f"real.{name}.fits"] = read_back(packed)
    return files


def planes():
    """Three planes, red, green, blue; and four, which mean nothing here."""
    three = np.stack([counts(), counts() // 2 + 100, counts() // 3 + 50])
    unit = fits.PrimaryHDU(three)
    unit.header["ROWORDER"] = "BOTTOM-UP"
    packed = fits.CompImageHDU(three, compression_type="RICE_1", tile_shape=(1, *TILES))
    packed.header["ROWORDER"] = "BOTTOM-UP"
    return {
        "planes.fits": written([unit]),
        "planes.rice.fits": written([fits.PrimaryHDU(), packed]),
        "four.fits": plain(np.stack([counts()] * 4)),
        "grey.fits": plain(np.stack([counts()] * 3)),
    }


def pictures():
    """TIFF as Pillow writes it: the top row first, so that its twin is turned over."""
    values = counts().astype(np.float32) * np.float32(0.37)
    values[3, 4] = np.nan
    signed = counts().astype(np.int32) * 1000 - 70_000

    def tiff(array, mode, **options):
        memory = io.BytesIO()
        image = Image.frombytes(mode, (SHAPE[1], SHAPE[0]), np.ascontiguousarray(array).tobytes())
        image.save(memory, "TIFF", **options)
        return memory.getvalue()

    return {
        "counts.tif": tiff(counts().astype("<u2"), "I;16"),
        "counts.lzw.tif": tiff(counts().astype("<u2"), "I;16", compression="tiff_lzw"),
        "real.tif": tiff(values.astype("<f4"), "F"),
        "real.deflate.tif": tiff(values.astype("<f4"), "F", compression="tiff_adobe_deflate"),
        "wide.tif": tiff(signed.astype("<i4"), "I"),
        "real.tif.twin.fits": plain(values),
    }


def all_files():
    """Every file; the clock stands still, because gzip writes it into each tile."""
    with mock.patch("time.time", return_value=0.0):
        return made()


def made():
    return integers() | floats() | planes() | pictures()


def main(arguments):
    files = all_files()
    if arguments == ["--check"]:
        differ = [name for name, content in files.items() if (FOLDER / name).read_bytes() != content]
        stray = {path.name for path in FOLDER.iterdir()} - set(files) - {"README.md"}
        for name in [*differ, *sorted(stray)]:
            print(f"error: {FOLDER / name} is not what files.py makes", file=sys.stderr)
        print(f"{len(files)} camera files compared")
        return 1 if differ or stray else 0
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (FOLDER / name).write_bytes(content)
    print(f"{len(files)} files, {sum(map(len, files.values()))} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
