// The picture on its stage: as large as fits, replaced only when the next one is there.
//
// A picture may be a part of the frames: what all of them saw. Its region says which part, so that
// boxes, masks and other pictures lie on it where they belong.

import { find } from "./elements.js";
import { clamp } from "./span.js";

const MARGIN_PX = 12;

/** Return the view of the picture; `size` is that of the full frames, [width, height]. */
export function makePicture(size) {
  const stage = find("stage");
  const sight = find("sight");
  const whole = [0, 0, ...size];
  const shown = new Map([
    ["now", { region: whole }],
    ["before", { region: whole }],
  ]);
  const listeners = new Set();
  const region = () => shown.get("now").region;

  function fit() {
    const room = stage.getBoundingClientRect();
    const [, , width, height] = region();
    const wide = (room.width - 2 * MARGIN_PX) / width;
    const high = (room.height - 2 * MARGIN_PX) / height;
    const scale = Math.min(wide, high);
    if (!(scale > 0)) return;
    sight.style.width = `${Math.round(width * scale)}px`;
    sight.style.height = `${Math.round(height * scale)}px`;
    place(find("before"), shown.get("before").region);
    place(find("paint"), whole);
    for (const listener of listeners) listener();
  }

  /** Put an element that shows a region of the frames where that lies on the picture. */
  function place(element, [x, y, width, height]) {
    const [left, top, wide, high] = region();
    element.style.left = `${((x - left) / wide) * 100}%`;
    element.style.top = `${((y - top) / high) * 100}%`;
    element.style.width = `${(width / wide) * 100}%`;
    element.style.height = `${(height / high) * 100}%`;
  }

  const watcher = new ResizeObserver(fit);
  watcher.observe(stage);
  fit();

  return {
    /** Show a preview in one of the layers (`now`, `before`) once it is decoded. */
    async show(layer, seen) {
      const image = find(layer);
      const address = URL.createObjectURL(seen.picture);
      const turn = Symbol(layer);
      shown.set(layer, { ...shown.get(layer), turn });
      const next = new Image();
      next.src = address;
      await next.decode().catch(() => null);
      if (shown.get(layer)?.turn !== turn) return URL.revokeObjectURL(address);
      const { address: old, region: before } = shown.get(layer);
      const after = seen.region ?? whole;
      image.src = address;
      shown.set(layer, { turn, address, region: after });
      if (old) URL.revokeObjectURL(old);
      if (String(before) !== String(after)) fit();
    },

    /** Say what the picture shows, for who cannot see it. */
    describe(words) {
      find("now").alt = words;
    },

    /** Return where a pointer is, in pixels of the full frames, kept within the picture. */
    fullPoint(event) {
      const box = sight.getBoundingClientRect();
      const [left, top, width, height] = region();
      const x = left + ((event.clientX - box.left) / box.width) * width;
      const y = top + ((event.clientY - box.top) / box.height) * height;
      return { x: clamp(x, left, left + width), y: clamp(y, top, top + height) };
    },

    /** Return where a pixel of the full frames lies on the screen, from the picture's corner. */
    screenPoint(x, y) {
      const scale = sight.getBoundingClientRect().width / region()[2];
      return { x: (x - region()[0]) * scale, y: (y - region()[1]) * scale };
    },

    /** Return the part of the full frames that is shown: [x, y, width, height]. */
    region,
    onFit: (listener) => listeners.add(listener),
    size,

    close() {
      watcher.disconnect();
      for (const [layer, { address }] of shown) {
        find(layer).removeAttribute("src");
        if (address) URL.revokeObjectURL(address);
      }
      shown.clear();
    },
  };
}
