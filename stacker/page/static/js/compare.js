// Before and after: side by side under a line that is dragged, or flipped as a whole.

import { find, fill, make } from "./elements.js";
import { FINE } from "./previews.js";
import { takenBack } from "./server.js";
import { clamp, spanOf } from "./span.js";

/** Return the comparison; `against` names what the picture is compared with. */
export function makeCompare({ store, picture, previews, frames, tell, inForce }) {
  const divide = find("divide");
  const before = find("before-room");
  const choice = find("against");
  let at = 50;
  let mode = "off";
  let control = null;
  const ends = new AbortController();
  const listen = { signal: ends.signal };

  function otherSettings() {
    const { settings, versions } = store.get();
    if (choice.value.startsWith("version-"))
      return versions[Number(choice.value.slice(8))]?.settings;
    const { first, last } = spanOf(settings, frames.length);
    if (choice.value === "mean") return { first, last, without: settings.without };
    const middle = Math.round((first + last) / 2);
    return { first: middle, last: middle };
  }

  function list() {
    const { versions, settings } = store.get();
    const chosen = choice.value;
    const options = [make("option", { value: "frame" }, "one frame")];
    if (inForce(settings).blend !== "mean")
      options.push(make("option", { value: "mean" }, "the plain mean"));
    versions.forEach((version, index) =>
      options.push(make("option", { value: `version-${index}` }, version.name)),
    );
    fill(choice, ...options);
    choice.value = chosen;
    if (choice.selectedIndex < 0) choice.selectedIndex = 0;
  }

  async function load() {
    if (mode === "off") return;
    list();
    control?.abort();
    control = new AbortController();
    const words = choice.selectedOptions[0].textContent;
    try {
      const seen = await previews.aside(otherSettings(), FINE, control.signal);
      await picture.show("before", seen);
      find("before-tag").textContent = words;
    } catch (error) {
      if (!takenBack(error)) tell(error.message);
    }
  }

  function lay() {
    const slider = mode === "slider";
    const flipped = mode === "flip";
    before.hidden = mode === "off";
    divide.hidden = !slider;
    before.style.clipPath = slider ? `inset(0 ${100 - at}% 0 0)` : "none";
    // what is told of the picture is not told of the other one
    for (const hatch of document.querySelectorAll(".hatch"))
      hatch.style.clipPath = slider ? `inset(0 0 0 ${at}%)` : flipped ? "inset(50%)" : "none";
    divide.style.left = `${at}%`;
    divide.setAttribute("aria-valuenow", Math.round(at));
    divide.setAttribute("aria-valuetext", `${Math.round(at)} % of the picture is before`);
    find("against-label").hidden = mode === "off";
    find("before-tag").hidden = mode === "off";
    find("now-tag").hidden = !slider;
    find("now-tag").textContent = "as chosen";
    find("compare").setAttribute("aria-pressed", slider);
    find("flip").setAttribute("aria-pressed", flipped);
  }

  function turn(next) {
    mode = mode === next ? "off" : next;
    if (mode === "off") control?.abort();
    else load();
    lay();
  }

  function drag(event) {
    const box = find("sight").getBoundingClientRect();
    at = clamp(((event.clientX - box.left) / box.width) * 100, 0, 100);
    lay();
  }

  divide.addEventListener(
    "pointerdown",
    (event) => {
      divide.setPointerCapture(event.pointerId);
      divide.focus();
      event.stopPropagation();
    },
    listen,
  );
  divide.addEventListener(
    "pointermove",
    (event) => divide.hasPointerCapture(event.pointerId) && drag(event),
    listen,
  );
  divide.addEventListener(
    "keydown",
    (event) => {
      const step = {
        ArrowLeft: -2,
        ArrowRight: 2,
        PageDown: -10,
        PageUp: 10,
        Home: -100,
        End: 100,
      };
      if (!(event.key in step)) return;
      event.preventDefault();
      at = clamp(at + step[event.key], 0, 100);
      lay();
    },
    listen,
  );
  choice.addEventListener("change", load, listen);
  find("compare").addEventListener("click", () => turn("slider"), listen);
  find("flip").addEventListener("click", () => turn("flip"), listen);
  list();
  lay();

  return {
    refresh: load,
    close() {
      ends.abort();
      control?.abort();
      mode = "off";
      lay();
    },
  };
}
