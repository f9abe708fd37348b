"""A scripted session in a real browser: start, turn, see the dark centre go where it should, finish, score.

Usage: python session.py PROGRAM [--pictures DIR] [--chromium PATH]
The pixels of the page's own canvas are read: nothing is taken from the page's words.
"""

import argparse
import contextlib
import math
import os
import re
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import expect, sync_playwright

# Centre of the dark middle and of the ring, from the red channel of what is painted: frame axes, y up, canvas pixels.
RING = """() => {
  const canvas = document.getElementById('star');
  const { width, height } = canvas;
  const data = canvas.getContext('2d').getImageData(0, 0, width, height).data;
  const lit = new Uint8Array(width * height);
  let peak = 0;
  for (let i = 0; i < lit.length; i++) peak = Math.max(peak, data[4 * i]);
  for (let i = 0; i < lit.length; i++) lit[i] = data[4 * i] > 0.28 * peak ? 1 : 0;
  // the dark outside is what can be reached from the border without crossing the ring
  const outside = new Uint8Array(width * height);
  const waiting = [];
  const visit = (x, y) => {
    const at = y * width + x;
    if (x >= 0 && y >= 0 && x < width && y < height && !lit[at] && !outside[at]) { outside[at] = 1; waiting.push(at); }
  };
  for (let x = 0; x < width; x++) { visit(x, 0); visit(x, height - 1); }
  for (let y = 0; y < height; y++) { visit(0, y); visit(width - 1, y); }
  while (waiting.length) {
    const at = waiting.pop(), x = at % width, y = (at - x) / width;
    visit(x + 1, y); visit(x - 1, y); visit(x, y + 1); visit(x, y - 1);
  }
  // the largest dark patch inside is the dark centre: noise makes small ones
  const seen = new Uint8Array(width * height);
  let best = [0, 0, 0];
  for (let start = 0; start < lit.length; start++) {
    if (lit[start] || outside[start] || seen[start]) continue;
    const patch = [start];
    seen[start] = 1;
    let [count, sx, sy] = [0, 0, 0];
    while (patch.length) {
      const at = patch.pop(), x = at % width, y = (at - x) / width;
      count++; sx += x; sy += y;
      for (const next of [at + 1, at - 1, at + width, at - width])
        if (next >= 0 && next < lit.length && !lit[next] && !outside[next] && !seen[next]) { seen[next] = 1; patch.push(next); }
    }
    if (count > best[0]) best = [count, sx / count, sy / count];
  }
  let [count, sx, sy] = [0, 0, 0];
  for (let i = 0; i < lit.length; i++) if (!outside[i]) { count++; sx += i % width; sy += Math.floor(i / width); }
  return { dark: [best[1], -best[2]], ring: [sx / count, -sy / count], darkPixels: best[0], pixels: count };
}"""


@contextlib.contextmanager
def serving(program, folder, port="0", extra=()):
    """The program's page; yields its address. Ended by its own process id."""
    command = [program, "serve", "--port", port, "--keep", str(folder), *extra]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        line = process.stdout.readline()
        yield re.search(r"http://\S+", line).group(0)
    finally:
        process.terminate()
        process.wait(timeout=10)


def start(page, level, seed=None):
    if seed is not None:
        page.goto(page.url.split("?")[0].split("#")[0] + f"?seed={seed}")
        page.wait_for_selector("#level option", state="attached")
    page.select_option("#level", level)
    page.click("#start")
    expect(page.locator("#clockwise")).to_be_enabled()
    settle(page)


def settle(page):
    page.evaluate("async () => { let last; do { last = page.busy; await last; } while (last !== page.busy); }")


def shift(page):
    settle(page)
    found = page.evaluate(RING)
    assert found["darkPixels"] > 200, f"no dark centre: {found}"
    return [found["dark"][k] - found["ring"][k] for k in (0, 1)]


def turn(page, screw, step, clockwise):
    page.locator(f'[data-screw="{screw}"]').click()
    page.locator(".step", has_text=re.compile(f"^{re.escape(step)}$")).click()
    page.click("#clockwise" if clockwise else "#anticlockwise")
    settle(page)
    page.click("#recentre")
    settle(page)


def follow(page, limit=12):
    """Reads the coach's last line and does it, as the keyboard or the mouse allows."""
    for _ in range(limit):
        line = page.locator("#advice").text_content().split("\n")[-1]
        turned = re.match(r"Try: turn screw (\w+) (clockwise|anticlockwise) by (?:(\d+)/(\d+)|(\d+)) turn", line)
        if turned:
            parts = int(turned[3]) / int(turned[4]) if turned[3] else int(turned[5])
            for step in ["1/4", "1/8", "1/16", "1/32", "1/64"]:
                size = 1 / int(step[2:])
                while parts >= size - 1e-9:
                    turn(page, turned[1], step, turned[2] == "clockwise")
                    parts -= size
        elif line.startswith("Try: recentre"):
            page.click("#recentre")
            settle(page)
        else:
            return line
    raise AssertionError("the coach never came to an end")


def mouse(page, pictures):
    start(page, "one-screw", 4)
    before = shift(page)
    page.screenshot(path=pictures / "start.png", full_page=True)
    turn(page, "A", "1/4", True)
    after = shift(page)
    gone = [b - a for a, b in zip(before, after)]
    azimuth = math.degrees(math.atan2(gone[1], gone[0]))
    print(f"screw A (at 90 degrees) a quarter longer: the dark centre went {math.hypot(*gone):.1f} canvas px towards {azimuth:.0f} degrees")
    assert abs(azimuth - 90) < 15 and math.hypot(*gone) > 20, (gone, azimuth)
    page.click("#show-me")
    settle(page)
    assert page.locator("#lesson li").count() >= 4
    page.screenshot(path=pictures / "show-me.png", full_page=True)
    page.click("#undo")
    settle(page)
    page.click("#look-corners")
    settle(page)
    page.locator("#coach summary").click()
    line = follow(page)
    assert line.startswith("Try: finish"), line
    done = shift(page)
    print(f"after following the coach the dark centre is {math.hypot(*done):.1f} canvas px off")
    assert math.hypot(*done) < 0.5 * math.hypot(*before)
    page.click("#finish")
    settle(page)
    report = page.locator("#report").text_content()
    assert "The goal is reached" in report and "Score:" in report, report
    print(report.splitlines()[1])
    page.screenshot(path=pictures / "finished.png", full_page=True)


def keyboard(page, pictures):
    """No mouse at all: Tab, Enter, arrows, letters."""
    page.reload()
    page.wait_for_selector("#level option", state="attached")
    settle(page)
    for _ in range(4):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "level":
            break
    assert page.evaluate("document.activeElement.id") == "level"
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#clockwise")).to_be_enabled()
    settle(page)
    before = shift(page)
    page.evaluate("document.activeElement.blur()")
    for key in ["2", "ArrowUp", "ArrowRight", "r"]:
        page.keyboard.press(key)
        settle(page)
    after = shift(page)
    gone = [b - a for a, b in zip(before, after)]
    azimuth = math.degrees(math.atan2(gone[1], gone[0])) % 360
    print(f"keyboard only: screw B (at 210 degrees) longer moved the dark centre towards {azimuth:.0f} degrees")
    assert abs(azimuth - 210) < 15, azimuth
    page.keyboard.press("u")
    settle(page)
    page.keyboard.press("f")
    settle(page)
    assert page.locator("#report").is_visible()
    unlabelled = page.evaluate(
        "() => [...document.querySelectorAll('button, input, select, canvas')].filter(e => !(e.getAttribute('aria-label') || e.textContent.trim() || e.labels?.length)).map(e => e.id)"
    )
    assert not unlabelled, unlabelled


def phone(browser, address, pictures):
    page = browser.new_page(viewport={"width": 360, "height": 740}, has_touch=True)
    page.goto(address)
    page.wait_for_selector("#level option", state="attached")
    page.select_option("#level", "mask")
    page.tap("#start")
    expect(page.locator("#clockwise")).to_be_enabled()
    settle(page)
    page.locator('[data-screw="C"]').tap()
    page.tap("#clockwise")
    settle(page)
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 360, f"the page is {wide} px wide on a phone of 360"
    small = page.evaluate(
        "() => [...document.querySelectorAll('main button:not([hidden])')].filter(b => b.getBoundingClientRect().height < 44).map(b => b.id)"
    )
    assert not small, f"too small for a finger: {small}"
    page.screenshot(path=pictures / "phone.png", full_page=True)
    page.close()
    print("phone of 360 px: no sideways scrolling, every button at least 44 px high")


def contrast(page):
    """WCAG 2 contrast of the words on the ground."""
    ratio = page.evaluate(
        """() => {
          const lum = (c) => { const [r, g, b] = c.match(/[\\d.]+/g).slice(0, 3).map(v => { v /= 255; return v <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4; }); return .2126 * r + .7152 * g + .0722 * b; };
          const [a, b] = [getComputedStyle(document.documentElement).color, getComputedStyle(document.documentElement).backgroundColor].map(lum);
          return (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
        }"""
    )
    print(f"contrast of words on the ground: {ratio:.1f}")
    assert ratio >= 4.5


def side_by_side(browser, address):
    pages = [browser.new_context().new_page() for _ in range(2)]
    for page, level in zip(pages, ["one-screw", "two-screws"]):
        page.goto(address)
        page.wait_for_selector("#level option", state="attached")
        start(page, level)
    turn(pages[0], "A", "1/8", True)
    counts = [page.locator("#path li").count() for page in pages]
    assert counts == [3, 1], counts
    for page in pages:
        page.context.close()
    print("two sessions side by side do not touch each other")


def live_and_play(page, pictures):
    start(page, "seeing")
    page.check("#live")
    grabbed = set()
    for _ in range(6):
        page.wait_for_timeout(250)
        grabbed.add(page.evaluate("document.getElementById('star').toDataURL()"))
    page.uncheck("#live")
    print(f"live: {len(grabbed)} different pictures in 1.5 s")
    assert len(grabbed) >= 3
    page.screenshot(path=pictures / "live.png")
    page.locator("#free summary").click()
    page.wait_for_timeout(1500)
    before = [page.evaluate(f"document.getElementById('{name}').toDataURL()") for name in ("play-ring", "play-mask", "play-corners")]
    page.locator("#slider-tilt_arcmin").fill("3")
    page.wait_for_function("!free.running && !free.waiting")
    after = [page.evaluate(f"document.getElementById('{name}').toDataURL()") for name in ("play-ring", "play-mask", "play-corners")]
    assert all(a != b for a, b in zip(before, after)), "a tilt changes doughnut, masked star and corners"
    page.locator("#atlas summary").click()
    page.wait_for_timeout(500)
    page.screenshot(path=pictures / "play-and-atlas.png", full_page=True)
    print("free play: one slider changes doughnut, masked star and corners together")


def question(page):
    page.click("#ask")
    expect(page.locator("#clockwise")).to_be_enabled()
    settle(page)
    page.click("#clockwise")
    settle(page)
    assert "of 100" in page.locator("#said").text_content()
    print("question:", page.locator("#said").text_content())


def latency(page):
    for level, limit_ms in (("two-screws", 50), ("mask", 150)):
        start(page, level)
        page.evaluate("performance.clearMeasures()")
        for k in range(20):
            page.evaluate("(sign) => turn(sign)", 1 if k % 2 == 0 else -1)
            settle(page)
        taken = page.evaluate("performance.getEntriesByName('act-to-picture').map(e => e.duration)")
        median = statistics.median(taken)
        print(f"turn to new picture, {level}: median {median:.1f} ms of {len(taken)} turns (limit {limit_ms} ms)")
        yield level, median, limit_ms


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program")
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "/usr/bin/chromium"))
    parser.add_argument("--times", action="store_true", help="fail when a picture takes longer than it should (quiet machines only)")
    chosen = parser.parse_args()
    pictures = chosen.pictures or Path(tempfile.mkdtemp())
    pictures.mkdir(parents=True, exist_ok=True)
    problems = []
    with tempfile.TemporaryDirectory() as kept, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chosen.chromium, args=["--no-sandbox", "--disable-gpu"])
        with serving(chosen.program, kept) as address:
            port = re.search(r":(\d+)/", address).group(1)
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            page.set_default_timeout(60_000)
            page.on("console", lambda message: problems.append(message.text) if message.type == "error" else None)
            page.on("pageerror", lambda error: problems.append(str(error)))
            page.goto(address)
            page.wait_for_selector("#level option", state="attached")
            contrast(page)
            mouse(page, pictures)
            keyboard(page, pictures)
            phone(browser, address, pictures)
            side_by_side(browser, address)
            live_and_play(page, pictures)
            question(page)
            slow = [f"{level}: {median:.0f} ms" for level, median, limit in latency(page) if median > limit]
            start(page, "two-screws")
            turn(page, "B", "1/16", True)
            rounds = page.locator("#path li").count()
        with serving(chosen.program, kept, port) as address:
            page.reload()
            expect(page.locator("#path li")).to_have_count(rounds)
            turn(page, "B", "1/16", False)
            expect(page.locator("#path li")).to_have_count(rounds + 2)
            print("restarted server: the session goes on")
        browser.close()
    assert not problems, problems
    print(f"no error in the browser's console; pictures in {pictures}")
    if slow and chosen.times:
        sys.exit(f"too slow: {slow}")


if __name__ == "__main__":
    main()
