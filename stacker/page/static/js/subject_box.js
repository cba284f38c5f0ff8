// The subject's box: drawn on the picture, or given in numbers.

import { fill, find, make } from "./elements.js";

const FIELDS = [
  ["x", "from left"],
  ["y", "from top"],
  ["w", "wide"],
  ["h", "high"],
];

/** Return the box; `showFirst(on)` shows the first frame of the span while it is drawn. */
export function makeSubjectBox({ store, picture, inForce, showFirst, say }) {
  const sight = find("sight");
  const frame = find("box-frame");
  const ends = new AbortController();
  const listen = { signal: ends.signal };
  // a choice that makes no sense before there is a box
  let pending = null;
  let drawing = false;
  let from = null;
  let box = null;

  const inputs = FIELDS.map(([id, label]) =>
    make("input", {
      type: "number",
      id: `box-${id}`,
      min: 0,
      step: 1,
      title: `The box, ${label}, in pixels`,
      on: { change: typed },
    }),
  );
  const key = make(
    "button",
    { type: "button", id: "box-draw", "aria-pressed": "false" },
    "Draw the box",
  );
  key.addEventListener("click", () => turn(!drawing));
  const words = make("p", { class: "words" });
  const numbers = inputs.map((input, index) =>
    make(
      "label",
      { class: "box-number" },
      make("span", { class: "quiet" }, FIELDS[index][1]),
      input,
    ),
  );
  const place = make("div", { class: "group" }, key, words, make("div", { class: "row" }, numbers));
  fill(find("box"), place);

  function turn(on) {
    drawing = on;
    key.setAttribute("aria-pressed", on);
    sight.classList.toggle("boxing", on);
    sight.classList.toggle("busy-drawing", on);
    words.textContent = on ? "Drag over the subject on the first frame of the span." : "";
    showFirst(on);
  }

  function typed() {
    const values = inputs.map((input) => Number(input.value));
    if (inputs.some((input) => input.value === "") || Math.min(values[2], values[3]) <= 0) return;
    settle(values);
  }

  function settle(values) {
    const change = { ...pending, box: values };
    pending = null;
    store.change(change, "the box");
    say(`The box is ${values[2]} by ${values[3]} pixels.`);
  }

  function lay(values) {
    frame.hidden = !values;
    if (!values) return;
    const from = picture.screenPoint(values[0], values[1]);
    const to = picture.screenPoint(values[0] + values[2], values[1] + values[3]);
    frame.style.left = `${from.x}px`;
    frame.style.top = `${from.y}px`;
    frame.style.width = `${to.x - from.x}px`;
    frame.style.height = `${to.y - from.y}px`;
  }

  sight.addEventListener(
    "pointerdown",
    (event) => {
      if (!drawing || event.button !== 0) return;
      sight.setPointerCapture(event.pointerId);
      from = picture.fullPoint(event);
      box = null;
      event.preventDefault();
    },
    listen,
  );
  sight.addEventListener(
    "pointermove",
    (event) => {
      if (!drawing || !from) return;
      const to = picture.fullPoint(event);
      const [left, top] = [Math.min(from.x, to.x), Math.min(from.y, to.y)].map(Math.floor);
      const [right, bottom] = [Math.max(from.x, to.x), Math.max(from.y, to.y)].map(Math.ceil);
      box = [left, top, right - left, bottom - top];
      lay(box);
    },
    listen,
  );
  const release = () => {
    if (!from) return;
    from = null;
    // a slip of the finger is no box
    if (!box || Math.min(box[2], box[3]) < 4) return lay(store.get().settings.box);
    settle(box);
    turn(false);
  };
  sight.addEventListener("pointerup", release, listen);
  sight.addEventListener("pointercancel", release, listen);
  picture.onFit(() => show());

  function show() {
    const settings = { ...store.get().settings, ...pending };
    const held = inForce(settings).hold === "subject";
    place.hidden = !held;
    if (!held && drawing) turn(false);
    lay(held ? settings.box : null);
    inputs.forEach((input, index) => {
      if (document.activeElement !== input) input.value = settings.box?.[index] ?? "";
    });
    if (drawing) return;
    const asked = settings.hold === "subject";
    if (settings.box) words.textContent = "";
    else if (asked) words.textContent = "It needs a box around the subject.";
    else words.textContent = "It is looked for in the burst; draw a box to show it.";
  }

  return {
    show,
    pending: () => pending,
    /** Keep a change back until the box is drawn; null gives it up. */
    wait(change) {
      pending = change;
      if (!change && drawing) turn(false);
      show();
    },
    off: () => drawing && turn(false),
    close() {
      if (drawing) turn(false);
      ends.abort();
      frame.hidden = true;
    },
  };
}
