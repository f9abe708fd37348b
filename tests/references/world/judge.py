"""A program's answers about worlds, beside the truth: one line a frame, and a summary for each kind.

Understands both reports: `skewstar-measure/1` (advice.verdict, sound) and `skewstar-measure/2` (verdict, next).

Coma found is compared with the truth in two ways. As typed: the modes as they stand, in pupil axes. In the frame: both
turned into the axes of the frame, the found one by the typed camera, the true one by the real camera; what is wrong only
because of how the camera was said to be held is no error there. A world whose difference is of that kind is judged in the
frame (and by its step), every other as typed. A `stop` needs no orientation and is judged in the frame always. After `learn`
the axes are those of the camera as learned, which may be half a turn from the true ones: then only the size of coma is
compared, and the step counts.

Sure and wrong (the issues' words): acted on, `turn` or `stop`, although off by more than 15 nm and 3 sigma, or although the
step leaves more coma than before in the true mechanics. `trial` is no sure answer; where it leaves more than twice the coma it
is told apart (`trial_too_far`), and where the typed file says that the camera's hold is known it counts as refused. Refused
although close: that, or a sigma above half the stop level, with coma found within 15 nm.
"""

import json
import statistics
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from . import ask, files, make
from .screws import Mechanics

OFF_NM, OFF_SIGMAS = 15.0, 3.0
MORE_THAN_BEFORE_NM = 0.5  # rounding of turns to the fractions that a hand can do is no harm
ORIENTATION_KINDS = ("right", "turned", "half-turn", "mirrored", "turned-and-mirrored", "rotation-wrong",
                     "rotation-half-turn", "mirrored-wrong", "side-untold", "side-wrong")  # fmt: skip
COLUMNS = (
    "world", "telescope", "kind", "difference", "masked", "side_told", "exit", "verdict", "do", "true_nm", "found_nm",
    "error_nm", "error_frame_nm", "sigma_nm", "error_over_sigma", "stop_nm", "step", "after_nm", "sure_and_wrong", "why",
    "refused", "refused_although_close", "trial_too_far", "flags", "chi_square", "time_s", "processor_s", "memory_mib",
    "message", "learned",
)  # fmt: skip


@dataclass(frozen=True)
class How:
    """What is asked of the program, and how."""

    program: str
    with_second: bool  # hand over the second frame where there is one
    with_learn: bool  # let it learn from the trial frames first, and measure the last of them
    limit_s: float  # of processor time


def judge_folder(folder, how, table, jobs):
    """Ask about every world of a folder and write the table; how many answers are sure and wrong."""
    truths = sorted(folder.glob("w*.truth.json"))
    if not truths:
        raise SystemExit(f"error: {folder} holds no w*.truth.json; hint: python -m world make --out {folder} …")
    with ThreadPoolExecutor(jobs) as pool:
        lines = list(pool.map(lambda path: judge_one(path, how), truths))
    write_table(lines, table)
    for line in (line for line in lines if line["sure_and_wrong"]):
        print("sure and wrong: {world} {telescope} {kind} {difference}: {verdict}, {why}".format(**line))
    print(json.dumps(totals(lines), indent=1))
    return sum(bool(line["sure_and_wrong"]) for line in lines)


def judge_one(truth_path, how):
    """The line of one world."""
    world, folder, learned = json.loads(truth_path.read_text()), truth_path.parent, {}
    with tempfile.TemporaryDirectory() as out:
        more = []
        if how.with_learn:
            asked, response = _learn(folder, world, how, out)
            learned = {"learned": f"exit {asked.status} {asked.message}"}
            more = ["--response", str(response)] if response else []
            world = after_trials(world)
        asked = ask.measure(how.program, _words(folder, world, how.with_second) + more, how.limit_s)
    line = dict.fromkeys(COLUMNS) | _head(world) | asked.costs() | learned
    if asked.report is None:
        line |= {"verdict": "none", "refused": True, "sure_and_wrong": False, "refused_although_close": False}
    else:
        line |= _answer(world, ask.Report(asked.report), how.with_learn)
    print("{world} {kind}: {verdict}, {true_nm:.0f} nm, {processor_s:.1f} s".format(**line), flush=True)
    return line


def _learn(folder, world, how, out):
    """Let the program learn from the world's trial frames."""
    if "trials" not in world["files"]:
        raise ValueError(f"{make.stem(world['number'])} has no trial frames: python -m world make --trials")
    before, trials = folder / world["files"]["frame"], []
    for trial in world["files"]["trials"]:
        after = folder / trial["file"]
        trials.append((before, after, trial["screw"], trial["turns"]))
        before = after
    known = ["--instrument", str(folder / f"{make.stem(world['number'])}.toml")]
    known += ["--side", world["told"]["side"]] if world["told"]["side"] else []
    return ask.learn(how.program, known, trials, out, how.limit_s)


def after_trials(world):
    """The same world as its last trial left it: another frame, other turns, another coma."""
    world = json.loads(json.dumps(world))
    for trial in world["files"]["trials"]:
        world["state"]["turns"][trial["screw"]] += trial["turns"]
        world["coma_nm"] = {"8": trial["coma_nm"][0], "7": trial["coma_nm"][1]}
        world["files"]["frame"] = trial["file"]
    return world


def _words(folder, world, with_second):
    """What an owner says to `measure` about this world's frame."""
    name = make.stem(world["number"])
    words = [str(folder / world["files"]["frame"]), "--instrument", str(folder / f"{name}.toml")]
    if world["told"]["side"]:
        words += ["--side", world["told"]["side"]]
    if with_second and "second" in world["files"]:
        words += ["--second", str(folder / world["files"]["second"])]
    return words


def in_frame(coma_nm, camera):
    """Coma (Noll 8, Noll 7) of pupil axes in the axes of the frame: Mirror R(-rotation)."""
    turn = np.radians(-camera["rotation_deg"])
    x = coma_nm[0] * np.cos(turn) - coma_nm[1] * np.sin(turn)
    y = coma_nm[0] * np.sin(turn) + coma_nm[1] * np.cos(turn)
    return np.array([-x if camera["mirrored"] else x, y])


def _head(world):
    return {
        "world": make.stem(world["number"]),
        "telescope": world["telescope"],
        "kind": world["kind"],
        "difference": json.dumps(world["difference"]),
        "masked": world["state"]["mask_on"],
        "side_told": world["told"]["side"],
        "true_nm": float(np.hypot(world["coma_nm"]["8"], world["coma_nm"]["7"])),
    }


def _answer(world, report, learned):
    """Columns of a report: what it found, whether it is right, and what its step would do."""
    true_nm = np.array([world["coma_nm"]["8"], world["coma_nm"]["7"]])
    line = {
        "verdict": report.verdict, "do": report.do, "stop_nm": report.stop_nm(), "step": json.dumps(report.step()),
        "flags": " ".join(report.report.get("flags") or []), "chi_square": report.report.get("chi_square"),
    }  # fmt: skip
    found, off = report.coma(), False
    about_orientation = world["kind"].removeprefix("mask-") in ORIENTATION_KINDS
    judged_nm = None
    if found:
        found_nm, sigma_nm = found
        error_nm = float(np.linalg.norm(found_nm - true_nm))
        framed = in_frame(found_nm, report.camera(world["typed"]["camera"])) - in_frame(true_nm, world["real"]["camera"])
        error_frame_nm = float(np.linalg.norm(framed))
        # what is done with `stop` does not depend on how the camera is held; a turn does
        judged_nm = error_frame_nm if about_orientation or report.verdict == "stop" else error_nm
        if learned:
            judged_nm = abs(float(np.linalg.norm(found_nm) - np.linalg.norm(true_nm)))
        off = judged_nm > OFF_NM and judged_nm > OFF_SIGMAS * sigma_nm
        line |= {
            "found_nm": float(np.linalg.norm(found_nm)), "error_nm": error_nm, "error_frame_nm": error_frame_nm,
            "sigma_nm": sigma_nm, "error_over_sigma": judged_nm / sigma_nm if sigma_nm > 0 else None,
        }  # fmt: skip
    before_nm, after_nm = float(np.linalg.norm(true_nm)), _after_nm(world, report.step())
    worse = after_nm is not None and after_nm > before_nm + MORE_THAN_BEFORE_NM
    acted = report.verdict in ("turn", "stop")
    why = [f"off by {judged_nm:.0f} nm at sigma {found[1]:.1f}"] if acted and off else []
    why += [f"the step makes {before_nm:.0f} nm {after_nm:.0f} nm"] if report.verdict == "turn" and worse else []
    refused = not acted and not (report.verdict == "trial" and world.get("orientation_key") != "known")
    vague = bool(found and report.stop_nm() and found[1] > report.stop_nm() / 2)
    return line | {
        "after_nm": after_nm,
        "sure_and_wrong": bool(why),
        "why": "; ".join(why),
        "refused": refused,
        "refused_although_close": bool((refused or vague) and judged_nm is not None and judged_nm <= OFF_NM),
        "trial_too_far": bool(report.verdict == "trial" and after_nm is not None and after_nm > 2 * before_nm),
    }


def _after_nm(world, step):
    """Coma after the step in the true mechanics, or None without one."""
    if not step:
        return None
    mechanics = Mechanics(world["real"]["assembly"])
    turns = {name: value + step.get(name, 0.0) for name, value in world["state"]["turns"].items()}
    return float(np.linalg.norm(mechanics.coma_nm(turns)))


def write_table(lines, stem):
    """A line for each frame, and the totals of all and of each kind."""
    kinds = sorted({line["kind"] for line in lines})
    by_kind = {kind: totals([line for line in lines if line["kind"] == kind]) for kind in kinds}
    summary = {"format": "skewstar-judged/1", "all": totals(lines), "kinds": by_kind}
    files.write_table(stem, COLUMNS, lines, summary)


def totals(lines):
    """Counts and medians over some lines."""
    ratios = [line["error_over_sigma"] for line in lines if line["error_over_sigma"] is not None]
    errors = [line["error_nm"] for line in lines if line["error_nm"] is not None]
    framed = [line["error_frame_nm"] for line in lines if line["error_frame_nm"] is not None]
    verdicts = [line["verdict"] for line in lines]
    seconds = sorted(line["processor_s"] for line in lines if line["processor_s"] is not None)
    return {
        "frames": len(lines),
        "verdicts": {verdict: verdicts.count(verdict) for verdict in sorted(set(verdicts))},
        "sure_and_wrong": sum(bool(line["sure_and_wrong"]) for line in lines),
        "step_makes_it_worse": sum("step makes" in (line["why"] or "") for line in lines),
        "refused": sum(bool(line["refused"]) for line in lines),
        "refused_although_close": sum(bool(line["refused_although_close"]) for line in lines),
        "trial_too_far": sum(bool(line["trial_too_far"]) for line in lines),
        "median_error_nm": _median(errors),
        "median_error_frame_nm": _median(framed),
        "median_error_over_sigma": _median(ratios),
        "share_below_3_sigma": sum(ratio < OFF_SIGMAS for ratio in ratios) / len(ratios) if ratios else None,
        "median_processor_s": _median(seconds),
        "largest_processor_s": seconds[-1] if seconds else None,
        "largest_memory_mib": max((line["memory_mib"] for line in lines if line["memory_mib"]), default=None),
    }


def _median(values):
    return round(statistics.median(values), 3) if values else None
