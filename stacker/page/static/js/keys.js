// Single keys, and the panel that tells them.

import { fill, find, make } from "./elements.js";

const KEPT = "stacker.keys";
const LIST = [
  ["Space", "play the frames, or stop"],
  [", .", "one frame back, on"],
  ["[ ]", "shutter shorter, longer"],
  ["{ }", "span earlier, later"],
  ["C", "compare under a line"],
  ["F", "flip to the other picture and back"],
  ["M", "magnify to 100 %"],
  ["X", "hatch what is burnt out or black"],
  ["D", "dot what is in doubt"],
  ["P", "paint a place"],
  ["K", "keep as a version"],
  ["1 … 9", "a version kept"],
  ["R", "render at full size"],
  ["Z", "undo (Shift: redo)"],
  ["A", "to the axis of time"],
  ["?", "this panel"],
  ["Esc", "leave what is going on"],
];

/** Mind the keys; `acts` are functions by the name of the key. */
export function mindKeys(acts) {
  const help = find("help");
  let off = false;
  try {
    off = localStorage.getItem(KEPT) === "off";
  } catch {
    // no storage: the keys are on
  }
  const box = make("input", {
    type: "checkbox",
    id: "single-keys",
    checked: !off,
    on: {
      change: () => {
        off = !box.checked;
        try {
          localStorage.setItem(KEPT, off ? "off" : "on");
        } catch {
          // holds until the page is closed
        }
      },
    },
  });
  fill(
    help,
    make("h2", { id: "help-title" }, "Keys"),
    make(
      "dl",
      {},
      LIST.map(([key, words]) => [
        make(
          "dt",
          {},
          key.split(" ").map((each) => (each === "…" ? " … " : make("kbd", {}, each))),
        ),
        make("dd", {}, words),
      ]),
    ),
    make(
      "p",
      {},
      "On the axis: Tab goes to the ends of the span and to the frames; arrow keys move them, with Shift the whole span; Enter takes a frame in or out. A drag beside the span opens the shutter anew, a drag on it moves it, a click takes a frame in or out, and a drag along the times above shows single frames. Control and wheel bring it nearer.",
    ),
    make(
      "p",
      { class: "tick" },
      box,
      make("label", { htmlFor: "single-keys" }, "Single keys do something"),
    ),
    make(
      "div",
      { class: "row" },
      make("button", { type: "button", class: "main", on: { click: () => help.close() } }, "Close"),
    ),
  );
  const openHelp = () => help.open || help.showModal();
  find("help-open").addEventListener("click", openHelp);

  document.addEventListener("keydown", (event) => {
    if (
      (event.ctrlKey || event.metaKey) &&
      event.key.toLowerCase() === "z" &&
      !writes(event.target)
    ) {
      event.preventDefault();
      return event.shiftKey ? acts.redo?.() : acts.undo?.();
    }
    if (help.open || event.ctrlKey || event.metaKey || event.altKey) return undefined;
    if (event.key === "Escape") return acts.Escape?.();
    if (off || writes(event.target)) return undefined;
    if (event.key === "?") return openHelp();
    // keys that already mean something to what has the focus
    if (event.key === " " && event.target.closest("button, input, select, [role=slider], dialog"))
      return undefined;
    if (event.key.length === 1 && event.target.tagName === "SELECT") return undefined;
    const act = acts[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act) return undefined;
    event.preventDefault();
    return act(event);
  });
}

function writes(target) {
  return target.matches?.("textarea, input[type=text], input[type=number]") ?? false;
}
