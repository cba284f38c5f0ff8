// Rendering at full size: in the background, with how far it is, and a way to stop it.

import { fill, find, make } from "./elements.js";
import { cancel, job, jobs, render } from "./server.js";
import { seconds } from "./words.js";

const ASK_MS = 400;
const UNDER_WAY = new Set(["waiting", "running"]);

/** Return the render key and the list of what is under way; `proposal()` names the file. */
export function makeFullSize({ key, store, folder, proposal, named, say }) {
  const field = make("input", {
    type: "text",
    id: "output",
    "aria-label": "Name of the file",
    spellcheck: false,
  });
  const key_ = make(
    "button",
    { type: "submit", class: "main", id: "render", "aria-keyshortcuts": "r" },
    "Render",
  );
  const trouble = make("div", { role: "alert" });
  const list = make("ul", { class: "jobs", "aria-label": "Pictures under way" });
  const last = folder.split(/[\\/]/).at(-1) || folder;
  const words = make(
    "p",
    { class: "words", title: folder },
    `Full size, into ${last}, as .tif, .png or .jpg`,
  );
  let own = false;
  let watched = new Map();
  let timer = null;
  fill(
    find("full"),
    list,
    trouble,
    make("div", { class: "row" }, make("div", { class: "grow" }, field), key_),
    words,
  );

  field.addEventListener("input", () => {
    own = field.value.trim() !== "";
    named();
  });
  find("sheet").onsubmit = (event) => {
    event.preventDefault();
    start(false);
  };

  function output() {
    return own ? field.value.trim() : proposal();
  }

  async function start(overwrite) {
    fill(trouble);
    const name = output();
    key_.disabled = true;
    try {
      const { job: id } = await render(key, store.get().settings, name, overwrite);
      watch(id, { state: "waiting", what: name, done: 0, of: 0, output: name });
      say(`${name} is being rendered.`);
    } catch (error) {
      if (error.code === "file-exists") askToReplace(name, error.message);
      else fill(trouble, make("p", { class: "said" }, error.message));
    }
    key_.disabled = false;
  }

  function askToReplace(name, sentence) {
    const button = (label, press) =>
      make("button", { type: "button", on: { click: () => (fill(trouble), press()) } }, label);
    const away = button("Choose another name", () => field.select());
    fill(
      trouble,
      make("p", { class: "said" }, sentence),
      make(
        "div",
        { class: "row" },
        button("Replace it", () => start(true)),
        away,
      ),
    );
    away.focus();
  }

  function watch(id, state) {
    watched.set(id, state);
    show();
    clearTimeout(timer);
    timer = setTimeout(ask, ASK_MS);
  }

  async function ask() {
    for (const [id, before] of watched) {
      if (!UNDER_WAY.has(before.state)) continue;
      try {
        const told = await job(id);
        const now = { ...told, output: told.output ?? before.output };
        watched.set(id, now);
        if (!UNDER_WAY.has(now.state)) say(ending(now));
      } catch (error) {
        watched.set(id, { ...before, state: "failed", error: error.message });
      }
    }
    show();
    if ([...watched.values()].some((each) => UNDER_WAY.has(each.state)))
      timer = setTimeout(ask, ASK_MS);
  }

  function ending({ state, output: name, error, warnings }) {
    const notes = (warnings ?? []).join(" ");
    if (state === "done") return `${name} is there.${notes ? ` ${notes}` : ""}`;
    if (state === "cancelled") return `${name} was stopped; nothing is left of it.`;
    return error ?? `${name} could not be made.`;
  }

  const rows = new Map();

  function row(id, told) {
    const state = UNDER_WAY.has(told.state) ? "under way" : "ended";
    const known = rows.get(id);
    if (known?.dataset.state === state && state === "under way") {
      known.querySelector("progress").value = share(told);
      known.querySelector("p").textContent = goingOn(told);
      return known;
    }
    if (known?.dataset.state === state) return known;
    const button = (label, press) =>
      make("button", { type: "button", on: { click: press } }, label);
    const made = make(
      "li",
      { class: "job", data: { state } },
      state === "under way"
        ? [
            make("progress", {
              max: 1,
              value: share(told),
              "aria-label": `${told.output} under way`,
            }),
            make(
              "div",
              { class: "row" },
              make("p", { class: "grow" }, goingOn(told)),
              button("Stop", () => cancel(id).catch(() => null)),
            ),
          ]
        : make(
            "div",
            { class: "row" },
            make("p", { class: "grow said" }, ending(told)),
            button("Put away", () => (watched.delete(id), rows.delete(id), show())),
          ),
    );
    rows.set(id, made);
    return made;
  }

  const share = ({ done, of }) => (of ? done / of : 0);

  function goingOn({ state, output: name, stage, done, of, left_s: left }) {
    if (state === "waiting") return `${name} waits its turn`;
    const steps = of > 1 ? ` ${done} of ${of}` : "";
    const rest = Number.isFinite(left) ? `, ${seconds(Math.max(1, Math.round(left)))} left` : "";
    return `${name}: ${stage ?? "under way"}${steps}${rest}`;
  }

  function show() {
    fill(
      list,
      [...watched].map(([id, told]) => row(id, told)),
    );
  }

  // what an earlier tab or a reload left under way is still of interest
  jobs()
    .then((all) => {
      for (const each of all.jobs)
        if (UNDER_WAY.has(each.state))
          watch(each.id, { ...each, output: each.output ?? each.what });
    })
    .catch(() => null);

  return {
    output,
    show() {
      if (!own) field.value = proposal();
    },
    start: () => start(false),
    close() {
      clearTimeout(timer);
    },
  };
}
