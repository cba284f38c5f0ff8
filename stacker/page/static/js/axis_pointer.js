// Fingers, pens and mice on the axis.
//
// On an end: it moves. On the span: a drag moves all of it, a click takes a frame in or out.
// Beside it: a drag opens the shutter anew from there to where it ends. On the marks of time above:
// frames are shown one at a time. On the graphs below, in a nearer look: the axis moves along.

import { BARS } from "./axis_draw.js";
import { MARGIN } from "./axis_scale.js";
import { clamp } from "./span.js";

const CLICK_PX = 4;

/** Listen to pointers on the plot; `act` carries out what they mean. */
export function pointAlong(plot, ends, act) {
  const stop = new AbortController();
  const listen = { signal: stop.signal };
  let drag = null;

  const xOf = (event) => event.clientX - plot.getBoundingClientRect().left;
  const yOf = (event) => event.clientY - plot.getBoundingClientRect().top;
  const frameAt = (x) => act.scale.frameAt(act.scale.time(x));

  function kindOf(event, n) {
    if (event.target === ends.first) return "first";
    if (event.target === ends.last) return "last";
    if (yOf(event) < BARS.top - 2) return "scrub";
    if (yOf(event) > BARS.top + BARS.height + 2 && !act.scale.isWhole) return "along";
    const { first, last } = act.span();
    const whole = first === 1 && last === act.frames.length;
    return n >= first && n <= last && !whole ? "move" : "anew";
  }

  plot.addEventListener(
    "pointerdown",
    (event) => {
      if (event.button !== 0) return;
      const x = xOf(event);
      const n = frameAt(x);
      const kind = kindOf(event, n);
      drag = { kind, x, n, start: act.span(), moved: false, id: event.pointerId };
      plot.setPointerCapture(event.pointerId);
      act.hover(null);
      if (kind === "first" || kind === "last") ends[kind].focus({ preventScroll: true });
      if (kind === "scrub") act.scrub(n);
      event.preventDefault();
    },
    listen,
  );

  plot.addEventListener(
    "pointermove",
    (event) => {
      const x = xOf(event);
      if (!drag) return act.hover(yOf(event) < 0 || x < MARGIN.left ? null : frameAt(x));
      if (event.pointerId !== drag.id) return undefined;
      drag.moved ||= Math.abs(x - drag.x) > CLICK_PX;
      if (drag.kind === "scrub") return act.scrub(frameAt(x));
      if (drag.kind === "along") {
        act.shift(drag.x - x);
        drag.x = x;
        return undefined;
      }
      return drag.moved ? act.liveSpan(spanUnder(x)) : undefined;
    },
    listen,
  );

  function spanUnder(x) {
    const { kind, start, n } = drag;
    const at = frameAt(x);
    if (kind === "first") return { first: Math.min(at, start.last), last: start.last };
    if (kind === "last") return { first: start.first, last: Math.max(at, start.first) };
    if (kind === "anew") return { first: Math.min(n, at), last: Math.max(n, at) };
    const by = clamp(at - n, 1 - start.first, act.frames.length - start.last);
    return { first: start.first + by, last: start.last + by };
  }

  plot.addEventListener(
    "pointerup",
    (event) => {
      if (!drag || event.pointerId !== drag.id) return;
      const { kind, moved, n } = drag;
      drag = null;
      if (kind === "scrub" || kind === "along") return;
      if (moved) act.settle();
      else if (kind === "move" || kind === "anew") act.toggle(n);
    },
    listen,
  );

  plot.addEventListener(
    "pointercancel",
    () => {
      if (drag?.moved && !["scrub", "along"].includes(drag.kind)) act.drop();
      drag = null;
    },
    listen,
  );
  plot.addEventListener("pointerleave", () => !drag && act.hover(null), listen);
  plot.addEventListener(
    "wheel",
    (event) => {
      event.preventDefault();
      if (event.ctrlKey || event.metaKey) act.zoom(event.deltaY > 0 ? 1.25 : 0.8, xOf(event));
      else act.shift(Math.abs(event.deltaX) > Math.abs(event.deltaY) ? event.deltaX : event.deltaY);
    },
    { ...listen, passive: false },
  );

  return { close: () => stop.abort() };
}
