// Night: how the night stands, asked again and again; what is told goes to the program, which alone keeps it.
"use strict";

const night = { on: false, board: null, picture: null, stamp: "", screw: 0, step: 1, sound: null, heard: "", timer: null };
/** Asked again after this long. */
const ASK_EVERY_MS = 700;

async function lookAtNight() {
  const board = await ask(`api/night?since=${night.stamp}`);
  if (board.same) {
    settling(board.settles_in_s);
    return;
  }
  const frame = (stamp) => stamp.split("-")[1];
  if (frame(board.stamp) !== frame(night.stamp) || !night.picture) {
    night.picture = board.star ? unpack(await request("api/night/star")) : null;
  }
  night.board = board;
  night.stamp = board.stamp;
  showNight();
  hear(board);
}

/** One look after the other while the place is shown; what goes wrong is said until it goes right again. */
async function followNight() {
  clearTimeout(night.timer);
  if (!night.on || by("place-night").hidden || document.hidden) return;
  try {
    await lookAtNight();
    if (night.failed) trouble("");
    night.failed = false;
  } catch (error) {
    night.failed = true;
    trouble(error.message);
  }
  night.timer = setTimeout(followNight, ASK_EVERY_MS);
}

function settling(seconds) {
  const words = seconds > 0 ? `Settling: ${Math.ceil(seconds)} s. ` : "";
  by("night-frame").textContent = words + night.frameWords;
}

function showNight() {
  const { board } = night;
  by("night-big").textContent = board.big;
  by("night-words").textContent = board.words;
  by("night-why").textContent = board.why ? `Why: ${board.why.replace(/\.$/, "")}.` : "";
  by("night-hands").textContent = board.hands || "";
  by("hands-in").hidden = !board.hands_in;
  by("night-done").disabled = !board.can_be_done;
  by("night-done").textContent = board.can_be_done ? `Done: ${board.big}` : "Done";
  for (const side of ["inside", "outside"]) by(`night-${side}`).setAttribute("aria-pressed", board.side === side);
  for (const id of ["night-mask-on", "night-mask-off"]) by(id).disabled = !board.mask;
  by("night-lines").replaceChildren(...board.lines.map(item));
  const frames = board.frames === 1 ? "1 frame" : `${board.frames} frames`;
  night.frameWords = [`Round ${board.round}, ${frames} of this state.`, board.file ? `Last measured: ${board.file}.` : "", board.skipped ? `Not used: ${board.skipped}` : ""].filter(Boolean).join(" ");
  settling(board.settles_in_s);
  drawComa(by("night-path"), board.path);
  drawNightUnit();
  paintNight();
}

function drawNightUnit() {
  const { board } = night;
  if (!board) return;
  if (board.screw) {
    const asked = board.screws.findIndex(({ name }) => name === board.screw);
    if (asked >= 0 && night.askedScrew !== board.screw) night.screw = asked;
  }
  night.askedScrew = board.screw;
  drawUnit(by("night-unit"), board.screws, night.screw, {}, null, (index) => { night.screw = index; drawNightUnit(); });
}

function paintNight() {
  const canvas = by("night-star");
  if (!night.board) return;
  if (!night.picture) {
    canvas.getContext("2d").clearRect(0, 0, canvas.width, canvas.height);
    canvas.setAttribute("aria-label", "No star yet");
    return;
  }
  const { board } = night;
  const place = paint(canvas, night.picture, undefined, 1);
  const scale = place([1, 0])[0] - place([0, 0])[0];
  if (board.star.ring) {
    // an arrow that is asked for points the way of its turn
    const drawn = Object.fromEntries(Object.entries(board.arrows).map(([name, px]) => [name, name === board.screw && board.degrees < 0 ? px.map((v) => -v) : px]));
    shadeThinSide(canvas, place, scale, board.star.ring, drawn);
    rimArrows(canvas, place, scale, board.star.ring, board.arrows, board);
  }
  tickSpikes(canvas, place, scale, board.star);
  canvas.setAttribute("aria-label", starWords(board));
}

/** What somebody who cannot see the star is told of it. */
function starWords({ star, path, verdict }) {
  const last = path.at(-1);
  const thin = star.ring ? `Ring ${(2 * star.ring.outer_px).toFixed(0)} pixels across, thin towards ${hourOf(star.ring.thin_deg)} o'clock.` : "A star without a ring.";
  return `${thin} ${last ? `Coma ${last.coma_nm.toFixed(0)} of at most ${last.stop_nm.toFixed(0)} nanometres.` : ""} ${verdict || ""}`;
}
const hourOf = (degrees) => ((Math.round(3 - degrees / 30) % 12) + 12) % 12 || 12;

/** Coma of each state of the unit with its uncertainty, and the level below which it is good enough. */
function drawComa(svg, path) {
  svg.replaceChildren();
  if (!path.length) return;
  const stop = path.at(-1).stop_nm;
  const most = Math.max(1.5 * stop, ...path.map((p) => p.coma_nm + p.sigma_nm));
  const x = (k) => 34 + 262 * (path.length > 1 ? k / (path.length - 1) : 0.5);
  const y = (nm) => 108 - 92 * nm / most;
  shape("rect", { class: "enough", x: 24, y: y(stop), width: 282, height: 108 - y(stop) }, svg);
  shape("line", { class: "stop", x1: 24, x2: 306, y1: y(stop), y2: y(stop) }, svg);
  shape("text", { class: "chart", x: 306, y: y(stop) - 4, "text-anchor": "end" }, svg).textContent = `stop below ${stop.toFixed(0)} nm`;
  if (path.length > 1) shape("polyline", { class: "trail", points: path.map((p, k) => `${x(k)},${y(p.coma_nm)}`).join(" ") }, svg);
  path.forEach((p, k) => {
    shape("line", { class: "sigma", x1: x(k), x2: x(k), y1: y(Math.max(0, p.coma_nm - p.sigma_nm)), y2: y(p.coma_nm + p.sigma_nm) }, svg);
    shape("circle", { class: k === path.length - 1 ? "dot now" : "dot", cx: x(k), cy: y(p.coma_nm), r: k === path.length - 1 ? 4.500 : 3 }, svg);
    shape("text", { class: "chart", x: x(k), y: 124, "text-anchor": "middle" }, svg).textContent = k;
  });
  const last = path.at(-1);
  shape("text", { class: "chart strong", x: Math.min(x(path.length - 1), 270), y: Math.max(12, y(last.coma_nm + last.sigma_nm) - 5), "text-anchor": "middle" }, svg).textContent = `${last.coma_nm.toFixed(0)} ± ${last.sigma_nm.toFixed(0)}`;
  svg.setAttribute("aria-label", `Coma against rounds: ${path.map((p) => `${p.coma_nm.toFixed(0)} plus or minus ${p.sigma_nm.toFixed(0)}`).join(", ")} nanometres; good enough below ${stop.toFixed(0)}`);
}

/** Notes of each tone: hertz and seconds, one after the other. */
const TONES = { better: [[523, 0.12], [784, 0.18]], worse: [[392, 0.12], [262, 0.3]], stop: [[659, 0.16], [659, 0.16], [880, 0.5]] };
function hear({ tone, stamp }) {
  const frame = stamp.split("-")[1];
  const is_new = night.heard !== frame;
  night.heard = frame;
  if (!tone || !is_new || !night.sound) return;
  let at = night.sound.currentTime;
  for (const [hertz, seconds] of TONES[tone]) {
    const voice = night.sound.createOscillator(), volume = night.sound.createGain();
    voice.frequency.value = hertz;
    volume.gain.setValueAtTime(0.25, at);
    volume.gain.exponentialRampToValueAtTime(0.001, at + seconds);
    voice.connect(volume).connect(night.sound.destination);
    voice.start(at);
    voice.stop(at + seconds);
    at += seconds;
  }
  night.played = tone;
}

/** Tells something, and shows how it stands then. */
function tell(event) {
  return doing(async () => {
    const { said } = await ask("api/night/tell", event);
    by("night-said").textContent = said;
    await lookAtNight();
  });
}
const tellDone = () => { if (night.board?.can_be_done) tell({ what: "done", big: night.board.big }); };
const tellUndo = () => tell({ what: "undo" });
const chosenScrew = () => night.board.screws[night.screw]?.name;
function tellTurn(sign) {
  tell({ what: "turned", screw: chosenScrew(), clockwise_turns: sign * STEPS[night.step] / 360 });
}
function tellFocus(sign) {
  const typed = Number(by("night-focus").value);
  if (!Number.isFinite(typed) || typed <= 0) return trouble("How far was the focus moved? Give a number above 0.");
  const by_how_much = { [by("night-unit-of").value]: sign * typed };
  return tell({ what: "focused", by: by_how_much });
}

/** Frames that are dropped: one after the other. */
async function sendFrames(files) {
  for (const file of files) {
    if (file.size > 64 << 20) throw new Error("The frame has more than 64 MiB: cut the star's surroundings out of it.");
    by("night-said").textContent = `${file.name}: measuring…`;
    const name = file.name.replace(/[^A-Za-z0-9._-]+/g, "_").slice(-60);
    const line = JSON.parse(new TextDecoder().decode(await request(`night/frame?name=${name}&written_ms=${Math.round(file.lastModified)}`, await file.arrayBuffer(), "application/octet-stream")));
    by("night-said").textContent = line.skipped ? `${line.file}: not used: ${line.skipped}` : `${line.file}: ${line.verdict}`;
    await lookAtNight();
  }
}

function prepareNight(on) {
  night.on = on;
  by("night-on").hidden = !on;
  by("night-off").hidden = on;
  if (!on) return;
  offerSteps("night-steps", night.step, (index) => { night.step = index; });
}

for (const [id, work] of Object.entries({
  "night-done": tellDone, "night-undo": tellUndo,
  "night-skip": () => tell({ what: "skip" }), "night-recentred": () => tell({ what: "recentred" }), "night-locked": () => tell({ what: "locked" }),
  "night-clockwise": () => tellTurn(1), "night-anticlockwise": () => tellTurn(-1),
  "night-card": () => tell({ what: "card", screw: chosenScrew() }), "night-cannot": () => tell({ what: "cannot", screw: chosenScrew() }),
  "night-focus-in": () => tellFocus(-1), "night-focus-out": () => tellFocus(1),
  "night-mask-on": () => tell({ what: "mask", on: true }), "night-mask-off": () => tell({ what: "mask", on: false }),
  "night-inside": () => tell({ what: "side", side: "inside" }), "night-outside": () => tell({ what: "side", side: "outside" }),
})) by(id).addEventListener("click", work);
by("night-sound").addEventListener("click", () => {
  // browsers let a page sound only after a touch: this one
  const on = !night.sound;
  if (on) night.sound = new AudioContext(); else { night.sound.close(); night.sound = null; }
  by("night-sound").setAttribute("aria-pressed", on);
});
// a clicker sends Space or Page Down, with gloves on; a button that the keyboard has chosen keeps its own Space
document.addEventListener("keydown", (event) => {
  if (!night.on || by("place-night").hidden || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
  const own = event.target.matches("input, select, textarea") || (event.target.matches("button, summary, a, [role=radio]") && event.target.matches(":focus-visible"));
  if (own) return;
  const work = { " ": tellDone, PageDown: tellDone, Backspace: tellUndo, PageUp: tellUndo }[event.key];
  if (work) { event.preventDefault(); work(); }
});
/** A button that was pressed by a finger or a mouse gives the keys back: the next Space of a clicker is the step's, not that button's. */
by("place-night").addEventListener("click", (event) => {
  if (event.detail > 0) event.target.closest("button")?.blur();
});
document.addEventListener("visibilitychange", followNight);
