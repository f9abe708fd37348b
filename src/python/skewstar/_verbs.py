"""What the package does, verb by verb: see the docstring of each."""

from __future__ import annotations

import json
import os
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Union

import numpy as np
import numpy.typing as npt

from . import _given, _native
from ._error import Error
from ._given import Image, Scenario, Set

#: ``(before, after, screw, turns)``, or ``"BEFORE,AFTER,A=0.125"``.
Trial = Union[tuple[Image, Image, str, Union[float, str]], str]


@dataclass(frozen=True, eq=False)
class Rendered:
    """A star frame with its truth, as :func:`render` gives it.

    Attributes:
        counts: what the camera records, ``uint16`` of shape (rows, columns), row 0 at the bottom, in counts (ADU); ``None`` where the
            scenario has no ``[star]`` or no ``[exposure]``.
        expected: ``float64`` of the same shape: electrons to expect in each pixel before noise and saturation (star, sky and dark
            current); where there are no counts, shares of the star's light.
        truth: what is known of the frame (``skewstar-truth/2``), as the program writes it: ``modes_nm``, ``sensor_offset_um``, ``turns``,
            ``doughnut``, ``spikes``, ``flags`` and more. Units are in the names, places are (column, row).
    """

    counts: npt.NDArray[np.uint16] | None
    expected: npt.NDArray[np.float64]
    truth: dict[str, Any]

    def __repr__(self) -> str:
        rows, columns = self.expected.shape
        what = "counts" if self.counts is not None else "shares of the light"
        return f"<skewstar.Rendered {self.truth['title']!r}: {rows} rows, {columns} columns, {what}>"


class Field(dict[str, Any]):
    """The truth of a whole sensor (``skewstar-field/1``), as :func:`field` gives it, with the frame beside it.

    Attributes:
        counts: what the camera records, ``uint16`` of shape (rows, columns), row 0 at the bottom.
    """

    counts: npt.NDArray[np.uint16]


class MaskPreview(dict[str, Any]):
    """What a mask shows, as :func:`mask_preview` gives it, with the pictures beside it.

    Attributes:
        panels: caption → expected frame, ``float64`` of shape (rows, columns), row 0 at the bottom: the star at focus, inside, outside,
            with coma and with astigmatism.
    """

    panels: dict[str, npt.NDArray[np.float64]]


class Response(dict[str, Any]):
    """What trial turns taught (``skewstar-response/1``), as :func:`learn` gives it.

    :func:`measure` takes it as ``response``.

    Attributes:
        toml: the text of the ``.response.toml`` file that the program writes.
    """

    toml: str


def render(
    scenario: Scenario,
    set: Set = {},
    seed: int | None = None,
    *,
    bound: bool = False,
    portable: bool = False,
) -> Rendered:
    """Renders the star of a scenario: counts, what was to be expected, and the truth.

    The bytes are those of ``skewstar render``: same version, same binary, same class of processor, on any number of threads.

    Args:
        scenario: a path, a dict, or TOML text (a text with a line break). The keys are those of ``skewstar schema``.
        set: keys to change: ``{"state.sensor_offset_um": 420.0}``, or texts as ``--set`` has them.
        seed: of everything random, 0 to 2^53 - 1; needed for counts unless the scenario has one.
        bound: whether the truth is to hold the Cramér-Rao bound of the modes (``sigma_photon_nm``).
        portable: the same bytes on all processors, more slowly.

    Raises:
        Error: the scenario cannot be meant, has no seed, or does not fit in memory.

    A star of relative units, from a telescope that is given as a dict:

    >>> import skewstar
    >>> telescope = {"aperture_mm": 130, "focal_length_mm": 390, "obstruction": {"diameter_mm": 52}}
    >>> camera = {"pixel_um": 3.5, "width_px": 60, "height_px": 48, "passband_nm": [500, 560], "wavelengths": 2}
    >>> scenario = {"format": 1, "title": "a doughnut", "telescope": telescope, "camera": camera}
    >>> star = skewstar.render(scenario, {"state.sensor_offset_um": 300.0, "state.modes_nm.8": 50.0})
    >>> star.expected.shape, star.expected.dtype, star.counts
    ((48, 60), dtype('float64'), None)
    >>> star.truth["modes_nm"]["8"], star.truth["side"]
    (50.0, 'outside')

    What cannot be meant is refused with its key, its limits and the next step:

    >>> skewstar.render(scenario, {"telescope.obstruction.diameter_mm": 200})
    Traceback (most recent call last):
    skewstar._error.Error: <scenario>: --set telescope.obstruction.diameter_mm=200: telescope.obstruction.diameter_mm is 200, but must be smaller than telescope.aperture_mm (130)
    hint: it is the diameter of the central disc, usually 15 to 45 % of the aperture
    """
    counts, expected, truth = _native.render(_given.source(scenario, set, seed), bound, portable)
    return Rendered(counts, expected, _record(truth))


def measure(
    image: Image,
    instrument: Scenario,
    side: str | None = None,
    mask: str | bool | None = None,
    second: Image | None = None,
    response: Mapping[str, Any] | str | os.PathLike[str] | None = None,
    at: Iterable[float] | None = None,
    temperature: float | None = None,
    *,
    set: Set = {},
    whole_frame: bool = False,
    aim: str = "coma",
    portable: bool = False,
) -> dict[str, Any]:
    """Measures a star frame: aberrations with their uncertainty, geometry, and the one next step.

    Args:
        image: a path (FITS, TIFF, PNG, JPEG), or counts of shape (rows, columns), row 0 at the bottom, as the camera gave them. Pixels
            that hold no number (NaN, masked) are left out. An array says nothing of gain and exposure: they are the instrument's.
        instrument: a scenario as :func:`render` takes it, of which telescope, assembly, mask, camera and exposure are looked at; what
            is hidden in ``[state]``, ``[star]`` and ``[sky]`` is not.
        side: ``"inside"`` or ``"outside"`` of focus, where it is known.
        mask: ``"on"`` or ``"off"`` (or a bool); left out: on where the instrument has one.
        second: a second doughnut of the same telescope at another focus.
        response: what :func:`learn` gave, or its file.
        at: (column, row) of the star in pixels from the bottom left; left out: the brightest star.
        temperature: of the star's spectrum in kelvin, 1000 to 100000; left out: a flat spectrum.
        set: keys of the instrument to change.
        whole_frame: measure all stars of the frame instead of one: tilt of the focal plane, coma node.
        aim: what the screws are to put right: ``"coma"``, ``"tilt"`` (needs ``whole_frame``) or ``"both"``.
        portable: the same numbers on all processors, more slowly.

    Returns:
        The report of ``skewstar measure --json`` (``skewstar-measure/2``): ``verdict`` (``stop``, ``turn``, ``trial`` or ``look-again``),
        ``next`` (what to do), ``modes_nm`` (Noll index → ``value`` and ``sigma`` in nm RMS), ``sensor_offset_um``, ``orientations``,
        ``doughnut`` or ``spikes``, ``advice``, ``flags`` and more.

    Raises:
        Error: there is nothing to measure, or a file or a value cannot be used. A star that is measured badly is no error: the
            verdict is ``look-again``, and ``flags`` say why.

    Warns:
        UserWarning: what looked wrong in an image.
    """
    if whole_frame and (second is not None or at is not None):
        raise Error("whole_frame measures all stars of one frame, and second or at is given", "leave them out")
    if aim not in ("coma", "tilt", "both"):
        raise Error(f"aim is {aim!r}, but must be 'coma', 'tilt' or 'both'", "leave it out for coma")
    asked = _Asked(_given.place(at), _given.kelvin(temperature), whole_frame, aim)
    report, said = _native.measure(
        _given.image(image, "image"),
        _given.source(instrument, set, what="instrument"),
        _given.told(side, mask, portable),
        asked,
        None if second is None else _given.image(second, "second"),
        None if response is None else _response(response),
    )
    _say(said)
    return _record(report)


def learn(
    instrument: Scenario,
    trials: Iterable[Trial],
    side: str | None = None,
    mask: str | bool | None = None,
    *,
    set: Set = {},
    portable: bool = False,
) -> Response:
    """Learns what the screws of a telescope do to its star, and how the camera is held, from frames before and after trial turns.

    Args:
        instrument: a scenario as :func:`measure` takes it.
        trials: each ``(before, after, screw, turns)``: two images as :func:`measure` takes them, the screw's name, and its turns (a
            number, or a text such as ``"1/8"``; positive lengthens). Or a text as the program's ``--trial`` has it:
            ``"before.fits,after.fits,A=0.125"``. Two screws that are not opposite leave one answer.
        side: ``"inside"`` or ``"outside"`` of focus, where it is known.
        mask: ``"on"`` or ``"off"`` (or a bool); left out: on where the instrument has one.
        set: keys of the instrument to change.
        portable: the same numbers on all processors, more slowly.

    Returns:
        The record of ``skewstar learn --json``: ``coma_nm_per_arcmin``, ``image_shift_um_per_arcmin``, ``rotation_deg`` (each with
        ``value`` and ``sigma``), ``mirrored``, ``holds``, ``screws``, ``flags``. Its attribute ``toml`` is the text of the response file.

    Raises:
        Error: a star cannot be trusted, a turn is not seen, or trials contradict one another.

    Warns:
        UserWarning: a frame that cannot be used, whose trials are left out; what looked wrong in an image.
    """
    frames: list[Any] = []
    numbers: dict[Any, int] = {}

    def number_of(frame: Image) -> int:
        key = os.fspath(frame) if isinstance(frame, (str, os.PathLike)) else id(frame)
        if key not in numbers:
            numbers[key] = len(frames)
            frames.append(_given.image(frame, f"frame {len(frames)}"))
        return numbers[key]

    typed = []
    kept = []  # so that no two arrays have the same identity
    for trial in trials:
        before, after, screw, turns = _trial(trial)
        kept += [before, after]
        typed.append((number_of(before), number_of(after), screw, _given.turns_of(turns, f"the trial of screw {screw}")))
    told = _given.told(side, mask, portable)
    record, toml, said = _native.learn(_given.source(instrument, set, what="instrument"), frames, typed, told)
    _say(said)
    response = Response(_record(record))
    response.toml = toml
    return response


def check(scenario: Scenario, set: Set = {}, *, portable: bool = False) -> dict[str, Any]:
    """Says what follows from a scenario: scale, depth of focus, sampling, light, saturation.

    Args:
        scenario: as :func:`render` takes it.
        set: keys to change.
        portable: the same numbers on all processors, more slowly.

    Returns:
        The record of ``skewstar check --json``, such as ``focal_ratio``, ``scale_arcsec_per_px``, ``critical_focus_um``,
        ``light_in_frame``, ``saturates_after_s``; ``None`` for what the scenario does not say.

    Raises:
        Error: the scenario cannot be meant.
    """
    return _record(_native.check(_given.source(scenario, set), portable))


def mask_preview(scenario: Scenario, set: Set = {}, *, portable: bool = False) -> MaskPreview:
    """Looks at a mask before it is printed: what an eye, the photons and the atmosphere let it show.

    Turns, focus and aberrations of the scenario's state are left out.

    Args:
        scenario: as :func:`render` takes it, with a ``[mask]``.
        set: keys to change.
        portable: the same numbers on all processors, more slowly.

    Returns:
        The record of ``skewstar mask preview --json``; its attribute ``panels`` has the pictures.

    Raises:
        Error: the scenario cannot be meant, or has no mask.
    """
    record, panels = _native.mask_preview(_given.source(scenario, set), portable)
    preview = MaskPreview(_record(record))
    preview.panels = dict(panels)
    return preview


def field(scenario: Scenario, set: Set = {}, seed: int | None = None, *, portable: bool = False) -> Field:
    """Renders stars over the whole sensor.

    Args:
        scenario: as :func:`render` takes it, with a ``[field]`` that names the stars.
        set: keys to change.
        seed: of places, magnitudes and noise, 0 to 2^53 - 1; needed unless the scenario has one.
        portable: the same bytes on all processors, more slowly.

    Returns:
        The truth of ``skewstar field --json`` (``skewstar-field/1``): ``stars`` (each with ``star_px``, ``modes_nm`` and more),
        ``coma_node_px``, ``tilt_arcmin``, ``flags``. Its attribute ``counts`` is the frame, ``uint16`` of shape (rows, columns).

    Raises:
        Error: the scenario cannot be meant, or has no seed or no stars.
    """
    record, counts = _native.field(_given.source(scenario, set, seed), portable)
    found = Field(_record(record))
    found.counts = counts
    return found


@dataclass(frozen=True)
class _Asked:
    at: list[float] | None
    temperature: float | None
    whole_frame: bool
    aim: str


def _response(response: Mapping[str, Any] | str | os.PathLike[str]) -> _given.Text:
    if isinstance(response, Response):
        return _given.Text("<response>", response.toml)
    if isinstance(response, Mapping):
        raise Error("response is a dict that learn did not give", "give what skewstar.learn returned, or a .response.toml file")
    return _given.text_or_path(response, "response")


def _trial(trial: Trial) -> tuple[Image, Image, str, float | str]:
    hint = "for example (before, after, 'A', 0.125) or 'before.fits,after.fits,A=0.125'"
    if isinstance(trial, str):
        parts = [part.strip() for part in trial.split(",")]
        if len(parts) != 3 or "=" not in parts[2]:
            raise Error(f"the trial {trial!r} is not BEFORE,AFTER,SCREW=TURNS", hint)
        named, amount = parts[2].split("=", 1)
        return parts[0], parts[1], named.strip(), amount
    typed: tuple[Any, ...] = tuple(trial)
    if len(typed) != 4 or not isinstance(typed[2], str):
        raise Error(f"a trial has {len(typed)} parts, but must be (before, after, screw, turns)", hint)
    before, after, screw, turns = typed
    return before, after, screw, turns


def _record(text: str) -> dict[str, Any]:
    record: dict[str, Any] = json.loads(text)
    return record


def _say(said: list[str]) -> None:
    for words in said:
        warnings.warn(words, UserWarning, stacklevel=3)
