// Asking for pictures: coarse first, then fine; stale questions are taken back.

import { preview, takenBack } from "./server.js";

export const COARSE = 375;
export const FINE = 1500;
// after the last move of a drag, before the fine picture is asked for
const REST_MS = 90;
const KEPT = 16;

/**
 * Return a source of previews of one burst.
 *
 * `show(seen, settings, fine)` is handed each picture that is still wanted, `trouble(sentence)` what
 * went wrong (null once it is well again), `busy(bool)` whether one is awaited.
 */
export function makePreviews({ key, show, trouble, busy }) {
  const kept = new Map();
  let turn = 0;
  let coarse = null;
  let fine = null;
  let next = null;
  let rest = null;

  /** Want the picture of settings; while they are dragged (`live`) only the newest is asked for. */
  function want(settings, { live = false } = {}) {
    const mine = (turn += 1);
    clearTimeout(rest);
    fine?.abort();
    const known = kept.get(name(settings));
    if (known) {
      coarse?.abort();
      next = null;
      trouble(null);
      return Promise.resolve(show(known, settings, true)).then(() => turn === mine && busy(false));
    }
    busy(true);
    // a drag is answered best by letting the question that is under way come back
    if (live && coarse) next = { settings, turn };
    else run(settings, live, mine);
    return undefined;
  }

  async function run(settings, live, mine) {
    coarse?.abort();
    next = null;
    const control = (coarse = new AbortController());
    try {
      const seen = await preview(key, settings, COARSE, control.signal);
      // an answer that a newer drag has overtaken still shows where the drag has been
      show(seen, settings, false);
      if (mine === turn) trouble(null);
    } catch (error) {
      if (takenBack(error)) return;
      if (mine === turn) fail(error);
    } finally {
      if (coarse === control) coarse = null;
    }
    if (next) return run(next.settings, true, next.turn);
    if (mine === turn) rest = setTimeout(() => refine(settings, mine), live ? REST_MS : 0);
  }

  async function refine(settings, mine) {
    const control = (fine = new AbortController());
    try {
      const seen = await preview(key, settings, FINE, control.signal);
      keep(settings, seen);
      if (mine !== turn) return;
      trouble(null);
      await show(seen, settings, true);
      if (mine === turn) busy(false);
    } catch (error) {
      if (!takenBack(error) && mine === turn) fail(error);
    }
  }

  function fail(error) {
    turn += 1;
    busy(false);
    trouble(error.message);
  }

  function keep(settings, seen) {
    if (seen.passing) return;
    kept.set(name(settings), seen);
    if (kept.size > KEPT) kept.delete(kept.keys().next().value);
  }

  return {
    want,
    /** Return a picture beside the one on the screen, such as the other side of a comparison. */
    async aside(settings, side, signal) {
      const known = kept.get(name(settings));
      if (known && side === FINE) return known;
      const seen = await preview(key, settings, side, signal);
      if (side === FINE) keep(settings, seen);
      return seen;
    },
    /** Forget what was seen, as when more frames have been read meanwhile. */
    forget: () => kept.clear(),
    close() {
      turn += 1;
      clearTimeout(rest);
      coarse?.abort();
      fine?.abort();
    },
  };
}

function name(settings) {
  return JSON.stringify(Object.entries(settings).sort(([a], [b]) => (a < b ? -1 : 1)));
}
