// Drawing the axis: each frame as long as its shutter was open, gaps as gaps, and under them how
// its light and its shake go.

import { length, MARGIN } from "./axis_scale.js";
import { colour, prepare } from "./elements.js";
import { spanOf, whyOut } from "./span.js";
import { seconds } from "./words.js";

export const BARS = { top: 20, height: 40 };
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
  tag(context, "time", 0, paint);
  tag(context, "frames", BARS.top + BARS.height / 2 - 8, paint);
  context.save();
  // what lies beyond the ends of a nearer look stays off the names of the lanes
  context.beginPath();
  context.rect(MARGIN.left - 1, 0, width - MARGIN.left - MARGIN.right + 2, height);
  context.clip();
  drawSpan(context, frames, span, scale, height, paint);
  drawMarks(context, scale, width, paint);
  const hatch = hatching(context, paint.out);
  for (const frame of frames)
    drawFrame(context, frame, { settings, span, scale, width, paint, hatch });
  const room = height - BARS.top - BARS.height - 2 * GRAPH_GAP;
  const each = Math.max(8, room / 2);
  const top = BARS.top + BARS.height + GRAPH_GAP;
  const lay = { frames, scale, paint, width };
  const lanes = [
    [graphs?.light, { ...lay, top, height: each, zero: true }],
    [graphs?.shake_px, { ...lay, top: top + each + GRAPH_GAP, height: each, zero: false }],
  ];
  const ranges = lanes.map(([values, lane]) => drawGraph(context, values, lane));
  context.restore();
  tag(context, ranges[0] ? `light ${ranges[0]} stops` : "light", top + each / 2 - 8, paint);
  tag(
    context,
    ranges[1] ? `shake ${ranges[1]} px` : "shake",
    top + each * 1.5 + GRAPH_GAP - 8,
    paint,
  );
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
    const right = width - MARGIN.right - 2 * half;
    context.fillText(words, Math.min(Math.max(x - half, MARGIN.left), right), 11);
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

/** Draw one lane; return from top to bottom of it in words, or null where nothing is known. */
function drawGraph(context, values, { frames, scale, paint, width, top, height, zero }) {
  context.fillStyle = paint.rule;
  context.fillRect(0, Math.round(top + height) - 1, width, 1);
  const known = (values ?? []).filter((value) => value !== null);
  if (!known.length) return null;
  // at least half a stop or one pixel from top to bottom, so that noise does not look like a storm
  const low = zero ? Math.min(...known, -0.25) : 0;
  const high = Math.max(...known, zero ? 0.25 : 1);
  const y = (value) => top + height - 2 - ((value - low) / (high - low)) * (height - 4);
  context.strokeStyle = paint.graph;
  context.lineWidth = 1.5;
  context.beginPath();
  let apart = true;
  frames.forEach((frame, index) => {
    const value = values[index] ?? null;
    if (value === null) {
      apart = true;
      return;
    }
    const left = scale.x(frame.start_s);
    if (apart) context.moveTo(left, y(value));
    else context.lineTo(left, y(value));
    context.lineTo(Math.max(left + 1, scale.x(frame.start_s + length(frame))), y(value));
    apart = false;
  });
  context.stroke();
  const range = high - low;
  return range < 10 ? range.toFixed(1) : String(Math.round(range));
}

function tag(context, words, top, paint) {
  context.fillStyle = paint.quiet;
  context.font = `12px ${getComputedStyle(document.body).fontFamily}`;
  context.textBaseline = "alphabetic";
  context.fillText(words, 0, top + 12);
}
