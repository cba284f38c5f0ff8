// The picture on its stage: as large as fits, replaced only when the next one is there.

import { find } from "./elements.js";

/** Return the view of the picture; `size` is that of the full frames, [width, height]. */
export function makePicture(size) {
  const stage = find("stage");
  const sight = find("sight");
  const shown = new Map();
  const listeners = new Set();

  function fit() {
    const room = stage.getBoundingClientRect();
    const margin = 2 * 12;
    const scale = Math.min((room.width - margin) / size[0], (room.height - margin) / size[1]);
    if (!(scale > 0)) return;
    sight.style.width = `${Math.round(size[0] * scale)}px`;
    sight.style.height = `${Math.round(size[1] * scale)}px`;
    for (const listener of listeners) listener();
  }

  const watcher = new ResizeObserver(fit);
  watcher.observe(stage);
  fit();

  return {
    /** Show a picture in one of the layers (`now`, `before`) once it is decoded. */
    async show(layer, blob) {
      const image = find(layer);
      const address = URL.createObjectURL(blob);
      const turn = Symbol(layer);
      shown.set(layer, { ...shown.get(layer), turn });
      const next = new Image();
      next.src = address;
      await next.decode().catch(() => null);
      if (shown.get(layer)?.turn !== turn) return URL.revokeObjectURL(address);
      const old = shown.get(layer).address;
      image.src = address;
      shown.set(layer, { turn, address });
      if (old) URL.revokeObjectURL(old);
    },

    /** Say what the picture shows, for who cannot see it. */
    describe(words) {
      find("now").alt = words;
    },

    /** Return where a pointer is, in pixels of the full frames, kept within them. */
    fullPoint(event) {
      const box = sight.getBoundingClientRect();
      const x = ((event.clientX - box.left) / box.width) * size[0];
      const y = ((event.clientY - box.top) / box.height) * size[1];
      return {
        x: Math.min(Math.max(x, 0), size[0]),
        y: Math.min(Math.max(y, 0), size[1]),
      };
    },

    /** Return how many pixels of the screen a pixel of the full frames takes. */
    scale: () => sight.getBoundingClientRect().width / size[0],
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
