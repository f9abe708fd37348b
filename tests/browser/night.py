"""A whole rehearsed night on the page, in a real browser: the camera is simulated, the hand does what the page says and nothing else.

Usage: python night.py PROGRAM [--pictures DIR] [--chromium PATH] [--seed N]
Played at 390 x 844, with a finger, and at 1440 x 900, with a clicker (Space and Backspace). What is hidden is revealed at the end.
"""

import argparse
import os
import re
import subprocess
import tempfile
import time
from pathlib import Path

from places import nothing_off_the_screen, red_alone
from playwright.sync_api import sync_playwright
from session import serving, settle, until

INSTRUMENT = Path(__file__).parents[2] / "scenarios/night-fast-unit.toml"
SIZES = {"phone": {"width": 390, "height": 844}, "wide": {"width": 1440, "height": 900}}
MOST_FRAMES = 30
# as a person reads the words of the page
TURN = re.compile(r"^(\w+): .*?\b(clockwise|anticlockwise) \((\d+) degrees\)", re.M)
FOCUS = re.compile(r"move the sensor (\d+) um(?: \(.*?\))? (inwards|outwards)")


class Telescope:
    """A drill whose frames fall into the camera's folder."""

    def __init__(self, program, folder, seed):
        self.program, self.folder = program, folder
        self.practice("start", str(INSTRUMENT), "--seed", str(seed), "--as-camera", "frames")

    def practice(self, verb, *words):
        run = subprocess.run([self.program, "practice", verb, *words, "--session", "drill.toml"], cwd=self.folder, capture_output=True, text=True, stdin=subprocess.DEVNULL)
        assert run.returncode in (0, 1), run.stderr
        return run.stdout

    def exposes(self):
        self.practice("look", "--as-camera", "frames", "--every", "0.01", "--frames", "1")

    def told(self, *words):
        """Told in another window, as a script or a second person does."""
        subprocess.run([self.program, "night", *words, "--session", "night.toml"], cwd=self.folder, check=True, stdout=subprocess.DEVNULL)


def big_enough(page):
    """The big line is at least 6 % of the screen's height, by the height of its letters: 0.7 of the type's size in most faces."""
    size = page.evaluate("parseFloat(getComputedStyle(by('night-big')).fontSize)")
    assert 0.7 * size >= 0.058 * page.viewport_size["height"], size
    box = page.locator("#night-big").bounding_box()
    assert box["y"] >= 0 and box["y"] < page.viewport_size["height"] / 2, box


def done(page, clicker):
    """Tells that the step was done: by a clicker that sends Space, or by a thumb."""
    round_before = page.evaluate("night.stamp")
    if clicker:
        page.keyboard.press(" ")
    else:
        button = page.locator("#night-done")
        box = button.bounding_box()
        assert box["height"] >= 44, box
        button.tap()
    until(page, f"night.stamp !== '{round_before}'")
    settle(page)


def frame_seen(page, telescope, limit_s=240):
    """The next frame is exposed and shown."""
    number = "Number(night.stamp.split('-')[1])"
    before = page.evaluate(number)
    telescope.exposes()
    until(page, f"{number} > {before}", limit_s)
    settle(page)


def play(page, telescope, name, pictures):
    clicker = name == "wide"
    page.wait_for_selector("#night-big", state="visible")
    until(page, "night.board !== null")
    frame_seen(page, telescope)
    page.screenshot(path=pictures / f"night-{name}-first.png")
    page.click("#night-sound")
    tones, undone, elsewhere = set(), False, False
    for _ in range(MOST_FRAMES):
        words, deed = page.locator("#night-words").text_content(), page.evaluate("night.board.do")
        big_enough(page)
        nothing_off_the_screen(page, f"night, {name}")
        tones.add(page.evaluate("night.played ?? null"))
        in_the_way = page.locator("#hands-in")
        assert in_the_way.is_visible() == (deed in ("turn", "trial", "lock", "card", "mask-on", "mask-off") or page.evaluate("night.board.mask_on") is True), (deed, words)
        if deed == "stop":
            break
        turned, focused = TURN.search(words), FOCUS.search(words)
        if turned and deed in ("turn", "trial"):
            sign = 1 if turned[2] == "clockwise" else -1
            telescope.practice("turn", turned[1], f"{sign * int(turned[3]) / 360:.5f}")
            telescope.practice("recentre")
            if not undone:
                # told by mistake, taken back, told again
                big = page.locator("#night-big").text_content()
                done(page, clicker)
                stamp = page.evaluate("night.stamp")
                if clicker:
                    page.keyboard.press("Backspace")
                else:
                    page.locator("#night-undo").tap()
                until(page, f"night.stamp !== '{stamp}'")
                settle(page)
                assert page.locator("#night-big").text_content() == big, "after undo the step stands again"
                undone = True
            elif not elsewhere:
                # told in another window: the page sees it
                stamp = page.evaluate("night.stamp")
                telescope.told("turned", turned[1], f"{sign * int(turned[3]) / 360:.5f}")
                until(page, f"night.stamp !== '{stamp}'")
                elsewhere = True
                page.screenshot(path=pictures / f"night-{name}-told.png")
                frame_seen(page, telescope)
                continue
            done(page, clicker)
        elif deed == "lock":
            done(page, clicker)
        elif focused:
            telescope.practice("focus", f"{int(focused[1]) * (1 if focused[2] == 'outwards' else -1)}")
            telescope.practice("expose", "0.004")
            done(page, clicker)
        elif deed in ("mask-on", "mask-off"):
            telescope.practice("mask", deed.removeprefix("mask-"))
            done(page, clicker)
        elif deed == "recentre":
            telescope.practice("recentre")
            done(page, clicker)
        page.screenshot(path=pictures / f"night-{name}-step.png")
        frame_seen(page, telescope)
    assert page.locator("#night-big").text_content() == "STOP", page.locator("#night-words").text_content()
    page.screenshot(path=pictures / f"night-{name}-stop.png", full_page=True)
    other, red = red_alone(pictures / f"night-{name}-stop.png")
    assert other == 0 and sum(red) > 500, f"{other} pixels with green or blue"
    rounds = page.evaluate("night.board.round")
    assert "stop" in tones | {page.evaluate("night.played ?? null")}, tones
    path = page.evaluate("night.board.path.map(({ coma_nm }) => Math.round(coma_nm))")
    print(f"{name}: a night of {rounds} turns, coma by rounds {path} nm, tones {sorted(t for t in tones if t)}; 0 pixels with green or blue")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program")
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "/usr/bin/chromium"))
    parser.add_argument("--seed", type=int, default=4)
    chosen = parser.parse_args()
    program = str(Path(chosen.program).resolve())
    pictures = chosen.pictures or Path(tempfile.mkdtemp())
    pictures.mkdir(parents=True, exist_ok=True)
    problems = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chosen.chromium, args=["--no-sandbox", "--disable-gpu"])
        for name, size in SIZES.items():
            with tempfile.TemporaryDirectory() as folder:
                session = ["night", "start", "--instrument", str(INSTRUMENT), "--session", "night.toml", "--side", "inside", "--settle", "0"]
                subprocess.run([program, *session], cwd=folder, check=True, stdout=subprocess.DEVNULL)
                (Path(folder) / "frames").mkdir()
                extra = ["--night", f"{folder}/frames", "--session", f"{folder}/night.toml"]
                with serving(program, folder, extra=extra) as (address, _):
                    telescope = Telescope(program, folder, chosen.seed)
                    context = browser.new_context(viewport=size, has_touch=True)
                    page = context.new_page()
                    page.set_default_timeout(120_000)
                    page.on("pageerror", lambda error: problems.append(str(error)))
                    page.on("console", lambda message: problems.append(message.text) if message.type == "error" else None)
                    page.goto(address)
                    begun = time.monotonic()
                    play(page, telescope, name, pictures)
                    print(f"in {time.monotonic() - begun:.0f} s; hidden: {telescope.practice('reveal').splitlines()[0]}")
                    context.close()
        browser.close()
    assert not problems, problems
    print(f"no error in the browser's console; pictures in {pictures}")


if __name__ == "__main__":
    main()
