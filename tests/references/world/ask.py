"""Asks the program, and reads its reports of either format in one way."""

import json
import math
import os
import pathlib
import resource
import subprocess
import tempfile
import time
from dataclasses import dataclass

import numpy as np


@dataclass
class Asked:
    """How one run of the program ended."""

    status: int | None  # None where the processor time ran out
    report: dict | None  # the JSON of stdout
    message: str  # first line of stderr
    time_s: float  # by the clock
    processor_s: float  # on all cores together; a busy machine does not change it much
    memory_mib: float

    def costs(self):
        """The columns of a table that every run has."""
        return {
            "exit": self.status, "message": self.message, "time_s": round(self.time_s, 3),
            "processor_s": round(self.processor_s, 3), "memory_mib": round(self.memory_mib, 1),
        }  # fmt: skip


def measure(program, words, limit_s):
    """Run `measure WORDS --json`."""
    return run([program, "measure", *words, "--json", "--quiet"], limit_s)


def learn(program, known, trials, out, limit_s):
    """Run `learn` on (before, after, screw, turns) trials; returns how it ended and the response file, or None."""
    words = [f"{before},{after},{screw}={turns:.5f}" for before, after, screw, turns in trials]
    words = [word for trial in words for word in ("--trial", trial)]
    asked = run([program, "learn", *known, *words, "--out", str(out), "--force", "--json", "--quiet"], limit_s)
    written = sorted(pathlib.Path(out).glob("*.toml")) if asked.status == 0 else []
    return asked, written[0] if written else None


def run(command, limit_s):
    """Run a command to its end, or until it has used so much processor time: a busy machine must not change the answer."""
    begun, limit = time.perf_counter(), math.ceil(limit_s)
    with tempfile.TemporaryFile("w+") as out, tempfile.TemporaryFile("w+") as errors:
        process = subprocess.Popen(
            command, stdout=out, stderr=errors, stdin=subprocess.DEVNULL,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 1)),
        )  # fmt: skip
        _, wait_status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(wait_status)
        out.seek(0)
        errors.seek(0)
        text, said = out.read(), errors.read().strip().splitlines()
    processor_s, late = used.ru_utime + used.ru_stime, process.returncode < 0
    message = f"ended by signal {-process.returncode} after {processor_s:.0f} s" if late else said[0] if said else ""
    status = None if late else process.returncode
    return Asked(status, _json(text), message, time.perf_counter() - begun, processor_s, used.ru_maxrss / 1024)


def _json(text):
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        return None


class Report:
    """What a measure report of either format says, in one way."""

    def __init__(self, report):
        self.report = report
        self.newer = report["format"] == "skewstar-measure/2"
        advice = report.get("advice") or {}
        if self.newer:
            self.verdict = report["verdict"]
            self.next = report.get("next") or {}
            self.do = self.next.get("do")
        else:
            self.verdict = advice.get("verdict") if report.get("sound") and advice else "look-again"
            self.next, self.do = {}, None
        self._advice = advice

    def coma(self):
        """((Noll 8, Noll 7), sigma) in nm as the report has them, or None."""
        modes = self.report.get("modes_nm") or {}
        if not all(modes.get(noll) and modes[noll].get("value") is not None for noll in ("8", "7")):
            return None
        values = np.array([modes[noll]["value"] for noll in ("8", "7")])
        sigmas = [modes[noll].get("sigma") or 0.0 for noll in ("8", "7")]
        return values, float(max(sigmas))

    def camera(self, typed):
        """How the camera is held in the pupil axes of the modes: the heaviest orientation, or as typed where there is none."""
        known = self.report.get("orientations") or [typed]
        return {key: known[0][key] for key in ("rotation_deg", "mirrored")}

    def step(self):
        """{screw: turns} that the report wants done next, positive lengthens; empty where nothing is to be turned."""
        if self.newer:
            if self.next.get("do") in ("turn", "trial"):
                return {self.next["screw"]: self.next["turns"]}
            if self.verdict not in ("turn", "trial"):
                return {}
        if self.verdict not in ("turn", "trial"):
            return {}
        one = self._advice.get("one_screw")
        if one and one.get("screw"):
            return {one["screw"]: one["turns"]}
        return {name: turns for name, turns in (self._advice.get("turns") or {}).items() if turns}

    def stop_nm(self):
        """The coma below which the program says stop, or None."""
        stop = self.report.get("stop_nm")
        return stop.get("stop") if isinstance(stop, dict) else stop
