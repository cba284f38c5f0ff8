// Answers to choose from, and values to pull: the few kinds of controls that the sheet is made of.

import { fill, make } from "./elements.js";

/**
 * Fill a place with answers of which one counts; return how to show which.
 *
 * `answers` are {value, label, title}; a value may be null for "nothing said".
 */
export function chips(place, name, answers, choose) {
  const inputs = answers.map(({ value }) =>
    make("input", {
      type: "radio",
      name,
      value: value ?? "",
      on: { change: () => choose(value) },
    }),
  );
  fill(
    place,
    answers.map(({ label, title }, index) =>
      make("label", { class: "chip", title }, inputs[index], make("span", {}, label)),
    ),
  );
  return (value) => {
    inputs.forEach((input, index) => {
      input.checked = answers[index].value === (value ?? null);
    });
  };
}

/**
 * Return a slider with its name and value in words, and how to show a value.
 *
 * `live(value)` is called while it is pulled and `settle(value)` when it is let go; a double click
 * on its name brings back `usual`.
 */
export function pull({ id, label, low, high, step, usual, words, live, settle }) {
  const output = make("output", { htmlFor: id });
  const input = make("input", {
    id,
    type: "range",
    class: low < 0 ? "two-sided" : "",
    min: low,
    max: high,
    step,
    on: {
      input: () => {
        tell(Number(input.value));
        live(Number(input.value));
      },
      change: () => settle(Number(input.value)),
    },
  });
  const name = make("label", { htmlFor: id, title: "Double click: back to usual" }, label);
  name.addEventListener("dblclick", () => {
    input.value = usual;
    tell(usual);
    settle(usual);
  });

  function tell(value) {
    output.textContent = words(value);
    input.setAttribute("aria-valuetext", words(value));
  }

  return {
    element: make("div", { class: "pull" }, name, output, input),
    show(value) {
      if (document.activeElement !== input || Number(input.value) !== value) input.value = value;
      tell(value);
    },
  };
}

/** Return a box to tick, and how to show it. */
export function tick(label, title, change) {
  const input = make("input", { type: "checkbox", on: { change: () => change(input.checked) } });
  return {
    element: make("label", { class: "tick", title }, input, make("span", {}, label)),
    show: (on) => {
      input.checked = on;
    },
  };
}
