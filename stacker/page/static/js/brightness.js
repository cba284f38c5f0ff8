// The sheet's questions about brightness and about how softly the shutter moves.

import { pull, tick } from "./chips.js";
import { fill, find } from "./elements.js";
import { inForce, saying } from "./in_force.js";
import { openSeconds } from "./span.js";
import { seconds, signed } from "./words.js";

/** Return how to show settings in these controls. */
export function makeBrightness({ store, hello, frames }) {
  const change = (name, value) => saying(name, value, store.get().settings, hello);
  const slider = (name, words, rest) =>
    pull({
      id: name,
      usual: 0,
      live: (value) => store.live(change(name, value)),
      settle: (value) => store.change(change(name, value), words),
      ...rest,
    });

  const exposure = slider("exposure", "the exposure", {
    label: "Brighter or darker",
    low: -4,
    high: 4,
    step: 0.1,
    words: (value) => (value === 0 ? "as it fell" : `${signed(value)} stops`),
  });
  const warmth = slider("warmth", "the warmth", {
    label: "Colder or warmer",
    low: -100,
    high: 100,
    step: 2,
    words: (value) => (value === 0 ? "as it fell" : `${signed(value, 0)} mired`),
  });
  const shoulder = tick(
    "Bend the highlights",
    "A shoulder: light beyond white keeps its shades, as after a sum.",
    (on) => store.change(change("shoulder", on), "the shoulder"),
  );
  fill(find("bright"), exposure.element, warmth.element, shoulder.element);

  const most = openSeconds(frames, {}, { first: 1, last: frames.length }) || 1;
  // no more than two digits: nobody means 0.4166666 s
  const tidy = (share) => Number((share * most).toPrecision(2));
  const ramp = (name, label) =>
    pull({
      id: name,
      label,
      low: 0,
      high: 1,
      step: 0.05,
      usual: 0,
      words: (share) => (share === 0 ? "at once" : `over ${seconds(tidy(share))}`),
      live: (share) => store.live(change(name, tidy(share))),
      settle: (share) => store.change(change(name, tidy(share)), "the soft shutter"),
    });
  const opening = ramp("ramp_in_s", "It opens");
  const closing = ramp("ramp_out_s", "It closes");
  fill(find("soft"), opening.element, closing.element);

  return {
    show(settings) {
      const now = inForce(settings, hello);
      exposure.show(now.exposure);
      warmth.show(now.warmth ?? 0);
      shoulder.show(now.shoulder);
      opening.show(now.ramp_in_s / most);
      closing.show(now.ramp_out_s / most);
    },
  };
}
