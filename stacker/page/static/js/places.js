// Places with a blend of their own: painted with a brush, or filled by what is there.

import { pull } from "./chips.js";
import { makeMask } from "./brush.js";
import { fill, find, make } from "./elements.js";
import { readMask, regionFill, saveMask } from "./server.js";

const FILLS = [
  ["sky", "the sky"],
  ["ground", "the ground"],
  ["moving", "what moves"],
  ["still", "what is still"],
];

const NAMED = new Set(FILLS.map(([of]) => of));

/** Return the list of places; they lie in the settings as `regions`. */
export function makePlaces({ key, store, hello, picture, previewSize, say, tell }) {
  const sight = find("sight");
  const canvas = find("paint");
  const room = find("paint-room");
  const ends = new AbortController();
  const listen = { signal: ends.signal };
  const brush = { size: 0.12, soft: 0.5, erase: false };
  let open = null;
  let mask = null;
  let painting = false;
  let stroke = Date.now();

  // the blend of a place that nothing was painted of yet
  let fresh = "median";
  const regions = () => store.get().settings.regions ?? [];
  const put = (next, words) => store.change({ regions: next.length ? next : undefined }, words);

  /** Save the mask under a new name, so that the old one is there to go back to. */
  async function settle(words) {
    const index = open;
    stroke += 1;
    try {
      const { mask: name } = await saveMask(key, `region-${stroke}`, await mask.png());
      lay(index, name, words);
    } catch (error) {
      tell(error.message);
    }
  }

  function lay(index, name, words) {
    const next = regions().map((each, at) => (at === index ? { ...each, mask: name } : each));
    if (index === next.length) next.push({ mask: name, blend: fresh });
    put(next, words);
  }

  /** Show where a place is: masks found by name are asked for, painted ones were kept. */
  async function seen(region) {
    const found = NAMED.has(region.mask)
      ? regionFill(key, region.mask)
      : readMask(key, region.mask);
    await mask?.take(await found);
  }

  async function edit(index) {
    if (open === index) return shut();
    open = index;
    room.hidden = false;
    canvas.classList.add("painting");
    sight.classList.add("busy-drawing");
    mask = makeMask(canvas, previewSize);
    const region = regions()[index];
    if (region) await seen(region).catch((error) => tell(error.message));
    mask?.show();
    list();
    return find("place-brush").querySelector("input, button")?.focus();
  }

  function shut() {
    open = null;
    mask = null;
    room.hidden = true;
    canvas.classList.remove("painting");
    sight.classList.remove("busy-drawing");
    list();
  }

  /** A place that goes by its name is found by the program at full size; strokes change it. */
  function fillBy(of, words) {
    lay(open, of, `${words} filled`);
    say(`The place is ${words} now.`);
  }

  function remove(index) {
    if (open !== null) shut();
    put(
      regions().filter((_, at) => at !== index),
      "a place removed",
    );
  }

  function setBlend(index, blend) {
    if (index === regions().length) fresh = blend;
    else
      put(
        regions().map((each, at) => (at === index ? { ...each, blend } : each)),
        "a place's blend",
      );
  }

  const blendOf = (index) => regions()[index]?.blend ?? fresh;

  function line(index) {
    const choice = make(
      "select",
      {
        "aria-label": `Blend of place ${index + 1}`,
        on: { change: () => setBlend(index, choice.value) },
      },
      hello.blends.map(({ name }) => make("option", { value: name }, name)),
    );
    choice.value = blendOf(index);
    const button = (label, press, rest = {}) =>
      make("button", { type: "button", on: { click: press }, ...rest }, label);
    return make(
      "li",
      { class: "group" },
      make(
        "div",
        { class: "row" },
        make("span", { class: "grow" }, choice),
        button(open === index ? "Done" : "Paint", () => edit(index), {
          "aria-pressed": open === index,
        }),
        index < regions().length
          ? button("Remove", () => remove(index), { "aria-label": `Remove place ${index + 1}` })
          : null,
      ),
      open === index ? tools() : null,
    );
  }

  function tools() {
    const slider = (id, label, low, high, words) => {
      const made = pull({
        id: `brush-${id}`,
        label,
        low,
        high,
        step: 0.01,
        usual: brush[id],
        words,
        live: (value) => (brush[id] = value),
        settle: (value) => (brush[id] = value),
      });
      made.show(brush[id]);
      return made.element;
    };
    const key_ = (label, press, rest = {}) =>
      make("button", { type: "button", on: { click: press }, ...rest }, label);
    const erase = key_(
      "Rub out",
      () => {
        brush.erase = !brush.erase;
        erase.setAttribute("aria-pressed", brush.erase);
      },
      { "aria-pressed": brush.erase },
    );
    return make(
      "div",
      { id: "place-brush", class: "group" },
      make("p", { class: "words" }, "Paint on the picture, or fill it by:"),
      make(
        "div",
        { class: "chips" },
        FILLS.map(([of, words]) => key_(words, () => fillBy(of, words))),
      ),
      slider("size", "Brush", 0.01, 0.5, (value) => `${Math.round(value * 100)} % of the picture`),
      slider("soft", "Soft edge", 0, 1, (value) =>
        value < 0.01 ? "hard" : `${Math.round(value * 100)} %`,
      ),
      make(
        "div",
        { class: "row" },
        erase,
        key_("Clear", () => (mask.clear(), mask.show(), settle("the place cleared"))),
      ),
    );
  }

  /** Write the list anew, and leave the focus where it was. */
  function list() {
    const keys = "input, select, button";
    const had = [...find("places").querySelectorAll(keys)].indexOf(document.activeElement);
    write();
    if (had >= 0) find("places").querySelectorAll(keys)[had]?.focus();
  }

  function write() {
    const count = regions().length;
    const rows = regions().map((_, index) => line(index));
    if (open === count) rows.push(line(count));
    const more = make(
      "button",
      { type: "button", id: "new-place", on: { click: () => edit(count) } },
      count ? "Another place" : "Paint a place",
    );
    fill(
      find("places"),
      rows.length ? make("ol", { class: "places" }, rows) : null,
      open === count ? null : make("div", { class: "group" }, more),
    );
  }

  const pointOf = (event) => {
    const full = picture.fullPoint(event);
    const scale = previewSize[0] / picture.size[0];
    return {
      x: full.x * scale,
      y: full.y * scale,
      radius: (brush.size * Math.min(...previewSize)) / 2,
    };
  };
  canvas.addEventListener(
    "pointerdown",
    (event) => {
      if (!mask || event.button !== 0) return;
      painting = true;
      canvas.classList.add("stroking");
      canvas.setPointerCapture(event.pointerId);
      const { x, y, radius } = pointOf(event);
      mask.stroke(x, y, { radius, soft: brush.soft, erase: brush.erase || event.altKey });
      mask.show({ x, y, radius });
      event.preventDefault();
      event.stopPropagation();
    },
    listen,
  );
  canvas.addEventListener(
    "pointermove",
    (event) => {
      if (!mask) return;
      const { x, y, radius } = pointOf(event);
      // a quick hand moves farther between two pictures of the screen than the brush is wide
      if (painting)
        for (const each of event.getCoalescedEvents?.() ?? [event]) {
          const at = pointOf(each);
          mask.stroke(at.x, at.y, { radius, soft: brush.soft, erase: brush.erase || event.altKey });
        }
      mask.show({ x, y, radius });
    },
    listen,
  );
  const lift = () => {
    if (!painting) return;
    painting = false;
    canvas.classList.remove("stroking");
    mask.lift();
    mask.show();
    settle("a stroke of the brush");
  };
  canvas.addEventListener("pointerup", lift, listen);
  canvas.addEventListener("pointercancel", lift, listen);
  canvas.addEventListener("pointerleave", () => mask && !painting && mask.show(), listen);
  list();

  return {
    show() {
      // a stroke undone shows the mask that was
      if (open !== null && !painting) {
        const region = regions()[open];
        if (region) seen(region).catch(() => null);
        else if (open > regions().length) shut();
        else {
          mask.clear();
          mask.show();
        }
      }
      // a slider of the brush is not taken from under the hand
      if (!document.activeElement?.closest?.("#place-brush input")) list();
    },
    off: () => open !== null && shut(),
    close() {
      if (open !== null) shut();
      ends.abort();
    },
  };
}
