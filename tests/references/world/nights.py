"""Whole nights through a camera's folder: `night watch` reads what falls into it, a hand does what each line says and tells it.

Each night is a world of `loop` (how the camera is held is unknown, the response is 20 per cent and 15 degrees off, the hand errs by
10 per cent and 4 degrees, screws have backlash, tightening a pair shifts the unit by 20 +- 10 nm in a direction of its own), under a seeing of
1.5 to 4 arcsec, with one frame in ten spoilt: a cloud, a star that has moved out, a file that breaks off, an empty one. The hand follows the
line's `next` and knows nothing else: turn or trial, card, lock, refocus, wait. With --cards it holds the card that the words of the first
trial offer instead.

A night is good where it ends (`stop`, or a turn that is not asked for any more), locked, with coma below the larger of 30 nm and the stop level,
and the sensor within the depth of focus.

With --from-frame the instrument file is not typed: `new --from` makes it from a first frame and what an owner can say.
"""

import copy
import json
import os
import pathlib
import queue
import statistics
import subprocess
import tempfile
import threading
import time

import numpy as np

from . import ask, draw, files, loop, make, scene
from .screws import Hand, Mechanics
from .telescopes import focal_ratio

GOAL_NM = 30.0
SPOILT_SHARE = 0.1
MOST_FRAMES = 40
LINE_S = 180.0
EXPOSURE_S = 1.0  # as `draw` types it
FOCUS_SHARE, FOCUS_UM = 0.02, 2.0  # how well a hand moves the focus
COLUMNS = ("world", "telescope", "seeing_arcsec", "start_nm", "ended", "end_nm", "goal_nm", "focus_um", "depth_um", "locked", "good", "turned",
           "largest_nm", "twice", "frames", "spoilt", "wrong_stop", "median_line_s", "coma_nm", "did")  # fmt: skip


def report(arguments):
    """Play the nights, writing the table anew after each; 0 when enough of them were good."""
    lines = []
    for number in range(arguments.start, arguments.start + arguments.count):
        lines.append(one_night(number, arguments))
        summary = {"format": "skewstar-nights/1", "cards": arguments.cards, "from_frame": arguments.from_frame, **totals(lines)}
        files.write_table(arguments.table, COLUMNS, lines, summary)
    print(json.dumps(summary, indent=1))
    return 0 if summary["share_good"] >= arguments.at_least else 1


class Camera:
    """The folder, and the frames that fall into it."""

    def __init__(self, folder, drawn, rng):
        self._folder, self._drawn, self._rng, self.count, self.spoilt = folder, drawn, rng, 0, 0

    def expose(self, offset_um, card=None):
        """One frame, or now and then something that is of no use; returns its name."""
        self.count += 1
        drawn = self._drawn
        if card is not None:
            drawn = copy.deepcopy(drawn)
            drawn["real"]["telescope"]["vanes"] = [*drawn["real"]["telescope"].get("vanes", []), card]
        name = f"frame{self.count:03d}"
        spoilt = self._rng.random() < SPOILT_SHARE
        shot = scene.shoot(drawn, self._rng, sensor_offset_um=offset_um)
        with tempfile.TemporaryDirectory() as aside:
            made = pathlib.Path(make.save(drawn, shot, pathlib.Path(aside) / name))
            content = made.read_bytes()
            if spoilt:
                self.spoilt += 1
                content = self._spoil(content, shot.raw.size)
            part = self._folder / f"{made.name}.part"
            part.write_bytes(content)
            # nobody waits for the exposure here: the file is dated as if somebody had
            later = time.time() + EXPOSURE_S + 0.5
            os.utime(part, (later, later))
            part.rename(self._folder / made.name)
        return made.name

    def _spoil(self, content, pixels):
        """A file that breaks off in its pixels, or a frame of a cloud: no star, the camera's noise alone."""
        if self._rng.random() < 0.3:
            return content[: len(content) - 2880 - pixels]
        header_end = content.index(b"END" + b" " * 77) // 2880 * 2880 + 2880
        values = np.frombuffer(content[header_end : header_end + 2 * pixels], dtype=">i2").astype(float)
        floor = np.percentile(values, 5)
        cloud = np.clip(floor + self._rng.normal(0.0, 4.0, pixels), -32768, 32767).astype(">i2").tobytes()
        return content[:header_end] + cloud + content[header_end + 2 * pixels :]


class Watch:
    """`night watch` on the folder; one line of JSON for each frame."""

    def __init__(self, program, folder, session):
        words = [program, "night", "watch", str(folder), "--session", str(session), "--json", "--quiet"]
        self._process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        self._lines = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        for line in self._process.stdout:
            self._lines.put(json.loads(line))

    def line(self):
        """The next one, and how long it took to come."""
        begun = time.perf_counter()
        return self._lines.get(timeout=LINE_S), time.perf_counter() - begun

    def end(self):
        self._process.terminate()
        self._process.wait()


def one_night(number, arguments):
    """From the first star to the end that the program says."""
    drawn, rng, response_turn_deg = loop.loop_world(number, "unknown")
    seeing = float(rng.uniform(1.5, 4.0))
    drawn["real"]["sky"]["fwhm_arcsec"] = min(seeing, 25e-3 / drawn["real"]["telescope"]["focal_length_mm"] * 206265)
    mechanics = Mechanics(drawn["real"]["assembly"], response_turn_deg)
    start = np.array([drawn["state"]["modes_nm"]["8"], drawn["state"]["modes_nm"]["7"]])
    hand = Hand(mechanics, mechanics.turns_for(start), rng)
    others = {noll: value for noll, value in drawn["state"]["modes_nm"].items() if noll not in ("7", "8")}
    focus_um = drawn["state"]["sensor_offset_um"] - mechanics.focus_um(hand.turns)
    clockwise = 1.0 if drawn["typed"]["assembly"]["clockwise"] == "lengthens" else -1.0
    coma_nm, did, times, locked, ended, card, stop_nm = [float(np.linalg.norm(start))], [], [], False, "frames used up", None, 0.0
    with tempfile.TemporaryDirectory() as place:
        place = pathlib.Path(place)
        (place / "camera").mkdir()
        session, typed = place / "session.toml", place / "typed.toml"
        if arguments.from_frame:
            draw.set_modes(drawn, mechanics, hand.coma_nm(), hand.turns, others)
            _from_frame(arguments.program, place, typed, drawn, rng)
        else:
            files.write_scenario(typed, drawn, "assumed", True)
        side = ["--side", drawn["told"]["side"]] if drawn["told"]["side"] else []
        _tell(arguments.program, ["start", "--instrument", str(typed), *side, "--settle", "0"], session)
        camera = Camera(place / "camera", drawn, rng)
        watch = Watch(arguments.program, place / "camera", session)
        tell = lambda *words: _tell(arguments.program, words, session)  # noqa: E731
        try:
            for _ in range(MOST_FRAMES):
                draw.set_modes(drawn, mechanics, hand.coma_nm(), hand.turns, others)
                drawn["state"]["star_px"] = loop._recentred(drawn, rng)
                offset_um = focus_um + mechanics.focus_um(hand.turns)
                if ended == "focused":
                    break
                camera.expose(offset_um, card)
                line, seconds = watch.line()
                times.append(seconds)
                if "skipped" in line:
                    did.append("skipped")
                    continue
                card = None
                step = line["next"]
                stop_nm = (line.get("stop_nm") or {}).get("stop") or stop_nm
                did.append(f"{step['do']} {step.get('screw') or ''} {step.get('degrees') or ''}".strip())
                if step["do"] == "trial" and arguments.cards and line["round"] == 0 and "hold a card" in step["words"]:
                    card = _held(drawn, rng, drawn["typed"]["assembly"]["screws"][0]["name"], tell)
                elif step["do"] == "card":
                    card = _held(drawn, rng, step["screw"], tell)
                elif step["do"] in ("turn", "trial"):
                    hand.turn(step["screw"], step["turns"])
                    locked = False
                    time.sleep(0.02)
                    tell("turned", step["screw"], f"{clockwise * step['turns']:+.5f}")
                    coma_nm.append(float(np.linalg.norm(hand.coma_nm())))
                elif step["do"] == "lock":
                    locked = True
                    tell("locked")
                elif step["do"] == "refocus":
                    moved = step["focus_um"] * (1 + FOCUS_SHARE * rng.standard_normal()) + FOCUS_UM * rng.standard_normal()
                    # a hand sees whether the star becomes smaller, and goes the other way where it grows
                    if abs(offset_um + moved) > abs(offset_um):
                        moved = -moved
                    focus_um += moved
                    tell("focused", f"{step['focus_um']:+.0f}")
                    ended = "focused"
                elif step["do"] in ("stop", "finish"):
                    ended = "stop"
                    break
        except queue.Empty:
            ended = "no line"
        finally:
            watch.end()
    offset_um = focus_um + mechanics.focus_um(hand.turns)
    end_nm, goal_nm = float(np.linalg.norm(hand.coma_nm())), max(GOAL_NM, stop_nm)
    depth_um = 2 * 0.55 * focal_ratio(drawn["real"]["telescope"]) ** 2 + 3 * FOCUS_UM
    over = ended in ("focused", "stop")
    needs_lock = drawn["typed"]["assembly"]["kind"] != "spring" and len(coma_nm) > 1
    in_focus = abs(offset_um) <= depth_um + 3 * FOCUS_SHARE * abs(drawn["state"]["sensor_offset_um"])
    return {
        "world": make.stem(number), "telescope": drawn["telescope"], "seeing_arcsec": round(seeing, 2), "start_nm": round(coma_nm[0], 1),
        "ended": ended, "end_nm": round(end_nm, 1), "goal_nm": round(goal_nm, 1), "focus_um": round(offset_um, 1), "depth_um": round(depth_um, 1),
        "locked": locked, "good": over and (locked or not needs_lock) and end_nm <= goal_nm and in_focus, "turned": len(coma_nm) - 1,
        "largest_nm": round(max(coma_nm), 1), "twice": max(coma_nm) > 2 * coma_nm[0], "frames": camera.count, "spoilt": camera.spoilt,
        "wrong_stop": over and end_nm > goal_nm + 3 * 3.0, "median_line_s": round(statistics.median(times), 2) if times else None,
        "coma_nm": " ".join(f"{value:.0f}" for value in coma_nm), "did": "; ".join(did),
    }  # fmt: skip


KINDS = {"prime": "prime-focus", "parab": "prime-focus", "newt": "newtonian", "refr": "refractor"}


def _from_frame(program, place, typed, drawn, rng):
    """The instrument of an owner who knows aperture, focal length, pixel and where screws and shadow stand; a frame says the rest.

    Shadow and screws are where the eye sees them: to a few degrees.
    """
    aside = Camera(place / "first", drawn, rng)
    (place / "first").mkdir()
    number, telescope, assembly = 0, drawn["real"]["telescope"], drawn["typed"]["assembly"]
    while aside.spoilt == number:
        number = aside.spoilt + 1
        frame = place / "first" / aside.expose(drawn["state"]["sensor_offset_um"])
    screws = ",".join(f"{s['name']}={s['azimuth_deg'] + 3 * rng.standard_normal():.0f}" for s in assembly["screws"])
    kind = next((kind for start, kind in KINDS.items() if drawn["telescope"].startswith(start)), "two-mirror")
    words = [program, "new", "typed", "--from", str(frame), "--out", str(place), "--kind", kind, "--screws", screws, "--cell", assembly["kind"]]
    words += ["--aperture", str(telescope["aperture_mm"]), "--focal-length", str(telescope["focal_length_mm"])]
    words += ["--pixel", str(drawn["typed"]["camera"]["pixel_um"]), "--circle", str(assembly["screw_circle_radius_mm"])]
    words += ["--pitch", str(assembly["pitch_mm_per_turn"]), "--clockwise", assembly["clockwise"]]
    if telescope.get("vanes"):
        widest = max(telescope["vanes"], key=lambda vane: vane["width_mm"])
        words += ["--shadow-at", f"{widest['azimuth_deg'] + 3 * rng.standard_normal():.0f}"]
    asked = ask.run([*words, "--quiet"], 300.0)
    if asked.status != 0:
        raise RuntimeError(f"new --from: {asked.message}")


def _held(drawn, rng, screw, tell):
    """The card at a screw, as far as a hand finds its azimuth; told."""
    azimuth = next(s["azimuth_deg"] for s in drawn["real"]["assembly"]["screws"] if s["name"] == screw)
    radius_mm = drawn["real"]["telescope"]["aperture_mm"] / 2
    tell("card", screw)
    return {
        "azimuth_deg": azimuth + loop.CARD_DEGREES * float(rng.standard_normal()), "width_mm": 0.5 * radius_mm,
        "inner_radius_mm": 0.68 * radius_mm, "outer_radius_mm": radius_mm,
    }  # fmt: skip


def _tell(program, words, session):
    asked = ask.run([program, "night", *words, "--session", str(session), "--quiet"], 60.0)
    if asked.status != 0:
        raise RuntimeError(f"night {' '.join(words)}: {asked.message}")


def totals(lines):
    """What the issue asks of nights."""
    turned = [line["turned"] for line in lines]
    return {
        "nights": len(lines),
        "good": sum(line["good"] for line in lines),
        "share_good": round(sum(line["good"] for line in lines) / len(lines), 3),
        "median_turned": statistics.median(turned),
        "above_twice_start": sum(line["twice"] for line in lines),
        "wrong_stops": sum(line["wrong_stop"] for line in lines),
        "spoilt_frames": sum(line["spoilt"] for line in lines),
        "frames": sum(line["frames"] for line in lines),
    }
