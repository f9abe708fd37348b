#!/usr/bin/env python3
"""Opens FITS files with astropy as a stranger would, every warning an error, and says what it sees.

    astropy_opens.py FILE...

One line a file: name, shape [rows, columns], BITPIX, BZERO, ROWORDER, smallest and largest value (scaled). Exit status
0 when all are sound, 1 on any trouble: unreadable, a warning, an invalid card, a checksum that does not match, no image,
a value that is not finite, or no file given.
"""

import sys
import warnings

import numpy as np
from astropy.io import fits


def main(paths):
    """The number of files in trouble decides the exit status."""
    if not paths:
        print("error: no file given\nhint: astropy_opens.py FILE...", file=sys.stderr)
        return 1
    in_trouble = [path for path in paths if not opens(path)]
    return 1 if in_trouble else 0


def opens(path):
    """Describe one file on stdout; whether it is sound."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            print(f"{path}: {description(path)}")
        return True
    except Exception as trouble:  # whatever astropy may raise is what this script is asked to find
        print(f"error: {path}: {type(trouble).__name__}: {' '.join(str(trouble).split())}", file=sys.stderr)
        return False


def description(path):
    """Header cards as written (read before astropy rescales the data) and the range of the values."""
    with fits.open(path, mode="readonly", checksum=True) as units:
        for unit in units:
            unit.verify("exception")
        header = units[0].header.copy()
        data = units[0].data
        if data is None:
            raise ValueError("the primary unit holds no image")
        if not np.all(np.isfinite(data)):
            raise ValueError(f"{np.count_nonzero(~np.isfinite(data))} values are not finite")
        cards = [f"{key} {header.get(key, '-')}" for key in ("BITPIX", "BZERO", "ROWORDER")]
        return f"shape {data.shape}, {', '.join(cards)}, min {data.min():.17g}, max {data.max():.17g}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
