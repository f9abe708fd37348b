#!/usr/bin/env python3
"""Makes the reference arrays afresh, or checks the committed ones against a fresh run.

    generate.py --out DIR    write every reference into DIR (created if missing, files replaced)
    generate.py --check      compare a fresh run with data/ beside this script

Exit status 0 done, 1 something differs or misses its own accuracy, 2 could not run (a library missing or of another
version than requirements.txt pins). Nothing is ever skipped.
"""

import argparse
import datetime
import importlib.metadata
import json
import math
import pathlib
import platform
import sys

HERE = pathlib.Path(__file__).resolve().parent
COMMITTED = HERE / "data"
ARRAY_TOLERANCE = 1e-9  # relative L2
NUMBER_TOLERANCE = 1e-9  # relative and absolute, for numbers in the JSON files
ACCURACY_TOLERANCE = 0.05  # relative, for measured differences: they are differences of nearly equal arrays
ACCURACY_FLOOR = 1e-12  # and below this they are rounding noise
TRACED_TOLERANCE = 1e-4  # absolute, in nm, um and mm, for traced stars: paths of metres leave that much rounding, which differs between processors
CHECKING_TOLERANCE = 1e-4  # relative, for what the checking tracer finds of surfaces: it ends its own search of a surface early
NAMED_LIBRARIES = ("numpy", "scipy", "hcipy", "prysm", "GalSim")


def main():
    """Parse, see that the libraries are the pinned ones, then write or compare."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    task = parser.add_mutually_exclusive_group(required=True)
    task.add_argument("--out", type=pathlib.Path, metavar="DIR", help="write every reference into DIR")
    task.add_argument("--check", action="store_true", help="compare a fresh run with the committed references")
    arguments = parser.parse_args()

    unmet = unmet_requirements()
    if unmet:
        fail(2, unmet, f"make an environment with: tests/references/setup.sh DIR")
    faults = references_check() if arguments.check else references_write(arguments.out)
    if faults:
        fail(1, faults, "README.md beside this script says what each figure means")


def unmet_requirements():
    """Pinned packages that are missing or of another version."""
    unmet = []
    for line in (HERE / "requirements.txt").read_text().splitlines():
        name, _, wanted = line.partition("#")[0].strip().partition("==")
        if not name:
            continue
        try:
            found = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found = "not installed"
        if found != wanted:
            unmet.append(f"{name}: {found}, wanted {wanted}")
    return unmet


def references_write(directory):
    """Write every record; returns the faults."""
    directory.mkdir(parents=True, exist_ok=True)
    return [fault for record in fresh_records() for fault in write(record, directory)]


def write(record, directory):
    """Write one record and return its faults."""
    import numpy as np

    if record.image is not None:
        np.save(directory / f"{record.name}.npy", record.image)
    (directory / f"{record.name}.json").write_text(json.dumps(record.content, indent=1) + "\n")
    report(record)
    return record.faults


def references_check():
    """Compare every record with the committed one; returns the faults."""
    faults, expected = [], set()
    for record in fresh_records():
        expected.add(f"{record.name}.json")
        faults += record.faults + content_faults(record)
        if record.image is not None:
            expected.add(f"{record.name}.npy")
            faults += image_faults(record)
        report(record)
    present = {path.name for path in COMMITTED.iterdir()} if COMMITTED.is_dir() else set()
    return faults + [f"{COMMITTED.name}/{name}: nothing makes this file" for name in sorted(present - expected)]


def fresh_records():
    """The records with their provenance, after the libraries' signs and the mask's outline have been asked."""
    import cases
    import mask_twin
    import signs

    broken = signs.faults() + mask_twin.faults()
    if broken:
        fail(1, broken, "a sign, an axis or the mask's outline has changed; nothing was made")
    print("signs and axes of hcipy and prysm, outline of the mask: as expected", flush=True)
    for record in cases.made():
        record.content = {"format": "skewstar-reference/1", "name": record.name, **record.content, **provenance()}
        yield record


def provenance():
    """Versions, date and platform of this run."""
    return {
        "versions": {name: importlib.metadata.version(name) for name in NAMED_LIBRARIES},
        "made": {
            "date": datetime.date.today().isoformat(),
            "python": platform.python_version(),
            "machine": platform.machine(),
            "generator": "tests/references/generate.py",
        },
    }


def image_faults(record):
    """How the committed image differs from the fresh one."""
    import numpy as np
    from cases import relative_l2

    path = COMMITTED / f"{record.name}.npy"
    if not path.is_file():
        return [f"{path.name}: missing"]
    committed = np.load(path, allow_pickle=False)
    if committed.shape != record.image.shape or committed.dtype != np.float64:
        return [f"{path.name}: {committed.dtype} {committed.shape}, fresh float64 {record.image.shape}"]
    difference = relative_l2(committed, record.image)
    if not difference <= ARRAY_TOLERANCE:
        return [f"{path.name}: relative L2 difference {difference:.1e}, allowed {ARRAY_TOLERANCE:.0e}"]
    return []


def content_faults(record):
    """How the committed JSON differs from the fresh one, `made` aside."""
    path = COMMITTED / f"{record.name}.json"
    if not path.is_file():
        return [f"{path.name}: missing"]
    committed, fresh = json.loads(path.read_text()), json.loads(json.dumps(record.content))
    committed.pop("made", None)
    fresh.pop("made")
    return [f"{path.name}: {fault}" for fault in differences(committed, fresh, "")]


def differences(committed, fresh, where):
    """Every place where two JSON values differ."""
    if isinstance(fresh, dict) and isinstance(committed, dict):
        found = [f"{where}.{key} is in one only" for key in committed.keys() ^ fresh.keys()]
        for key in committed.keys() & fresh.keys():
            found += differences(committed[key], fresh[key], f"{where}.{key}")
        return sorted(found)
    if isinstance(fresh, list) and isinstance(committed, list) and len(fresh) == len(committed):
        pairs = enumerate(zip(committed, fresh))
        return [text for index, pair in pairs for text in differences(*pair, f"{where}[{index}]")]
    return [] if same_value(committed, fresh, where) else [f"{where} is {committed}, fresh {fresh}"]


def same_value(committed, fresh, where):
    """Equality, with room for rounding in floating-point numbers."""
    if not (isinstance(committed, float) and isinstance(fresh, float)):
        return type(committed) is type(fresh) and committed == fresh
    if where.startswith(".accuracy") and where.endswith("_nm"):
        return math.isclose(committed, fresh, rel_tol=ACCURACY_TOLERANCE, abs_tol=TRACED_TOLERANCE)
    if where.startswith(".accuracy"):
        return math.isclose(committed, fresh, rel_tol=ACCURACY_TOLERANCE, abs_tol=ACCURACY_FLOOR)
    if where.startswith(".cases") and ".optiland." in where:
        return math.isclose(committed, fresh, rel_tol=CHECKING_TOLERANCE, abs_tol=TRACED_TOLERANCE)
    if where.startswith(".cases"):
        return math.isclose(committed, fresh, rel_tol=NUMBER_TOLERANCE, abs_tol=TRACED_TOLERANCE)
    return math.isclose(committed, fresh, rel_tol=NUMBER_TOLERANCE, abs_tol=NUMBER_TOLERANCE)


def report(record):
    """One line to stdout: the measured figures."""
    accuracy = record.content["accuracy"]
    figures = accuracy.get("largest_differences", accuracy)
    words = [f"{name} {value:.1e}" for name, value in figures.items() if isinstance(value, float)]
    print(f"{record.name}: " + ", ".join(words), flush=True)


def fail(status, faults, hint):
    """Say what is wrong and what to do, and stop."""
    for fault in faults:
        print(f"error: {fault}", file=sys.stderr)
    print(f"hint: {hint}", file=sys.stderr)
    sys.exit(status)


if __name__ == "__main__":
    main()
