// The telescope that all places work with: its text is the page's state, kept in this browser, and can be saved and opened.
"use strict";

const KEPT = "skewstar-telescope";
const scope = { name: null, title: "", text: "", screws: [], ready: null, listeners: [] };

/** Hands a text in (null: the page's own telescope) and shows what was read. */
async function loadTelescope(text) {
  const view = await ask("api/telescopes", { text });
  const own = text === null;
  Object.assign(scope, { name: view.telescope, title: view.title, text: view.text, screws: view.screws, mask: view.mask });
  if (own) localStorage.removeItem(KEPT); else localStorage.setItem(KEPT, view.text);
  by("scope-title").textContent = view.title;
  by("scope-numbers").textContent = view.numbers;
  by("scope-text").value = view.text;
  by("scope-own").disabled = own;
  for (const listener of scope.listeners) listener(view);
}

/** The program holds only so many telescopes; one that gave way is handed in again. */
async function renewTelescope() {
  await door("POST", "api/telescopes", JSON.stringify({ text: scope.text }), "application/json");
}

/** Part of an address that says which telescope is meant. */
const scopeQuery = () => `telescope=${scope.name}`;

/** Hands a file to whoever sits before the browser. */
function keepFile(name, bytes, kind) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([bytes], { type: kind }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

/** A title as the stem of a file's name. */
const stemOf = (title) => title.toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 40) || "telescope";

by("scope-use").addEventListener("click", () => doing(async () => {
  await loadTelescope(by("scope-text").value);
  by("scope-change").open = false;
}));
by("scope-own").addEventListener("click", () => doing(() => loadTelescope(null)));
by("scope-save").addEventListener("click", () => keepFile(`${stemOf(scope.title)}.toml`, by("scope-text").value, "application/toml"));
by("scope-file").addEventListener("change", () => doing(async () => {
  const [file] = by("scope-file").files;
  by("scope-file").value = "";
  if (!file) return;
  if (file.size > 1 << 20) throw new Error("This file is too long for a scenario: give the .toml file, not a picture.");
  by("scope-text").value = await file.text();
  await loadTelescope(by("scope-text").value);
}));
