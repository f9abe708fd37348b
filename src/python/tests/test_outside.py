"""Against general-purpose libraries: stars by hcipy and prysm, seeing by GalSim, photons by numpy, as `tests/references/generate.py` made
them (each JSON in `tests/references/data` names libraries, versions and settings, and says how far the libraries are from each other)."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from conftest import ROOT

import skewstar

#: As in tests/measuring_libraries.rs.
COMA_LIMIT_NM = 12.0

DATA = ROOT / "tests" / "references" / "data"


def reference(name: str) -> tuple[dict[str, Any], np.ndarray]:
    return json.loads((DATA / f"{name}.json").read_text()), np.load(DATA / f"{name}.npy")


# the limits are those of tests/peers.rs
@pytest.mark.parametrize(
    ("name", "limit"), [("doughnut", 1e-3), ("polychromatic", 1e-3), ("focused", 1e-3), ("masked", 5e-3), ("seeing", 1e-3)]
)
def test_a_star_is_that_of_other_libraries(name: str, limit: float) -> None:
    record, theirs = reference(name)
    star = skewstar.render(record["scenario"])
    difference = np.linalg.norm(star.expected - theirs) / np.linalg.norm(theirs)
    between = record["accuracy"]["other_library_relative_l2"]
    print(f"{name}: relative L2 {difference:.2e}, {record['settings']['library']} and another library {between:.1e}")
    assert star.counts is None and star.expected.shape == theirs.shape
    assert difference < limit + between
    # upside down or mirrored it is another star
    for turned in (theirs[::-1], theirs[:, ::-1]):
        if name != "focused":
            assert np.linalg.norm(star.expected - turned) / np.linalg.norm(theirs) > 10 * limit


@pytest.mark.parametrize("name", ["measured_inside", "measured_outside"])
def test_coma_of_a_star_by_other_libraries_is_measured(name: str) -> None:
    record, counts = reference(name)
    scenario, readout = record["scenario"], record["readout"]
    camera = {key: value for key, value in scenario["camera"].items() if key != "wavelengths"}
    camera |= {key: readout[key] for key in ("read_noise_e", "gain_e_per_adu", "bias_adu")}
    camera |= {"orientation": "known", "quantum_efficiency": 0.8, "full_well_e": 52_000.0}
    instrument = {key: scenario[key] for key in ("format", "title", "telescope")} | {"camera": camera}
    found = skewstar.measure(counts.astype(np.uint16), instrument, side=name.removeprefix("measured_"))
    off = [found["modes_nm"][noll]["value"] - scenario["state"]["modes_nm"].get(noll, 0.0) for noll in ("7", "8")]
    print(f"{name}: coma is {np.hypot(*off):.2f} nm off, flags {found['flags']}")
    assert found["sound"] and np.hypot(*off) < COMA_LIMIT_NM
