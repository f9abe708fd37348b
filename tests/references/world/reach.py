"""What can be reached at all: closed loops by somebody who knows the telescope, but not what chance does to a hand.

Two of them turn one screw a round, at most a quarter turn, on the same worlds as `loop` (coma, response, hand, backlash and
tightening; no frames, no noise, orientation known):

    response    knows what a turn does, and takes tightening and backlash for nothing
    pushes      knows besides where tightening pushes each pair on average, and which way each screw was turned last

No program can do better than the second but by luck: what is left is the hand's 10 per cent and 4 degrees, and how much
tightening varies.
"""

import json
import statistics

import numpy as np

from . import loop
from .screws import Hand, Mechanics

MOST_TURNS, STEP_TURNS = 0.25, 5 / 360
ROUND_NM = 40.0  # what one more round is worth to the second
SPREAD_NM = 10.0


def report(arguments):
    """Both on so many worlds; prints one JSON."""
    numbers = range(arguments.start, arguments.start + arguments.count)
    by = {name: [_rounds(number, step) for number in numbers] for name, step in WHO.items()}
    print(json.dumps({"format": "skewstar-reach/1", "worlds": len(numbers), **{k: _totals(v) for k, v in by.items()}}, indent=1))
    return 0


def _rounds(number, step):
    """Rounds until coma is below the goal, or None where five were not enough."""
    drawn, rng, response_turn_deg = loop.loop_world(number, "right")
    mechanics = Mechanics(drawn["real"]["assembly"], response_turn_deg)
    start = np.array([drawn["state"]["modes_nm"]["8"], drawn["state"]["modes_nm"]["7"]])
    hand = Hand(mechanics, mechanics.turns_for(start), rng)
    for count in range(loop.WITHIN_ROUNDS + 1):
        if np.linalg.norm(hand.coma_nm()) <= loop.GOAL_NM:
            return count
        hand.turn(*step(hand))
    return None


def _by_response(hand):
    """The larger of the two turns that undo the coma."""
    turns = hand.mechanics.turns_for(-hand.coma_nm())
    middle = statistics.median(turns.values())
    name = max(turns, key=lambda screw: abs(turns[screw] - middle))
    return name, float(np.clip(turns[name] - middle, -MOST_TURNS, MOST_TURNS))


def _by_pushes(hand):
    """Of all turns in steps of 5 degrees the one that leaves least, or leaves least for another one to mend."""
    names, now = hand.mechanics.names, hand.coma_nm()
    per_turn = {name: hand.mechanics.coma_nm({other: float(other == name) for other in names}) for name in names}
    push = {name: hand.push_nm(name) for name in names}
    steps = np.arange(-round(MOST_TURNS / STEP_TURNS), round(MOST_TURNS / STEP_TURNS) + 1) * STEP_TURNS

    def cost(name, turns):
        left = now + per_turn[name] * hand.given(name, turns) + push[name]
        variance = (0.1 * turns) ** 2 + (4 / 360) ** 2
        chance_nm2 = variance * (per_turn[name] @ per_turn[name]) + SPREAD_NM**2
        alone = np.sqrt(left @ left + chance_nm2)
        if alone < 0.9 * loop.GOAL_NM:
            return alone
        followed = []
        for other in (other for other in names if other != name):
            base, own = left + push[other], per_turn[other]
            rest = base + own * np.clip(-(base @ own) / (own @ own), -MOST_TURNS, MOST_TURNS)
            followed.append(np.sqrt(rest @ rest + chance_nm2))
        return min(alone, min(followed) + ROUND_NM)

    return min(((name, float(turns)) for name in names for turns in steps if turns), key=lambda one: cost(*one))


WHO = {"response": _by_response, "pushes": _by_pushes}


def _totals(rounds):
    reached = [count for count in rounds if count is not None]
    return {
        "share_within_five": round(len(reached) / len(rounds), 3),
        "median_rounds": statistics.median(reached) if reached else None,
    }
