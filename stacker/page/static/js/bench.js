// The work on one burst: everything on the page that belongs to it, from opening to closing.

import { makeAxis } from "./axis.js";
import { makeBrightness } from "./brightness.js";
import { makeChoices } from "./choices.js";
import { tellBusy, tellNotes, tellReading, tellSaved } from "./caption.js";
import { makeCommandLine } from "./command_line.js";
import { makeCompare } from "./compare.js";
import { makeDial } from "./dial.js";
import { find } from "./elements.js";
import { makeFlashes } from "./flashes.js";
import { makeFullSize } from "./full_size.js";
import { drawHistogram } from "./histogram.js";
import { inForce as inForceOf } from "./in_force.js";
import { makeLoupe } from "./loupe.js";
import { notice, speak } from "./notices.js";
import { askWhichCounts, offerUnsaved } from "./other_tab.js";
import { makeOverlays } from "./overlays.js";
import { makePicture } from "./picture.js";
import { makePlaces } from "./places.js";
import { makePlay } from "./play.js";
import { makePreviews } from "./previews.js";
import { makeReading } from "./reading.js";
import { keepSaved, leftUnsaved } from "./session.js";
import { openSeconds, spanOf } from "./span.js";
import { makeStore } from "./store.js";
import { makeSubjectBox } from "./subject_box.js";
import { makeVersions } from "./versions.js";
import { count, seconds } from "./words.js";

/** Open the work on what the server told of a burst; return what keys do, and how to close it. */
export function openBench({ hello, burst }) {
  const { key, frames, warnings = [] } = burst;
  const store = makeStore(
    {
      settings: burst.settings ?? {},
      versions: burst.versions ?? [],
      selected: burst.selected ?? null,
    },
    `stacker.${burst.id ?? key}`,
  );
  const inForce = (settings) => inForceOf(settings, hello);
  const open = (settings) => openSeconds(frames, settings);
  let lastTold = null;

  find("bench").hidden = false;
  for (const id of ["other-burst", "undo", "redo"]) find(id).hidden = false;
  find("burst-name").textContent = burst.name;
  find("burst-count").textContent = count(frames.length, "frame");
  document.title = `${burst.name} - stacker`;

  const reading = makeReading({
    key,
    count: frames.length,
    tell: tellProgress,
    lookAnew,
    complete: () => flashes.load(),
  });
  const picture = makePicture(burst.size);
  const previews = makePreviews({ key, show, trouble, busy: tellBusy });
  const play = makePlay({
    frames,
    previews,
    picture,
    axis: () => axis,
    back: () => previews.want(store.get().settings),
  });
  const axis = makeAxis({ store, frames, look: play.look, say, play: play.toggle });
  const dial = makeDial({ store, frames, steps: hello.shutters });
  const choices = makeChoices({ store, hello, waitForBox });
  const brightness = makeBrightness({ store, hello, frames });
  const box = makeSubjectBox({
    store,
    picture,
    inForce,
    say,
    showFirst: (on) => play.look(on ? spanOf(store.get().settings, frames.length).first : null),
  });
  find("ask-places").parentElement.hidden = hello.regions === false;
  const places = makePlaces({
    key,
    store,
    hello,
    picture,
    previewSize: burst.preview_size,
    say,
    tell: notice,
  });
  const flashes = makeFlashes({
    key,
    store,
    frames,
    inForce,
    lookAt: ({ first }) => axis.goTo(first, true),
  });
  const versions = makeVersions({
    store,
    previews,
    frames,
    inForce,
    open,
    ready: () => reading.begun(),
    say,
    tell: notice,
  });
  const compare = makeCompare({ store, picture, previews, frames, inForce, tell: notice });
  const overlays = makeOverlays({ key, tell: notice });
  const loupe = makeLoupe({ key, picture, settings: () => store.get().settings, tell: notice });
  const commandLine = makeCommandLine({ key, say });
  const fullSize = makeFullSize({
    key,
    store,
    folder: hello.output ?? hello.folder,
    proposal,
    named: showCommand,
    say,
  });
  const unsaved = `stacker.unsaved.${burst.id ?? key}`;
  const before = leftUnsaved(unsaved);
  const session = keepSaved({
    key,
    store,
    revision: burst.revision ?? 0,
    remember: unsaved,
    tell: saved,
    conflict: (theirs) => askWhichCounts(theirs, store, (revision) => session.goOn(revision)),
  });

  function proposal() {
    return `${burst.name
      .split("/")
      .at(-1)
      .replace(/\.[^.]+$/, "")}-${inForce(store.get().settings).blend}.tif`;
  }

  function say(sentence, seen = false) {
    if (seen) notice(sentence);
    else speak(sentence);
  }

  function show(seen, settings, fine) {
    if (play.isAlone()) return undefined;
    const shown = picture.show("now", seen);
    lastTold = seen;
    const blend = inForce(settings).blend;
    const words = `${blend}, ${count(seen.frames ?? 0, "frame")}, open ${seconds(seen.openS ?? open(settings))}`;
    tellReading(words);
    picture.describe(`${burst.name}: ${words}`);
    drawHistogram(seen.histogram);
    tellNotes([...seen.notes, ...warnings]);
    if (seen.passing) reading.pass();
    if (fine) {
      overlays.refresh(settings);
      loupe.refresh();
    }
    return shown;
  }

  /** A subject is held once it has its box: until then nothing is asked of the server. */
  function waitForBox(change) {
    box.wait(change);
    choices.show({ ...store.get().settings, ...change });
    if (change) say("Draw a box around the subject first.");
  }

  function trouble(sentence) {
    if (sentence === null) return;
    tellNotes([sentence]);
    say(sentence);
  }

  function saved(words, troubled = false) {
    tellSaved(words, troubled);
    if (troubled) say(words);
  }

  function showCommand() {
    commandLine.show(store.get().settings, fullSize.output());
  }

  function showAll(what) {
    const { settings } = store.get();
    axis.redraw();
    dial.show();
    choices.show({ ...settings, ...box.pending() });
    brightness.show(settings);
    box.show();
    flashes.show();
    find("undo").disabled = !store.canUndo();
    find("redo").disabled = !store.canRedo();
    if (what.kind === "live") return;
    fullSize.show();
    places.show();
    versions.show();
    compare.refresh();
    showCommand();
    if (what.back) say(`${what.words ?? "A change"}: ${what.back}`);
  }

  store.on((state, what) => {
    if (play.isAlone() && what.kind === "live") play.leave();
    showAll(what);
    if (reading.begun() && !play.isAlone())
      previews.want(state.settings, { live: what.kind === "live" });
  });

  function lookAnew() {
    previews.forget();
    versions.renew();
    if (!play.isAlone()) previews.want(store.get().settings);
  }

  function tellProgress(told) {
    axis.measured(told);
    dial.show();
    const all = count(frames.length, "frame");
    const held = told.looking ? `${all}, looking how they are held` : all;
    find("burst-count").textContent = told.ready ? held : `${told.loaded} of ${all} read`;
    if (told.error) notice(told.error);
  }

  if (burst.note) notice(burst.note);
  offerUnsaved(before, store);
  find("undo").onclick = () => store.undo();
  find("redo").onclick = () => store.redo();
  showAll({ kind: "settled", words: null });
  reading.follow();

  const press = (id) => () => find(id).click();
  const versionKeys = Object.fromEntries(
    Array.from({ length: 9 }, (_, index) => [String(index + 1), () => versions.choose(index)]),
  );
  return {
    acts: {
      " ": play.toggle,
      ",": () => play.step(-1),
      ".": () => play.step(1),
      "[": () => dial.turn(-1),
      "]": () => dial.turn(1),
      "{": () => axis.shiftSpan(-1),
      "}": () => axis.shiftSpan(1),
      c: press("compare"),
      f: press("flip"),
      m: press("magnify"),
      x: press("clipping"),
      d: press("doubt"),
      p: () => find("new-place").click(),
      k: versions.add,
      r: fullSize.start,
      z: (event) => (event.shiftKey ? store.redo() : store.undo()),
      a: axis.focus,
      undo: store.undo,
      redo: store.redo,
      Escape() {
        play.leave();
        box.off();
        places.off();
        loupe.off();
      },
      ...versionKeys,
    },
    redraw() {
      axis.redraw();
      drawHistogram(lastTold?.histogram);
    },
    close() {
      reading.close();
      session.close();
      for (const part of [
        play,
        axis,
        dial,
        box,
        places,
        versions,
        compare,
        overlays,
        loupe,
        commandLine,
        fullSize,
        previews,
        picture,
      ])
        part.close();
      find("bench").hidden = true;
      for (const id of ["other-burst", "undo", "redo"]) find(id).hidden = true;
    },
  };
}
