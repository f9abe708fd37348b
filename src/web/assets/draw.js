// Pictures and drawings. The program sends pixels on a straight scale; stretch, zoom and colour are made here.
"use strict";

const SVG = "http://www.w3.org/2000/svg";

/** Takes a reply apart whose parts each stand behind their length. */
function parts(buffer) {
  const view = new DataView(buffer);
  const list = [];
  for (let at = 0; at < buffer.byteLength;) {
    const length = view.getUint32(at, true);
    list.push(buffer.slice(at + 4, at + 4 + length));
    at += 4 + length;
  }
  return list;
}

/** Reads the program's picture format: see src/web/pixels.rs. */
function unpack(buffer) {
  const view = new DataView(buffer);
  if (buffer.byteLength < 20 || view.getUint32(0, false) !== 0x534b5731) throw new Error("this is no picture");
  const columns = view.getUint16(4, true), rows = view.getUint16(6, true);
  const levels = new Float32Array(columns * rows);
  for (let i = 0; i < levels.length; i++) levels[i] = view.getUint16(20 + 2 * i, true) / 65535;
  const [black, white, middle] = [8, 12, 16].map((at) => view.getFloat32(at, true));
  return { columns, rows, levels, middle: white > black ? (middle - black) / (white - black) : 1 };
}

/** The strength of stretch that draws the middle of the lit pixels at 0.42. */
function suited(middle) {
  let [low, high] = [0, 8];
  for (let k = 0; k < 20; k++) {
    const strength = (low + high) / 2;
    const drawn = strength > 0 ? Math.asinh(middle * Math.sinh(strength)) / strength : middle;
    if (drawn < 0.42) low = strength; else high = strength;
  }
  return low;
}

/** 256 colours from black to the brightest, for a strength of stretch from 0 (straight) up. */
function colours(strength) {
  const night = document.documentElement.dataset.mode === "red";
  const table = new Uint32Array(4096);
  for (let i = 0; i < table.length; i++) {
    const level = i / (table.length - 1);
    const gray = strength > 0 ? Math.asinh(level * Math.sinh(strength)) / strength : level;
    const red = Math.round(255 * gray);
    // by night red alone: neither green nor blue
    const other = night ? 0 : red;
    table[i] = (255 << 24) | (other << 16) | (other << 8) | red;
  }
  return table;
}

/** Paints a picture as large as the canvas allows, each pixel a square; without a strength, with one that suits it. Returns where
 *  frame pixels went. */
function paint(canvas, picture, strength, zoom) {
  const { columns, rows, levels } = picture;
  const table = colours(strength ?? suited(picture.middle));
  const small = document.createElement("canvas");
  small.width = columns;
  small.height = rows;
  const context = small.getContext("2d");
  const image = context.createImageData(columns, rows);
  const words = new Uint32Array(image.data.buffer);
  for (let i = 0; i < levels.length; i++) words[i] = table[Math.round(4095 * levels[i])];
  context.putImageData(image, 0, 0);
  const scale = Math.max(1, Math.floor(504 / Math.max(columns, rows))) * zoom;
  const side = [Math.min(columns * scale, 756), Math.min(rows * scale, 756)];
  if (canvas.width !== side[0]) canvas.width = side[0];
  if (canvas.height !== side[1]) canvas.height = side[1];
  const large = canvas.getContext("2d");
  large.imageSmoothingEnabled = false;
  large.fillStyle = "#000";
  large.fillRect(0, 0, canvas.width, canvas.height);
  const left = (canvas.width - columns * scale) / 2, top = (canvas.height - rows * scale) / 2;
  large.drawImage(small, left, top, columns * scale, rows * scale);
  // a place in frame pixels from the middle, y up → a place on the canvas
  return ([x, y]) => [left + (columns / 2 + x) * scale, top + (rows / 2 - y) * scale];
}

/** Draws what "show me" explains: the thin side of a ring, or where the spikes of a mask run. */
function explain(canvas, place, drawing, scale, arrows, named) {
  if (!drawing) return;
  if (drawing.ring) shadeThinSide(canvas, place, scale, drawing.ring, arrows, named);
  if (drawing.spikes.length) tickSpikes(canvas, place, scale, drawing);
}

/** A colour of the page. */
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/** Pixels of a canvas in one pixel of the page. */
const canvasZoom = (canvas) => Math.max(1, canvas.width / (canvas.clientWidth || canvas.width));

/** The words of a drawing, legible on bright and dark. */
function label(context, words, x, y) {
  // as large on the screen as other words, however the canvas is drawn
  const zoom = canvasZoom(context.canvas);
  context.font = `600 ${Math.round(16 * zoom)}px system-ui, sans-serif`;
  const width = context.measureText(words).width;
  const left = Math.min(Math.max(x - width / 2, 4), context.canvas.width - width - 4);
  const half = 11 * zoom;
  const at = Math.min(Math.max(y, half + 3), context.canvas.height - half - 3);
  context.fillStyle = "#000";
  context.fillRect(left - 4, at - half, width + 8, 2 * half);
  context.fillStyle = colour("--tick");
  context.textAlign = "left";
  context.textBaseline = "middle";
  context.fillText(words, left, at);
}

/** Shades the side on which the ring is thin: a wedge that fades from beyond the edge outwards, so that the star itself stays as it is. */
function shadeThinSide(canvas, place, scale, ring, arrows = {}, named = true) {
  const context = canvas.getContext("2d");
  const [x, y] = place(ring.centre_px);
  const outer = ring.outer_px * scale, reach = outer * 1.34;
  const middle = -ring.thin_deg * Math.PI / 180, half = 0.62;
  const fade = context.createRadialGradient(x, y, outer * 1.03, x, y, reach);
  fade.addColorStop(0, colour("--glow"));
  fade.addColorStop(1, "#0000");
  context.save();
  context.fillStyle = fade;
  context.globalAlpha = 0.85;
  context.beginPath();
  context.arc(x, y, reach, middle - half, middle + half);
  context.arc(x, y, outer * 1.03, middle + half, middle - half, true);
  context.closePath();
  context.fill();
  context.restore();
  if (!named) return;
  // its words stand at the end of the wedge that is farther from any arrow
  const taken = Object.values(arrows).map(([ax, ay]) => Math.atan2(-ay, ax));
  const room = (angle) => Math.min(4, ...taken.map((other) => Math.abs(Math.atan2(Math.sin(angle - other), Math.cos(angle - other)))));
  const at = room(middle + half + 0.25) >= room(middle - half - 0.25) ? middle + half + 0.25 : middle - half - 0.25;
  label(context, "thin side", x + outer * 1.28 * Math.cos(at), y + outer * 1.28 * Math.sin(at));
}

/** One lettered arrow a screw, on the rim: where the dark centre goes by a turn clockwise; for the screw that is asked for, by the turn that is asked for. */
function rimArrows(canvas, place, scale, ring, arrows, asked) {
  const context = canvas.getContext("2d");
  const [x, y] = place(ring.centre_px);
  const outer = ring.outer_px * scale, zoom = canvasZoom(canvas);
  for (const [name, px] of Object.entries(arrows)) {
    const own = asked && asked.screw === name;
    const sign = own && asked.degrees < 0 ? -1 : 1;
    const size = Math.hypot(px[0], px[1]);
    if (!(size > 0)) continue;
    const [ux, uy] = [sign * px[0] / size, -sign * px[1] / size];
    const length = Math.min(0.34, Math.max(0.14, size / ring.outer_px)) * outer;
    const [from, to] = [outer * 1.1, outer * 1.1 + length];
    context.strokeStyle = context.fillStyle = own ? colour("--glow") : colour("--tick");
    context.lineWidth = (own ? 5 : 2.500) * zoom;
    context.beginPath();
    context.moveTo(x + ux * from, y + uy * from);
    context.lineTo(x + ux * to, y + uy * to);
    context.stroke();
    const head = (own ? 13 : 9) * zoom;
    context.beginPath();
    context.moveTo(x + ux * (to + head), y + uy * (to + head));
    context.lineTo(x + ux * to - uy * head * 0.6, y + uy * to + ux * head * 0.6);
    context.lineTo(x + ux * to + uy * head * 0.6, y + uy * to - ux * head * 0.6);
    context.closePath();
    context.fill();
    label(context, name, x + ux * (to + 2 * head), y + uy * (to + 2 * head));
  }
}

/** Ticks at the ends of the spikes and nowhere else: thin where each should run, thick where it runs. */
function tickSpikes(canvas, place, scale, { star_px: star, spikes }) {
  const context = canvas.getContext("2d");
  const [x, y] = place(star);
  const reach = 0.48 * Math.min(canvas.width, canvas.height), zoom = canvasZoom(canvas);
  context.strokeStyle = colour("--tick");
  for (const { along: [ux, uy], aside_px: aside } of spikes) {
    for (const [shift, length, width] of [[[0, 0], 12, 1.500], ...(aside ? [[aside, 26, 3.500]] : [])]) {
      const [cx, cy] = [x + shift[0] * scale, y - shift[1] * scale];
      context.lineWidth = width * zoom;
      context.beginPath();
      for (const sign of [-1, 1]) {
        context.moveTo(cx + sign * ux * (reach - length * zoom), cy - sign * uy * (reach - length * zoom));
        context.lineTo(cx + sign * ux * reach, cy - sign * uy * reach);
      }
      context.stroke();
    }
  }
}

function shape(name, attributes, parent) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (parent) parent.append(made);
  return made;
}

/** The unit from the front, with its screws where they are. */
function drawUnit(svg, screws, chosen, turned, raised, choose) {
  // whoever had chosen a screw by the keyboard stands on it still
  const held = document.activeElement?.closest?.("svg") === svg ? document.activeElement.dataset.screw : null;
  svg.replaceChildren();
  shape("circle", { class: "plate", r: 108 }, svg);
  shape("circle", { class: "plate", r: 40 }, svg);
  screws.forEach((screw, index) => {
    const angle = screw.front_deg * Math.PI / 180;
    const [x, y] = [74 * Math.cos(angle), -74 * Math.sin(angle)];
    const group = shape("g", {
      class: "screw", role: "radio", tabindex: 0, "aria-checked": index === chosen,
      "aria-label": `Screw ${screw.name}, at ${screw.hour} o'clock`, "data-screw": screw.name,
      transform: `translate(${x} ${y})`,
    }, svg);
    shape("circle", { r: 25 }, group);
    const slot = shape("line", { class: "slot", x1: 0, y1: -23, x2: 0, y2: -15 }, group);
    slot.setAttribute("transform", `rotate(${360 * (turned[screw.name] || 0)})`);
    shape("text", {}, group).textContent = screw.name;
    group.addEventListener("click", () => choose(index));
    group.addEventListener("keydown", (event) => {
      if (event.key === "Enter" || event.key === " ") { event.preventDefault(); choose(index); }
    });
  });
  if (held) svg.querySelector(`[data-screw="${CSS.escape(held)}"]`)?.focus();
  if (raised !== null && raised !== undefined) {
    const angle = raised * Math.PI / 180;
    const at = (r, a) => `${r * Math.cos(a)} ${-r * Math.sin(a)}`;
    shape("path", { class: "hint", d: `M ${at(104, angle - 0.5)} A 104 104 0 0 0 ${at(104, angle + 0.5)}` }, svg);
    shape("path", { class: "hint thin", d: `M ${at(42, angle)} L ${at(103, angle)}` }, svg);
    shape("text", { class: "label", x: 0, y: 4 }, svg).textContent = "raised edge";
  }
}

/** Where the dark centre stood, round by round. */
function drawPath(svg, path) {
  svg.replaceChildren();
  const places = path.map((round) => round.shift_px).filter((shift) => shift);
  const most = Math.max(4, ...places.map(([x, y]) => Math.hypot(x, y)));
  const at = ([x, y]) => [x / most * 50, -y / most * 50];
  shape("circle", { class: "trail", r: 50 }, svg);
  shape("path", { class: "trail", d: "M -5 0 H 5 M 0 -5 V 5" }, svg);
  if (places.length > 1) shape("polyline", { class: "trail", points: places.map((p) => at(p).join(",")).join(" ") }, svg);
  places.forEach((shift, index) => {
    const [cx, cy] = at(shift);
    shape("circle", { class: index === places.length - 1 ? "dot now" : "dot", cx, cy, r: index === places.length - 1 ? 4 : 2.5 }, svg);
  });
}
