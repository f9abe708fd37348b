"""The named ways in which reality differs from the typed file: where they are kept, and how one is let happen.

A case is a function of (world, rng) that changes the world and returns the difference's sizes. `typed` is what the owner wrote
down, `real` how it is; a case changes one of the two, and never both in the same way (except the few that make a telescope or a
star of another kind, which is typed as it is).
"""

CASES = {}  # name: (function, behind a mask or not), in the order in which the suite "differs" takes them


def case(name, masked=False):
    """Keeps a function under a name; one function may have two, one for stars behind a mask."""

    def keep(function):
        CASES[name] = (function, masked)
        return function

    return keep


def apply(name, world, rng):
    """Let the named difference happen; returns its sizes."""
    function, masked = CASES[name]
    if masked != world["state"]["mask_on"]:
        raise ValueError(f"{name} is for stars {'behind a mask' if masked else 'without a mask'}")
    return function(world, rng) or {}


def either_sign(rng, least, most):
    """A size between the two, positive or negative."""
    return float(rng.uniform(least, most) * rng.choice([-1.0, 1.0]))
