"""The simulator's commands; `python -m world COMMAND --help` in `tests/references`."""

import os

for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")  # before numpy is imported: one core for each process

import argparse
import pathlib
import sys


def main():
    """Parse and hand over; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m world", description="An independent simulator of star frames.")
    commands = parser.add_subparsers(required=True)
    _make_command(commands.add_parser("make", help="draw worlds from seeds and write frames, scenarios and truth"))
    _check_command(commands.add_parser("check", help="the simulator against laws and other libraries"))
    _judge_command(commands.add_parser("judge", help="ask a program about the frames of a folder, and judge its answers"))
    _loop_command(commands.add_parser("loop", help="closed loops: the program advises, a hand turns"))
    _nights_command(commands.add_parser("nights", help="whole nights through a camera's folder and `night watch`"))
    _reach_command(commands.add_parser("reach", help="closed loops by somebody who knows all but chance: what can be reached"))
    _corners_command(commands.add_parser("corners", help="whole fields with trouble in the corners: how a program names it"))
    arguments = parser.parse_args()
    return arguments.run(arguments)


def _make_command(parser):
    from .draw import SUITES

    parser.add_argument("--suite", choices=SUITES, required=True)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--start", type=int, default=0, help="number of the first world (default 0)")
    parser.add_argument("--out", type=pathlib.Path, required=True, metavar="DIR")
    parser.add_argument("--orientation-key", choices=("known", "assumed", "honest"),
                        help="write camera.orientation; honest: known where it is typed right")
    parser.add_argument("--kind-key", action="store_true", help="write assembly.kind")
    parser.add_argument("--trials", action="store_true", help="also a frame after each of two trial turns")
    parser.add_argument("--pictures", action="store_true", help="also a picture of each frame, for human eyes")
    parser.set_defaults(run=_make)


def _make(arguments):
    from . import make

    numbers = range(arguments.start, arguments.start + arguments.count)
    seconds = make.make(
        arguments.suite, numbers, arguments.out, arguments.orientation_key, arguments.kind_key, arguments.trials,
        arguments.pictures,
    )  # fmt: skip
    print(f"{len(seconds)} worlds, {sum(seconds) / max(len(seconds), 1):.2f} s each")
    return 0


def _check_command(parser):
    parser.set_defaults(run=_check)


def _check(_):
    from . import check

    return check.report()


def _judge_command(parser):
    parser.add_argument("folder", type=pathlib.Path, help="what `make` wrote")
    parser.add_argument("--program", required=True, help="path of the program")
    parser.add_argument("--table", type=pathlib.Path, required=True, metavar="STEM", help="writes STEM.csv and STEM.json")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--second", action="store_true", help="hand over the second frame where there is one")
    parser.add_argument("--learn", action="store_true", help="let it learn from the trial frames, then measure the last")
    parser.add_argument("--limit-s", type=float, default=120.0, help="processor time for a frame (default 120)")
    parser.add_argument("--none-wrong", action="store_true", help="exit status 1 where an answer is sure and wrong")
    parser.set_defaults(run=_judge)


def _judge(arguments):
    from . import judge

    how = judge.How(arguments.program, arguments.second, arguments.learn, arguments.limit_s)
    wrong = judge.judge_folder(arguments.folder, how, arguments.table, arguments.jobs)
    return 1 if wrong and arguments.none_wrong else 0


def _loop_command(parser):
    parser.add_argument("--program", required=True, help="path of the program")
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--rounds", type=int, default=8)
    parser.add_argument("--by", choices=("measure", "learn", "night"), default="measure")
    parser.add_argument("--cards", action="store_true", help="hold a card over the rim at two screws before the first turn")
    parser.add_argument("--typed", choices=("unknown", "right"), default="unknown", help="what is typed about the camera")
    parser.add_argument("--orientation-key", choices=("known", "assumed"), help="write camera.orientation")
    parser.add_argument("--kind-key", action="store_true", help="write assembly.kind")
    parser.add_argument("--table", type=pathlib.Path, required=True, metavar="STEM", help="writes STEM.csv and STEM.json")
    parser.add_argument("--jobs", type=int, default=1)
    parser.set_defaults(run=_loop)


def _loop(arguments):
    from . import loop

    return loop.report(arguments)


def _nights_command(parser):
    parser.add_argument("--program", required=True, help="path of the program")
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--cards", action="store_true", help="hold the card that the first trial's words offer")
    parser.add_argument("--from-frame", action="store_true", help="the instrument file is made by `new --from` the first frame")
    parser.add_argument("--table", type=pathlib.Path, required=True, metavar="STEM", help="writes STEM.csv and STEM.json")
    parser.add_argument("--at-least", type=float, default=0.0, help="exit status 1 where a smaller share of nights is good")
    parser.set_defaults(run=_nights)


def _nights(arguments):
    from . import nights

    return nights.report(arguments)


def _reach_command(parser):
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--start", type=int, default=0)
    parser.set_defaults(run=_reach)


def _reach(arguments):
    from . import reach

    return reach.report(arguments)


def _corners_command(parser):
    parser.add_argument("--program", required=True, help="path of the program")
    parser.add_argument("--count", type=int, required=True, help="fields of each kind")
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--kind", help="only this kind, such as 'sensor_tilt unit_tilt' (default: every kind)")
    parser.add_argument("--telescope", choices=("corrected", "bare"), default="corrected")
    parser.add_argument("--turned", action="store_true", help="also a second frame with the camera turned half round")
    parser.add_argument("--table", type=pathlib.Path, required=True, metavar="STEM", help="writes STEM.csv")
    parser.add_argument("--jobs", type=int, default=1)
    parser.set_defaults(run=_corners)


def _corners(arguments):
    from . import corners

    return corners.report(arguments)


if __name__ == "__main__":
    sys.exit(main())
