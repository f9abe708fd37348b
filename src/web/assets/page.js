// The page: its places, and the practice: what is asked of the program, and what is shown of its answers.
"use strict";

const by = (id) => document.getElementById(id);
/** Turns of the wrench, in the degrees that the words say. */
const STEPS = [90, 45, 20, 10, 5];
const ACTIONS = ["anticlockwise", "clockwise", "recentre", "undo", "mask", "atmosphere", "focus-in", "focus-out", "look-corners", "show-me", "measure", "finish"];
const page = { name: null, state: null, picture: null, screw: 0, step: 1, turned: {}, live: null, busy: Promise.resolve(), question: null };

/** Asks the program and returns the bytes of its reply, or throws its words. */
async function request(path, body, kind) {
  const method = body === undefined ? "GET" : "POST";
  let { status, bytes } = await door(method, path, body, kind);
  if (status === 410) {
    await renewTelescope();
    ({ status, bytes } = await door(method, path, body, kind));
  }
  if (status === 200) return bytes;
  if (status === 401) by("key-part").hidden = false;
  let said = { error: `The program answered ${status}.`, hint: "" };
  try {
    said = JSON.parse(new TextDecoder().decode(bytes));
  } catch { /* no words came with it: its number is said */ }
  throw new Error([said.error, said.hint].filter(Boolean).join(" – "));
}
const ask = async (path, body) => JSON.parse(new TextDecoder().decode(await (body === undefined ? request(path) : request(path, JSON.stringify(body), "application/json"))));
const fetchPicture = async (path) => unpack(await request(path));

/** One thing after the other; what goes wrong is said, and the next thing may be tried. */
function doing(work) {
  document.body.classList.add("busy");
  const own = page.busy.then(work).then(() => trouble(""), (error) => trouble(error.message));
  page.busy = own;
  own.then(() => { if (page.busy === own) document.body.classList.remove("busy"); });
  return own;
}
function trouble(words) {
  by("trouble").textContent = words;
  by("trouble").hidden = !words;
}

async function start() {
  page.question = null;
  const seed = new URLSearchParams(location.search).get("seed");
  const state = await ask("api/sessions", { telescope: scope.name, level: by("level").value, seed: seed === null ? null : Number(seed) });
  await show(state);
}

async function act(action) {
  const begun = performance.now();
  await show(await ask(`api/sessions/${page.name}/actions`, action), action);
  performance.measure("act-to-picture", { start: begun, end: performance.now(), detail: action.do });
}

async function show(state, action) {
  page.state = state;
  page.name = state.session;
  sessionStorage.setItem("skewstar-session", state.session);
  page.turned = state.wrenches;
  by("task").textContent = state.task;
  by("seen").textContent = state.seen || "";
  by("said").textContent = state.said || "";
  by("advice").textContent = state.advice || "";
  by("cost").textContent = state.cost_min.toFixed(1);
  by("mask").setAttribute("aria-pressed", state.mask_on);
  by("atmosphere").setAttribute("aria-pressed", state.atmosphere_moves);
  const nearest = [...by("exposure").options].find((option) => Number(option.value) === state.time_s);
  if (nearest) by("exposure").value = nearest.value;
  for (const id of ACTIONS) by(id).disabled = state.finished;
  by("mask").disabled = state.finished || !state.mask;
  by("lesson").replaceChildren(...(state.lesson || []).map(item));
  by("path").replaceChildren(...state.path.map((round) => item(round.action)));
  // the list scrolls, never the document
  by("path").scrollTop = by("path").scrollHeight;
  by("report").hidden = !state.report;
  by("report").textContent = state.report ? state.report.words : "";
  if (state.report) { by("live").checked = false; liven(); if (action) by("report").focus(); }
  drawPath(by("path-map"), state.path);
  drawScrews();
  await look();
}
function item(words) {
  const made = document.createElement("li");
  made.textContent = words;
  return made;
}
function drawScrews() {
  const raised = page.state ? page.state.raised_front_deg : null;
  drawUnit(by("unit"), page.state ? page.state.screws : scope.screws, page.screw, page.turned, raised, choose);
  const screws = page.state ? page.state.screws : scope.screws;
  const screw = screws[page.screw];
  if (screw) by("chosen").textContent = `Screw ${screw.name}, at ${screw.hour} o'clock, by ${STEPS[page.step]} degrees. Its partner is loosened first and tightened again.`;
}
async function look(at_s) {
  const where = page.question ? `api/questions/${page.question}/star` : `api/sessions/${page.name}/star`;
  page.picture = await fetchPicture(where + (at_s === undefined ? "" : `?at_s=${at_s.toFixed(3)}`));
  repaint();
}
function repaint() {
  if (!page.picture) return;
  const zoom = Number(by("zoom").value);
  const place = paint(by("star"), page.picture, strength(), zoom);
  if (by("suited").checked) by("stretch").value = suited(page.picture.middle);
  if (page.state && !page.question) {
    const scale = place([1, 0])[0] - place([0, 0])[0];
    explain(by("star"), place, page.state.drawing, scale);
  }
  by("star").setAttribute("aria-label", by("seen").textContent || "A star");
}

/** The strength of stretch chosen; nothing when each picture may have its own. */
function strength() {
  return by("suited").checked ? undefined : Number(by("stretch").value);
}
function choose(index) {
  page.screw = index;
  drawScrews();
}
function turn(sign) {
  if (!page.state || page.state.finished) return;
  const action = { do: "turn", screw: page.state.screws[page.screw].name, clockwise_turns: sign * STEPS[page.step] / 360 };
  if (page.question) doing(() => answer(action));
  else doing(() => act(action));
}
function focus(sign) {
  if (!page.name || page.question || page.state.finished) return;
  doing(() => act({ do: "focus", outward_um: sign * Number(by("focus-step").value) }));
}

/** The boiling star: one picture after the other, as fast as they come, ten a second at most. */
function liven() {
  clearTimeout(page.live);
  page.live = null;
  if (!by("live").checked || !page.name || page.question) return;
  const begun = performance.now();
  const next = async () => {
    const shown = performance.now();
    await page.busy;
    try {
      if (by("live").checked && !page.question) await look((performance.now() - begun) / 1000);
    } catch (error) {
      by("live").checked = false;
      trouble(error.message);
      return;
    }
    if (by("live").checked) page.live = setTimeout(next, Math.max(10, 100 - (performance.now() - shown)));
  };
  next();
}

const keys = {
  ArrowRight: () => turn(1), ArrowLeft: () => turn(-1),
  ArrowUp: () => step(-1), ArrowDown: () => step(1),
  "+": () => focus(1), "-": () => focus(-1),
};
/** Letters, for whoever wants them: a dictation or a cat types them by chance. F only goes to the button: Enter ends the drill. */
const letters = {
  r: () => by("recentre").click(), m: () => by("mask").click(), a: () => by("atmosphere").click(), u: () => by("undo").click(),
  h: () => by("show-me").click(), f: () => by("finish").focus(), l: () => by("live").click(),
};
/** The steps of the wrench as buttons of which one is down. */
function offerSteps(place, at, chosen) {
  STEPS.forEach((degrees, index) => {
    const label = document.createElement("label");
    label.className = "step";
    const input = Object.assign(document.createElement("input"), { type: "radio", name: place, value: degrees, checked: index === at });
    const span = Object.assign(document.createElement("span"), { textContent: `${degrees}°` });
    input.addEventListener("change", () => chosen(index));
    label.append(input, span);
    by(place).append(label);
  });
}
function step(change) {
  page.step = Math.min(STEPS.length - 1, Math.max(0, page.step + change));
  by("steps").querySelectorAll("input")[page.step].checked = true;
  drawScrews();
}
document.addEventListener("keydown", (event) => {
  const typing = event.target.matches("select, textarea, input[type=range], input[type=radio], input[type=number]");
  if (typing || event.ctrlKey || event.altKey || event.metaKey || event.repeat || !page.state || by("place-practice").hidden) return;
  const digit = Number(event.key);
  if (digit >= 1 && digit <= page.state.screws.length) { choose(digit - 1); return; }
  const work = keys[event.key] || (by("letters").checked && letters[event.key.toLowerCase()]);
  if (work) { event.preventDefault(); work(); }
});

by("start").addEventListener("click", () => doing(start));
by("clockwise").addEventListener("click", () => turn(1));
by("anticlockwise").addEventListener("click", () => turn(-1));
by("focus-out").addEventListener("click", () => focus(1));
by("focus-in").addEventListener("click", () => focus(-1));
by("recentre").addEventListener("click", () => doing(() => act({ do: "recentre" })));
by("undo").addEventListener("click", () => doing(() => act({ do: "undo" })));
by("mask").addEventListener("click", () => doing(() => act({ do: "mask", on: !page.state.mask_on })));
by("atmosphere").addEventListener("click", () => doing(() => act({ do: "atmosphere", moves: !page.state.atmosphere_moves })));
by("exposure").addEventListener("change", () => { if (page.name) doing(() => act({ do: "expose", time_s: Number(by("exposure").value) })); });
by("show-me").addEventListener("click", () => doing(() => act({ do: "show-me" })));
by("finish").addEventListener("click", () => doing(() => act({ do: "finish" })));
by("measure").addEventListener("click", () => doing(async () => show(await ask(`api/sessions/${page.name}/measure`, {}))));
by("look-corners").addEventListener("click", () => doing(async () => {
  await act({ do: "corners" });
  const sheet = await fetchPicture(`api/sessions/${page.name}/corners`);
  by("corner-figure").hidden = false;
  page.corners = sheet;
  paint(by("corner-star"), sheet, strength(), 1);
}));
by("stretch").addEventListener("input", () => { by("suited").checked = false; repaint(); });
by("suited").addEventListener("change", repaint);
by("zoom").addEventListener("change", repaint);
by("live").addEventListener("change", liven);
/** Light: red for the dark (no green, no blue), dark, or bright by day; and a dimmer over everything. */
const LIGHT = "skewstar-light";
function lighten() {
  document.documentElement.dataset.mode = by("mode").value;
  document.querySelector('meta[name="theme-color"]')?.setAttribute("content", by("mode").value === "light" ? "#f6f4f0" : "#000000");
  by("dimmer").style.opacity = Number(by("dim").value) / 100;
  localStorage.setItem(LIGHT, JSON.stringify({ mode: by("mode").value, dim: by("dim").value, letters: by("letters").checked }));
  repaint();
  if (page.corners) paint(by("corner-star"), page.corners, strength(), 1);
  if (by("free").open) playAgain();
  paintFrame();
  paintMask();
  paintNight();
  paintLesson();
}
function rememberLight() {
  let kept = {};
  try {
    kept = JSON.parse(localStorage.getItem(LIGHT)) || {};
  } catch { /* what another version kept is no reason to show nothing */ }
  if ([...by("mode").options].some(({ value }) => value === kept.mode)) by("mode").value = kept.mode;
  if (kept.dim) by("dim").value = kept.dim;
  if (kept.letters === false) by("letters").checked = false;
  document.documentElement.dataset.mode = by("mode").value;
}
rememberLight();
for (const id of ["mode", "letters"]) by(id).addEventListener("change", lighten);
by("dim").addEventListener("input", lighten);
by("key-use").addEventListener("click", () => useKey(by("key").value));

/** Places of the page, each with an address of its own behind the #; a lesson's stands behind that of its place. */
const PLACES = ["lessons", "practice", "mask", "night"];
function goTo(place) {
  if (location.hash !== `#${place}`) location.hash = place;
  else showPlace();
}
/** The place that is asked for; a single frame is measured where the night is. */
function placeAsked() {
  const asked = location.hash.slice(1).split("/")[0];
  if (asked === "measure") return "night";
  if (PLACES.includes(asked)) return asked;
  return night.on ? "night" : PLACES[0];
}
function showPlace() {
  const place = placeAsked();
  for (const name of PLACES) {
    by(`place-${name}`).hidden = name !== place;
    const link = by(`to-${name}`);
    if (name === place) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
  }
  if (place !== "practice") { by("live").checked = false; liven(); }
  if (scope.name) {
    if (place === "mask") openMask();
    if (place === "lessons") openLesson();
    if (place === "practice") openPractice();
  }
  followNight();
  if (place !== page.place) scrollTo(0, 0);
  page.place = place;
}
addEventListener("hashchange", showPlace);
// the # names places: the skip link moves the focus and nothing else
document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  by("main").focus();
});

/** The levels of a telescope: those that it cannot have are shown with the reason. */
function showLevels(levels) {
  const chosen = by("level").value;
  by("level").replaceChildren(...levels.map(({ word, why_not: why }) => {
    const option = new Option(word.replaceAll("-", " ") + (why ? " (not on this telescope)" : ""), word);
    option.disabled = Boolean(why);
    return option;
  }));
  if (levels.some(({ word, why_not: why }) => word === chosen && !why)) by("level").value = chosen;
  const none = levels.every(({ why_not: why }) => why);
  by("start").disabled = by("ask").disabled = none;
  if (none) by("task").textContent = `Nothing can be practised on this telescope: ${levels[0].why_not}.`;
}

/** Nobody meets an empty square: a session that is open goes on, else a first star stands there, where this telescope has a level. */
function openPractice() {
  if (page.opened) return;
  page.opened = true;
  doing(async () => {
    const open = sessionStorage.getItem("skewstar-session");
    // a session that is gone is no trouble: a new one can be started
    const state = open ? await ask(`api/sessions/${open}`).catch(() => null) : null;
    if (state) await show(state);
    if (!page.name && !by("start").disabled) await start().catch(() => {});
  });
}

/** Another telescope: what was practised on the one before is over. */
function anewOn(view) {
  if (page.text !== undefined && page.text !== view.text) {
    page.name = page.state = page.picture = page.question = null;
    sessionStorage.removeItem("skewstar-session");
    for (const id of ACTIONS) by(id).disabled = true;
    for (const id of ["seen", "said", "advice"]) by(id).textContent = "";
    by("path").replaceChildren();
    by("lesson").replaceChildren();
    by("report").hidden = true;
    by("task").textContent = "Choose a level and start on this telescope.";
    const canvas = by("star");
    canvas.getContext("2d").clearRect(0, 0, canvas.width, canvas.height);
    drawPath(by("path-map"), []);
    if (by("free").open) playAgain();
    page.opened = false;
  }
  showLevels(view.levels);
  if (placeAsked() === "practice") openPractice();
  page.text = view.text;
  page.screw = 0;
  drawScrews();
}

// once every script of the page is there
addEventListener("DOMContentLoaded", () => { lighten(); showPlace(); doing(async () => {
  const about = await ask("api/about");
  prepareNight(about.night);
  scope.listeners.push(anewOn);
  const kept = about.night ? null : localStorage.getItem(KEPT);
  try {
    await loadTelescope(kept);
  } catch {
    // a text that an older version took is no reason to show nothing
    await loadTelescope(null);
  }
  by("cautions").replaceChildren(...about.cautions.map(item));
  by("measure").hidden = !about.can_measure;
  offerSteps("steps", page.step, (index) => { page.step = index; drawScrews(); });
  prepareSliders(about.sliders);
  prepareLessons(about.lessons);
  drawScrews();
  page.ready = true;
  showPlace();
}); });
