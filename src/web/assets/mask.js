// Mask: numbers that can be changed, the plate and the star through it side by side, what was found about it, files for the printer.
"use strict";

const MASK_NUMBERS = [
  ["outer_diameter_mm", "Outer diameter, mm", 1], ["inner_diameter_mm", "Hole, mm", 1], ["slot_pitch_mm", "Pitch, mm", 0.1],
  ["slot_pitch_2_mm", "Second pitch, mm", 0.1], ["open_fraction", "Open share", 0.05], ["zone_radius_mm", "Zone radius, mm", 1],
  ["slant_deg", "Slant, degrees", 1], ["outer_rim_mm", "Outer rim, mm", 0.5], ["inner_rim_mm", "Inner rim, mm", 0.5],
  ["rib_mm", "Ribs, mm", 0.5], ["thickness_mm", "Thickness, mm", 0.2],
];
const MASK_ERRORS = [["focus_um", "Focus, µm", 200, 5], ["coma_nm", "Coma, nm", 500, 10], ["coma_deg", "towards, degrees", 360, 15]];
const mask = { numbers: null, layouts: [], plate: null, star: null, opened: false, wanted: false, running: false };

function prepareMask() {
  by("mask-numbers").replaceChildren(...MASK_NUMBERS.map(([key, words, step]) => {
    const label = document.createElement("label");
    label.dataset.key = key;
    const input = Object.assign(document.createElement("input"), { type: "number", id: `mask-${key}`, step: "any", min: 0, inputMode: "decimal" });
    const nudge = (sign, sense) => {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: sign });
      button.setAttribute("aria-label", `${words}: ${sense}`);
      button.addEventListener("click", () => {
        input.value = Number(Math.max(0, Number(input.value) + (sign === "+" ? step : -step)).toFixed(4));
        changeMask();
      });
      return button;
    };
    const span = document.createElement("span");
    span.textContent = words;
    input.addEventListener("input", changeMask);
    label.htmlFor = input.id;
    label.append(span, nudge("−", "less"), input, nudge("+", "more"));
    return label;
  }));
  by("mask-errors").replaceChildren(...MASK_ERRORS.map(([key, words, limit, step]) => {
    const label = document.createElement("label");
    const span = Object.assign(document.createElement("span"), { textContent: words });
    const output = Object.assign(document.createElement("output"), { textContent: "0" });
    const input = Object.assign(document.createElement("input"), { type: "range", id: `mask-${key}`, min: key === "focus_um" ? -limit : 0, max: limit, step, value: 0 });
    input.addEventListener("input", () => { output.textContent = input.value; changeMask(); });
    label.append(span, input, output);
    return label;
  }));
}

/** The numbers as they stand on the page; null before they were ever shown. */
function maskNumbers() {
  if (!mask.numbers) return null;
  const value = (key) => Number(by(`mask-${key}`).value);
  const numbers = { layout: by("mask-layout").value };
  for (const [key] of MASK_NUMBERS) if (!key.startsWith("slot_pitch")) numbers[key] = value(key);
  numbers.slot_pitch_mm = [value("slot_pitch_mm"), value("slot_pitch_2_mm") || value("slot_pitch_mm")];
  return numbers;
}
function maskQuestion(file) {
  const errors = Object.fromEntries(MASK_ERRORS.map(([key]) => [key, Number(by(`mask-${key}`).value)]));
  errors.seeing = by("mask-seeing").checked;
  return { telescope: scope.name, numbers: maskNumbers(), errors, file };
}

/** The latest numbers win: while one answer is made, only the newest wish waits. */
async function changeMask() {
  mask.wanted = true;
  if (mask.running) return;
  mask.running = true;
  document.body.classList.add("drawing");
  try {
    while (mask.wanted) {
      mask.wanted = false;
      await lookThroughMask();
    }
    trouble("");
  } catch (error) {
    trouble(error.message);
    mask.wanted = false;
  } finally {
    mask.running = false;
    document.body.classList.remove("drawing");
  }
}
async function lookThroughMask() {
  mask.plate = await ask("api/mask/plate", maskQuestion(null));
  showPlate();
  mask.star = unpack(await request("api/mask/star", JSON.stringify(maskQuestion(null)), "application/json"));
  paintMask();
}
function paintMask() {
  if (mask.star) paint(by("mask-star"), mask.star, undefined, 1);
}

function showPlate() {
  const { plate } = mask;
  if (!mask.numbers) {
    by("mask-layout").replaceChildren(...plate.layouts.map(({ word }) => new Option(word.replaceAll("-", " "), word)));
    if (!plate.layouts.some(({ word }) => word === plate.numbers.layout)) by("mask-layout").append(new Option(plate.numbers.layout, plate.numbers.layout));
    by("mask-layout").value = plate.numbers.layout;
    const { slot_pitch_mm: [first, second], ...others } = plate.numbers;
    const shown = { ...others, slot_pitch_mm: first ?? 0, slot_pitch_2_mm: second ?? first ?? 0 };
    for (const [key] of MASK_NUMBERS) by(`mask-${key}`).value = shown[key];
    mask.numbers = plate.numbers;
  }
  const layout = plate.layouts.find(({ word }) => word === plate.numbers.layout);
  const looked = { zone_radius_mm: layout?.zones, slant_deg: layout?.leans, slot_pitch_2_mm: layout?.two_pitches, slot_pitch_mm: layout, open_fraction: layout };
  for (const label of by("mask-numbers").children) {
    if (label.dataset.key in looked) label.hidden = !looked[label.dataset.key];
  }
  by("mask-words").textContent = plate.layout_words;
  const reach = plate.outer_radius_mm * 1.04;
  by("mask-plate").setAttribute("viewBox", `${-reach} ${-reach} ${2 * reach} ${2 * reach}`);
  by("mask-plate").replaceChildren();
  shape("path", { class: "plate-solid", d: plate.plate }, by("mask-plate"));
  shape("path", { class: "plate-line", d: plate.ring }, by("mask-plate"));
  shape("path", { class: "plate-line", d: plate.letters }, by("mask-plate"));
  by("mask-verdict").textContent = plate.printable ? "This mask can be printed." : "Do not print this mask yet.";
  by("mask-findings").replaceChildren(...plate.findings.map(finding));
  by("mask-cautions").textContent = plate.cautions;
}
function finding({ what, serious, kept, value, limit, bound, unit, words, mend }) {
  const made = document.createElement("li");
  const mark = serious ? "Serious" : kept ? "Fine" : "Note";
  const side = limit === null ? "" : ` (${bound === "at_least" ? "at least" : "at most"} ${limit.toFixed(2)})`;
  const head = document.createElement("b");
  head.textContent = `${mark}: ${what.replaceAll("_", " ")} ${value.toFixed(2)} ${unit}${side}`;
  made.className = serious ? "serious" : "";
  made.append(head, ` ${words}`, mend ? ` To mend it: ${mend}` : "");
  return made;
}

function openMask() {
  if (mask.opened) return;
  mask.opened = true;
  changeMask();
}

prepareMask();
by("mask-layout").addEventListener("change", changeMask);
by("mask-seeing").addEventListener("change", changeMask);
by("mask-files").addEventListener("click", (event) => {
  const kind = event.target.dataset.file;
  if (kind) doing(async () => keepFile(`${stemOf(scope.title)}.${kind}`, await request("api/mask/file", JSON.stringify(maskQuestion(kind)), "application/json"), "application/octet-stream"));
});
by("mask-own").addEventListener("click", () => { mask.numbers = null; changeMask(); });
by("mask-use").addEventListener("click", () => doing(async () => {
  const text = new TextDecoder().decode(await request("api/mask/file", JSON.stringify(maskQuestion("toml")), "application/json"));
  await loadTelescope(text);
}));
scope.listeners.push(() => {
  mask.numbers = null;
  if (mask.opened) changeMask();
});
