// What another tab, or this one before it was reloaded, has chosen besides: the person says which
// counts, and nothing is lost.

import { notice } from "./notices.js";
import { same } from "./store.js";

/** Ask whether the newer choices of another tab shall be taken, or ours kept beside them. */
export function askWhichCounts(theirs, store, goOn) {
  notice(
    "Another tab has changed this burst since. Nothing is lost: which shall be on the screen?",
    [
      ["Take what the other tab has", () => take(theirs, store, false).then(goOn)],
      ["Keep mine as a version beside it", () => take(theirs, store, true).then(goOn)],
    ],
  );
}

async function take(theirs, store, keepMine) {
  const { settings } = store.get();
  const versions = [...(theirs.versions ?? [])];
  if (keepMine) versions.push({ name: "from this tab", settings });
  store.replace(
    {
      settings: keepMine ? settings : (theirs.settings ?? {}),
      versions,
      selected: keepMine ? versions.length - 1 : (theirs.selected ?? null),
    },
    "what another tab has",
  );
  return theirs.revision;
}

/** Offer choices that this tab could not save before it was reloaded. */
export function offerUnsaved(before, store) {
  if (!before || same(before, store.get())) return;
  notice("This tab had made choices that could not be saved.", [
    ["Take them up", () => store.replace(before, "what was not saved")],
    ["Leave them", () => {}],
  ]);
}
