// Saving as one goes, and what happens when another tab did so first.

import { readSession, saveSession } from "./server.js";

const PAUSE_MS = 500;
// before it is tried again where the program did not answer
const AGAIN_MS = 4000;

/** Return the state that this tab could not save before it was reloaded, or null. */
export function leftUnsaved(remember) {
  try {
    return JSON.parse(sessionStorage.getItem(remember) ?? "null");
  } catch {
    return null;
  }
}

/**
 * Save a store's state beside the burst after each change.
 *
 * `tell(words, trouble)` says where saving stands; `conflict(theirs)` is called when another tab has
 * saved this burst meanwhile, and nothing is saved until `goOn(revision)`.
 */
export function keepSaved({ key, store, revision, remember, tell, conflict }) {
  let timer = null;
  let saving = null;
  let wanted = false;
  let stopped = false;

  const stop = store.on((_, what) => {
    if (what.kind !== "settled" || stopped) return;
    wanted = true;
    note(JSON.stringify(store.get()));
    tell("Saving …");
    clearTimeout(timer);
    timer = setTimeout(save, PAUSE_MS);
  });

  /** Note in this tab what is not saved, in case the program is gone before it could be. */
  function note(state) {
    try {
      if (state === null) sessionStorage.removeItem(remember);
      else sessionStorage.setItem(remember, state);
    } catch {
      // without a storage a crash of the program costs the last change
    }
  }

  async function save() {
    clearTimeout(timer);
    if (!wanted || stopped) return;
    if (saving) {
      await saving;
      return save();
    }
    wanted = false;
    saving = send().finally(() => {
      saving = null;
    });
    await saving;
  }

  async function send(options) {
    try {
      ({ revision } = await saveSession(key, { revision, ...store.get() }, options));
      if (wanted) return;
      note(null);
      tell("Saved");
    } catch (error) {
      wanted = true;
      if (error.status === 0) timer = setTimeout(save, AGAIN_MS);
      if (error.status !== 409) return tell(`Not saved yet: ${error.message}`, true);
      stopped = true;
      tell("Not saved: another tab has changed this burst.", true);
      conflict(error.body.session ?? (await readSession(key)));
    }
  }

  function atLeaving() {
    if (!wanted || stopped || saving) return;
    wanted = false;
    clearTimeout(timer);
    send({ keepalive: true });
  }

  const onHide = () => document.visibilityState === "hidden" && atLeaving();
  document.addEventListener("visibilitychange", onHide);
  window.addEventListener("pagehide", atLeaving);
  tell("Saved");

  return {
    save,
    /** Go on saving upon the revision that the other tab wrote. */
    goOn(newer) {
      revision = newer;
      stopped = false;
      wanted = true;
      return save();
    },
    close() {
      atLeaving();
      stopped = true;
      stop();
      document.removeEventListener("visibilitychange", onHide);
      window.removeEventListener("pagehide", atLeaving);
    },
  };
}
