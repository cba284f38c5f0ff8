// The row of versions: pictures kept beside each other, each with its settings and a name.

import { fill, find, make } from "./elements.js";
import { COARSE } from "./previews.js";
import { spanOf } from "./span.js";
import { same } from "./store.js";
import { count, seconds } from "./words.js";

/**
 * Return the row; `open(settings)` tells for how many seconds the shutter is open, `ready()` whether
 * there is anything to be seen yet.
 */
export function makeVersions({ store, previews, frames, inForce, open, ready, say, tell }) {
  const place = find("versions");
  const keep = find("keep");
  const small = new Map();
  let naming = null;
  const control = new AbortController();

  function add() {
    const { settings, versions } = store.get();
    const next = [...versions, { name: freshName(settings, versions), settings }];
    store.replace({ versions: next, selected: next.length - 1 }, "a version kept");
    say(`Kept as ${next.at(-1).name}.`);
    place.lastElementChild?.scrollIntoView({ block: "nearest" });
  }

  function freshName(settings, versions) {
    const time = open(settings);
    const plain = `${inForce(settings).blend}${Number.isFinite(time) ? ` ${seconds(time)}` : ""}`;
    const names = new Set(versions.map((version) => version.name));
    let name = plain;
    for (let n = 2; names.has(name); n += 1) name = `${plain} (${n})`;
    return name;
  }

  function choose(index) {
    const version = store.get().versions[index];
    if (!version) return;
    store.replace({ settings: version.settings, selected: index }, `to ${version.name}`);
    say(`${version.name} is on the screen.`);
  }

  function remove(index) {
    const { versions, selected } = store.get();
    const next = versions.filter((_, at) => at !== index);
    const stays =
      selected === null || selected === index ? null : selected - (selected > index ? 1 : 0);
    store.replace({ versions: next, selected: stays }, `${versions[index].name} removed`);
    keep.focus();
  }

  function rename(index, name) {
    naming = null;
    const { versions } = store.get();
    if (!name || name === versions[index].name) return show();
    const next = versions.map((each, at) => (at === index ? { ...each, name } : each));
    return store.replace({ versions: next }, "a version named");
  }

  function update(index) {
    const { settings, versions } = store.get();
    const next = versions.map((each, at) => (at === index ? { ...each, settings } : each));
    store.replace({ versions: next }, `${versions[index].name} kept anew`);
  }

  function told(settings) {
    const { first, last } = spanOf(settings, frames.length);
    return first === last ? `frame ${first}` : `frames ${first} to ${last}`;
  }

  function thumb(settings, name) {
    const image = make("img", { alt: "", width: 120, height: 80 });
    const known = JSON.stringify(settings);
    if (small.has(known)) image.src = small.get(known);
    else if (ready())
      previews
        .aside(settings, COARSE, control.signal)
        .then(({ picture }) => {
          forget(known);
          small.set(known, URL.createObjectURL(picture));
          image.src = small.get(known);
        })
        .catch((error) => error.name === "AbortError" || tell(`${name}: ${error.message}`));
    return image;
  }

  function forget(known) {
    if (small.has(known)) URL.revokeObjectURL(small.get(known));
    small.delete(known);
  }

  function nameField(version, index) {
    const field = make("input", {
      type: "text",
      value: version.name,
      maxLength: 60,
      "aria-label": "Name of the version",
      on: {
        blur: () => rename(index, field.value.trim()),
        keydown: (event) => {
          if (event.key === "Enter") field.blur();
          if (event.key === "Escape") {
            naming = null;
            show();
          }
          event.stopPropagation();
        },
      },
    });
    queueMicrotask(() => field.select());
    return field;
  }

  function row(version, index) {
    const { settings, selected } = store.get();
    const current = selected === index;
    const changed = current && !same(settings, version.settings);
    const key = (label, press, what) =>
      make(
        "button",
        {
          type: "button",
          class: "plain",
          "aria-label": `${what} ${version.name}`,
          on: { click: press },
        },
        label,
      );
    const face = make(
      "button",
      {
        type: "button",
        "aria-current": current,
        title: version.name,
        on: { click: () => choose(index) },
      },
      thumb(version.settings, version.name),
      naming === index ? null : make("span", { class: "name" }, version.name),
      make("span", { class: "tells" }, changed ? "changed since" : told(version.settings)),
    );
    return make(
      "li",
      { class: "version" },
      face,
      naming === index ? nameField(version, index) : null,
      current
        ? make(
            "div",
            { class: "version-keys" },
            key("Name", () => ((naming = index), show()), "Name"),
            changed ? key("Keep", () => update(index), "Keep the changes in") : null,
            key("Remove", () => remove(index), "Remove"),
          )
        : null,
    );
  }

  function show() {
    const { versions, selected } = store.get();
    const had = [...place.children].findIndex((each) => each.contains(document.activeElement));
    fill(
      place,
      versions.length
        ? versions.map(row)
        : make(
            "li",
            { class: "quiet none-kept" },
            "Versions that you keep stand here, side by side.",
          ),
    );
    if (naming === null && had >= 0) {
      const near = place.children[Math.min(had, versions.length - 1)];
      near?.querySelector("button")?.focus();
    }
    place.setAttribute(
      "aria-label",
      versions.length ? count(versions.length, "version") : "No version kept yet",
    );
    keep.textContent = selected === null ? "Keep this one" : "Keep another";
  }

  keep.onclick = add;
  show();

  return {
    show,
    add,
    choose,
    /** Make the small pictures anew, as when more frames have been read. */
    renew() {
      [...small.keys()].forEach(forget);
      show();
    },
    close() {
      control.abort();
      [...small.keys()].forEach(forget);
    },
  };
}
