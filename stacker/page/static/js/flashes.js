// Lamp passes and bursts of fireworks: how much each of them counts, as weights of its frames.

import { pull, tick } from "./chips.js";
import { fill, find, make } from "./elements.js";
import { events } from "./server.js";
import { neutral, spanOf, wholeWeights } from "./span.js";

// in other blends light is not kept, so that no lamp counts more than another
const KEEPING = new Set(["lighten", "lights", "max", "sum"]);

/** Return the list, which stays hidden where the server tells of none. */
export function makeFlashes({ key, store, frames, inForce, lookAt }) {
  let sliders = [];
  let told = { bursts: [], passes: [] };
  const block = find("ask-flashes");
  block.hidden = true;
  const few = tick(
    "Only those that fill the sky",
    "Leaves out bursts that would burn out what others show.",
    (on) => store.change({ keep_bursts: on ? "auto" : undefined }, "the bursts kept"),
  );

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

  function row(light, name) {
    const { first, last } = light;
    const slider = pull({
      id: `light-${name.replace(" ", "-").toLowerCase()}`,
      label: `${name}, ${first === last ? `frame ${first}` : `frames ${first} to ${last}`}`,
      low: 0,
      high: 1,
      step: 0.05,
      usual: 1,
      words: (value) => (value === 0 ? "not at all" : `${Math.round(value * 100)} %`),
      live: (value) => store.live(weighed(light, value)),
      settle: (value) => store.change(weighed(light, value), `the weight of ${name}`),
    });
    slider.element.classList.add("grow");
    const see = make(
      "button",
      { type: "button", "aria-label": `See ${name}`, on: { click: () => lookAt(light) } },
      "See",
    );
    sliders.push({ slider, light });
    return make("li", { class: "row" }, slider.element, see);
  }

  async function load() {
    told = await events(key).catch(() => told);
    sliders = [];
    const rows = [
      ...(told.bursts ?? []).map((light) => row(light, `Firework ${light.n}`)),
      ...(told.passes ?? []).map((light) => row(light, `Lamp ${light.n}`)),
    ];
    fill(
      find("flashes"),
      told.bursts?.length > 1 ? few.element : null,
      make("ol", { class: "places" }, rows),
    );
    show();
  }

  function show() {
    const { settings } = store.get();
    block.hidden = sliders.length === 0 || !KEEPING.has(inForce(settings).blend);
    few.show(settings.keep_bursts === "auto");
    for (const { slider, light } of sliders) slider.show(weightOf(light));
  }

  return { load, show };
}
