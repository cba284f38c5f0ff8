// The span of frames: which take part, how long the shutter is open, and weights that go with it.
// No pictures here; the server reckons what is seen, this tells where handles stand.

/** Return {first, last}, counted from 1, of settings on a burst of so many frames. */
export function spanOf(settings, count) {
  const first = clamp(settings.first ?? 1, 1, count);
  return { first, last: clamp(settings.last ?? count, first, count) };
}

/** Return why a frame takes no part, or null: the judge's reason, a fault, or the person's word. */
export function whyOut(frame, settings) {
  if (frame.problem) return frame.problem;
  if (settings.without?.includes(frame.n)) return "left out by you";
  return frame.left_out;
}

/** Return the frames between two numbers that take part. */
export function used(frames, settings, { first, last } = spanOf(settings, frames.length)) {
  const between = frames.slice(first - 1, last);
  return between.filter((frame) => first === last || !whyOut(frame, settings));
}

/** Return the seconds for which the shutter is open in all, or NaN where that is not known. */
export function openSeconds(frames, settings, span) {
  return used(frames, settings, span).reduce((sum, frame) => sum + (frame.shutter_s ?? NaN), 0);
}

/**
 * Return the span from `first` on whose open time comes nearest; where the burst ends too early it
 * begins earlier.
 */
export function spanFor(wanted, frames, settings) {
  const from = spanOf(settings, frames.length).first;
  let best = nearest(wanted, frames, settings, from);
  for (let first = from - 1; first >= 1 && best.short; first -= 1)
    best = nearest(wanted, frames, settings, first);
  return { first: best.first, last: best.last };
}

function nearest(wanted, frames, settings, first) {
  let open = 0;
  let best = { first, last: first, off: Infinity, short: true };
  for (const frame of frames.slice(first - 1)) {
    if (whyOut(frame, settings)) continue;
    open += frame.shutter_s ?? 0;
    const off = Math.abs(open - wanted);
    // sums of thirds of seconds are not exact: a difference of a millionth is none
    if (off < best.off - 1e-6) best = { ...best, last: frame.n, off };
    if (open >= wanted - 1e-6) return { ...best, short: false };
  }
  return best;
}

/** Return the settings that move the span, with weights that stay with their frames. */
export function spanSettings(settings, { first, last }, count) {
  const changed = {
    first: first === 1 ? undefined : first,
    last: last === count ? undefined : last,
    shutter_s: undefined,
  };
  if (settings.weights) {
    const whole = wholeWeights(settings, count);
    changed.weights = neutral(whole.slice(first - 1, last));
  }
  return changed;
}

/** Return one weight per frame of the burst: those of the span, and 1 elsewhere. */
export function wholeWeights(settings, count) {
  const whole = new Array(count).fill(1);
  const { first } = spanOf(settings, count);
  (settings.weights ?? []).forEach((weight, index) => {
    whole[first - 1 + index] = weight;
  });
  return whole;
}

/** Return weights, or undefined where all of them are the usual 1. */
export function neutral(weights) {
  return weights.every((weight) => weight === 1) ? undefined : weights;
}

/** Return the value kept between two others. */
export function clamp(value, low, high) {
  return Math.min(Math.max(value, low), high);
}
