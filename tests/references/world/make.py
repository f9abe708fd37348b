"""Draws worlds and writes, for each: the typed scenario, the frame (and others where the case wants them) and the truth.

    wNNNN.toml        what the owner typed
    wNNNN.fits        the frame (or .png, .tif, .jpg)
    wNNNN.second.fits the same star at the other side of focus, where a second frame would help
    wNNNN.trial-B.fits after one turn of screw B, with --trials
    wNNNN.truth.json  what no program may see; written last
"""

import time

from . import camera as cameras
from . import draw, files, scene
from .screws import Mechanics

TRIAL_TURNS = {False: 0.125, True: 0.0625}  # slow and fast telescopes (f/2.5 and faster)
FAST_RATIO = 2.5
PICTURES = "pictures"


def make(suite, numbers, out, orientation=None, with_kind=False, trials=False, pictures=False, say=print):
    """Write the worlds of these numbers into `out`; returns the seconds each took."""
    out.mkdir(parents=True, exist_ok=True)
    seconds = []
    for number in numbers:
        begun = time.perf_counter()
        drawn, rng = draw.world(suite, number)
        write(drawn, rng, out, orientation, with_kind, trials, pictures)
        seconds.append(time.perf_counter() - begun)
        say(f"{stem(number)} {drawn['telescope']}: {drawn['kind']} ({seconds[-1]:.1f} s)", flush=True)
    return seconds


def stem(number):
    """Every file of a world begins with this."""
    return f"w{number:04d}"


def write(drawn, rng, out, orientation, with_kind, trials, pictures):
    """All files of one world, the truth last."""
    name = stem(drawn["number"])
    shot = scene.shoot(drawn, rng)
    frame = save(drawn, shot, out / name)
    frames = {"frame": frame.name}
    if drawn["told"]["second"]:
        other = scene.shoot(drawn, rng, sensor_offset_um=-drawn["state"]["sensor_offset_um"])
        frames["second"] = save(drawn, other, out / f"{name}.second").name
    if trials:
        frames["trials"] = _write_trials(drawn, rng, out, name)
    drawn["orientation_key"] = orientation_key(drawn, orientation)
    files.write_scenario(out / f"{name}.toml", drawn, drawn["orientation_key"], with_kind)
    if pictures:
        (out / PICTURES).mkdir(exist_ok=True)
        files.picture(shot.raw, out / PICTURES / f"{name}.png")
    files.write_json(out / f"{name}.truth.json", truth(drawn, shot, frames))


def orientation_key(drawn, wanted):
    """"honest" is "known" where the camera's hold is typed as it is, and "assumed" where it is not."""
    if wanted != "honest":
        return wanted
    typed, real = drawn["typed"]["camera"], drawn["real"]["camera"]
    right = all(typed[key] == real[key] for key in ("rotation_deg", "mirrored"))
    return "known" if right else "assumed"


def save(drawn, shot, path):
    """Write one frame as the world's camera writes it; returns its path."""
    camera, how = drawn["real"]["camera"], drawn["real"]["written"]
    pixels, _ = cameras.written(shot.raw, how, camera["bias_adu"], shot.noise_adu)
    path = path.with_name(path.name + files.ENDINGS[how["file"]])
    files.write_frame(path, pixels, how, drawn["typed"]["exposure"]["time_s"])
    return path


def _write_trials(drawn, rng, out, name):
    """The frame after a trial turn of each of two screws, one on top of the other, without errors of the hand."""
    mechanics = Mechanics(drawn["real"]["assembly"])
    telescope = drawn["real"]["telescope"]
    step = TRIAL_TURNS[telescope["focal_length_mm"] / telescope["aperture_mm"] <= FAST_RATIO]
    turns, made = dict(drawn["state"]["turns"]), []
    for screw in mechanics.names[:2]:
        turns[screw] += step
        modes = dict(drawn["state"]["modes_nm"])
        modes["8"], modes["7"] = (float(value) for value in mechanics.coma_nm(turns))
        shot = scene.shoot(drawn, rng, modes_nm=modes)
        path = save(drawn, shot, out / f"{name}.trial-{screw}")
        made.append({"screw": screw, "turns": step, "file": path.name, "coma_nm": [modes["8"], modes["7"]]})
    return made


def truth(drawn, shot, frames):
    """Everything about a world: what its program will be judged by."""
    state = drawn["state"]
    return {
        "format": "skewstar-world/1",
        **drawn,
        "files": frames,
        "coma_nm": {"7": state["modes_nm"]["7"], "8": state["modes_nm"]["8"]},
        "electrons": shot.electrons,
        "brightest_e": shot.brightest_e,
        "background_noise_adu": shot.noise_adu,
    }
