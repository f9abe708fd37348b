"""Physical optics of a misaligned star: frames with exact truth, and back to the screw that is to be turned.

=====================  =====================================================================
:func:`render`         a star frame: counts, expected electrons, truth
:func:`measure`        a frame and an instrument: aberrations, uncertainty, the next step
:func:`learn`          frames before and after trial turns: the telescope's own response
:func:`check`          what follows from a scenario: scale, focus, light, saturation
:func:`mask_preview`   what a slotted mask shows before it is printed
:func:`field`          stars over the whole sensor
:class:`Dataset`       sets of frames with their truth, for training and for testing code
:class:`Error`         what could not be done, with the next step
=====================  =====================================================================

Conventions, everywhere the same. Arrays are (rows, columns), row 0 at the bottom, +x right and +y up; with ``matplotlib`` show them with
``origin="lower"``. Places are (column, row) in pixels, pixel (0, 0) has its centre at (0, 0). Units are in the names: ``_nm`` (RMS where
it is a mode), ``_um``, ``_px``, ``_arcmin``, ``turns``. Modes are Zernikes by their Noll index over the full aperture. A positive
``sensor_offset_um`` means that the sensor sits beyond focus; a positive turn lengthens a screw.

A scenario is a path, a dict, or TOML text (a text with a line break). Work is done without the interpreter's lock, on as many threads as
the machine has (``RAYON_NUM_THREADS`` sets another number), and Ctrl-C stops the waiting at once.
"""

from ._dataset import Dataset
from ._error import Error
from ._native import __version__
from ._verbs import Field, MaskPreview, Rendered, Response, check, field, learn, mask_preview, measure, render

__all__ = [
    "Dataset",
    "Error",
    "Field",
    "MaskPreview",
    "Rendered",
    "Response",
    "__version__",
    "check",
    "field",
    "learn",
    "mask_preview",
    "measure",
    "render",
]
