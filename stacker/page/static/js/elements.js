// Making and finding elements. Text goes in as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

/** Return the element of that id, which the page has. */
export function find(id) {
  const element = document.getElementById(id);
  if (!element) throw new Error(`the page has no element "${id}"`);
  return element;
}

/**
 * Return a new element.
 *
 * Properties: `class`, `on` (events by name), `data` (data-* by name); whatever the element knows
 * as a property is set as such, the rest as an attribute; null and undefined are left out.
 */
export function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (value === null || value === undefined) continue;
    if (name === "class") element.className = value;
    else if (name === "on")
      for (const [event, listener] of Object.entries(value))
        element.addEventListener(event, listener);
    else if (name === "data") Object.assign(element.dataset, value);
    else if (name in element && name !== "list" && name !== "role") element[name] = value;
    else element.setAttribute(name, value);
  }
  element.append(
    ...children.flat(Infinity).filter((child) => child !== null && child !== undefined),
  );
  return element;
}

/** Return a new SVG element with its attributes. */
export function draw(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

/** Put these children in place of those that an element has. */
export function fill(element, ...children) {
  element.replaceChildren(
    ...children.flat(Infinity).filter((child) => child !== null && child !== undefined),
  );
}

/** Put an element at x, y (pixels of its parent), by a transform, which lays nothing out anew. */
export function moveTo(element, x, y = 0) {
  element.style.transform = `translate(${x}px, ${y}px)`;
}

/** Make a canvas as fine as the screen is; return its context in CSS pixels, and its size. */
export function prepare(canvas) {
  const { width, height } = canvas.getBoundingClientRect();
  const fine = window.devicePixelRatio || 1;
  canvas.width = Math.max(1, Math.round(width * fine));
  canvas.height = Math.max(1, Math.round(height * fine));
  const context = canvas.getContext("2d");
  context.setTransform(fine, 0, 0, fine, 0, 0);
  context.clearRect(0, 0, width, height);
  return { context, width, height };
}

/** Return a colour of the style sheet by its variable, such as `--accent`. */
export function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}
