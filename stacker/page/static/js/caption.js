// What is said of the picture: under it, in its description, and while the next one is awaited.

import { fill, find, make } from "./elements.js";

/** Say what the picture is. */
export function tellReading(words) {
  find("reading").textContent = words;
}

/** Say sentences about the picture; one line of them shows, the others on demand. */
export function tellNotes(notes) {
  const place = find("notes");
  const more =
    notes.length > 1 ? make("span", { class: "more" }, `and ${notes.length - 1} more`) : null;
  place.hidden = notes.length === 0;
  fill(
    place,
    notes.map((note, index) => make("li", {}, note, index === 0 ? more : null)),
  );
}

/** Show whether a picture is awaited. */
export function tellBusy(on) {
  document.querySelector(".seen").classList.toggle("working", on);
}

/** Say where saving stands. */
export function tellSaved(words, troubled) {
  find("saved").textContent = words;
  find("saved").classList.toggle("trouble", troubled);
}
