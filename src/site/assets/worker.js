// Holds the program: one request after the other, as src/site/lib.rs answers them.
import init, { Page } from "./skewstar_site.js";

const ready = init().then(() => new Page());

self.addEventListener("message", async ({ data }) => {
  const { number, method, path, query, kind, bytes } = data;
  try {
    const page = await ready;
    const answer = page.answer(method, path, query, kind, bytes);
    const body = answer.body;
    const { status } = answer;
    answer.free();
    self.postMessage({ number, status, bytes: body.buffer }, [body.buffer]);
  } catch (error) {
    // a panic leaves the program's memory in a state that nothing may be asked of
    self.postMessage({ number, ended: String(error) });
  }
});
