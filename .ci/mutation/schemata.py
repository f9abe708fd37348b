"""The copy of the repository in which every mistake stands behind a switch, and its programs."""
import json
import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

SWITCH = '''//! Made by `.ci/mutants`: which deliberate mistake is made in this process, and which ones it comes by.

use std::io::Write;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

/// Whether the mistake of this number is made: the environment variable SKEWSTAR_MUTANT says so. Where
/// SKEWSTAR_MUTANTS_REACHED names a file, the number is written there the first time that somebody asks.
pub fn on(number: u32) -> bool {
    static CHOSEN: OnceLock<u32> = OnceLock::new();
    static REACHED: OnceLock<Option<std::path::PathBuf>> = OnceLock::new();
    static SEEN: [AtomicBool; COUNT] = [const { AtomicBool::new(false) }; COUNT];
    let reached = REACHED.get_or_init(|| std::env::var_os("SKEWSTAR_MUTANTS_REACHED").map(Into::into));
    if let Some(path) = reached
        && !SEEN[number as usize].swap(true, Ordering::Relaxed)
    {
        let file = std::fs::OpenOptions::new().create(true).append(true).open(path);
        file.and_then(|mut file| file.write_all(format!("{number}\\n").as_bytes())).expect("the list of what is reached");
    }
    let chosen = || std::env::var("SKEWSTAR_MUTANT").ok().and_then(|text| text.parse().ok());
    *CHOSEN.get_or_init(|| chosen().unwrap_or(0)) == number
}

const COUNT: usize = @COUNT@;
'''


@dataclass
class Spot:
    """Where a mistake came to stand in a file of the copy: its switch as a whole, and what is done when it is on."""

    mistake: object
    whole: tuple[int, int]
    changed: tuple[int, int]


def rendered(text, mistakes):
    """The text of a file with all its mistakes behind switches, and where they stand."""
    spots = []
    out = bytearray()

    def write(start, end, inside):
        """Copies a stretch of the text; `inside` are the mistakes whose switches lie in it."""
        at = start
        while inside:
            inside.sort(key=lambda m: (m.wrap[0], -m.wrap[1]))
            whole = inside[0].wrap
            here = [m for m in inside if m.wrap == whole and m.shape == inside[0].shape]
            within = [m for m in inside if m not in here and m.wrap[1] <= whole[1]]
            inside = [m for m in inside if m not in here and m not in within]
            out.extend(text[at:whole[0]])
            switch(whole, here, within)
            at = whole[1]
        out.extend(text[at:end])

    def switch(whole, here, within):
        opened = len(out)
        made = []
        if here[0].shape != "start":
            out.extend(b"{ " if here[0].shape == "block" else b"(")
        for m in here:
            first, last, new = m.edit
            changed = text[whole[0]:first] + new.encode() + text[last:whole[1]]
            out.extend(b" if crate::mutant::on(%d) " % m.number)
            if m.shape != "block":
                changed = b"{ " + changed + b" }"
            made.append((m, len(out), len(out) + len(changed)))
            out.extend(changed)
            out.extend(b" else " if m.shape != "start" else b"")
        if here[0].shape == "block":
            write(*whole, within)
            out.extend(b" }")
        elif here[0].shape == "expression":
            out.extend(b"{ ")
            write(*whole, within)
            out.extend(b" })")
        spots.extend(Spot(m, (opened, len(out)), (a, b)) for m, a, b in made)

    write(0, len(text), list(mistakes))
    return bytes(out), spots


class Copy:
    """A copy of the repository below `target/mutants`."""

    def __init__(self, top):
        self.top = top
        self.tree = top / "target/mutants/tree"
        self.build_folder = top / "target/mutants/build"
        self.spots = {}

    def write(self, mistakes):
        """Brings the copy up to date; files that stay as they are keep their time, so that cargo builds no more than it must."""
        listed = subprocess.run(["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"], cwd=self.top,
                                capture_output=True, check=True).stdout
        files = [name for name in listed.decode().split("\0") if name and (self.top / name).is_file()]
        by_file = {}
        for m in mistakes:
            by_file.setdefault(m.file, []).append(m)
        wanted = {"src/mutant.rs"}
        self.spots = {}
        for name in files:
            if name.startswith(".ci/"):
                continue
            text = (self.top / name).read_bytes()
            if name in by_file:
                text, self.spots[name] = rendered(text, by_file[name])
            if name == "src/lib.rs":
                text = b"#![allow(warnings)]\n" + text + b"\npub mod mutant;\n"
            self.put(name, text)
            wanted.add(name)
        highest = max((m.number for m in mistakes), default=0)
        self.put("src/mutant.rs", SWITCH.replace("@COUNT@", str(highest + 1)).encode())
        for path in sorted(self.tree.rglob("*"), reverse=True):
            name = path.relative_to(self.tree).as_posix()
            if path.is_file() and name not in wanted and not name.startswith("target/"):
                path.unlink()

    def put(self, name, text):
        path = self.tree / name
        if not path.is_file() or path.read_bytes() != text:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(text)

    def borrow_dependencies(self):
        """Takes the dependencies that the repository's own target folder holds, so that they need not be built again."""
        theirs, ours = self.top / "target/debug", self.build_folder / "debug"
        if ours.exists() or not theirs.is_dir():
            return
        own = ("skewstar-", "libskewstar-", "main-", "measuring-", "peers-", "newcomer-")
        for part in ("deps", ".fingerprint", "build"):
            if (theirs / part).is_dir():
                shutil.copytree(theirs / part, ours / part, symlinks=True,
                                ignore=lambda _, names: [n for n in names if n.startswith(own)])

    def build(self):
        """Builds the unit tests and the integration tests. Returns their programs, or the mistakes that do not compile."""
        command = ["cargo", "test", "--no-run", "--locked", "--lib", "--test", "main", "--message-format=json"]
        env = {**os.environ, "CARGO_TARGET_DIR": str(self.build_folder), "CARGO_TERM_COLOR": "never"}
        done = subprocess.run(command, cwd=self.tree, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        programs, errors = {}, []
        for line in done.stdout.splitlines():
            if not line.startswith("{"):
                continue
            told = json.loads(line)
            if told.get("reason") == "compiler-artifact" and told["profile"]["test"] and told.get("executable"):
                kind = "lib" if "lib" in told["target"]["kind"] else told["target"]["name"]
                programs[kind] = Path(told["executable"])
            elif told.get("reason") == "compiler-message" and told["message"]["level"] == "error":
                errors.append(told["message"])
        if done.returncode == 0:
            return programs, set()
        broken = set()
        for error in errors:
            broken |= self.blamed(error)
        if not broken:
            texts = "\n".join(error.get("rendered") or error["message"] for error in errors[:5])
            raise RuntimeError(f"the copy does not build, and no mistake is to blame:\n{texts or done.stderr[-4000:]}")
        return None, broken

    def blamed(self, error):
        """The mistakes that a message of the compiler points at."""
        marks = [place(span) for span in error["spans"] if span["is_primary"]]
        marks += [place(span) for span in error["spans"] if not span["is_primary"]]
        for file, start, end in marks:
            spots = self.spots.get(file, [])
            meets = lambda r: r[0] <= start and end <= r[1]
            inside = [s for s in spots if meets(s.changed)]
            around = [s for s in spots if meets(s.whole)]
            within = [s for s in spots if start <= s.whole[0] and s.whole[1] <= end]
            for fitting in (inside, around, within):
                if fitting:
                    smallest = min(s.whole[1] - s.whole[0] for s in fitting)
                    return {s.mistake for s in fitting if fitting is within or s.whole[1] - s.whole[0] == smallest}
        return set()


def place(span):
    """File and bytes of a span, outside any macro it comes from."""
    while span.get("expansion"):
        span = span["expansion"]["span"]
    return span["file_name"], span["byte_start"], span["byte_end"]
