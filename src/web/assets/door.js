// The door to the program: one request, one reply. Without a server another file of this name hands requests to a worker.
"use strict";

/** The token stands behind the # of the address, where it is never sent by itself; afterwards the # names places. */
const TOKEN = "skewstar-key";
if (/^#[0-9a-z]{4}-[0-9a-z]{4}$/.test(location.hash)) {
  sessionStorage.setItem(TOKEN, location.hash.slice(1));
  history.replaceState(null, "", location.pathname + location.search);
}
/** A key that was typed, where the address was typed without it. */
function useKey(key) {
  sessionStorage.setItem(TOKEN, key.trim());
  location.reload();
}

/** Asks the program; the reply is its status and its bytes. */
async function door(method, path, body, kind) {
  const token = sessionStorage.getItem(TOKEN);
  const headers = { ...(token ? { "X-Skewstar-Key": token } : {}), ...(kind ? { "Content-Type": kind } : {}) };
  let reply;
  try {
    reply = await fetch(path, { method, headers, body });
  } catch {
    throw new Error("The program does not answer. Is it still running?");
  }
  return { status: reply.status, bytes: await reply.arrayBuffer() };
}
