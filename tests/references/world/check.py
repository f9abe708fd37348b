"""The simulator against other libraries' arrays, closed forms and the signs of the design. Prints every figure and its limit.

A check is a line (what, figure, limit); it fails where the figure is not below the limit. Nothing is skipped.
"""

import sys

import numpy as np

from . import check_laws, check_parts, check_references


def report():
    """Run everything; 0 when all figures are within their limits, else 1."""
    failed = 0
    for section in (check_references, check_laws, check_parts):
        print(section.__doc__.splitlines()[0])
        for what, figure, limit in section.figures():
            holds = bool(np.isfinite(figure) and figure <= limit)
            failed += not holds
            print(f"  {'ok  ' if holds else 'FAIL'} {what}: {figure:.3g}, limit {limit:.3g}", flush=True)
    if failed:
        print(f"error: {failed} figures are beyond their limits", file=sys.stderr)
        print("hint: README.md in tests/references says what each figure means", file=sys.stderr)
    return 1 if failed else 0
