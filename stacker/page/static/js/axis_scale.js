// Where a time lies on the axis, and how much of the burst the axis shows.

import { clamp } from "./span.js";

const STEPS_S = [
  0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900,
  1800, 3600, 7200, 14400,
];
const NEAREST_FRAMES = 6;
// room for what the lanes are called, and for the ends of the span where the axis ends
export const MARGIN = { left: 96, right: 14 };

/** Return the scale of an axis over the frames of a burst. */
export function makeScale(frames) {
  const start = frames[0].start_s;
  const end = Math.max(...frames.slice(-1).map((frame) => frame.start_s + length(frame)));
  const whole = Math.max(end - start, 1e-3);
  const least = Math.min(whole, (whole / frames.length) * NEAREST_FRAMES);
  let from = start;
  let shown = whole;
  let width = 1;

  return {
    setWidth(pixels) {
      width = Math.max(1, pixels - MARGIN.left - MARGIN.right);
    },
    x: (time) => MARGIN.left + ((time - from) / shown) * width,
    time: (x) => from + ((x - MARGIN.left) / width) * shown,
    get isWhole() {
      return shown >= whole;
    },

    /** Show `factor` times as much as now, with the time at x where it is. */
    zoom(factor, x = MARGIN.left + width / 2) {
      const part = clamp((x - MARGIN.left) / width, 0, 1);
      const fixed = from + part * shown;
      shown = clamp(shown * factor, least, whole);
      from = clamp(fixed - part * shown, start, start + whole - shown);
    },

    shift(pixels) {
      from = clamp(from + (pixels / width) * shown, start, start + whole - shown);
    },

    /** Bring a time into sight. */
    reveal(time) {
      if (time < from) from = Math.max(start, time - shown * 0.1);
      if (time > from + shown) from = Math.min(start + whole - shown, time - shown * 0.9);
    },

    /** Return the number of the frame nearest to a time. */
    frameAt(time) {
      let low = 0;
      let high = frames.length - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (frames[middle].start_s <= time) low = middle;
        else high = middle - 1;
      }
      const next = frames[low + 1];
      const past = frames[low].start_s + length(frames[low]);
      // in a gap, the frame whose edge is nearer
      if (next && time > past && next.start_s - time < time - past) return low + 2;
      return low + 1;
    },

    /** Return the times that are marked, with their distance. */
    marks() {
      const step = STEPS_S.find((each) => (each / shown) * width >= 76) ?? STEPS_S.at(-1);
      const times = [];
      for (
        let n = Math.ceil((from - start) / step - 1e-9);
        n * step <= from - start + shown;
        n += 1
      )
        times.push(n * step);
      return { step, times: times.map((time) => ({ at: start + time, time })) };
    },
  };
}

/** Return how long a frame's bar is, in seconds; something to see where the shutter is unknown. */
export function length(frame) {
  return frame.shutter_s ?? 0.01;
}
