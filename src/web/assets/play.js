// Questions, and free play: sliders that change the doughnut, the masked star and the corners together.
"use strict";

const NAMES = {
  tilt_arcmin: "Tilt, arcmin", tilt_deg: "Raised edge at, degrees", focus_um: "Focus, µm",
  astigmatism_nm: "Optics squeezed from two sides, nm", astigmatism_deg: "towards, degrees",
  trefoil_nm: "Optics pinched at three places, nm", trefoil_deg: "towards, degrees", spherical_nm: "Optics too near or too far, nm", seeing: "Moving atmosphere, 0 off, 1 on",
};
const free = { waiting: false, running: false };

function prepareSliders(sliders) {
  by("sliders").replaceChildren(...sliders.map(({ name, limit }) => {
    const label = document.createElement("label");
    const words = document.createElement("span");
    words.textContent = NAMES[name] || name;
    const angle = name.endsWith("_deg") || name === "seeing" || name === "tilt_arcmin";
    const input = Object.assign(document.createElement("input"), { type: "range", min: angle ? 0 : -limit, max: limit, step: name === "seeing" ? 1 : limit / 60, value: 0, name });
    input.id = `slider-${name}`;
    const output = document.createElement("output");
    output.textContent = "0";
    input.addEventListener("input", () => {
      output.textContent = Number(Number(input.value).toFixed(1));
      playAgain();
    });
    label.append(words, input, output);
    return label;
  }));
}

/** The latest sliders win: while a picture is made, only the newest wish waits. */
async function playAgain() {
  if (free.running) { free.waiting = true; return; }
  free.running = true;
  try {
    do {
      free.waiting = false;
      await playOnce();
    } while (free.waiting);
    trouble("");
  } catch (error) {
    trouble(error.message);
  } finally {
    free.running = false;
  }
}
/** What is looked at first is drawn first: the ring; the others follow unless a newer wish waits. */
async function playOnce() {
  const values = [...by("sliders").querySelectorAll("input")].map((input) => `${input.name}=${Number(input.value)}`);
  for (const [part, id] of [["ring", "play-ring"], ["mask", "play-mask"], ["corners", "play-corners"]]) {
    if (free.waiting) return;
    if (part === "mask" && !scope.mask) continue;
    paint(by(id), unpack(await request(`api/play?${scopeQuery()}&part=${part}&${values.join("&")}`)), strength(), 1);
  }
}
by("free").addEventListener("toggle", () => { if (by("free").open) playAgain(); });

/** One star, one answer: choose a screw and a turn. */
async function pose() {
  const posed = await ask("api/questions", { telescope: scope.name, seed: null });
  page.question = posed.question;
  page.name = null;
  by("live").checked = false;
  page.state = { screws: posed.screws, finished: false, path: [], drawing: null };
  page.turned = {};
  by("task").textContent = "One screw is out. Which one, which way, how much? Choose the screw and the turn that put it right.";
  by("seen").textContent = by("said").textContent = by("advice").textContent = "";
  by("report").hidden = true;
  by("corner-figure").hidden = true;
  by("cost").textContent = "0";
  by("lesson").replaceChildren();
  by("path").replaceChildren();
  for (const id of ACTIONS) by(id).disabled = !id.endsWith("clockwise");
  drawPath(by("path-map"), []);
  drawScrews();
  await look();
}
async function answer(action) {
  const grade = await ask(`api/questions/${page.question}/answer`, { screw: action.screw, clockwise_turns: action.clockwise_turns });
  by("said").textContent = `${Math.round(grade.points)} of 100. ${grade.words}`;
  page.state.finished = true;
  for (const id of ACTIONS) by(id).disabled = true;
}
by("ask").addEventListener("click", () => doing(pose));
