// Lessons: a star to move, the thing to see pointed out and then withdrawn, three questions with a tally.
"use strict";

const TALLY = "skewstar-lessons";
const lessons = { list: [], about: null, values: [], picture: null, shown: null, seed: null, asked: 0, right: 0, wanted: false, running: false, answered: true };

function prepareLessons(list) {
  lessons.list = list;
  by("lesson-which").replaceChildren(...list.map(({ word, title }, number) => new Option(`${number + 1}. ${title}`, word)));
}
const lessonAsked = () => {
  const [place, word] = location.hash.slice(1).split("/");
  return place === "lessons" && lessons.list.some((lesson) => lesson.word === word) ? word : null;
};

/** Opens the lesson of the address, else the one that was open, else the first. */
function openLesson() {
  if (!lessons.list.length) return;
  const word = lessonAsked() ?? lessons.about?.word ?? lessons.list[0].word;
  if (lessons.about?.word === word && lessons.scope === scope.name) return;
  doing(() => showLesson(word));
}

async function showLesson(word) {
  const about = await ask(`api/lessons/${word}`, { telescope: scope.name });
  Object.assign(lessons, { about, values: about.handles.map(({ start }) => start), seed: null, asked: 0, right: 0, alarms: 0, scope: scope.name, answered: true });
  by("lesson-which").value = word;
  by("lesson-title").textContent = about.title;
  by("lesson-words").replaceChildren(...about.words.map((words) => Object.assign(document.createElement("p"), { textContent: words })));
  by("lesson-bench").hidden = !about.on_the_bench;
  by("lesson-handles").replaceChildren(...about.handles.map(handle));
  const number = lessons.list.findIndex((lesson) => lesson.word === word);
  by("lesson-before").disabled = number === 0;
  by("lesson-next").disabled = number === lessons.list.length - 1;
  by("lesson-question").textContent = by("lesson-verdict").textContent = "";
  by("lesson-choices").replaceChildren();
  by("lesson-ask").textContent = "Ask me";
  by("lesson-ask").disabled = false;
  tellTally();
  pointOut(true);
  await lookAtLesson();
}

function handle({ words, low, high, step, start }, index) {
  const label = document.createElement("label");
  const span = Object.assign(document.createElement("span"), { textContent: words });
  const input = Object.assign(document.createElement("input"), { type: "range", min: low, max: high, step, value: start, id: `lesson-handle-${index}` });
  input.addEventListener("input", () => {
    lessons.values[index] = Number(input.value);
    if (lessons.seed !== null) endQuestion();
    changeLesson();
  });
  label.append(span, input);
  return label;
}

/** The latest values win: while a picture is made, only the newest wish waits. */
async function changeLesson() {
  if (lessons.running) { lessons.wanted = true; return; }
  lessons.running = true;
  document.body.classList.add("drawing");
  try {
    do {
      lessons.wanted = false;
      await lookAtLesson();
    } while (lessons.wanted);
    trouble("");
  } catch (error) {
    trouble(error.message);
  } finally {
    lessons.running = false;
    document.body.classList.remove("drawing");
  }
}
const lessonBody = (more) => JSON.stringify({ telescope: scope.name, ...(lessons.seed === null ? { values: lessons.values } : { seed: lessons.seed }), ...more });
const askLesson = (what, more) => request(`api/lessons/${lessons.about.word}/${what}`, lessonBody(more), "application/json");

async function lookAtLesson() {
  const begun = performance.now();
  const picture = unpack(await askLesson("star"));
  const shown = JSON.parse(new TextDecoder().decode(await askLesson("shown")));
  Object.assign(lessons, { picture, shown });
  paintLesson();
  performance.measure("lesson-to-picture", { start: begun, end: performance.now() });
}

/** Columns from the first to the last with light, more than a fifth of the brightest. */
function litAcross({ columns, rows, levels }) {
  const lit = [...Array(columns).keys()].filter((x) => [...Array(rows).keys()].some((y) => levels[y * columns + x] > 0.2));
  return lit.length ? lit.at(-1) - lit[0] + 1 : 0;
}
function paintLesson() {
  if (!lessons.picture) return;
  const canvas = by("lesson-star");
  const place = paint(canvas, lessons.picture, undefined, 1);
  const scale = place([1, 0])[0] - place([0, 0])[0];
  // a question keeps what it asks for to itself until it is answered
  const pointed = by("lesson-shown").getAttribute("aria-pressed") === "true" && lessons.answered;
  const { drawings, arrows } = lessons.shown;
  // a ring without a thin side is pointed out by its width
  if (pointed && !drawings.length && lessons.seed === null && lessons.about.word !== "corners") {
    label(canvas.getContext("2d"), `equally wide all round, ${litAcross(lessons.picture)} px across`, canvas.width / 2, canvas.height);
  }
  for (const drawing of pointed ? drawings : []) {
    // beside another star there is room for the shade, not for its words
    explain(canvas, place, drawing, scale, drawings.length === 1 ? arrows : {}, drawings.length === 1);
    if (drawing.ring && drawings.length === 1) rimArrows(canvas, place, scale, drawing.ring, arrows, null);
  }
  const rings = drawings.filter(({ ring }) => ring).map(({ ring }) => `thin towards ${hourOf(ring.thin_deg)} o'clock`);
  canvas.setAttribute("aria-label", pointed && rings.length ? `A star: ${rings.join("; ")}` : `The star of the lesson: ${lessons.about.title}`);
}
function pointOut(on) {
  by("lesson-shown").setAttribute("aria-pressed", on);
  paintLesson();
}

/** Poses the next of three questions. */
async function poseLesson() {
  if (lessons.asked >= 3) Object.assign(lessons, { asked: 0, right: 0, alarms: 0 });
  // each question has a seed of its own; nothing is hidden by it
  lessons.seed = crypto.getRandomValues(new Uint32Array(1))[0];
  lessons.answered = false;
  const posed = JSON.parse(new TextDecoder().decode(await askLesson("question")));
  by("lesson-question").textContent = `${lessons.asked + 1} of 3: ${posed.asks}`;
  by("lesson-verdict").textContent = "";
  by("lesson-choices").replaceChildren(...posed.choices.map((words, choice) => {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: words });
    button.addEventListener("click", () => doing(() => answerLesson(choice)));
    return button;
  }));
  by("lesson-ask").disabled = true;
  await lookAtLesson();
}
async function answerLesson(choice) {
  if (lessons.answered) return;
  const said = JSON.parse(new TextDecoder().decode(await askLesson("answer", { choice })));
  lessons.answered = true;
  lessons.asked += 1;
  if (said.right) lessons.right += 1;
  if (!said.right && lessons.about.word === "stop" && said.choice === 0) lessons.alarms += 1;
  const buttons = [...by("lesson-choices").children];
  buttons.forEach((button) => { button.disabled = true; });
  buttons[said.choice].classList.add("right");
  by("lesson-verdict").textContent = said.words;
  by("lesson-ask").disabled = false;
  by("lesson-ask").textContent = lessons.asked < 3 ? "Next question" : "Three more";
  keepTally();
  tellTally();
  paintLesson();
}
function endQuestion() {
  lessons.seed = null;
  lessons.answered = true;
  by("lesson-question").textContent = by("lesson-verdict").textContent = "";
  by("lesson-choices").replaceChildren();
  by("lesson-ask").disabled = false;
}

/** The tally of each lesson stays in this browser. */
function tallies() {
  try {
    return JSON.parse(localStorage.getItem(TALLY)) || {};
  } catch {
    return {};
  }
}
function keepTally() {
  const kept = tallies();
  if (lessons.asked === 3) {
    const best = Math.max(lessons.right, kept[lessons.about.word] ?? 0);
    localStorage.setItem(TALLY, JSON.stringify({ ...kept, [lessons.about.word]: best }));
  }
}
function tellTally() {
  const kept = tallies()[lessons.about.word];
  const now = lessons.asked ? `${lessons.right} of ${lessons.asked} right${lessons.alarms ? `, false alarms: ${lessons.alarms}` : ""}.` : "";
  const best = kept === undefined ? "" : ` Best so far: ${kept} of 3.`;
  by("lesson-tally").textContent = now + best;
}
function stepLesson(change) {
  const number = lessons.list.findIndex(({ word }) => word === lessons.about.word) + change;
  if (lessons.list[number]) location.hash = `lessons/${lessons.list[number].word}`;
}

by("lesson-which").addEventListener("change", () => { location.hash = `lessons/${by("lesson-which").value}`; });
by("lesson-before").addEventListener("click", () => stepLesson(-1));
by("lesson-next").addEventListener("click", () => stepLesson(1));
by("lesson-shown").addEventListener("click", () => pointOut(by("lesson-shown").getAttribute("aria-pressed") !== "true"));
by("lesson-ask").addEventListener("click", () => doing(poseLesson));
scope.listeners.push(() => { if (placeAsked() === "lessons") openLesson(); });
