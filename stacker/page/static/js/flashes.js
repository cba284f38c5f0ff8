// Lamp passes and bursts of fireworks: how much each of them counts, as weights of its frames.

import { pull } from "./chips.js";
import { fill, find, make } from "./elements.js";
import { events } from "./server.js";
import { neutral, spanOf, wholeWeights } from "./span.js";
import { count } from "./words.js";

/** Return the list, which stays hidden where the server tells of none. */
export function makeFlashes({ key, store, frames, lookAt }) {
  let sliders = [];
  let told = { bursts: [], passes: [] };
  const block = find("ask-flashes");
  block.hidden = true;

  /** Return settings in which the frames from first to last have a weight. */
  function weighed({ first, last }, weight) {
    const settings = store.get().settings;
    const whole = wholeWeights(settings, frames.length);
    whole.fill(weight, first - 1, last);
    const span = spanOf(settings, frames.length);
    return { weights: neutral(whole.slice(span.first - 1, span.last)) };
  }

  function weightOf({ first, last }) {
    const whole = wholeWeights(store.get().settings, frames.length).slice(first - 1, last);
    return Math.max(...whole);
  }

  function row(light, name, words) {
    const slider = pull({
      id: `light-${name.replace(" ", "-")}`,
      label: name,
      low: 0,
      high: 1,
      step: 0.05,
      usual: 1,
      words: (value) => (value === 0 ? "not at all" : `${Math.round(value * 100)} %`),
      live: (value) => store.live(weighed(light, value)),
      settle: (value) => store.change(weighed(light, value), `the weight of ${name}`),
    });
    const where = make(
      "button",
      { type: "button", class: "plain", on: { click: () => lookAt(light) } },
      words,
    );
    sliders.push({ slider, light });
    return make("li", {}, slider.element, where);
  }

  async function load() {
    told = await events(key).catch(() => told);
    const framesOf = ({ first, last }) =>
      first === last ? `frame ${first}` : `frames ${first} to ${last}, ${count(last - first + 1, "frame")}`;
    sliders = [];
    const rows = [
      ...(told.bursts ?? []).map((light) => row(light, `Burst ${light.n}`, framesOf(light))),
      ...(told.passes ?? []).map((light) => row(light, `Pass ${light.n}`, framesOf(light))),
    ];
    block.hidden = rows.length === 0;
    fill(find("flashes"), make("ol", { class: "places" }, rows));
    show();
  }

  function show() {
    for (const { slider, light } of sliders) slider.show(weightOf(light));
  }

  return { load, show };
}
