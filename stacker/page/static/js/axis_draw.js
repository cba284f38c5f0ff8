// Drawing the axis: each frame as long as its shutter was open, gaps as gaps, and under them how
// its light and its shake go.

import { length } from "./axis_scale.js";
import { colour, prepare } from "./elements.js";
import { spanOf, whyOut } from "./span.js";
import { seconds } from "./words.js";

export const BARS = { top: 20, height: 42 };
const GRAPH_GAP = 5;

/** Draw all of it. `graphs` are {light, shake_px}, one value or null per frame, or null. */
export function drawAxis(canvas, { frames, settings, scale, graphs }) {
  const { context, width, height } = prepare(canvas);
  scale.setWidth(width);
  const paint = {
    ink: colour("--ink"),
    quiet: colour("--quiet"),
    rule: colour("--rule"),
    span: colour("--span"),
    bar: colour("--bar"),
    in: colour("--bar-in"),
    out: colour("--bar-out"),
    graph: colour("--graph"),
  };
  const span = spanOf(settings, frames.length);
  drawSpan(context, frames, span, scale, height, paint);
  drawMarks(context, scale, width, paint);
  const hatch = hatching(context, paint.out);
  for (const frame of frames) drawFrame(context, frame, { settings, span, scale, width, paint, hatch });
  const room = height - BARS.top - BARS.height - 2 * GRAPH_GAP;
  const each = Math.max(8, room / 2);
  const top = BARS.top + BARS.height + GRAPH_GAP;
  const lay = { frames, scale, paint, width };
  drawGraph(context, "light", graphs?.light, { ...lay, top, height: each, zero: true });
  drawGraph(context, "shake", graphs?.shake_px, { ...lay, top: top + each + GRAPH_GAP, height: each });
}

function drawSpan(context, frames, span, scale, height, paint) {
  const left = scale.x(frames[span.first - 1].start_s);
  const last = frames[span.last - 1];
  const right = scale.x(last.start_s + length(last));
  context.fillStyle = paint.span;
  context.fillRect(left, BARS.top - 2, Math.max(right - left, 2), height - BARS.top + 2);
}

function drawMarks(context, scale, width, paint) {
  context.font = `12px ${getComputedStyle(document.body).fontFamily}`;
  context.textBaseline = "alphabetic";
  context.fillStyle = paint.quiet;
  const { times } = scale.marks();
  for (const { at, time } of times) {
    const x = Math.round(scale.x(at)) + 0.5;
    context.fillRect(x, 13, 1, 5);
    const words = time === 0 ? "0" : seconds(time);
    const half = context.measureText(words).width / 2;
    context.fillText(words, Math.min(Math.max(x - half, 0), width - 2 * half), 11);
  }
}

function drawFrame(context, frame, { settings, span, scale, width, paint, hatch }) {
  const left = scale.x(frame.start_s);
  const right = scale.x(frame.start_s + length(frame));
  if (right < 0 || left > width) return;
  // a gap must stay visible and so must a bar, however many there are
  const wide = Math.max(right - left, 1);
  const inside = frame.n >= span.first && frame.n <= span.last;
  if (whyOut(frame, settings) && span.first !== span.last) {
    context.fillStyle = hatch;
    context.fillRect(left, BARS.top, wide, BARS.height);
    context.strokeStyle = paint.out;
    if (wide > 3) context.strokeRect(left + 0.5, BARS.top + 0.5, wide - 1, BARS.height - 1);
    return;
  }
  context.fillStyle = inside ? paint.in : paint.bar;
  const weight = inside ? (settings.weights?.[frame.n - span.first] ?? 1) : 1;
  const tall = Math.max(2, BARS.height * Math.min(weight, 1));
  context.fillRect(left, BARS.top + BARS.height - tall, wide, tall);
}

function hatching(context, tone) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 6;
  const pen = tile.getContext("2d");
  pen.strokeStyle = tone;
  pen.lineWidth = 1.4;
  for (const shift of [-6, 0, 6]) {
    pen.beginPath();
    pen.moveTo(shift - 1, 7);
    pen.lineTo(shift + 7, -1);
    pen.stroke();
  }
  return context.createPattern(tile, "repeat");
}

function drawGraph(context, name, values, { frames, scale, paint, width, top, height, zero }) {
  context.fillStyle = paint.rule;
  context.fillRect(0, Math.round(top + height) - 0.5, width, 1);
  const known = (values ?? []).filter((value) => value !== null);
  if (known.length) {
    // at least half a stop or one pixel from top to bottom, so that noise does not look like a storm
    const least = zero ? 0.5 : 1;
    const low = zero ? Math.min(...known, -least / 2) : 0;
    const high = Math.max(...known, zero ? least / 2 : least);
    const y = (value) => top + height - 1 - ((value - low) / (high - low)) * (height - 2);
    context.strokeStyle = paint.graph;
    context.lineWidth = 1.25;
    context.beginPath();
    let apart = true;
    frames.forEach((frame, index) => {
      const value = values[index];
      if (value === null || value === undefined) {
        apart = true;
        return;
      }
      const left = scale.x(frame.start_s);
      const right = Math.max(left + 1, scale.x(frame.start_s + length(frame)));
      if (apart) context.moveTo(left, y(value));
      else context.lineTo(left, y(value));
      context.lineTo(right, y(value));
      apart = false;
    });
    context.stroke();
    tag(context, name + (zero ? ` ${range(high - low, "stops")}` : ` to ${range(high, "px")}`), top, paint);
  } else tag(context, `${name} not measured yet`, top, paint);
}

function range(value, unit) {
  return `${value < 10 ? value.toFixed(1) : Math.round(value)} ${unit}`;
}

function tag(context, words, top, paint) {
  context.fillStyle = paint.quiet;
  context.font = `11px ${getComputedStyle(document.body).fontFamily}`;
  context.fillText(words, 2, top + 9);
}
