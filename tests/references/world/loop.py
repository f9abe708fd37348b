"""Closed loops: the program says what to do, a hand does it in the true mechanics, and the next frame shows what came of it.

Each world: a doughnut; how the camera is held is unknown (or typed right, with --typed right); the response is 20 per cent
and 15 degrees off; the hand errs by 10 per cent and 4 degrees; screws have backlash; locking a pair shifts the unit by
20 +- 10 nm.

The program is asked in one of three ways:

    measure   each frame by itself
    learn     and the frames before and after each turn are given to `learn`, whose response file is then used
    night     a session: `night start`, `night frame`, `night turned`

Whatever it says to turn is turned (`next` of format /2; `advice.one_screw` or `advice.turns` of format /1); `stop`
ends the loop; anything else costs a round in which nothing is turned (`refocus` and `other-side` are done). The star is put
back to the middle of the frame after each round; the focus goes with the screws' piston until the program asks for `refocus`.

With --cards the owner first holds a card over the rim at two screws' places, within some degrees, and hands those frames over with
every question (`--card-at`). That turns nothing, and is no round.
"""

import copy
import json
import pathlib
import statistics
import tempfile
import zlib
from concurrent.futures import ThreadPoolExecutor, as_completed

import numpy as np

from . import ask, draw, files, make, scene
from .screws import Hand, Mechanics
from .telescopes import TELESCOPES

RESPONSE_SHARE, RESPONSE_DEGREES = 0.20, 15.0
LEAST_START_NM, MOST_START_NM = 80.0, 260.0
WITHIN_ROUNDS, GOAL_NM = 5, 30.0
CARD_DEGREES = 5.0  # how well a hand finds a screw's azimuth with a card (standard deviation)
LIMIT_S = 120.0  # of processor time, for one run of the program
COLUMNS = ("world", "telescope", "start_nm", "rounds", "turned", "trials", "ended", "end_nm", "goal_nm", "reached",
           "largest_nm", "raised", "twice", "processor_s", "coma_nm", "did")  # fmt: skip


def report(arguments):
    """Run the loops, write the table anew after each, so that a run that is cut off shows what it has; 0 when it could be done."""
    numbers = range(arguments.start, arguments.start + arguments.count)
    lines, summary = [], {}
    with ThreadPoolExecutor(arguments.jobs) as pool:
        running = [pool.submit(one_loop, number, arguments) for number in numbers]
        for done in as_completed(running):
            lines = sorted([*lines, done.result()], key=lambda line: line["world"])
            summary = {"format": "skewstar-loops/1", "by": arguments.by, "cards": arguments.cards, "typed": arguments.typed, **totals(lines)}
            files.write_table(arguments.table, COLUMNS, lines, summary)
    print(json.dumps(summary, indent=1))
    return 0


def loop_world(number, typed):
    """A doughnut whose camera, response and hand are not as typed; and the generator of its chances."""
    rng = np.random.default_rng([zlib.crc32(b"loop"), number])
    name = list(TELESCOPES)[number % len(TELESCOPES)]
    drawn = draw.aligned_file(rng, name, behind_mask=False)
    drawn["wish"]["coma_nm"] = float(rng.uniform(LEAST_START_NM, MOST_START_NM))
    response = drawn["real"]["assembly"]["response"]
    response["coma_nm_per_arcmin"] *= 1 + RESPONSE_SHARE * rng.choice([-1.0, 1.0])
    response_turn_deg = RESPONSE_DEGREES * float(rng.choice([-1.0, 1.0]))
    if typed == "unknown":
        drawn["typed"]["camera"] |= {"rotation_deg": 0.0, "mirrored": False}
        drawn["told"]["side"] = drawn["true_side"] if rng.random() < 0.5 else None
    draw.finish(drawn, rng)
    drawn |= {"kind": "loop", "number": number, "suite": "loop"}
    return drawn, rng, response_turn_deg


def one_loop(number, arguments):
    """One world from its start to `stop`, or until the rounds are used up."""
    drawn, rng, response_turn_deg = loop_world(number, arguments.typed)
    mechanics = Mechanics(drawn["real"]["assembly"], response_turn_deg)
    start = np.array([drawn["state"]["modes_nm"]["8"], drawn["state"]["modes_nm"]["7"]])
    hand = Hand(mechanics, mechanics.turns_for(start), rng)
    others = {noll: value for noll, value in drawn["state"]["modes_nm"].items() if noll not in ("7", "8")}
    focus_um = drawn["state"]["sensor_offset_um"] - mechanics.focus_um(hand.turns)
    coma_nm, did, costs_s, ended, goal_nm = [float(np.linalg.norm(start))], [], 0.0, "rounds used up", GOAL_NM
    with tempfile.TemporaryDirectory() as folder:
        owner = _Owner(pathlib.Path(folder), drawn, arguments)
        for round_number in range(arguments.rounds):
            draw.set_modes(drawn, mechanics, hand.coma_nm(), hand.turns, others)
            drawn["state"]["star_px"] = _recentred(drawn, rng)
            offset_um = focus_um + mechanics.focus_um(hand.turns)
            if arguments.cards and round_number == 0:
                owner.hold_cards(rng, offset_um)
            asked = owner.look(scene.shoot(drawn, rng, sensor_offset_um=offset_um), round_number)
            costs_s += asked.processor_s
            if asked.report is None:
                did.append(f"no report: {asked.message[:80]}")
                coma_nm.append(coma_nm[-1])
                continue
            answer = ask.Report(asked.report)
            goal_nm = max(GOAL_NM, answer.stop_nm() or 0.0)
            if answer.verdict == "stop":
                ended = "stop"
                break
            if answer.do == "other-side":
                drawn["state"]["sensor_offset_um"] *= -1
                owner.other_side()
            if answer.do in ("refocus", "other-side"):
                focus_um = drawn["state"]["sensor_offset_um"] - mechanics.focus_um(hand.turns)
            for screw, turns in answer.step().items():
                hand.turn(screw, turns)
                owner.turned(screw, turns)
            step, why = answer.step(), ""
            if not step and answer.newer:
                why = f"({answer.next.get('why')})"[:160]
            did.append(" ".join([answer.do or answer.verdict, json.dumps(step) if step else why]).strip())
            coma_nm.append(float(np.linalg.norm(hand.coma_nm())))
    return _line(drawn, coma_nm, did, ended, goal_nm, costs_s)


def _recentred(drawn, rng):
    """The star back at the middle, give or take three pixels."""
    camera = drawn["real"]["camera"]
    return [(camera[side] - 1) / 2 + float(rng.uniform(-3.0, 3.0)) for side in ("width_px", "height_px")]


class _Owner:
    """Whoever sits at the computer: keeps the frames and asks the program."""

    def __init__(self, folder, drawn, arguments):
        self._folder, self._drawn, self._arguments = folder, drawn, arguments
        self._program, self._side = arguments.program, drawn["told"]["side"]
        self._scenario, self._session = folder / "typed.toml", folder / "session.json"
        files.write_scenario(self._scenario, drawn, arguments.orientation_key, arguments.kind_key)
        self._frame, self._trials, self._pending, self._response, self._cards = None, [], None, None, []
        if arguments.by == "night":
            started = ask.run([self._program, "night", "start", *self._known(), "--session", str(self._session)], LIMIT_S)
            if started.status != 0:
                raise RuntimeError(f"`night start` failed: {started.message}")

    def hold_cards(self, rng, offset_um):
        """Frames with a card over the outer third of the rim at the first two screws."""
        for screw in self._drawn["real"]["assembly"]["screws"][:2]:
            drawn = copy.deepcopy(self._drawn)
            radius_mm = drawn["real"]["telescope"]["aperture_mm"] / 2
            card = {
                "azimuth_deg": screw["azimuth_deg"] + CARD_DEGREES * float(rng.standard_normal()), "width_mm": 0.5 * radius_mm,
                "inner_radius_mm": 0.68 * radius_mm, "outer_radius_mm": radius_mm,
            }  # fmt: skip
            drawn["real"]["telescope"]["vanes"] = [*drawn["real"]["telescope"].get("vanes", []), card]
            shot = scene.shoot(drawn, rng, sensor_offset_um=offset_um)
            frame = make.save(drawn, shot, self._folder / f"card{screw['name']}")
            self._cards += ["--card-at", f"{screw['name']}={frame}"]

    def look(self, shot, round_number):
        """Save the frame and ask about it."""
        before, self._frame = self._frame, make.save(self._drawn, shot, self._folder / f"round{round_number}")
        if self._arguments.by == "night":
            words = ["night", "frame", str(self._frame), "--session", str(self._session), "--json"]
            return ask.run([self._program, *words], LIMIT_S)
        words = [str(self._frame), *self._known()]
        if self._arguments.by == "learn" and before and self._pending:
            self._learn(before)
        words += ["--response", str(self._response)] if self._response else self._cards
        return ask.measure(self._program, words, LIMIT_S)

    def other_side(self):
        """From now on the frames are of the other side of focus; told, where the side is told at all."""
        self._side = {"inside": "outside", "outside": "inside"}.get(self._side)
        self._cards = []  # they are of the side that was

    def turned(self, screw, turns):
        """Remember, and tell a session, what the hand was asked to do (clockwise positive there)."""
        self._pending = (screw, turns)
        if self._arguments.by == "night":
            clockwise = 1.0 if self._drawn["typed"]["assembly"]["clockwise"] == "lengthens" else -1.0
            told = f"{clockwise * turns:+.5f}"
            ask.run([self._program, "night", "turned", screw, told, "--session", str(self._session)], LIMIT_S)

    def _learn(self, before):
        screw, turns = self._pending
        self._pending = None
        self._trials.append((before, self._frame, screw, turns))
        out = self._folder / f"learned{len(self._trials)}"
        _, response = ask.learn(self._program, [*self._known(), *self._cards], self._trials, out, LIMIT_S)
        self._response = response or self._response

    def _known(self):
        side = ["--side", self._side] if self._side else []
        return ["--instrument", str(self._scenario), *side]


def _line(drawn, coma_nm, did, ended, goal_nm, costs_s):
    within = [value for value in coma_nm[: WITHIN_ROUNDS + 1] if value <= goal_nm]
    reached = next((count for count, value in enumerate(coma_nm) if value <= goal_nm), None) if within else None
    return {
        "world": make.stem(drawn["number"]),
        "telescope": drawn["telescope"],
        "start_nm": round(coma_nm[0], 1),
        "rounds": len(did) + (ended == "stop"),
        "turned": sum("{" in entry for entry in did),
        "trials": sum(entry.startswith("trial") for entry in did),
        "ended": ended,
        "end_nm": round(coma_nm[-1], 1),
        "goal_nm": round(goal_nm, 1),
        "reached": reached,
        "largest_nm": round(max(coma_nm), 1),
        "raised": sum(after > before for before, after in zip(coma_nm, coma_nm[1:])),
        "twice": max(coma_nm) > 2 * coma_nm[0],
        "processor_s": round(costs_s, 1),
        "coma_nm": " ".join(f"{value:.0f}" for value in coma_nm),
        "did": "; ".join(did),
    }


def totals(lines):
    """What the issues ask of a loop."""
    reached = [line["reached"] for line in lines if line["reached"] is not None]
    ends = [line["end_nm"] for line in lines]
    return {
        "worlds": len(lines),
        "reached_within_five": len(reached),
        "share_reached": round(len(reached) / len(lines), 3) if lines else None,
        "median_rounds_to_goal": statistics.median(reached) if reached else None,
        "stopped": sum(line["ended"] == "stop" for line in lines),
        "stopped_above_goal": sum(line["ended"] == "stop" and line["end_nm"] > line["goal_nm"] for line in lines),
        "above_twice_start": sum(line["twice"] for line in lines),
        "turns_that_raised": sum(line["raised"] for line in lines),
        "median_end_nm": statistics.median(ends) if ends else None,
    }
