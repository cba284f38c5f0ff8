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
    const box = sight.getBoundingClientRect();
    const [width, height] = seenSize();
    glass.style.width = `${width}px`;
    glass.style.height = `${height}px`;
    // beside the finger, on the side where there is room
    const { x, y } = picture.screenPoint(centre.x, centre.y);
    const left = x < box.width / 2 ? x + 24 : x - 24 - width;
    glass.style.left = `${clamp(left, 0, Math.max(0, box.width - width))}px`;
    glass.style.top = `${clamp(y - height / 2, 0, Math.max(0, box.height - height))}px`;
    words.textContent = `100 % at ${Math.round(centre.x)}, ${Math.round(centre.y)}`;
  }

  /** Return the size of the glass: that of what is seen, a pixel of the frames to one of the screen. */
  function seenSize() {
    const fine = window.devicePixelRatio || 1;
    if (!image.naturalWidth) return [SIDE, SIDE];
    image.width = image.naturalWidth / fine;
    image.height = image.naturalHeight / fine;
    return [image.width, image.height];
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
      // the server counts from the picture's own corner
      const [left, top] = picture.region();
      const at = [centre.x - left, centre.y - top].map(Math.round);
      const seen = await askLoupe(key, settings(), ...at, size, control.signal);
      if (address) URL.revokeObjectURL(address);
      address = URL.createObjectURL(seen);
      image.src = address;
      await image.decode().catch(() => null);
      place();
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
      const [left, top, width, height] = picture.region();
      const step = (event.shiftKey ? 10 : 1) * (width / 100);
      const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[
        event.key
      ];
      if (!by) return;
      event.preventDefault();
      move({
        x: clamp(centre.x + by[0] * step, left, left + width),
        y: clamp(centre.y + by[1] * step, top, top + height),
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
