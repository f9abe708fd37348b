"""Errors: the program's words, message and hint, for everything that can be handed over wrong."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pytest
from conftest import ROOT, SMALL, Program

import skewstar

BAD = sorted((ROOT / "tests" / "data" / "bad_scenarios").glob("*.toml"))


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_scenarios_are_refused_in_the_programs_words(program: Program, path: Path) -> None:
    lines = path.read_text(errors="replace").splitlines()
    set_ = [line.removeprefix("# --set ") for line in lines if line.startswith("# --set ")]
    told = program.run("check", path, *(word for key in set_ for word in ("--set", key)), status=2)
    with pytest.raises(skewstar.Error) as refused:
        skewstar.check(path, set_)
    assert told.stderr == f"error: {refused.value}\n"


def test_an_error_has_message_and_hint(program: Program) -> None:
    assert len(BAD) > 5 and issubclass(skewstar.Error, ValueError)
    with pytest.raises(skewstar.Error) as refused:
        skewstar.render(SMALL, {"telescope.aperture_mm": -3})
    error = refused.value
    assert "telescope.aperture_mm is -3" in error.message and error.hint and str(error) == f"{error.message}\nhint: {error.hint}"
    again = pickle.loads(pickle.dumps(error))
    assert (again.message, again.hint) == (error.message, error.hint) and type(again) is skewstar.Error
    assert str(skewstar.Error("why")) == "why"


def test_text_and_dict_are_named_and_lines_counted() -> None:
    with pytest.raises(skewstar.Error, match=r"^<scenario>:3:1: titel is not a key"):
        skewstar.check("\nformat = 1\ntitel = 'x'\n")
    with pytest.raises(skewstar.Error, match=r"^<scenario>:4:1: telescope.apertur_mm is not a key"):
        skewstar.check({"format": 1, "telescope": {"apertur_mm": 1}})
    with pytest.raises(skewstar.Error, match=r"^<instrument>:"):
        skewstar.measure(np.zeros((4, 4)), "format = 2\n")


def test_what_the_program_misses_is_missed_here(program: Program) -> None:
    path = program.folder / "small.toml"
    path.write_text(SMALL.replace("seed = 11\n", ""))
    for verb, call in (("render", skewstar.render), ("field", skewstar.field), ("mask preview", skewstar.mask_preview)):
        told = program.run(*verb.split(), path, status=2)
        with pytest.raises(skewstar.Error) as refused:
            call(path)
        assert told.stderr == f"error: {refused.value}\n"
    told = program.run("render", path, "--set", "seed=1", "--set", "seed=2", status=2)
    with pytest.raises(skewstar.Error) as refused:
        skewstar.render(path, {"seed": 1}, seed=2)
    assert told.stderr == f"error: {refused.value}\n"


def test_images_that_are_none_are_refused(program: Program) -> None:
    (program.folder / "text.fits").write_text("no picture")
    path = program.folder / "small.toml"
    path.write_text(SMALL)
    for image in ("none.fits", "text.fits", str(path)):
        told = program.run("measure", image, "--instrument", path, status=2)
        with pytest.raises(skewstar.Error) as refused:
            skewstar.measure(image, path)
        assert told.stderr == f"error: {refused.value}\n"
    for image, words in (
        (np.zeros((3, 4, 5)), "has the shape"),
        (np.zeros((4, 4), bool), "holds bool values"),
        (np.zeros((4, 4), complex), "holds complex128 values"),
        ([["a", "b"]], "values, but must hold counts"),
        (np.full((60, 64), np.nan), "image: 3840 of 3840 pixels hold no number"),
        (np.zeros((1, 1)), "image: the image has 1 × 1 pixels"),
        (np.zeros((60, 64)), "the frame is blank"),
    ):
        with pytest.raises(skewstar.Error, match=words) as refused:
            skewstar.measure(image, path)
        assert refused.value.hint


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"side": "left"}, "side is 'left', but must be 'inside' or 'outside'"),
        ({"mask": "half"}, "mask is 'half', but must be 'on' or 'off'"),
        ({"at": (1.0,)}, "at is .* but must be two numbers"),
        ({"at": (1.0, float("nan"))}, "at is .* but must be two numbers"),
        ({"temperature": 20}, "temperature is 20, but must be a number from 1000 to 100000 kelvin"),
        ({"aim": "all"}, "aim is 'all', but must be 'coma', 'tilt' or 'both'"),
        ({"whole_frame": True, "at": (1, 1)}, "whole_frame"),
    ],
)
def test_what_is_told_beside_a_frame_is_checked(wrong: dict[str, object], words: str) -> None:
    with pytest.raises(skewstar.Error, match=words) as refused:
        skewstar.measure(np.zeros((60, 64)), SMALL, **wrong)  # type: ignore[arg-type]
    assert refused.value.hint


def test_values_that_no_scenario_holds_are_refused_with_their_key() -> None:
    with pytest.raises(skewstar.Error, match=r"state.turns.A is None, which no scenario can hold"):
        skewstar.check(SMALL, {"state.turns": {"A": None}})
    with pytest.raises(skewstar.Error, match=r"camera.passband_nm\[1\] is None"):
        skewstar.check({"camera": {"passband_nm": [1.0, None]}})
    with pytest.raises(TypeError, match="scenario must be a path, a dict, or TOML text"):
        skewstar.check(3)  # type: ignore[arg-type]
    for value in (float("nan"), float("inf"), 'quo"te\\', "two\nlines", "\x7f"):
        with pytest.raises(skewstar.Error, match="telescope.aperture_mm"):
            skewstar.check(SMALL, {"telescope.aperture_mm": value})
