"""All the ways in which reality differs from the typed file, and several of them at once.

Importing the two lists in this order fixes which case a number of the suite "differs" is.
"""

from . import differs_typed, differs_seen  # noqa: F401  they fill the registry; isort: skip
from .registry import CASES, apply, case

MIXED = (
    "vane-shifted", "obstruction-size", "obstruction-aside", "vignetted", "aperture", "focal-length", "pixel-size",
    "gain-wrong", "hot-pixels", "cosmics", "drift", "shake-line", "seeing-moffat", "high-modes", "companion",
    "neighbour-far",
)  # fmt: skip
MIXED_BEHIND_MASK = (
    "slots-narrow", "mask-turned", "mask-aside", "mask-drift", "mask-seeing-moffat", "mask-colour-of-star",
    "mask-high-modes", "mask-focal-length", "mask-gain-wrong", "mask-companion",
)  # fmt: skip


@case("several")
def several(world, rng):
    return _several(world, rng, MIXED)


@case("mask-several", masked=True)
def mask_several(world, rng):
    return _several(world, rng, MIXED_BEHIND_MASK)


def _several(world, rng, names):
    chosen = rng.choice(names, size=3, replace=False)
    return {str(name): apply(str(name), world, rng) for name in sorted(chosen)}
