"""What mistakes are drawn from, and which tests have to catch them. This is the list to edit when modules or tests move."""
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Area:
    """A part of `src` and the tests that answer for it."""

    name: str
    # Beginnings of paths: "src/preview/" is a folder, "src/measure/advice" is advice.rs and, if there is one, advice/.
    files: list[str]
    # Beginnings of names of unit tests (`cargo test --lib`), run first.
    unit: list[str]
    # Beginnings of names of integration tests (`cargo test --test main`), run after them.
    main: list[str] = field(default_factory=list)
    # Whether mistakes are drawn here; the others are there for the named ones of `.ci/mutants.toml`.
    drawn: bool = True


AREAS = [
    Area("mechanics", ["src/mechanics/"], ["mechanics::"],
         ["conventions::", "prescriptions::", "published::screws::", "published::prescriptions::", "published::coma::", "field::",
          "laws::"]),
    Area("advice", ["src/measure/advice"], ["measure::"],
         ["advice::", "core::", "measuring::verb::", "cli::learning::", "conventions::"]),
    Area("words", ["src/measure/words", "src/measure/hands", "src/measure/next", "src/measure/step", "src/measure/follows",
                   "src/measure/trial"], ["measure::"],
         ["advice::", "core::", "measuring::verb::", "cli::learning::", "conventions::"]),
    Area("good_enough", ["src/measure/good_enough"], ["measure::"],
         ["measuring::verb::"]),
    Area("orientation", ["src/measure/orientation"], ["measure::"],
         ["orientation::", "conventions::"], drawn=False),
    Area("preview", ["src/preview/"], ["preview::"],
         ["mask_files::", "masked::", "core::"]),
    Area("sensor", ["src/sensor/"], ["sensor::", "predict::", "simulate::"],
         ["camera::", "published::photons::", "bound::", "laws::"]),
    Area("validate", ["src/scenario/validate/"], ["scenario::"],
         ["scenarios::", "made_in_code::", "mask_files::", "prescriptions::", "published::prescriptions::", "field::"]),
    Area("mask", ["src/mask/"], ["mask::", "preview::"],
         ["masked::", "mask_files::", "published::masks::"], drawn=False),
    Area("predict", ["src/predict/"], ["predict::"],
         ["camera::", "published::photons::", "published::energy::", "bound::", "field::", "laws::"], drawn=False),
    Area("fit", ["src/measure/fit"], ["measure::"],
         ["measuring::", "measuring_libraries::"], drawn=False),
    Area("wavefront", ["src/wavefront/"], ["wavefront::", "propagation::"],
         ["twins::", "published::energy::", "published::fast_beams::", "published::defocus::", "conventions::"], drawn=False),
]

# Tests that do not count: those that compare with pictures this program drew itself (a golden picture shows that something
# changed, not that it is wrong), the ones that read the text of `src` (the copy's text is not the program's), and the ones that
# look at the clock (two mistakes are made at once, and a busy machine catches nothing).
NOT_COUNTED = [
    "renders::", "masked::picture::", "readme::", "architecture::", "cli::stopping::", "cli::refusals::",
    "scenarios::hostile_texts_are_refused_in_no_time",
    "mask_files::drawings::drawings_that_cannot_be_meant_are_refused_within_seconds",
]

# A test that takes longer than this without a mistake is left out, and said so.
LONGEST_TEST_S = 40.0

# Names that stand for opposite things and have the same types.
OPPOSITES = [
    ("forward", "backward"), ("to_local", "to_global"), ("min", "max"), ("floor", "ceil"), ("sin", "cos"), ("first", "last"),
    ("any", "all"), ("is_some", "is_none"), ("is_ok", "is_err"), ("is_some_and", "is_none_or"),
]


def area_of(path):
    """The area a file belongs to; `None` where no tests are named for it."""
    fitting = [(len(start), area) for area in AREAS for start in area.files if path.startswith(start)]
    return max(fitting, key=lambda pair: pair[0])[1] if fitting else None
