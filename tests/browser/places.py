"""The places of the page in a real browser: a drill won, a frame measured, a mask made, by night red alone.

Usage: python places.py PROGRAM [SITE] [--pictures DIR] [--chromium PATH] [--times]
PROGRAM is skewstar, which renders the frame that is dropped and measures it too. SITE is the folder that .ci/site makes: the page without a
server, whose network is then switched off; without it the program serves the page.
"""

import argparse
import base64
import contextlib
import functools
import http.server
import json
import math
import os
import re
import statistics
import struct
import subprocess
import tempfile
import threading
from pathlib import Path

from PIL import Image
from playwright.sync_api import expect, sync_playwright
from session import follow, opened, serving, settle, start, until

PHONE, SCREEN = {"width": 390, "height": 844}, {"width": 1280, "height": 720}
# the last one is 1280 x 720 at 200 %
SIZES = {"phone": PHONE, "tablet": {"width": 820, "height": 1180}, "screen": SCREEN, "wide": {"width": 1440, "height": 900}, "zoomed": {"width": 640, "height": 360}}
PLACES, LESSONS = ("lessons", "practice", "mask", "night"), 10
SIDE = "inside"


class Quiet(http.server.SimpleHTTPRequestHandler):
    extensions_map = {**http.server.SimpleHTTPRequestHandler.extensions_map, ".wasm": "application/wasm", ".webmanifest": "application/manifest+json"}

    def log_message(self, *_):
        pass


@contextlib.contextmanager
def plain_server(folder):
    """Files of a folder and nothing else; yields the address and a call that ends it before its time."""
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(folder)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    ended = []

    def end():
        if not ended:
            ended.append(True)
            server.shutdown()
            server.server_close()

    try:
        yield f"http://127.0.0.1:{server.server_port}/", end
    finally:
        end()


def ready(page):
    opened(page, "lessons")


def night(program, folder):
    """The page's own telescope with a screw out, as text, and its frame as the program writes it."""
    text = (Path(__file__).parents[2] / "src/practice/bench.toml").read_text().replace("[state]", "[state]\nturns = { B = 0.083 }")
    scenario = folder / "night.toml"
    scenario.write_text(text)
    subprocess.run([program, "render", str(scenario), "--quiet", "--out", str(folder)], check=True, stdout=subprocess.DEVNULL)
    return scenario, folder / "night.fits"


def told_by_program(program, scenario, image):
    """Coma and verdict as the program itself has them."""
    run = subprocess.run([program, "measure", str(image), "--instrument", str(scenario), "--mask", "off", "--side", SIDE, "--json"], capture_output=True, text=True)
    assert run.returncode in (0, 1), run.stderr
    report = json.loads(run.stdout)
    return math.hypot(report["modes_nm"]["7"]["value"], report["modes_nm"]["8"]["value"]), report["verdict"]


def drop(page, path):
    """Drops a file on the page, as a hand does."""
    content = base64.b64encode(path.read_bytes()).decode()
    page.evaluate(
        """([name, content]) => {
          const bytes = Uint8Array.from(atob(content), (c) => c.charCodeAt(0));
          const carried = new DataTransfer();
          carried.items.add(new File([bytes], name));
          document.body.dispatchEvent(new DragEvent('drop', { dataTransfer: carried, bubbles: true, cancelable: true }));
        }""",
        [path.name, content],
    )


def drill(page, pictures):
    start(page, "one-screw")
    page.locator("#coach summary").click()
    line = follow(page)
    assert line.startswith("Try: finish"), line
    page.click("#finish")
    settle(page)
    report = page.locator("#report").text_content()
    assert "The goal is reached" in report, report
    page.screenshot(path=pictures / "site-practice.png")
    print("a drill won by the printed next steps:", report.splitlines()[1])


def measured(page, program, folder, pictures):
    scenario, image = night(program, folder)
    opened(page, "night")
    page.locator("#scope-change summary").click()
    page.set_input_files("#scope-file", scenario)
    settle(page)
    page.locator("#scope-change summary").click()
    page.locator('label:has(input[name="frame-side"][value="inside"])').click()
    drop(page, image)
    settle(page)
    assert page.locator("#trouble").is_hidden(), page.locator("#trouble").text_content()
    shown = page.evaluate("({ coma: frame.found.coma.value_nm, verdict: frame.found.verdict, ms: performance.getEntriesByName('frame-to-verdict').at(-1).duration })")
    coma, verdict = told_by_program(program, scenario, image)
    print(f"a 16-bit FITS dropped: coma {shown['coma']:.4f} nm on the page, {coma:.4f} nm by the program; {shown['ms']:.0f} ms")
    assert abs(shown["coma"] - coma) < 0.1 and shown["verdict"] == verdict, (shown, coma, verdict)
    for words in ("#verdict", "#frame-next", "#frame-coma"):
        assert page.locator(words).is_visible() and page.locator(words).text_content().strip(), words
    page.screenshot(path=pictures / "site-measure.png", full_page=True)
    # what is no frame is refused in words, and the page goes on
    note = folder / "notes.txt"
    note.write_text("Dear diary, tonight the star was round.")
    drop(page, note)
    settle(page)
    assert "plain text" in page.locator("#trouble").text_content()


def reach_of_stl(path):
    """Largest distance of a corner from the axis, mm."""
    content = path.read_bytes()
    (count,) = struct.unpack_from("<I", content, 80)
    assert len(content) == 84 + 50 * count
    corners = [struct.unpack_from("<3f", content, 84 + 50 * k + 12 + 12 * j) for k in range(count) for j in range(3)]
    return max(math.hypot(x, y) for x, y, _ in corners)


def mask(page, folder, pictures):
    opened(page, "mask")
    until(page, "mask.star !== null && !mask.running")
    before = page.locator("#mask-plate path").first.get_attribute("d")
    page.locator("#mask-outer_diameter_mm").fill("191")
    page.locator("#mask-zone_radius_mm").fill("62")
    until(page, "!mask.running && !mask.wanted")
    assert page.locator("#mask-plate path").first.get_attribute("d") != before
    assert page.locator("#mask-findings li").count() > 3
    made = folder / "made"
    made.mkdir()
    for kind in ("svg", "dxf", "stl", "3mf"):
        with page.expect_download() as download:
            page.click(f'[data-file="{kind}"]')
        download.value.save_as(made / f"mask.{kind}")
        settle(page)
    radius = reach_of_stl(made / "mask.stl")
    print(f"a mask made: {page.locator('#mask-verdict').text_content()} Radius {radius:.2f} mm for a diameter of 191 mm")
    assert abs(radius - 95.5) < 0.01
    page.screenshot(path=pictures / "site-mask.png", full_page=True)
    page.locator("#mask-outer_diameter_mm").fill("-3")
    until(page, "!mask.running && !by('trouble').hidden")
    assert "outer_diameter_mm" in page.locator("#trouble").text_content()
    page.click("#mask-own")
    until(page, "!mask.running && by('trouble').hidden")
    return made


def nothing_off_the_screen(page, what):
    """Every control that is shown lies within the width, and the document does not scroll sideways."""
    wide = page.viewport_size["width"]
    off = page.evaluate(
        """(wide) => [...document.querySelectorAll('button, select, summary, textarea, input, nav a')]
          .filter((e) => e.checkVisibility())
          .map((e) => [e.id || e.textContent.trim(), e.getBoundingClientRect()])
          .filter(([, r]) => r.width > 0 && (r.left < -0.5 || r.right > wide + 0.5)).map(([name]) => name)""",
        wide,
    )
    assert not off, f"{what}: off the screen: {off}"
    assert page.evaluate("document.documentElement.scrollWidth") <= wide, f"{what}: scrolls sideways"


def red_alone(path):
    """Pixels with green or blue."""
    with Image.open(path) as picture:
        red, green, blue = picture.convert("RGB").split()
    return sum(count for channel in (green, blue) for level, count in enumerate(channel.histogram()) if level > 0), red.histogram()[128:]


def looks(page, pictures, name):
    """Every place in red: no green, no blue, nothing off the screen, the bar of places in reach."""
    for place in PLACES:
        opened(page, place)
        until(page, "!mask.running && !lessons.running")
        settle(page)
        path = pictures / f"{name}-{place}.png"
        page.screenshot(path=path, full_page=True)
        page.screenshot(path=pictures / f"{name}-{place}-first.png")
        other, red = red_alone(path)
        print(f"{name}, {place}: {other} pixels with green or blue, {sum(red)} bright red")
        assert other == 0 and sum(red) > 500
        nothing_off_the_screen(page, f"{name}, {place}")
        bar = page.locator("nav").bounding_box()
        assert bar["y"] >= 0 and bar["y"] + bar["height"] <= page.viewport_size["height"] + 0.5, f"the bar of places is off the screen: {bar}"


def sizes(page, pictures):
    """Every place at every size; on a phone the bar is at the bottom, elsewhere at the top."""
    for name, size in SIZES.items():
        page.set_viewport_size(size)
        looks(page, pictures, name)
        bar = page.locator("nav").bounding_box()
        at_the_bottom = bar["y"] > size["height"] / 2
        assert at_the_bottom == (size["width"] <= 704), f"{name}: {bar}"
    page.set_viewport_size(PHONE)


def dimmed(page, pictures):
    """The dimmer takes light away and adds no colour."""
    opened(page, "lessons")
    bright = pictures / "bright.png"
    page.screenshot(path=bright)
    page.locator("#dim").fill("60")
    dark = pictures / "dimmed.png"
    page.screenshot(path=dark)
    (other, red), (_, before) = red_alone(dark), red_alone(bright)
    assert other == 0 and sum(red[32:]) < 0.02 * sum(before[32:]), (sum(red[32:]), sum(before[32:]))
    page.locator("#dim").fill("0")


def axe(page, name):
    """What axe-core, an engine that looks for barriers, finds; it is made for every page, and comes with axe-playwright-python."""
    import axe_playwright_python

    engine = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text()
    page.evaluate(engine)
    for mode in ("red", "dark", "light"):
        page.select_option("#mode", mode)
        for place in PLACES:
            opened(page, place)
            found = page.evaluate("async () => (await axe.run()).violations.map(({ id, nodes }) => [id, nodes.slice(0, 4).map(({ html, failureSummary }) => html.slice(0, 160) + ' ' + failureSummary.slice(0, 200))])")
            assert not found, f"{name}, {mode}, {place}: {json.dumps(found, indent=1)}"
    page.select_option("#mode", "red")
    print(f"{name}: axe-core finds nothing in {len(PLACES)} places and 3 lights")


def learned(page, pictures):
    """Every lesson: a star that follows its handle, something that is pointed out and withdrawn, three questions and a tally."""
    words = page.evaluate("lessons.list.map(({ word }) => word)")
    assert len(words) == LESSONS, words
    canvas = "by('lesson-star').toDataURL()"
    for word in words:
        opened(page, f"lessons/{word}")
        until(page, f"lessons.about?.word === '{word}' && lessons.picture !== null")
        settle(page)
        assert page.locator("#lesson-words p").count() >= 2
        pointed = page.evaluate(canvas)
        page.click("#lesson-shown")
        bare = page.evaluate(canvas)
        assert word == "corners" or pointed != bare, f"{word}: nothing is pointed out"
        handle = page.locator("#lesson-handles input").first
        handle.fill("0.5" if word not in ("thin-side", "seeing") else "15")
        until(page, "!lessons.running && !lessons.wanted")
        assert page.evaluate(canvas) != bare, f"{word}: the star does not follow its handle"
        page.click("#lesson-shown")
        for number in range(3):
            page.click("#lesson-ask")
            settle(page)
            until(page, "by('lesson-choices').children.length > 1")
            page.locator("#lesson-choices button").nth(number % 2).click()
            settle(page)
            assert page.locator("#lesson-verdict").text_content().strip()
        assert re.search(r"[0-3] of 3 right", page.locator("#lesson-tally").text_content()), page.locator("#lesson-tally").text_content()
        page.screenshot(path=pictures / f"lesson-{word}.png")
    print(f"{len(words)} lessons taken")


def buttons_stay(page):
    """A turn of a screw does not throw the document about."""
    start(page, "one-screw")
    page.locator("#clockwise").scroll_into_view_if_needed()
    for button in ("#clockwise", "#recentre", "#anticlockwise", "#show-me"):
        page.locator(button).scroll_into_view_if_needed()
        before = page.locator(button).bounding_box()["y"]
        page.click(button)
        settle(page)
        after = page.locator(button).bounding_box()["y"]
        assert 0 <= after <= page.viewport_size["height"] - 44, f"{button} left the screen: {before} → {after}"


def survives_its_worker(page):
    """A worker that has ended is replaced; the telescope, which the new one does not know, is handed in again."""
    page.evaluate("endWorker('on purpose')")
    start(page, "one-screw")
    assert page.evaluate("scope.text").count("turns = { B = 0.083 }") == 1, "the telescope that was opened is still the page's"
    assert page.locator("#trouble").is_hidden(), page.locator("#trouble").text_content()
    print("a worker that ended was replaced, with the telescope that was open")


def times(page):
    """Time of a picture in the page, asked at its door: no drawing."""
    for level, what in (("two-screws", "doughnut"), ("mask", "masked star")):
        start(page, level)
        taken = page.evaluate(
            """async () => {
              const taken = [];
              for (let k = 0; k < 15; k++) {
                const begun = performance.now();
                await request(`api/sessions/${page.name}/star`);
                taken.push(performance.now() - begun);
              }
              return taken;
            }"""
        )
        print(f"a {what} in the page: median {statistics.median(taken):.1f} ms, least {min(taken):.1f} ms of {len(taken)}")


def offline(page, context, site, end):
    """The first visit keeps every file; afterwards the page opens with neither network nor server."""
    kept = page.evaluate("async () => { await navigator.serviceWorker.ready; const [name] = await caches.keys(); return [name, (await (await caches.open(name)).keys()).length]; }")
    manifest = json.loads((site / "manifest.webmanifest").read_text())
    for icon in manifest["icons"]:
        if icon["type"] == "image/png":
            with Image.open(site / icon["src"]) as drawn:
                assert f"{drawn.width}x{drawn.height}" == icon["sizes"], icon
    page.reload()
    ready(page)
    context.set_offline(True)
    end()
    page.reload()
    ready(page)
    print(f"opened without a network: {kept[1]} files kept as {kept[0]}")


def play(browser, address, chosen, pictures, problems, prepare=None):
    """Every place, on a phone first."""
    context = browser.new_context(viewport=PHONE, has_touch=True, accept_downloads=True)
    page = context.new_page()
    page.set_default_timeout(120_000)
    page.on("pageerror", lambda error: problems.append(str(error)))
    # a refusal in words is what some steps ask for; a browser's own note of its status is no problem
    page.on("console", lambda message: problems.append(message.text) if message.type == "error" and "status of 4" not in message.text else None)
    page.goto(address)
    ready(page)
    if prepare:
        prepare(page, context)
    sizes(page, pictures)
    dimmed(page, pictures)
    learned(page, pictures)
    axe(page, "phone")
    buttons_stay(page)
    drill(page, pictures)
    with tempfile.TemporaryDirectory() as folder:
        measured(page, chosen.program, Path(folder), pictures)
        mask(page, Path(folder), pictures)
    looks(page, pictures, "phone")
    page.set_viewport_size(SCREEN)
    looks(page, pictures, "screen")
    if chosen.site:
        survives_its_worker(page)
    if chosen.times:
        times(page)
    axe(page, "screen")
    modes(page, pictures)


def modes(page, pictures):
    """Every place in the three lights, as renders/ keeps them."""
    page.set_viewport_size(SCREEN)
    for mode in ("red", "dark", "light"):
        page.select_option("#mode", mode)
        for place in PLACES:
            opened(page, place)
            until(page, "!mask.running && !lessons.running")
            page.screenshot(path=pictures / f"page-{place}-{mode}.png")
    page.select_option("#mode", "red")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program")
    parser.add_argument("site", type=Path, nargs="?")
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--chromium", default=os.environ.get("CHROMIUM", "/usr/bin/chromium"))
    parser.add_argument("--times", action="store_true", help="print how long a doughnut and a masked star take (quiet machines only)")
    chosen = parser.parse_args()
    pictures = chosen.pictures or Path(tempfile.mkdtemp())
    pictures.mkdir(parents=True, exist_ok=True)
    problems = []
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as kept:
        browser = playwright.chromium.launch(executable_path=chosen.chromium, args=["--no-sandbox", "--disable-gpu"])
        if chosen.site:
            with plain_server(chosen.site) as (address, end):
                play(browser, address + "index.html", chosen, pictures, problems, lambda page, context: offline(page, context, chosen.site, end))
        else:
            with serving(chosen.program, kept) as (address, _):
                play(browser, address, chosen, pictures, problems)
        browser.close()
    assert not problems, problems
    print(f"no error in the browser's console; pictures in {pictures}")


if __name__ == "__main__":
    main()
