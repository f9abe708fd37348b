"""While the library works: other threads go on, and Ctrl-C is heard. No clock decides here; the only times are guards against hanging."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from conftest import TINY

import skewstar

#: Seconds after which something hangs.
GUARD = 240


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are what these tests wait with")
def test_the_lock_is_released_and_calls_run_side_by_side(tmp_path: Path) -> None:
    """Two calls wait for files that other threads write only once both calls are under way: with the lock held, nobody could write."""
    pipes = [tmp_path / name for name in ("one.toml", "two.toml")]
    for pipe in pipes:
        os.mkfifo(pipe)
    found: dict[Path, skewstar.Rendered] = {}

    def call(pipe: Path) -> None:
        found[pipe] = skewstar.render(pipe)

    calls = [threading.Thread(target=call, args=(pipe,), daemon=True) for pipe in pipes]
    for thread in calls:
        thread.start()
    # opening for writing waits until the other end is open for reading: both calls are inside the library then
    ends = [pipe.open("w") for pipe in pipes]
    # the call that began last is answered first, while the other one waits
    for pipe, end, thread in reversed(list(zip(pipes, ends, calls, strict=True))):
        assert thread.is_alive() and pipe not in found
        end.write(TINY)
        end.close()
        thread.join(GUARD)
        assert pipe in found
    assert found[pipes[0]].truth == found[pipes[1]].truth == skewstar.render(TINY).truth


MEANWHILE = """
import os, threading
import skewstar
begins = threading.Event()
def endless():
    begins.set()
    skewstar.field({field!r}, {{"field.count": 100000, "camera.width_px": 900, "camera.height_px": 600}})
    os._exit(1)
threading.Thread(target=endless, daemon=True).start()
begins.wait()
# enough for the interpreter to change threads many times: were the lock held, this would end after the field only
total = sum(n for n in range(5_000_000))
print("counted", total, flush=True)
os._exit(0)
"""


def test_python_works_while_the_library_computes(scenarios: Path) -> None:
    code = MEANWHILE.format(field=str(scenarios / "fields" / "whole-sensor.toml"))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=GUARD, check=False)
    assert done.stdout == f"counted {5_000_000 * 4_999_999 // 2}\n" and done.returncode == 0, done.stderr


LONG = """
import signal, sys, threading
import skewstar
# the ordinary handler, also where the tests were started in the background
signal.signal(signal.SIGINT, signal.default_int_handler)
print("begun", flush=True)
try:
    {call}
except KeyboardInterrupt:
    # the threads are free again: the field was given up, not waited for
    again = skewstar.render({small!r})
    print("interrupted", again.truth["title"], flush=True)
else:
    print("done", flush=True)
"""

#: Each would take far longer than the guard, or for ever.
CALLS = {
    "field": "skewstar.field({field!r}, {{'field.count': 100000, 'camera.width_px': 900, 'camera.height_px': 600}})",
    "loop": "sum(truth['item'] for _, truth in skewstar.Dataset({recipe!r}, 10**9))",
    "single": "ds = skewstar.Dataset({recipe!r}, 10**9); [ds[i] for i in range(10**9) if ds[i][0] is None]",
    "pipe": "skewstar.render({pipe!r})",
}


@pytest.mark.parametrize("name", CALLS)
@pytest.mark.skipif(sys.platform == "win32", reason="a signal to one process only is sent otherwise there")
def test_ctrl_c_is_heard(tmp_path: Path, scenarios: Path, name: str) -> None:
    pipe = tmp_path / "never-written.toml"
    os.mkfifo(pipe)
    call = CALLS[name].format(
        field=str(scenarios / "fields" / "whole-sensor.toml"),
        recipe=str(scenarios / "recipes" / "doughnuts.toml"),
        pipe=str(pipe),
    )
    code = LONG.format(call=call, small=TINY)
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "begun\n"
        try:
            process.wait(1.5)  # so that the call is under way; it holds as well if it is not
        except subprocess.TimeoutExpired:
            pass
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=GUARD)
    assert out == "interrupted one screw short\n" and process.returncode == 0, err
