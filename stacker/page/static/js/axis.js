// The axis of time as a control: the ends of the span, the span itself, and single frames.

import { drawAxis } from "./axis_draw.js";
import { length, makeScale } from "./axis_scale.js";
import { pointAlong } from "./axis_pointer.js";
import { fill, find, make, moveTo } from "./elements.js";
import { clamp, spanOf, spanSettings, used, openSeconds, whyOut } from "./span.js";
import { count, seconds, spokenSeconds } from "./words.js";

// how long a sentence stands before others may take its place
const READING_MS = 5000;

/**
 * Return the axis of a burst.
 *
 * `look(n)` shows one frame alone and `look(null)` the exposure again; `say` speaks to who listens.
 */
export function makeAxis({ store, frames, look, say, play }) {
  const place = find("axis");
  const canvas = make("canvas", { "aria-hidden": "true" });
  const words = make("p", { class: "axis-words", id: "axis-words" });
  const scale = makeScale(frames);
  const ends = {
    first: makeEnd("first", "Shutter opens"),
    last: makeEnd("last", "Shutter closes"),
  };
  const cursor = make("div", {
    class: "cursor",
    role: "slider",
    tabindex: "0",
    "aria-label": "Frame",
    "aria-valuemin": 1,
    "aria-valuemax": frames.length,
    "aria-describedby": "axis-keys",
    on: { keydown: onCursorKey, focus: () => point(here), blur: () => point(null) },
  });
  const plot = make("div", { class: "axis-plot" }, canvas, ends.first, ends.last, cursor);
  const key = (id, label, press) =>
    make("button", { id, class: "plain", type: "button", on: { click: press } }, label);
  const playKey = key("play", "Play", () => play());
  fill(
    place,
    make(
      "div",
      { class: "axis-top" },
      playKey,
      words,
      key("all-frames", "Whole burst", () =>
        setSpan({ first: 1, last: frames.length }, "the whole burst"),
      ),
      key("nearer", "Nearer", () => zoom(0.5)),
      key("farther", "Farther", () => zoom(2)),
    ),
    plot,
    make(
      "p",
      { class: "unseen", id: "axis-keys" },
      "Arrow keys go from frame to frame, Enter takes one in or out, Escape shows the exposure again.",
    ),
  );
  let here = 1;
  let graphs = null;
  let drawing = 0;
  let quietUntil = 0;
  // the frame that is pointed at, which is told instead of the span
  let pointed = null;

  function makeEnd(which, label) {
    return make("div", {
      class: "end",
      id: `end-${which}`,
      role: "slider",
      tabindex: "0",
      "aria-label": label,
      "aria-valuemin": 1,
      "aria-valuemax": frames.length,
      on: { keydown: (event) => onEndKey(event, which) },
    });
  }

  function span() {
    return spanOf(store.get().settings, frames.length);
  }

  function setSpan(next, what) {
    store.change(spanSettings(store.get().settings, next, frames.length), what);
  }

  function liveSpan(next) {
    store.live(spanSettings(store.get().settings, next, frames.length));
  }

  function onEndKey(event, which) {
    const step = stepOf(event);
    if (step === null) return;
    event.preventDefault();
    const now = span();
    // with Shift the whole span moves, and keeps its length
    if (event.shiftKey && !event.key.startsWith("Page")) return shiftSpan(step);
    const to = now[which] + step;
    const next =
      which === "first"
        ? { ...now, first: clamp(to, 1, now.last) }
        : { ...now, last: clamp(to, now.first, frames.length) };
    return setSpan(next, "the span");
  }

  function shiftSpan(step) {
    const { first, last } = span();
    const by = clamp(step, 1 - first, frames.length - last);
    setSpan({ first: first + by, last: last + by }, "the span");
  }

  function stepOf(event) {
    const far = Math.max(5, Math.round(frames.length / 10));
    const steps = {
      ArrowLeft: -1,
      ArrowDown: -1,
      ArrowRight: 1,
      ArrowUp: 1,
      PageDown: -far,
      PageUp: far,
      Home: -frames.length,
      End: frames.length,
    };
    return steps[event.key] ?? null;
  }

  function onCursorKey(event) {
    const step = stepOf(event);
    if (step !== null) {
      event.preventDefault();
      goTo(clamp(here + step, 1, frames.length), true);
    } else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      event.stopPropagation();
      toggle(here);
    }
  }

  function goTo(n, alone) {
    here = n;
    scale.reveal(frames[n - 1].start_s);
    if (alone) look(n);
    point(n);
    redraw();
  }

  /** Take a frame out, or in again. */
  function toggle(n) {
    const frame = frames[n - 1];
    const settings = store.get().settings;
    const without = settings.without ?? [];
    if (frame.problem) return tellThere(`Frame ${n} cannot take part: ${frame.problem}`);
    if (without.includes(n)) {
      const rest = without.filter((each) => each !== n);
      store.change({ without: rest.length ? rest : undefined }, `frame ${n} taken in`);
    } else if (frame.left_out && !without.includes(n)) {
      return tellThere(
        `Frame ${n} is left out: ${frame.left_out}. To use every frame, hold still.`,
      );
    } else if (used(frames, settings).length === 1 && used(frames, settings)[0].n === n) {
      return tellThere(`Frame ${n} is the only one left in the span; widen the span first.`);
    } else {
      const out = [...without, n].sort((a, b) => a - b);
      store.change({ without: out }, `frame ${n} left out`);
    }
    return point(n);
  }

  function point(n) {
    pointed = n;
    tell();
  }

  function tell() {
    tellFrame(pointed ?? here);
    tellSpan();
  }

  /** Say a sentence in place of the usual words, long enough to be read. */
  function tellThere(sentence) {
    words.textContent = sentence;
    quietUntil = performance.now() + READING_MS;
    say(sentence);
  }

  function setWords(sentence) {
    if (performance.now() >= quietUntil) words.textContent = sentence;
  }

  function zoom(factor, x) {
    scale.zoom(factor, x);
    redraw();
  }

  function tellFrame(n) {
    const frame = frames[n - 1];
    const why = whyOut(frame, store.get().settings);
    const open = frame.shutter_s === null ? "" : `, open ${seconds(frame.shutter_s)}`;
    const told = `Frame ${n}, ${frame.name}${open}${why ? `: ${why}` : ""}`;
    if (pointed) setWords(told);
    cursor.setAttribute("aria-valuenow", n);
    cursor.setAttribute("aria-valuetext", `${told}, ${why ? "out" : "in"}`);
  }

  function tellSpan() {
    const settings = store.get().settings;
    const now = span();
    const taken = used(frames, settings);
    const out = now.last - now.first + 1 - taken.length;
    const first = frames[now.first - 1];
    const last = frames[now.last - 1];
    const lasts = last.start_s + length(last) - first.start_s;
    const several = `Frames ${now.first} to ${now.last}: ${count(taken.length, "frame")}`;
    const told = `${several} within ${seconds(lasts)}${out ? `, ${out} left out` : ""}`;
    if (!pointed) setWords(now.first === now.last ? `Frame ${now.first} alone` : told);
    const open = openSeconds(frames, settings, now);
    for (const [which, end] of Object.entries(ends)) {
      end.setAttribute("aria-valuenow", now[which]);
      const frame = frames[now[which] - 1];
      end.setAttribute(
        "aria-valuetext",
        `frame ${now[which]}, ${frame.name}; open ${spokenSeconds(open)}`,
      );
    }
  }

  function redraw() {
    cancelAnimationFrame(drawing);
    drawing = requestAnimationFrame(() => {
      drawAxis(canvas, { frames, settings: store.get().settings, scale, graphs });
      const now = span();
      moveTo(ends.first, scale.x(frames[now.first - 1].start_s));
      moveTo(ends.last, scale.x(frames[now.last - 1].start_s + length(frames[now.last - 1])));
      const frame = frames[here - 1];
      moveTo(cursor, scale.x(frame.start_s) - 2);
      cursor.style.width = `${scale.x(frame.start_s + length(frame)) - scale.x(frame.start_s) + 4}px`;
      find("farther").disabled = scale.isWhole;
    });
  }

  const pointer = pointAlong(plot, ends, {
    scale,
    frames,
    span,
    liveSpan,
    settle: () => store.change({}, "the span"),
    drop: () => store.drop(),
    toggle: (n) => {
      here = n;
      toggle(n);
      redraw();
    },
    scrub: (n) => goTo(n, true),
    hover: point,
    zoom,
    shift: (pixels) => {
      scale.shift(pixels);
      redraw();
    },
  });
  const watcher = new ResizeObserver(redraw);
  watcher.observe(plot);
  tell();

  return {
    redraw() {
      tell();
      redraw();
    },
    /** Take in what was measured: graphs, and the frames that the judge leaves out. */
    measured(told) {
      graphs = told.graphs ?? graphs;
      for (const frame of frames) frame.left_out = told.left_out?.[frame.n] ?? null;
      redraw();
      tell();
    },
    goTo,
    focus: () => ends.first.focus(),
    here: () => here,
    shiftSpan,
    playing(on) {
      playKey.textContent = on ? "Stop" : "Play";
      playKey.setAttribute("aria-pressed", on);
      cursor.classList.toggle("shown", on);
    },
    close() {
      watcher.disconnect();
      pointer.close();
      cancelAnimationFrame(drawing);
      fill(place);
    },
  };
}
