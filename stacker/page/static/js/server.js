// Every question the page asks of the server, and how its refusals come back.

/** The server said no, in one sentence that can be shown as it is. */
export class Refused extends Error {
  constructor(sentence, code, status, body) {
    super(sentence);
    this.code = code;
    this.status = status;
    this.body = body;
  }
}

/** Return whether an error only says that a question was taken back. */
export function takenBack(error) {
  return error instanceof DOMException && error.name === "AbortError";
}

async function ask(method, path, { body, raw, signal, keepalive } = {}) {
  let answer;
  try {
    answer = await fetch(`/api/${path}`, {
      method,
      signal,
      keepalive,
      headers: body === undefined ? {} : { "Content-Type": "application/json" },
      body: body === undefined ? raw : JSON.stringify(body),
    });
  } catch (error) {
    if (takenBack(error)) throw error;
    throw new Refused(
      "The program does not answer; start stacker serve again and reload this page.",
      "no-answer",
      0,
      {},
    );
  }
  if (answer.ok) return answer;
  const said = await answer.json().catch(() => ({}));
  const sentence = said.error ?? `The program answered ${answer.status}; its window may say why.`;
  throw new Refused(sentence, said.code ?? "unknown", answer.status, said);
}

const json = async (...question) => (await ask(...question)).json();
const at = (key) => `burst/${encodeURIComponent(key)}`;

export const hello = () => json("GET", "hello");
export const makeDemo = () => json("POST", "demo");
export const openBurst = (id, signal) => json("POST", "burst", { body: { id }, signal });

export function upload(files, signal) {
  const form = new FormData();
  for (const file of files) form.append("files", file, file.name);
  return json("POST", "upload", { raw: form, signal });
}

export const progress = (key, signal) => json("GET", `${at(key)}/progress`, { signal });
export const events = (key) => json("GET", `${at(key)}/events`);
export const command = (key, settings, output, signal) =>
  json("POST", `${at(key)}/command`, { body: { settings, output }, signal });

/**
 * Return a preview: its picture, and what the headers tell of it.
 *
 * `side` is the longer side in pixels.
 */
export async function preview(key, settings, side, signal) {
  const answer = await ask("POST", `${at(key)}/preview`, {
    body: { settings, side, overlay: null },
    signal,
  });
  const told = (name) => JSON.parse(answer.headers.get(name) ?? "null");
  return {
    picture: await answer.blob(),
    openS: told("X-Open-S"),
    frames: told("X-Frames"),
    histogram: told("X-Histogram"),
    notes: told("X-Notes") ?? [],
    // whether it will soon be another, as when frames are still being held
    passing: told("X-Passing") === 1,
    // where it lies in the frame that the others are held to: [x, y, width, height] in full pixels
    region: told("X-Region"),
  };
}

/** Return where light is clipped, or where a median is in doubt, as a grey picture. */
export async function overlay(key, settings, side, what, signal) {
  const body = { settings, side, overlay: what };
  return (await ask("POST", `${at(key)}/preview`, { body, signal })).blob();
}

/** Return a square of the picture at 100 %, around x, y in full pixels. */
export async function loupe(key, settings, x, y, size, signal) {
  const body = { settings, x, y, size };
  return (await ask("POST", `${at(key)}/loupe`, { body, signal })).blob();
}

export async function regionFill(key, of, signal) {
  return (await ask("POST", `${at(key)}/region-fill`, { body: { of }, signal })).blob();
}

export async function readMask(key, name) {
  return (await ask("GET", `${at(key)}/mask/${encodeURIComponent(name)}`)).blob();
}

export const saveMask = (key, name, png) =>
  json("PUT", `${at(key)}/mask/${encodeURIComponent(name)}`, { raw: png });

export const readSession = (key) => json("GET", `${at(key)}/session`);
export const saveSession = (key, session, { keepalive = false } = {}) =>
  json("PUT", `${at(key)}/session`, { body: session, keepalive });

export const render = (key, settings, output, overwrite) =>
  json("POST", `${at(key)}/render`, { body: { settings, output, overwrite } });
export const jobs = () => json("GET", "jobs");
export const job = (id) => json("GET", `jobs/${encodeURIComponent(id)}`);
export const cancel = (id) => json("DELETE", `jobs/${encodeURIComponent(id)}`);
