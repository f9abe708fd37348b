"""The references: what is made, by which library, at which sampling, and how far it may be from its own checks.

Every image is made three times: finely and coarsely by one library (their difference bounds the sampling error of the
fine one, which is kept) and once by another. `made()` yields the records one by one.
"""

from dataclasses import asdict, dataclass, field
from importlib import metadata

import numpy as np

import decentres
import measured
import prescriptions
import scenes
import seeing
import surfaces
import zernike_table
from propagate import Sampling, by_hcipy, by_prysm

FINE = Sampling(cells=2048, points=377, subpixels=10)
COARSE = Sampling(cells=1024, points=377, subpixels=8)
OTHER_LIBRARY = Sampling(cells=2048, points=256, subpixels=15)
SEEING_FINE = Sampling(cells=2048, points=377, subpixels=9)
SEEING_COARSE = Sampling(cells=1024, points=377, subpixels=7)

SCENES = {
    "doughnut": scenes.DOUGHNUT,
    "polychromatic": scenes.POLYCHROMATIC,
    "masked": scenes.MASKED,
    "focused": scenes.FOCUSED,
}

MEASURED = {
    "measured_inside": (scenes.MEASURED_INSIDE, 20417),
    "measured_outside": (scenes.MEASURED_OUTSIDE, 20418),
    "measured_masked": (scenes.MEASURED_MASKED, 20419),
}

RESOLUTION_LIMIT = 2e-4
LIBRARY_LIMITS = {"doughnut": 1e-4, "polychromatic": 1e-4, "masked": 5e-4, "focused": 1e-4, "seeing": 1e-4}
ZERNIKE_LIMIT = 1e-11
DECENTRE_LIMIT = 1e-6  # between two ray tracers, relative
SURFACES_LIMITS = {"libraries_apart_relative": 1e-3, "libraries_apart_nm": 0.02}
PRESCRIPTION_LIMIT = 1e-5  # nm, between two densities of rays

MEANING = (
    "share of the light that passes the pupil (and mask) falling in each pixel; float64 [row, column], row 0 = bottom, "
    "+x right; the sum over an unlimited sensor is 1; the star (W = 0) is at the middle"
)

MEANING_OF_COUNTS = (
    "counts of a camera, whole numbers as float64 [row, column], row 0 = bottom, +x right; the star (W = 0) stands "
    "readout.aside_px from the middle of the frame; the truth is the scenario's state"
)


@dataclass
class Record:
    """One reference: the JSON's content, and the image where there is one."""

    name: str
    content: dict
    image: np.ndarray | None = None
    faults: list = field(default_factory=list)


def made():
    """The records, each computed afresh."""
    for name, scenario in SCENES.items():
        yield _image_record(name, scenario)
    yield _seeing_record()
    for name, (scenario, seed) in MEASURED.items():
        yield _measured_record(name, scenario, seed)
    yield _zernike_record()
    yield _prescriptions_record()
    yield _decentres_record()
    yield _surfaces_record()


def _image_record(name, scenario):
    fine, coarse, other = by_hcipy(scenario, FINE), by_hcipy(scenario, COARSE), by_prysm(scenario, OTHER_LIBRARY)
    accuracy = {
        "resolution_change_relative_l2": relative_l2(coarse, fine),
        "other_library_relative_l2": relative_l2(other, fine),
    }
    settings = {
        "library": "hcipy",
        "method": "FraunhoferPropagator (matrix transform), cell means, Gauss-Legendre points in each pixel",
        "sampling": asdict(FINE),
        "sampling_compared": asdict(COARSE),
        "other_library": "prysm",
        "other_method": "focus_fixed_sampling (matrix transform), open share times central phase, extrapolated midpoints",
        "other_sampling": asdict(OTHER_LIBRARY),
    }
    return _record(name, scenario, fine, accuracy, settings)


def _seeing_record():
    scenario = scenes.SEEING
    irradiance, step_um = seeing.star_samples(scenario, SEEING_FINE)
    fine = seeing.by_galsim(scenario, irradiance, step_um)
    coarse = seeing.by_galsim(scenario, *seeing.star_samples(scenario, SEEING_COARSE))
    exact = seeing.by_scipy(scenario, irradiance, step_um, 6.88387718229 / 2, seeing.GALSIM_FWHM_OVER_LAMBDA_R0)
    rounded = seeing.by_scipy(scenario, irradiance, step_um, 3.44, 0.976)
    accuracy = {
        "resolution_change_relative_l2": relative_l2(coarse, fine),
        "other_library_relative_l2": relative_l2(exact, fine),
        "constants_3_44_and_0_976_relative_l2": relative_l2(rounded, fine),
    }
    settings = {
        "library": "GalSim",
        "method": "InterpolatedImage of hcipy's star, convolved with Kolmogorov(fwhm), drawn with the pixel",
        "sampling": asdict(SEEING_FINE),
        "sampling_compared": asdict(SEEING_COARSE),
        "margin_px": seeing.MARGIN_PX,
        "other_library": "scipy",
        "other_method": "FFT, analytic transfer function with the exact constants 6.8838772 / 2 and 0.9758634",
        "airmass": float(seeing.kasten_young_airmass(scenario["star"]["altitude_deg"])),
        "fwhm_arcsec": float(seeing.fwhm_arcsec(scenario)),
    }
    return _record("seeing", scenario, fine, accuracy, settings)


def _measured_record(name, scenario, seed):
    fractions = measured.light(scenario, measured.KEPT)
    change = relative_l2(measured.light(scenario, measured.COMPARED), fractions)
    limits = {"resolution_change_relative_l2": measured.RESOLUTION_LIMIT}
    content = {
        "what": MEANING_OF_COUNTS,
        "image": f"{name}.npy",
        "scenario": scenario,
        "wavelengths_nm": scenes.wavelengths_nm(scenario),
        "readout": measured.READOUT,
        "seed": seed,
        "accuracy": {"resolution_change_relative_l2": change, "limits": limits},
        "settings": {
            "library": "hcipy, GalSim, numpy",
            "method": "star by hcipy's FraunhoferPropagator, per wavelength convolved with galsim.Kolmogorov and drawn with "
            "the pixel, then numpy.random.default_rng(seed).poisson and .normal",
            "sampling": asdict(measured.KEPT),
            "sampling_compared": asdict(measured.COMPARED),
            "margin_px": seeing.MARGIN_PX,
        },
    }
    faults = [] if change <= measured.RESOLUTION_LIMIT else [
        f"{name}: resolution_change_relative_l2 is {change:.1e}, allowed {measured.RESOLUTION_LIMIT:.0e}"
    ]
    return Record(name, content, measured.counts(fractions, seed), faults)


def _zernike_record():
    table, differences = zernike_table.make()
    content = {
        "what": "Zernike polynomials in Noll's order and normalisation: values[j][point], on the disc and, orthonormal "
        "on the annulus, with rho = 1 at the outer edge",
        **table,
        "accuracy": {"largest_differences": differences, "limit": ZERNIKE_LIMIT},
        "settings": {"library": "GalSim", "other_libraries": ["prysm", "hcipy"]},
    }
    faults = [
        f"zernike: {pair} differ by {difference:.1e}, allowed {ZERNIKE_LIMIT:.0e}"
        for pair, difference in differences.items()
        if not difference <= ZERNIKE_LIMIT
    ]
    return Record("zernike", content, faults=faults)


def _decentres_record():
    cases, apart = decentres.make()
    content = {
        "what": "what a unit that sits aside does at a fixed place of the sensor, the telescope pointed anew: Noll 8 and image shift per mm, "
        "Noll 6 per mm squared, per mm and arcmin of tilt, per mm and mm of field; all along x; pivot_mm behind the unit's vertex",
        "cases": cases,
        "accuracy": {"largest_differences": apart, "limit": DECENTRE_LIMIT},
        "settings": {
            "libraries": {name: metadata.version(name) for name in ("batoid", "optiland")},
            "rings": decentres.RINGS,
            "steps": {"decentre_mm": decentres.DECENTRE_MM, "tilt_arcmin": decentres.TILT_ARCMIN, "field_mm": decentres.FIELD_MM},
        },
    }
    faults = [
        f"decentres: {figure} is {difference:.1e}, allowed {DECENTRE_LIMIT:.0e}"
        for figure, difference in apart.items()
        if not difference <= DECENTRE_LIMIT
    ]
    return Record("decentres", content, faults=faults)


def _surfaces_record():
    cases, apart = surfaces.make()
    content = {
        "what": "telescopes as lists of surfaces in the keys of a scenario file: responses of the unit at a fixed place of the sensor, field, focus and "
        "spherical aberration from finite steps, by each library; and by batoid whole wavefronts (nm, positive leads, tilt and focus taken out) "
        "with the unit tilted, aside and moved along at once, with best focus beyond the sensor",
        "cases": cases,
        "accuracy": {"largest_differences": apart, "limits": SURFACES_LIMITS},
        "settings": {
            "libraries": {name: metadata.version(name) for name in ("batoid", "optiland")},
            "wavelength_um": surfaces.WAVELENGTH_UM,
            "rings": surfaces.RINGS,
            "steps": {
                "tilt_arcmin": surfaces.TILT_ARCMIN,
                "decentre_mm": surfaces.DECENTRE_MM,
                "piston_mm": surfaces.PISTON_MM,
                "field_arcmin": surfaces.FIELD_ARCMIN,
            },
        },
    }
    faults = [
        f"surfaces: {figure} is {difference:.1e}, allowed {SURFACES_LIMITS[figure]:.0e}"
        for figure, difference in apart.items()
        if not difference <= SURFACES_LIMITS[figure]
    ]
    return Record("surfaces", content, faults=faults)


def _prescriptions_record():
    traced, differences = prescriptions.make()
    content = {
        "what": "stars through displaced mirrors and lenses: Noll modes over the full disc in nm (positive leads, sphere of "
        "least rms), landing of the central ray along x and best focus along z",
        "cases": traced,
        "accuracy": {"largest_differences": differences, "limit": PRESCRIPTION_LIMIT},
        "settings": {
            "library": "optiland",
            "version": metadata.version("optiland"),
            "rings": prescriptions.FINE,
            "rings_compared": prescriptions.COARSE,
        },
    }
    faults = [
        f"prescriptions: {figure} differs by {difference:.1e}, allowed {PRESCRIPTION_LIMIT:.0e}"
        for figure, difference in differences.items()
        if not difference <= PRESCRIPTION_LIMIT
    ]
    return Record("prescriptions", content, faults=faults)


def _record(name, scenario, image, accuracy, settings):
    limits = {
        "resolution_change_relative_l2": RESOLUTION_LIMIT,
        "other_library_relative_l2": LIBRARY_LIMITS[name],
    }
    faults = [
        f"{name}: {figure} is {accuracy[figure]:.1e}, allowed {limit:.0e}"
        for figure, limit in limits.items()
        if not accuracy[figure] <= limit
    ]
    content = {
        "what": MEANING,
        "image": f"{name}.npy",
        "scenario": scenario,
        "wavelengths_nm": scenes.wavelengths_nm(scenario),
        "wavelength_weights": [1 / len(scenes.wavelengths_nm(scenario))] * len(scenes.wavelengths_nm(scenario)),
        "sum": float(image.sum()),
        "accuracy": {**accuracy, "limits": limits},
        "settings": settings,
    }
    return Record(name, content, image, faults)


def relative_l2(these, those):
    """Root of the summed squared difference over that of `those`."""
    return float(np.linalg.norm(these - those) / np.linalg.norm(those))
