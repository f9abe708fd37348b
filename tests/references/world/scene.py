"""One world to one frame: everything between an invented telescope and the array that its camera delivers.

A world is a plain dict (so that it can be written down as it is):

    typed       what the owner typed, in the sections of a scenario file
    real        how it is: telescope, mask, camera, assembly, sky, light, defects, written
    state       sensor_offset_um, modes_nm (text of Noll's number: nm rms), turns, star_px, mask_on
    told        what the owner says on the command line: side, second
"""

import math
from dataclasses import dataclass

import numpy as np

from . import camera as cameras
from . import grid, light
from .telescopes import focal_ratio

NM_PER_BIN = 18.0
FEWEST_BINS = 5
MOST_HALF_PX = 330
NUMBER_OF_COMAS = ("8", "7")


@dataclass
class Shot:
    """A frame and what is known of how it came about."""

    raw: np.ndarray  # counts, row 0 at the bottom
    electrons: float  # of the star on an unlimited sensor
    brightest_e: float
    noise_adu: float  # of the background


def shoot(world, rng, sensor_offset_um=None, modes_nm=None, star_px=None):
    """Counts of the world's star; the keywords replace what the world's state says."""
    real, state = world["real"], world["state"]
    offset_um = state["sensor_offset_um"] if sensor_offset_um is None else sensor_offset_um
    star_px = star_px or state["star_px"]
    share = light_shares(world, offset_um, modes_nm or state["modes_nm"], star_px)
    camera, lamp = real["camera"], real["light"]
    electrons = min(lamp["peak_of_full_well"] * lamp["well_e"] / share.max(), lamp["most_electrons"])
    expected = electrons * share + lamp["background_e"]
    raw = cameras.counts(expected, camera, real["defects"], rng)
    noise_adu = math.hypot(camera["read_noise_e"], math.sqrt(lamp["background_e"])) / camera["gain_e_per_adu"]
    return Shot(raw, float(electrons), float(expected.max()), noise_adu)


def light_shares(world, offset_um, modes_nm, star_px):
    """Share of the main star's light in each pixel, neighbours added, each pixel behind its own filter."""
    camera = world["real"]["camera"]
    if "colour_pattern" not in camera:
        return _stars(world, offset_um, modes_nm, star_px, camera["passband_nm"])
    passbands = [camera["passbands"][name]["passband_nm"] for name in ("red", "green", "blue")]
    planes = [_stars(world, offset_um, modes_nm, star_px, passband) for passband in passbands]
    filters = cameras.colour_of_pixels(camera["colour_pattern"], camera["width_px"], camera["height_px"])
    weights = _filter_weights(world, passbands)
    return np.choose(filters, [weight * plane for weight, plane in zip(weights, planes)])


def _stars(world, offset_um, modes_nm, star_px, passband_nm):
    real = world["real"]
    camera, telescope = real["camera"], real["telescope"]
    size = (camera["width_px"], camera["height_px"])
    wavelengths_nm, weights = spectrum(passband_nm, real["light"].get("temperature_k"))
    star = one_star(world, offset_um, modes_nm, star_px, wavelengths_nm, weights)
    total = star.pixels(star_px, *size)
    for other in real["light"].get("others", []):
        place = (star_px[0] + other["aside_px"][0], star_px[1] + other["aside_px"][1])
        total = total + other["share"] * star.pixels(place, *size)
    return total


def one_star(world, offset_um, modes_nm, star_px, wavelengths_nm, weights):
    """The star's light, on a square that covers the frame, or all of the star where the frame is larger than that."""
    real = world["real"]
    camera, telescope = real["camera"], real["telescope"]
    mask = real["mask"] if world["state"]["mask_on"] else None
    farthest = max(
        max(star_px[0], camera["width_px"] - 1 - star_px[0]), max(star_px[1], camera["height_px"] - 1 - star_px[1])
    )
    doughnut_px = abs(offset_um) / (2 * focal_ratio(telescope)) / camera["pixel_um"]
    half_px = min(math.ceil(max(farthest + 2, 1.35 * doughnut_px + 16)), MOST_HALF_PX)
    cells = light.cells_needed(half_px, camera["pixel_um"], telescope, min(wavelengths_nm), bool(mask))
    pupil = grid.pupil(telescope, mask, camera, cells)
    path_nm = pupil.path_nm(offset_um, modes_nm)
    return light.star_light(
        pupil, lambda _: path_nm, wavelengths_nm, weights, real["sky"], camera["pixel_um"], half_px,
        divide_cells=bool(mask),
    )  # fmt: skip


def spectrum(passband_nm, temperature_k):
    """Gauss-Legendre wavelengths and weights of a passband: equal photons per nm, or Planck's in photons."""
    low_nm, high_nm = passband_nm
    count = max(FEWEST_BINS, math.ceil((high_nm - low_nm) / NM_PER_BIN))
    nodes, weights = np.polynomial.legendre.leggauss(count)
    wavelengths_nm = (low_nm + high_nm) / 2 + nodes * (high_nm - low_nm) / 2
    weights = weights * planck_photons(wavelengths_nm, temperature_k)
    return wavelengths_nm, weights / weights.sum()


def planck_photons(wavelength_nm, temperature_k):
    """Photons per nm, up to a factor; flat without a temperature."""
    if temperature_k is None:
        return np.ones_like(wavelength_nm)
    return wavelength_nm**-4.0 / np.expm1(1.438776877e7 / (wavelength_nm * temperature_k))


def _filter_weights(world, passbands_nm):
    """How much light each filter passes against the green one."""
    temperature_k = world["real"]["light"].get("temperature_k")

    def passed(band):
        wavelengths_nm = np.linspace(*band, 41)
        return float(np.mean(planck_photons(wavelengths_nm, temperature_k)) * (band[1] - band[0]))

    return [passed(band) / passed(passbands_nm[1]) for band in passbands_nm]


def offset_for(diameter_px, telescope, pixel_um):
    """Size of the sensor offset (um) that makes a doughnut of this outer diameter, by the ray at the edge."""
    focal_mm, radius_mm = telescope["focal_length_mm"], telescope["aperture_mm"] / 2
    if telescope.get("focus_law", "sine") == "sine":
        tangent = math.tan(math.asin(radius_mm / focal_mm))
    else:
        tangent = math.tan(2 * math.atan(radius_mm / (2 * focal_mm)))
    return diameter_px * pixel_um / 2 / tangent
