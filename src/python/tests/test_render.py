"""`render`: the arrays and the truth are the program's, whatever the scenario comes as."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from conftest import SMALL, TINY, Program, fits

import skewstar


def test_counts_expected_and_truth_are_those_of_the_program(program: Program, scenarios: Path) -> None:
    path = scenarios / "night-fast-unit.toml"
    program.run("render", path, "--expected", "--quiet", "--out", "out")
    star = skewstar.render(path)
    assert star.counts is not None and star.counts.dtype == np.uint16 and star.expected.dtype == np.float64
    assert star.counts.tobytes() == fits(Path("out/night-fast-unit.fits")).tobytes()
    assert star.expected.tobytes() == fits(Path("out/night-fast-unit.expected.fits")).tobytes()
    assert star.truth == json.loads(Path("out/night-fast-unit.truth.json").read_text())


def test_what_is_set_is_what_the_program_sets(program: Program, scenarios: Path) -> None:
    path = scenarios / "night-fast-unit.toml"
    set_ = {"state.sensor_offset_um": -250.5, "camera.wavelengths": 2, "state.modes_nm": {7: 30.0}, "state.recentred": True}
    typed = ["state.sensor_offset_um=-250.5", "camera.wavelengths=2", "state.modes_nm={ 7 = 30.0 }", "state.recentred=true", "seed=3"]
    told = program.json("render", path, "--bound", "--portable", *(word for key in typed for word in ("--set", key)))
    star = skewstar.render(path, set_, seed=3, bound=True, portable=True)
    assert star.truth == told and told["seed"] == 3 and told["sigma_photon_nm"]["7"] > 0
    assert star.counts is not None and star.counts.tobytes() == fits(Path("out/night-fast-unit.fits")).tobytes()
    again = skewstar.render(path, typed, bound=True, portable=True)
    assert again.truth == told and np.array_equal(again.counts, star.counts)


def test_in_relative_units_there_are_no_counts(program: Program, scenarios: Path) -> None:
    path = scenarios / "mask-two-zone-coma.toml"
    told = program.json("render", path, "--quiet")
    star = skewstar.render(str(path))
    if told["electrons"] is None:
        assert star.counts is None
        # the whole star has the light 1, on an unlimited sensor (DESIGN, section 4)
        assert abs(star.expected.sum() - star.truth["light_in_frame"]) < 1e-6
    assert star.truth == told


def test_a_path_a_text_and_a_dict_are_one_scenario(tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    path.write_text(TINY)
    stars = [skewstar.render(given) for given in (path, str(path), TINY, tomllib.loads(TINY))]
    for star in stars[1:]:
        assert np.array_equal(star.counts, stars[0].counts) and np.array_equal(star.expected, stars[0].expected)
    # the checksum is that of the text, which a dict does not have
    assert stars[2].truth == stars[0].truth
    unlike = {key for key, value in stars[3].truth.items() if value != stars[0].truth[key]}
    assert unlike == {"scenario_sha256"}


def test_row_0_is_at_the_bottom_and_columns_go_right() -> None:
    # a star put up and to the right by its own mirror: Noll 2 and 3 move the light by -2N dW/dx (DESIGN, section 2)
    set_ = {"state.sensor_offset_um": 0, "state.turns": {}, "state.modes_nm": {2: 0.0, 3: -200.0}}
    up = skewstar.render(SMALL, set_).expected
    rows, columns = np.indices(up.shape)
    still = skewstar.render(SMALL, {**set_, "state.modes_nm": {2: 0.0, 3: 0.0}}).expected
    sky = float(np.median(still))
    centre = [float(((image - sky) * axis).sum() / (image - sky).sum()) for image in (up, still) for axis in (rows, columns)]
    # N = 3, Noll 3 = 2 y: dW/dy = -400 nm per unit of the aperture's radius, so +2.4 um, 0.69 px of 3.5 um
    assert abs(centre[0] - centre[2] - 2 * 3 * 0.4 / 3.5) < 0.03 and abs(centre[1] - centre[3]) < 0.03


def test_arrays_belong_to_whoever_asked() -> None:
    star = skewstar.render(TINY)
    assert star.counts is not None
    for array in (star.counts, star.expected):
        assert array.flags.c_contiguous and array.flags.writeable and array.base is not None  # memory of the library, not a copy
    star.counts[:] = 0
    assert skewstar.render(TINY).counts is not None and skewstar.render(TINY).counts.max() > 0  # type: ignore[union-attr]


def test_the_version_is_the_programs(program: Program) -> None:
    assert program.run("--version").stdout.split() == ["skewstar", skewstar.__version__]


@pytest.mark.parametrize("name", ["check", "mask_preview", "field"])
def test_the_other_verbs_say_what_the_program_says(program: Program, scenarios: Path, name: str) -> None:
    file = {"check": "night-fast-unit.toml", "mask_preview": "mask-two-zone-coma.toml", "field": "fields/whole-sensor.toml"}[name]
    path, set_, options = scenarios / file, {}, []
    if name == "field":
        set_ = {"camera.width_px": 300, "camera.height_px": 200, "field.count": 4}
        options = [word for key, value in set_.items() for word in ("--set", f"{key}={value}")]
    told = program.json(*name.split("_"), path, *options)
    found = getattr(skewstar, name)(path, set_)
    assert found == told and isinstance(found, dict)
    if isinstance(found, skewstar.Field):
        assert found.counts.tobytes() == fits(Path("out/whole-sensor.field.fits")).tobytes()
    if isinstance(found, skewstar.MaskPreview):
        assert len(found.panels) == 5 and all(panel.ndim == 2 and panel.max() > 0 for panel in found.panels.values())


def test_numpy_values_are_set_as_numbers() -> None:
    plain = skewstar.render(TINY, {"state.sensor_offset_um": 300.0, "camera.passband_nm": [500.0, 540.0], "seed": 5})
    numpy = skewstar.render(
        TINY, {"state.sensor_offset_um": np.float64(300), "camera.passband_nm": np.array([500.0, 540.0]), "seed": np.uint8(5)}
    )
    assert plain.truth == numpy.truth and np.array_equal(plain.counts, numpy.counts)
