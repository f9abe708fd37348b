// The door without a server: requests go as messages to a worker that holds the same program. Everything stays in this browser.
"use strict";

const worker = { it: null, waiting: new Map(), number: 0 };

function openWorker() {
  worker.it = new Worker("worker.js", { type: "module" });
  worker.it.addEventListener("message", ({ data }) => {
    const asked = worker.waiting.get(data.number);
    worker.waiting.delete(data.number);
    if (data.ended) endWorker(data.ended);
    else asked?.resolve({ status: data.status, bytes: data.bytes });
  });
  worker.it.addEventListener("error", (event) => endWorker(event.message || "the worker cannot be loaded"));
}

/** Whoever waits is told; the next request opens another worker, in which no session is open. */
function endWorker(words) {
  worker.it?.terminate();
  worker.it = null;
  const waiting = [...worker.waiting.values()];
  worker.waiting.clear();
  for (const { reject } of waiting) reject(new Error(`The page's own program has ended (${words}). Start again; a smaller frame needs less memory.`));
}

/** Asks the program; the reply is its status and its bytes. */
function door(method, path, body, kind) {
  if (!worker.it) openWorker();
  const [place, query = ""] = path.split("?");
  const bytes = typeof body === "string" ? new TextEncoder().encode(body) : new Uint8Array(body ?? 0);
  const number = worker.number++;
  return new Promise((resolve, reject) => {
    worker.waiting.set(number, { resolve, reject });
    worker.it.postMessage({ number, method, path: `/${place}`, query, kind: kind ?? "", bytes });
  });
}

/** Nothing is locked here. */
function useKey() {}

// after the first visit the page needs no network
if ("serviceWorker" in navigator) navigator.serviceWorker.register("offline.js").catch(() => {});
