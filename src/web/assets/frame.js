// Measure: a frame that is chosen or dropped is measured for the telescope above, and what it shows is drawn on the star.
"use strict";

const VERDICTS = { stop: "Stop: this is as good as it gets", turn: "Turn a screw", trial: "Try, and look again", "look-again": "Look again before you turn" };
const frame = { file: null, found: null, picture: null };

async function measureFrame() {
  if (!frame.file) return;
  by("frame-name").textContent = `${frame.file.name}: measuring…`;
  by("frame-found").hidden = true;
  const picked = (name) => document.querySelector(`input[name="${name}"]:checked`).value;
  // the name is for messages only: what a query cannot hold is left out
  const name = frame.file.name.replace(/[^A-Za-z0-9._-]+/g, "_").slice(-60);
  const asked = [scopeQuery(), `name=${name}`, `mask=${picked("frame-mask")}`];
  if (picked("frame-side")) asked.push(`side=${picked("frame-side")}`);
  const begun = performance.now();
  try {
    const [said, picture] = parts(await request(`api/frames?${asked.join("&")}`, await frame.file.arrayBuffer()));
    frame.found = JSON.parse(new TextDecoder().decode(said));
    frame.picture = unpack(picture);
  } catch (error) {
    // no star of another frame stands beside the refusal
    by("frame-name").textContent = `${frame.file.name}: not measured`;
    frame.found = frame.picture = null;
    by("frame-star").hidden = true;
    throw error;
  }
  performance.measure("frame-to-verdict", { start: begun, end: performance.now() });
  by("frame-name").textContent = frame.file.name;
  by("frame-empty").hidden = true;
  showFrame();
}

function showFrame() {
  const { found } = frame;
  by("frame-found").hidden = false;
  by("verdict").textContent = VERDICTS[found.verdict];
  by("verdict").dataset.verdict = found.verdict;
  by("frame-next").replaceChildren(...found.next.map(item));
  const stop = `Stop below ${found.stop_nm.toFixed(0)} nm`;
  by("frame-coma").textContent = found.coma ? `Coma ${found.coma.words} nm RMS. ${stop}.` : `No coma was measured. ${stop}.`;
  by("frame-words").replaceChildren(...found.words.join("\n").split("\n").filter(Boolean).map(item));
  const warned = [...found.warnings, ...found.flags];
  by("frame-warnings").replaceChildren(...warned.map(item));
  by("frame-warned").hidden = warned.length === 0;
  paintFrame();
}

function paintFrame() {
  if (!frame.picture) return;
  const canvas = by("frame-star");
  canvas.hidden = false;
  const place = paint(canvas, frame.picture, undefined, 1);
  const scale = place([1, 0])[0] - place([0, 0])[0];
  if (frame.found.drawing.ring) shadeThinSide(canvas, place, scale, frame.found.drawing.ring);
  tickSpikes(canvas, place, scale, frame.found.drawing);
  canvas.setAttribute("aria-label", [by("verdict").textContent, by("frame-coma").textContent].join(". "));
}

async function takeFrame(files) {
  const [file] = files;
  if (!file) return;
  if (file.size > 64 << 20) throw new Error("The frame has more than 64 MiB: cut the star's surroundings out of it.");
  frame.file = file;
  await measureFrame();
}

by("frame-file").addEventListener("change", () => doing(async () => {
  await takeFrame(by("frame-file").files);
  by("frame-file").value = "";
}));
for (const name of ["frame-side", "frame-mask"]) {
  for (const input of document.querySelectorAll(`input[name="${name}"]`)) input.addEventListener("change", () => doing(measureFrame));
}
by("frame-record").addEventListener("click", () => {
  if (frame.found) keepFile(`${stemOf(frame.file.name)}.measure.json`, JSON.stringify(frame.found.report, null, 2), "application/json");
});
// a frame may be dropped wherever the page is
document.addEventListener("dragover", (event) => { event.preventDefault(); document.body.classList.add("dropping"); });
document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("dropping"); });
document.addEventListener("drop", (event) => {
  event.preventDefault();
  document.body.classList.remove("dropping");
  const { files } = event.dataTransfer;
  if (!files.length) return;
  goTo("night");
  doing(() => night.on ? sendFrames(files) : takeFrame(files));
});
scope.listeners.push(() => { if (frame.file) doing(measureFrame); });
