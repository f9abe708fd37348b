"""`measure` and `learn`: the reports of the program, from files and from arrays."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from conftest import SMALL, Program

import skewstar


def small(program: Program, stem: str = "small", *set_: str) -> Path:
    """The small scenario and its frame, as the program writes them."""
    path = program.folder / f"{stem}.toml"
    path.write_text(SMALL)
    program.run("render", path, "--quiet", *(word for key in set_ for word in ("--set", key)))
    return path


def test_a_file_is_measured_as_the_program_does(program: Program) -> None:
    path = small(program)
    told = program.json("measure", "out/small.fits", "--instrument", path, "--side", "outside")
    found = skewstar.measure("out/small.fits", path, side="outside")
    assert found == told and found["format"] == "skewstar-measure/2" and found["verdict"] == "turn"
    assert found == skewstar.measure(Path("out/small.fits"), SMALL, "outside")


def test_an_array_is_measured_as_its_file(program: Program) -> None:
    path = small(program)
    told = program.json("measure", "out/small.fits", "--instrument", path)
    counts = skewstar.render(path).counts
    assert counts is not None
    assert skewstar.measure(counts, path) == told
    # the bytes of a FITS file are big-endian, slices are not contiguous: the values count
    assert skewstar.measure(counts.astype(">u2"), path) == told
    wide = np.zeros((120, 128), np.uint16)
    wide[::2, ::2] = counts
    assert skewstar.measure(wide[::2, ::2], path) == told


def test_the_truth_is_found(program: Program) -> None:
    star = skewstar.render(SMALL, {"state.turns": {"A": 0.05, "B": -0.12}}, seed=21)
    found = skewstar.measure(star.counts, SMALL, side="outside")
    for noll in ("7", "8"):
        mode = found["modes_nm"][noll]
        assert abs(mode["value"] - star.truth["modes_nm"][noll]) < 5 * mode["sigma"], noll


def test_all_that_is_told_beside_a_frame_goes_on(program: Program) -> None:
    path = small(program)
    inside = small(program, "inside", "state.sensor_offset_um=-420", "seed=5")
    options = ["--at", "31,30", "--temperature", "5800", "--second", "out/inside.fits", "--set", "camera.wavelengths=3", "--portable"]
    told = program.json("measure", "out/small.fits", "--instrument", path, *options)
    pair = {"at": (31, 30), "temperature": 5800, "set": {"camera.wavelengths": 3}, "portable": True}
    assert skewstar.measure("out/small.fits", path, second="out/inside.fits", **pair) == told
    assert told != program.json("measure", "out/small.fits", "--instrument", path)
    counts = skewstar.render(inside, {"state.sensor_offset_um": -420}, seed=None).counts
    assert counts is not None and skewstar.measure("out/small.fits", path, second=counts, **pair)["method"] == told["method"]


def test_a_masked_star_and_its_mask(program: Program, scenarios: Path) -> None:
    path = scenarios / "mask-three-triplet-focus.toml"
    star = skewstar.render(path, seed=4, set={"star": {"magnitude": 3.0, "temperature_k": 6000.0}, "exposure": {"time_s": 0.5}, **_electronics()})
    on = skewstar.measure(star.counts, path, mask="on", set=_electronics())
    assert on["method"] == skewstar.measure(star.counts, path, set=_electronics())["method"] and on["spikes"]
    assert on == skewstar.measure(star.counts, path, mask=True, set=_electronics())
    with pytest.raises(skewstar.Error, match="mask"):
        skewstar.measure(star.counts, SMALL, mask="on")


def _electronics() -> dict[str, float]:
    keys = {"quantum_efficiency": 0.8, "throughput": 0.8, "gain_e_per_adu": 0.8, "bias_adu": 500.0, "read_noise_e": 1.6}
    return {f"camera.{key}": value for key, value in {**keys, "dark_e_per_s": 0.01, "full_well_e": 50000.0}.items()}


def test_pixels_without_a_number_are_left_out_and_said() -> None:
    counts = skewstar.render(SMALL).counts
    assert counts is not None
    holes = counts.astype(float)
    holes[30, 20:23] = np.nan
    with pytest.warns(UserWarning, match="image: 3 of 3840 pixels hold no number; they are left out"):
        found = skewstar.measure(holes, SMALL, side="outside")
    assert "pixels_left_out" in found["flags"]
    masked = np.ma.array(counts, mask=np.isnan(holes))
    with pytest.warns(UserWarning, match="3 of 3840"):
        assert "pixels_left_out" in skewstar.measure(masked, SMALL, side="outside")["flags"]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        skewstar.measure(counts, SMALL, side="outside")


def test_trial_turns_teach_what_the_program_learns(program: Program) -> None:
    path = program.folder / "small.toml"
    path.write_text(SMALL)
    turns = {"before": "{ B = -0.1 }", "a": "{ A = 0.25, B = -0.1 }", "c": "{ B = -0.1, C = 0.25 }"}
    for number, (stem, value) in enumerate(turns.items()):
        (program.folder / f"{stem}.toml").write_text(SMALL)
        program.run("render", f"{stem}.toml", "--quiet", "--set", f"state.turns={value}", "--set", f"seed={number}")
    typed = ["out/before.fits,out/a.fits,A=1/4", "out/before.fits,out/c.fits,C=0.25"]
    options = ["--instrument", path, "--side", "outside"]
    told = program.json("learn", *options, *(word for trial in typed for word in ("--trial", trial)))
    learned = skewstar.learn(path, typed, side="outside")
    assert learned == told and isinstance(learned, dict)
    assert learned.toml == Path("out/small.response.toml").read_text()
    # the same from arrays, the first of which is in two trials
    frames = {
        stem: skewstar.render(f"{stem}.toml", [f"state.turns={value}", f"seed={number}"]).counts
        for number, (stem, value) in enumerate(turns.items())
    }
    arrays = [(frames["before"], frames["a"], "A", 0.25), (frames["before"], frames["c"], "C", "1/4")]
    assert skewstar.learn(path, arrays, side="outside") == told
    # and measuring uses it, from the file, its text, or as it is
    told = program.json("measure", "out/before.fits", *options, "--response", "out/small.response.toml")
    for response in ("out/small.response.toml", learned.toml, learned):
        assert skewstar.measure("out/before.fits", path, "outside", response=response) == told
    with pytest.raises(skewstar.Error, match="that learn did not give"):
        skewstar.measure("out/before.fits", path, response=dict(learned))


def test_what_teaches_nothing_is_refused_in_the_programs_words(program: Program) -> None:
    path = small(program)
    trial = "out/small.fits,out/small.fits,A=0.25"
    told = program.run("learn", "--instrument", path, "--trial", trial, "--side", "outside", status=1)
    with pytest.raises(skewstar.Error) as refused:
        skewstar.learn(path, [trial], side="outside")
    assert told.stderr == f"error: {refused.value}\n"
    told = program.run("learn", "--instrument", path, "--trial", "out/small.fits,none.fits,A=0.25", status=2)
    with pytest.raises(skewstar.Error) as refused:
        skewstar.learn(path, [("out/small.fits", "none.fits", "A", 0.25)])
    assert told.stderr == f"error: {refused.value}\n"
    counts = skewstar.render(path).counts
    assert counts is not None
    with pytest.raises(skewstar.Error, match="frame 0 and frame 1 have different sizes"):
        skewstar.learn(path, [(counts, counts[2:], "A", 0.25)])
    with pytest.raises(skewstar.Error, match="frame 0: .*\nhint: "):
        skewstar.learn(path, [(np.full((60, 64), 300), np.full((60, 64), 300), "A", 0.25)])
    for wrong in ("a.fits,A=0.1", ("a.fits", "b.fits", 0.25), ("a.fits", "b.fits", "A", "much"), ("a.fits", "b.fits", "A", None)):
        with pytest.raises(skewstar.Error, match="trial.*\nhint: "):
            skewstar.learn(path, [wrong])  # type: ignore[list-item]


def test_a_frame_that_cannot_be_used_costs_its_own_trials_only(program: Program) -> None:
    counts = [skewstar.render(SMALL, {"state.turns": turns}, seed=n).counts for n, turns in enumerate(({}, {"A": 0.3}, {"C": 0.3}))]
    dark = np.full((60, 64), 300, np.uint16)
    good = [(counts[0], counts[1], "A", 0.3), (counts[0], counts[2], "C", 0.3)]
    with pytest.warns(UserWarning, match="frame 3: .*; its trials are left out: "):
        learned = skewstar.learn(SMALL, [*good, (counts[0], dark, "B", 0.3)], side="outside")
    assert learned == skewstar.learn(SMALL, good, side="outside")
