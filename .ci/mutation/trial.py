"""Runs the tests that answer for a mistake with its switch on, until one of them fails."""
import math
import os
import re
import signal
import subprocess
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from areas import LONGEST_TEST_S, NOT_COUNTED, area_of

# Memory that a test may ask for: a mistake may well ask for a frame a million times as large.
MEMORY_BYTES = 8 << 30
# Tests that take less than this together are run by one call.
BATCH_S = 3.0
FAILED = re.compile(r"^test (\S+) .*\.\.\. FAILED$", re.MULTILINE)


@dataclass
class Test:
    """A test, what it takes without any mistake, and which mistakes it comes by."""

    program: str
    name: str
    seconds: float = 0.0
    reached: set = field(default_factory=set)


@dataclass
class Outcome:
    """What became of a mistake."""

    mistake: object
    # Name of the test that failed; "time" where the tests did not end; `None` for a survivor.
    caught_by: str | None
    tests: int


class Trial:
    """The built programs, and the runs."""

    def __init__(self, copy, programs, jobs):
        self.copy, self.programs, self.jobs = copy, programs, jobs
        self.scratch = copy.tree.parent / "scratch"
        self.scratch.mkdir(exist_ok=True)
        self.left_out = []
        self.names = {program: self.listed(program) for program in programs}

    def tests_of(self, area):
        """Names of the tests that answer for an area, unit tests first."""
        for program, starts in (("lib", area.unit), ("main", area.main)):
            for name in self.names[program]:
                if name.startswith(tuple(starts)) and not name.startswith(tuple(NOT_COUNTED)):
                    yield program, name

    def listed(self, program):
        done = subprocess.run([self.programs[program], "--list", "--format=terse"], cwd=self.copy.tree, capture_output=True,
                              text=True, check=True)
        return [line.removesuffix(": test") for line in done.stdout.splitlines() if line.endswith(": test")]

    def call(self, program, names, number, limit_s, reached=None):
        """Exit status (`None` when time was up), output and processor time of some tests with a mistake made. The limit is one of
        processor time, so that a busy machine catches no more than a quiet one; who waits without working has longer."""
        env = {**os.environ, "SKEWSTAR_MUTANT": str(number), "RAYON_NUM_THREADS": "1", "RUST_BACKTRACE": "0",
               "CARGO_MANIFEST_DIR": str(self.copy.tree), "TMPDIR": str(self.scratch), "PROPTEST_RNG_SEED": "1",
               "PROPTEST_MAX_SHRINK_ITERS": "0", "PROPTEST_DISABLE_FAILURE_PERSISTENCE": "1"}
        env.pop("SKEWSTAR_REWRITE", None)
        env.pop("UPDATE_RENDERS", None)
        if reached is not None:
            env["SKEWSTAR_MUTANTS_REACHED"] = str(reached)
        # at the first number the program is told, by a signal of its own; at the second it is ended
        limits = [f"--cpu={math.ceil(limit_s)}:{math.ceil(limit_s) + 5}", f"--as={MEMORY_BYTES}"]
        command = ["prlimit", *limits, str(self.programs[program]), "--exact", "--test-threads=1", *names]
        child = subprocess.Popen(command, cwd=self.copy.tree, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                                 start_new_session=True)
        late, ended = threading.Event(), threading.Event()

        def watch():
            # steps are counted, not the clock read: somebody may put the whole run to sleep for an hour
            for _ in range(60 + math.ceil(6.0 * limit_s)):
                if ended.wait(5.0):
                    return
            late.set()
            os.killpg(child.pid, signal.SIGKILL)

        watcher = threading.Thread(target=watch)
        watcher.start()
        output = child.stdout.read().decode(errors="replace")
        ended.set()
        watcher.join()
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        late = late.is_set() or child.returncode == -signal.SIGXCPU
        return None if late else child.returncode, output, usage.ru_utime + usage.ru_stime

    def without_mistakes(self, mistakes):
        """Every test that answers for one of the mistakes, once by itself. They must pass; what they come by is noted."""
        areas = {area.name: area for area in (area_of(m.file) for m in mistakes)}
        wanted = list(dict.fromkeys(test for area in areas.values() for test in self.tests_of(area)))

        def one(test):
            program, name = test
            path = self.scratch / f"reached-{threading.get_ident()}"
            path.unlink(missing_ok=True)
            status, output, seconds = self.call(program, [name], 0, LONGEST_TEST_S, path)
            reached = set(map(int, path.read_text().split())) if path.is_file() else set()
            return Test(program, name, max(seconds, 0.02), reached), status, output

        with ThreadPoolExecutor(self.jobs) as pool:
            done = list(pool.map(one, wanted))
        long = lambda test, status: status is None or test.seconds > LONGEST_TEST_S
        failed = [f"{test.name}\n{output[-2000:]}" for test, status, output in done if status != 0 and not long(test, status)]
        if failed:
            raise RuntimeError("tests that fail without any mistake:\n" + "\n".join(failed[:3]))
        self.left_out = sorted(test.name for test, status, _ in done if long(test, status))
        self.known = {(test.program, test.name): test for test, status, _ in done if not long(test, status)}

    def batches(self, mistake):
        """The tests that come by a mistake, in lists to be called together: unit tests first, the quick ones first."""
        own = [self.known[test] for test in self.tests_of(area_of(mistake.file)) if test in self.known]
        reaching = [test for test in own if mistake.number in test.reached]
        batch, held = [], 0.0
        for test in sorted(reaching, key=lambda t: (t.program != "lib", t.seconds, t.name)):
            if batch and (batch[0].program != test.program or held + test.seconds > BATCH_S):
                yield batch
                batch, held = [], 0.0
            batch.append(test)
            held += test.seconds
        if batch:
            yield batch

    def make(self, mistake):
        """Makes one mistake."""
        tests = 0
        for batch in self.batches(mistake):
            tests += len(batch)
            limit_s = 10.0 + 10.0 * sum(test.seconds for test in batch)
            status, output, _ = self.call(batch[0].program, [test.name for test in batch], mistake.number, limit_s)
            if status is None:
                return Outcome(mistake, "time", tests)
            if status != 0:
                failed = FAILED.findall(output)
                return Outcome(mistake, failed[0] if failed else f"exit status {status}", tests)
        return Outcome(mistake, None, tests)

    def make_all(self, mistakes, tell):
        """Makes one mistake after another, as many at once as there are jobs."""
        def one(mistake):
            outcome = self.make(mistake)
            tell(outcome)
            return outcome

        with ThreadPoolExecutor(self.jobs) as pool:
            return list(pool.map(one, mistakes))
