"""Deliberate mistakes: which ones does no test catch?

One copy of the repository holds every mistake behind a switch that an environment variable turns on, so that it is built once
and each mistake costs only the tests that come by it. See "Deliberate mistakes" in DEVELOPERS.md.
"""
import argparse
import json
import shutil
import subprocess
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path

from areas import AREAS, area_of
from choice import Wrong, drawing_order, named, shares
from schemata import Copy
from trial import Trial

TOP = Path(__file__).resolve().parent.parent.parent
NAMED = TOP / ".ci/mutants.toml"
REASONS = TOP / ".ci/mutants-reasons.toml"
WHOLE_COUNT = 300
# Builds that may fail before the command gives up; each takes the mistakes out that do not compile.
ROUNDS = 12


def arguments():
    drawn = [area.name for area in AREAS if area.drawn]
    parser = argparse.ArgumentParser(prog=".ci/mutants", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", choices=drawn, metavar="AREA", help=f"draw from one area only: {', '.join(drawn)}")
    parser.add_argument("--count", type=int, default=WHOLE_COUNT, help="how many are drawn (default %(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="seed of the draw (default %(default)s)")
    parser.add_argument("--jobs", type=int, default=2, help="mistakes made at once (default %(default)s)")
    parser.add_argument("--list", action="store_true", help="show what would be made, and build nothing")
    parser.add_argument("--keep", action="store_true", help="leave the copy where it is: target/mutants/tree")
    parser.add_argument("--out", type=Path, help="the report (default benches/mutants.json; target/mutants/part.json for a part)")
    return parser.parse_args()


def reasons():
    """Why a survivor may survive, by file and line as it is and as the mistake makes it."""
    found = {}
    table = tomllib.loads(REASONS.read_text()) if REASONS.is_file() else {}
    for entry in table.get("survivor", []):
        if set(entry) != {"file", "before", "after", "reason"} or not entry["reason"].strip():
            raise Wrong(f"{REASONS.name}: {entry} needs file, before, after and reason, and nothing else")
        found[entry["file"], entry["before"], entry["after"]] = entry["reason"]
    return found


class Draw:
    """The mistakes that are made; one that does not compile makes room for the next in its area's order."""

    def __init__(self, options):
        named_ones = named(TOP, NAMED)
        self.orders = drawing_order(TOP, options.seed, options.only, {mistake.key for mistake in named_ones})
        self.places = {name: len(order) for name, order in self.orders.items()}
        self.waiting = {name: iter(order) for name, order in self.orders.items()}
        self.made = [] if options.only else named_ones
        for name, share in shares(self.orders, options.count).items():
            self.made += [mistake for mistake, _ in zip(self.waiting[name], range(share))]
        self.next_number = 1
        self.dropped = []
        self.number()

    def number(self):
        for mistake in self.made:
            if mistake.number == 0:
                mistake.number, self.next_number = self.next_number, self.next_number + 1

    def replace(self, broken):
        for mistake in sorted(broken, key=lambda m: m.number):
            if mistake.name:
                raise Wrong(f"{NAMED.name}: {mistake.name!r} does not compile\nhint: `replace` has to give the same types")
            self.made.remove(mistake)
            self.dropped.append(mistake)
            after = next(self.waiting[area_of(mistake.file).name], None)
            self.made += [after] if after else []
        self.number()


def built(copy, draw):
    """Programs that hold all mistakes; those that do not compile are replaced."""
    copy.borrow_dependencies()
    for _ in range(ROUNDS):
        copy.write(draw.made)
        say(f"building {len(draw.made)} mistakes, {len(draw.dropped)} did not compile")
        programs, broken = copy.build()
        if programs:
            return programs
        draw.replace(broken)
    raise RuntimeError(f"after {ROUNDS} builds there are still mistakes that do not compile")


def said(*command):
    return subprocess.run(command, cwd=TOP, capture_output=True, text=True).stdout.strip()


def processor():
    lines = Path("/proc/cpuinfo").read_text().splitlines()
    return next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), "unknown")


def report(options, draw, trial, outcomes):
    """What is committed."""
    known = reasons()
    counts = {}
    for outcome in outcomes:
        mistake = outcome.mistake
        own = counts.setdefault("named" if mistake.name else area_of(mistake.file).name, Counter())
        own["made"] += 1
        own[{None: "survived", "time": "caught by time"}.get(outcome.caught_by, "caught by a test")] += 1
    for name, places in draw.places.items():
        counts.setdefault(name, Counter())["places"] = places
    survivors = [o for o in outcomes if o.caught_by is None]
    return {
        "what": "deliberate mistakes, see DEVELOPERS.md; written by .ci/mutants",
        "commit": said("git", "rev-parse", "HEAD"),
        "changed_since": bool(said("git", "status", "--porcelain", "--", "src", "tests", "benches/measuring", ".ci", "Cargo.toml")),
        "processor": processor(),
        "options": {"seed": options.seed, "count": options.count, "only": options.only},
        "counts": {name: dict(sorted(c.items())) for name, c in sorted(counts.items())},
        "did_not_compile": len(draw.dropped),
        "tests_left_out": trial.left_out,
        "named": {o.mistake.name: o.caught_by for o in outcomes if o.mistake.name},
        "survivors": [
            {"place": f"{o.mistake.file}:{o.mistake.line}", "operator": o.mistake.operator, "before": o.mistake.before,
             "after": o.mistake.after, "tests_that_come_by": o.tests, "reason": known.get(o.mistake.key, "")}
            for o in sorted(survivors, key=lambda o: (o.mistake.file, o.mistake.edit))
        ],
    }


def say(text):
    print(f"[{time.strftime('%H:%M:%S')}] {text}", flush=True)


def main():
    options = arguments()
    draw = Draw(options)
    if options.list:
        for m in sorted(draw.made, key=lambda m: (m.file, m.edit)):
            print(f"{m.file}:{m.line}: {m.name or m.operator}\n    - {m.before}\n    + {m.after}")
        print({name: f"{sum(1 for m in draw.made if not m.name and area_of(m.file).name == name)} of {places}"
               for name, places in draw.places.items()})
        return 0
    copy = Copy(TOP)
    trial = Trial(copy, built(copy, draw), options.jobs)
    say("tests without any mistake")
    trial.without_mistakes(draw.made)
    say(f"{len(trial.known)} tests pass, {len(draw.made)} mistakes are made now")
    done = Counter()

    def tell(outcome):
        done["all"] += 1
        if outcome.caught_by is None:
            m = outcome.mistake
            say(f"{done['all']}/{len(draw.made)} {m.file}:{m.line} ({m.name or m.operator}) survives {outcome.tests or 'no'} tests that come by\n"
                f"    - {m.before}\n    + {m.after}")

    outcomes = trial.make_all(draw.made, tell)
    found = report(options, draw, trial, outcomes)
    whole = options.only is None and options.count == WHOLE_COUNT
    path = options.out or TOP / ("benches/mutants.json" if whole else "target/mutants/part.json")
    path.write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n")
    shutil.rmtree(trial.scratch, ignore_errors=True)
    if not options.keep:
        shutil.rmtree(copy.tree)
    unnamed = [s for s in found["survivors"] if not s["reason"] and s["operator"] != "named"]
    survived = [name for name, test in found["named"].items() if test is None]
    say(f"{path}: {json.dumps(found['counts'])}")
    for name in survived:
        print(f"error: the named mistake {name!r} is caught by no test")
    if unnamed:
        print(f"error: {len(unnamed)} drawn mistakes are caught by no test and have no reason\n"
              f"hint: write a test that fails with them, or say in {REASONS.name} why none can")
    return 1 if survived or unnamed else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except (Wrong, RuntimeError) as error:
        sys.exit(f"error: {error}")
