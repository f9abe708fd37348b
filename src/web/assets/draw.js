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
  const day = document.documentElement.classList.contains("day");
  const table = new Uint32Array(4096);
  for (let i = 0; i < table.length; i++) {
    const level = i / (table.length - 1);
    const gray = strength > 0 ? Math.asinh(level * Math.sinh(strength)) / strength : level;
    const red = Math.round(255 * gray);
    // by night red alone: neither green nor blue
    const other = day ? red : 0;
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

/** Draws what "show me" explains: the ring, its dark centre, and the thin side. */
function explain(canvas, place, drawing, scale) {
  if (!drawing || !drawing.diameter_px) return;
  const context = canvas.getContext("2d");
  const mark = getComputedStyle(document.documentElement).getPropertyValue("--mark");
  const [x, y] = place(drawing.centre_px);
  const radius = drawing.diameter_px / 2 * scale;
  const [dx, dy] = [drawing.shift_px[0] * scale, -drawing.shift_px[1] * scale];
  context.strokeStyle = context.fillStyle = mark;
  context.lineWidth = 3;
  context.setLineDash([9, 6]);
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
  context.stroke();
  context.setLineDash([]);
  context.beginPath();
  context.moveTo(x - 9, y);
  context.lineTo(x + 9, y);
  context.moveTo(x, y - 9);
  context.lineTo(x, y + 9);
  context.stroke();
  context.beginPath();
  context.arc(x + dx, y + dy, 6, 0, 2 * Math.PI);
  context.fill();
  const size = Math.hypot(dx, dy);
  if (size > 1) {
    const [ux, uy] = [dx / size, dy / size];
    context.beginPath();
    context.moveTo(x + ux * radius, y + uy * radius);
    context.lineTo(x + ux * (radius + 34), y + uy * (radius + 34));
    context.stroke();
    context.font = `${Math.round(16 * canvasZoom(canvas))}px system-ui, sans-serif`;
    context.textAlign = ux > 0.3 ? "left" : ux < -0.3 ? "right" : "center";
    context.textBaseline = uy > 0.3 ? "top" : uy < -0.3 ? "bottom" : "middle";
    context.fillText("thin side", x + ux * (radius + 40), y + uy * (radius + 40));
  }
}

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
  context.fillStyle = getComputedStyle(document.documentElement).getPropertyValue("--mark");
  context.textAlign = "left";
  context.textBaseline = "middle";
  context.fillText(words, left, at);
}

/** Shades the side on which the ring is thin, from its dark middle to just beyond its edge. */
function shadeThinSide(canvas, place, scale, ring) {
  const context = canvas.getContext("2d");
  const [x, y] = place(ring.centre_px);
  const outer = ring.outer_px * scale, inner = (ring.inner_px ?? 0.4 * ring.outer_px) * scale;
  const middle = -ring.thin_deg * Math.PI / 180, half = 0.6;
  context.save();
  context.beginPath();
  context.arc(x, y, outer + 14, middle - half, middle + half);
  context.arc(x, y, inner, middle + half, middle - half, true);
  context.closePath();
  context.strokeStyle = getComputedStyle(document.documentElement).getPropertyValue("--mark");
  context.lineWidth = 2;
  context.stroke();
  context.clip();
  // hatching lets the star shine through
  context.lineWidth = 3;
  context.strokeStyle = "#000";
  context.beginPath();
  for (let at = -outer * 3; at < outer * 3; at += 9) {
    context.moveTo(x + at, y - outer - 20);
    context.lineTo(x + at + outer, y + outer + 20);
  }
  context.stroke();
  context.restore();
  label(context, "thin side", x + (outer + 34) * Math.cos(middle), y + (outer + 34) * Math.sin(middle));
}

/** Ticks at the ends of the spikes: short where each should run, long where it runs. */
function tickSpikes(canvas, place, scale, { star_px: star, spikes }) {
  const context = canvas.getContext("2d");
  const [x, y] = place(star);
  const reach = 0.46 * Math.min(canvas.width, canvas.height);
  context.strokeStyle = getComputedStyle(document.documentElement).getPropertyValue("--mark");
  for (const { along: [ux, uy], aside_px: aside } of spikes) {
    for (const [shift, length, width] of [[[0, 0], 10, 2], ...(aside ? [[aside, 24, 4]] : [])]) {
      const [cx, cy] = [x + shift[0] * scale, y - shift[1] * scale];
      context.lineWidth = width;
      context.beginPath();
      for (const sign of [-1, 1]) {
        context.moveTo(cx + sign * ux * (reach - length), cy - sign * uy * (reach - length));
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
