// Hatching where light is burnt out or all black, and dots where a median is in doubt.

import { find } from "./elements.js";
import { FINE } from "./previews.js";
import { overlay, takenBack } from "./server.js";

const KINDS = ["clipping", "doubt"];

/** Return the overlays of one burst; they follow the picture by `refresh(settings)`. */
export function makeOverlays({ key, tell }) {
  const on = new Set();
  const addresses = new Map();
  const ends = new AbortController();
  let control = null;
  let settings = {};

  async function load() {
    control?.abort();
    control = new AbortController();
    for (const kind of KINDS) {
      if (!on.has(kind)) continue;
      try {
        const grey = await overlay(key, settings, FINE, kind, control.signal);
        lay(kind, URL.createObjectURL(grey));
      } catch (error) {
        if (takenBack(error)) return;
        turn(kind, false);
        tell(error.message);
      }
    }
  }

  function lay(kind, address) {
    const layer = find(`hatch-${kind}`);
    layer.style.maskImage = `url("${address}")`;
    layer.hidden = !on.has(kind);
    forget(kind);
    addresses.set(kind, address);
  }

  function forget(kind) {
    if (addresses.has(kind)) URL.revokeObjectURL(addresses.get(kind));
    addresses.delete(kind);
  }

  function turn(kind, shown) {
    find(kind).setAttribute("aria-pressed", shown);
    if (shown) {
      on.add(kind);
      load();
    } else {
      on.delete(kind);
      find(`hatch-${kind}`).hidden = true;
    }
  }

  for (const kind of KINDS)
    find(kind).addEventListener("click", () => turn(kind, !on.has(kind)), { signal: ends.signal });

  return {
    /** Show the overlays that are on for these settings. */
    refresh(next) {
      settings = next;
      load();
    },
    close() {
      ends.abort();
      control?.abort();
      for (const kind of KINDS) {
        turn(kind, false);
        forget(kind);
      }
    },
  };
}
