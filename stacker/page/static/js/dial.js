// The shutter dial: a wheel with the trade's steps, turned under a fixed mark.

import { draw, fill, find, make } from "./elements.js";
import { clamp, openSeconds, spanFor, spanSettings, used } from "./span.js";
import { count, seconds, spokenSeconds } from "./words.js";

const STEP_DEGREES = 21;
// a label farther round than this would come up on the other side
const SHOWN_DEGREES = 100;
const RADIUS = 150;
const CENTRE = { x: 150, y: 172 };

/** Return the dial; `steps` are {seconds, label} from short to long. */
export function makeDial({ store, frames, steps }) {
  const wheel = draw("g");
  const labels = steps.map((step, index) => {
    const angle = (index * STEP_DEGREES * Math.PI) / 180;
    const at = (radius) => ({
      x: CENTRE.x + radius * Math.sin(angle),
      y: CENTRE.y - radius * Math.cos(angle),
    });
    const [out, inner, text] = [at(RADIUS - 2), at(RADIUS - 10), at(RADIUS - 26)];
    wheel.append(
      draw("line", { x1: out.x, y1: out.y, x2: inner.x, y2: inner.y, "stroke-width": 1.5 }),
    );
    const label = draw("text", {
      x: text.x,
      y: text.y + 4,
      transform: `rotate(${index * STEP_DEGREES} ${text.x} ${text.y})`,
    });
    label.append(step.label.replace(/ s$/, ""));
    wheel.append(label);
    return label;
  });
  const knob = make(
    "div",
    {
      class: "dial-turn",
      id: "dial-turn",
      role: "slider",
      tabindex: "0",
      "aria-label": "Shutter",
      "aria-valuemin": 0,
      "aria-valuemax": steps.length - 1,
      "aria-keyshortcuts": "[ ]",
      on: {
        keydown: onKey,
        pointerdown: onDown,
        pointermove: onMove,
        pointerup: onUp,
        pointercancel: onUp,
        wheel: onWheel,
      },
    },
    draw(
      "svg",
      { viewBox: "0 0 300 150", preserveAspectRatio: "xMidYMin slice", "aria-hidden": "true" },
      draw("circle", { class: "wheel", cx: CENTRE.x, cy: CENTRE.y, r: RADIUS }),
      wheel,
      draw("path", { class: "index", d: "M150 26 l7 -14 h-14 z" }),
    ),
  );
  fill(find("dial"), knob);
  let drag = null;

  /** Return where on the dial a time lies: whole at a step, between them by its logarithm. */
  function placeOf(time) {
    if (!Number.isFinite(time) || time <= 0) return 0;
    const next = steps.findIndex((step) => step.seconds > time);
    if (next === 0) return 0;
    if (next < 0) return steps.length - 1;
    const [low, high] = [steps[next - 1].seconds, steps[next].seconds];
    return next - 1 + Math.log(time / low) / Math.log(high / low);
  }

  function reach() {
    const settings = store.get().settings;
    const shutters = frames.map((frame) => frame.shutter_s).filter(Boolean);
    const all = openSeconds(frames, settings, { first: 1, last: frames.length });
    return { low: placeOf(Math.min(...shutters)), high: placeOf(all) };
  }

  function show() {
    const settings = store.get().settings;
    const open = openSeconds(frames, settings);
    const place = placeOf(open);
    const { low, high } = reach();
    wheel.setAttribute("transform", `rotate(${-place * STEP_DEGREES} ${CENTRE.x} ${CENTRE.y})`);
    labels.forEach((label, index) => {
      const beyond = index < low - 0.5 || index > high + 0.5;
      label.style.display = Math.abs(place - index) * STEP_DEGREES > SHOWN_DEGREES ? "none" : "";
      label.setAttribute("class", Math.abs(place - index) < 0.2 ? "there" : beyond ? "beyond" : "");
    });
    const taken = used(frames, settings).length;
    find("open").textContent = seconds(open);
    find("open-words").textContent = `open, by ${count(taken, "frame")}`;
    knob.setAttribute("aria-valuenow", Math.round(place));
    knob.setAttribute("aria-valuetext", `${spokenSeconds(open)}, ${count(taken, "frame")}`);
  }

  function spanAt(place) {
    const index = clamp(Math.round(place), 0, steps.length - 1);
    const settings = store.get().settings;
    return spanSettings(settings, spanFor(steps[index].seconds, frames, settings), frames.length);
  }

  /** Turn by whole steps, over those that the frames cannot tell apart. */
  function turn(by) {
    const place = placeOf(openSeconds(frames, store.get().settings));
    const { low, high } = reach();
    const from = by > 0 ? Math.floor(place + 1e-6) : Math.ceil(place - 1e-6);
    store.change(spanAt(clamp(from + by, Math.floor(low), Math.ceil(high))), "the shutter");
  }

  function onKey(event) {
    const by = { ArrowRight: 1, ArrowUp: 1, PageUp: 3, ArrowLeft: -1, ArrowDown: -1, PageDown: -3 };
    if (event.key === "Home" || event.key === "End")
      turn(event.key === "End" ? steps.length : -steps.length);
    else if (event.key in by) turn(by[event.key]);
    else return;
    event.preventDefault();
  }

  function onDown(event) {
    knob.setPointerCapture(event.pointerId);
    drag = {
      x: event.clientX,
      place: placeOf(openSeconds(frames, store.get().settings)),
      moved: false,
    };
  }

  function onMove(event) {
    if (!drag) return;
    const way = (drag.x - event.clientX) / (knob.clientWidth / 300);
    drag.moved ||= Math.abs(way) > 3;
    // along the rim: pixels to degrees
    if (drag.moved)
      store.live(spanAt(drag.place + ((way / RADIUS) * 180) / Math.PI / STEP_DEGREES));
  }

  function onUp(event) {
    if (!drag) return;
    const { moved } = drag;
    drag = null;
    if (event.type === "pointercancel") store.drop();
    else if (moved) store.change({}, "the shutter");
    else turn(event.offsetX > knob.clientWidth / 2 ? 1 : -1);
  }

  function onWheel(event) {
    event.preventDefault();
    turn(event.deltaY > 0 ? 1 : -1);
  }

  return { show, turn, close: () => fill(find("dial")) };
}
