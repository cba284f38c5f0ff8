// A magnifier: a square of the full frames, one pixel of theirs to one of the screen.

import { find } from "./elements.js";
import { loupe as askLoupe, takenBack } from "./server.js";
import { clamp } from "./span.js";

const SIDE = 280;
const REST_MS = 120;

/** Return the magnifier over the picture. */
export function makeLoupe({ key, picture, settings, tell }) {
  const sight = find("sight");
  const glass = find("loupe");
  const image = glass.querySelector("img");
  const words = glass.querySelector("p");
  const button = find("magnify");
  const ends = new AbortController();
  const listen = { signal: ends.signal };
  let on = false;
  let centre = { x: picture.size[0] / 2, y: picture.size[1] / 2 };
  let timer = null;
  let control = null;
  let address = null;

  function place() {
    const scale = picture.scale();
    const box = sight.getBoundingClientRect();
    const side = Math.min(SIDE, box.width, box.height);
    glass.style.width = glass.style.height = `${side}px`;
    // beside the finger, on the side where there is room
    const x = centre.x * scale;
    const y = centre.y * scale;
    const left = x < box.width / 2 ? x + 24 : x - 24 - side;
    glass.style.left = `${clamp(left, 0, box.width - side)}px`;
    glass.style.top = `${clamp(y - side / 2, 0, box.height - side)}px`;
    words.textContent = `100 % at ${Math.round(centre.x)}, ${Math.round(centre.y)}`;
  }

  function move(point) {
    centre = point;
    place();
    clearTimeout(timer);
    timer = setTimeout(load, REST_MS);
  }

  async function load() {
    control?.abort();
    control = new AbortController();
    glass.classList.add("working");
    try {
      const size = Math.round(SIDE * (window.devicePixelRatio || 1));
      const seen = await askLoupe(key, settings(), Math.round(centre.x), Math.round(centre.y), size, control.signal);
      if (address) URL.revokeObjectURL(address);
      address = URL.createObjectURL(seen);
      image.src = address;
      image.alt = `The picture at 100 % around ${Math.round(centre.x)}, ${Math.round(centre.y)}`;
    } catch (error) {
      if (!takenBack(error)) tell(error.message);
    }
    glass.classList.remove("working");
  }

  function turn(shown) {
    on = shown;
    glass.hidden = !on;
    button.setAttribute("aria-pressed", on);
    sight.classList.toggle("magnified", on);
    sight.tabIndex = on ? 0 : -1;
    if (!on) return control?.abort();
    move(centre);
    return sight.focus({ preventScroll: true });
  }

  button.addEventListener("click", () => turn(!on), listen);
  sight.addEventListener("pointermove", (event) => on && move(picture.fullPoint(event)), listen);
  sight.addEventListener("pointerdown", (event) => on && move(picture.fullPoint(event)), listen);
  sight.addEventListener(
    "keydown",
    (event) => {
      if (!on || event.target !== sight) return;
      const step = (event.shiftKey ? 10 : 1) * (picture.size[0] / 100);
      const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!by) return;
      event.preventDefault();
      move({
        x: clamp(centre.x + by[0] * step, 0, picture.size[0]),
        y: clamp(centre.y + by[1] * step, 0, picture.size[1]),
      });
    },
    listen,
  );

  return {
    refresh: () => on && load(),
    off: () => on && turn(false),
    close() {
      ends.abort();
      clearTimeout(timer);
      if (on) turn(false);
      if (address) URL.revokeObjectURL(address);
    },
  };
}
