// What was chosen: the settings on the screen, the versions kept, and the way back.

const STEPS_KEPT = 200;

/**
 * Return a store of one burst's choices.
 *
 * A state is `{settings, versions, selected}` and is never changed, only replaced. `remember` is
 * where the way back is kept over a reload of this tab: a place in sessionStorage.
 */
export function makeStore(first, remember) {
  const listeners = new Set();
  let now = first;
  let settled = first;
  let { past, future } = recall(remember, first);

  function tell(what) {
    for (const listener of listeners) listener(now, what);
  }

  function settle(next, words) {
    if (same(next, settled)) {
      now = settled;
      return tell({ kind: "settled", words: null });
    }
    past = [...past, { state: settled, words }].slice(-STEPS_KEPT);
    future = [];
    now = settled = next;
    write();
    return tell({ kind: "settled", words });
  }

  function write() {
    try {
      sessionStorage.setItem(remember, JSON.stringify({ settled, past, future }));
    } catch {
      // a full or forbidden storage costs the way back over a reload, nothing else
    }
  }

  return {
    get: () => now,
    canUndo: () => past.length > 0,
    canRedo: () => future.length > 0,

    /** Show a change while it is being made; `change` settles it. */
    live(settings) {
      now = { ...now, settings: clean({ ...now.settings, ...settings }) };
      tell({ kind: "live", words: null });
    },

    /** Change settings for good; a value of undefined takes one out. */
    change(settings, words) {
      settle({ ...now, settings: clean({ ...now.settings, ...settings }) }, words);
    },

    /** Replace the whole state, as versions do. */
    replace(parts, words) {
      settle({ ...now, ...parts }, words);
    },

    /** Give up a change that was only shown. */
    drop() {
      now = settled;
      tell({ kind: "settled", words: null });
    },

    undo() {
      const step = past.at(-1);
      if (!step) return;
      past = past.slice(0, -1);
      future = [...future, { state: settled, words: step.words }];
      now = settled = step.state;
      write();
      tell({ kind: "settled", words: step.words, back: "undone" });
    },

    redo() {
      const step = future.at(-1);
      if (!step) return;
      future = future.slice(0, -1);
      past = [...past, { state: settled, words: step.words }];
      now = settled = step.state;
      write();
      tell({ kind: "settled", words: step.words, back: "done again" });
    },

    /** Call `listener(state, {kind, words, back})` at each change; return how to stop. */
    on(listener) {
      listeners.add(listener);
      return () => listeners.delete(listener);
    },
  };
}

/** Return whether two states or settings say the same. */
export function same(a, b) {
  return JSON.stringify(ordered(a)) === JSON.stringify(ordered(b));
}

function ordered(value) {
  if (Array.isArray(value)) return value.map(ordered);
  if (value === null || typeof value !== "object") return value;
  return Object.fromEntries(
    Object.keys(value)
      .sort()
      .map((key) => [key, ordered(value[key])]),
  );
}

function clean(settings) {
  return Object.fromEntries(Object.entries(settings).filter(([, value]) => value !== undefined));
}

/** The way back holds only if the tab left off at what was saved. */
function recall(remember, first) {
  try {
    const kept = JSON.parse(sessionStorage.getItem(remember) ?? "null");
    if (kept && same(kept.settled, first)) return { past: kept.past, future: kept.future };
  } catch {
    // unreadable: begin anew
  }
  return { past: [], future: [] };
}
