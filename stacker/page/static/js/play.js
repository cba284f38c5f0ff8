// Frame after frame, one alone at a time: by hand along the axis, or as a film.

import { find, fill, make } from "./elements.js";
import { COARSE, FINE } from "./previews.js";
import { takenBack } from "./server.js";
import { count } from "./words.js";

const PER_SECOND = 8;

/** Return what shows single frames; `back` shows the exposure again. */
export function makePlay({ frames, previews, picture, axis, back }) {
  const sign = find("alone");
  let alone = null;
  let control = null;
  let timer = null;
  let rest = null;
  let busy = false;
  let next = null;

  const of = (n) => ({ first: n, last: n, hold: "still" });

  /** Show frame n alone; of a quick row of them the newest counts. */
  function look(n) {
    if (n === null) return leave();
    alone = n;
    say(n);
    clearTimeout(rest);
    rest = setTimeout(() => alone === n && !timer && load(n, FINE), 200);
    return load(n, COARSE);
  }

  async function load(n, side) {
    if (busy) {
      next = [n, side];
      return;
    }
    busy = true;
    control = new AbortController();
    try {
      const seen = await previews.aside(of(n), side, control.signal);
      if (alone !== null) await picture.show("now", seen);
    } catch (error) {
      if (!takenBack(error) && alone !== null) sign.firstChild.textContent = error.message;
    }
    busy = false;
    if (next && alone !== null) {
      const [n2, side2] = next;
      next = null;
      load(n2, side2);
    }
  }

  function say(n) {
    sign.hidden = false;
    // what is read there is of the exposure
    find("reading").hidden = true;
    fill(
      sign,
      make("span", {}, `Frame ${n} of ${count(frames.length, "frame")}, alone`),
      make(
        "button",
        { type: "button", class: "plain", id: "leave-alone", on: { click: leave } },
        "Back to the exposure",
      ),
    );
  }

  function stop() {
    clearInterval(timer);
    timer = null;
    axis().playing(false);
  }

  function leave() {
    if (timer) stop();
    if (alone === null) return;
    alone = null;
    next = null;
    control?.abort();
    clearTimeout(rest);
    sign.hidden = true;
    find("reading").hidden = false;
    back();
  }

  /** Play from the frame where the cursor is, around and around; again: stop. */
  function toggle() {
    if (timer) return stop();
    axis().playing(true);
    let n = axis().here();
    timer = setInterval(() => {
      // frames that the server is late with are waited for, not piled up
      if (busy) return;
      n = n >= frames.length ? 1 : n + 1;
      axis().goTo(n, true);
    }, 1000 / PER_SECOND);
    return undefined;
  }

  return {
    look,
    leave,
    toggle,
    isAlone: () => alone !== null,
    step(by) {
      axis().goTo(Math.min(Math.max(axis().here() + by, 1), frames.length), true);
    },
    close() {
      clearInterval(timer);
      clearTimeout(rest);
      control?.abort();
      alone = null;
      sign.hidden = true;
      find("reading").hidden = false;
    },
  };
}
