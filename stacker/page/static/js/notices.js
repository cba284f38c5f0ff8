// What has to be said: above the page until it is put away, or to who listens only.

import { find, make } from "./elements.js";

/**
 * Show a sentence above the page. `answers` are [label, what to do] and each puts it away.
 */
export function notice(sentence, answers = []) {
  const place = find("notices");
  for (const old of place.children) if (old.dataset.sentence === sentence) return old;
  const away = () => line.remove();
  const keys = [...answers, ...(answers.length ? [] : [["Put away", () => {}]])];
  const line = make(
    "div",
    { class: "notice", data: { sentence } },
    make("p", {}, sentence),
    keys.map(([label, act]) =>
      make("button", { type: "button", on: { click: () => (away(), act()) } }, label),
    ),
  );
  place.append(line);
  return line;
}

/** Say something to a screen reader. */
export function speak(sentence) {
  find("spoken").textContent = "";
  // the same words twice are heard twice only if they were gone in between
  requestAnimationFrame(() => {
    find("spoken").textContent = sentence;
  });
}
