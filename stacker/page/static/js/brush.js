// A mask in the making: strokes of a brush on a canvas, as soft as wished.
//
// The canvas carries the mask in its alpha; what is seen is the same filled with a hatching. The
// server gets white on black.

import { colour } from "./elements.js";

/** Return a mask of [width, height] pixels shown on a canvas of the page. */
export function makeMask(shown, [width, height]) {
  const mask = canvasOf(width, height);
  const pen = mask.getContext("2d");
  shown.width = width;
  shown.height = height;
  const screen = shown.getContext("2d");
  let last = null;

  function show(cursor = null) {
    screen.globalCompositeOperation = "copy";
    screen.globalAlpha = 1;
    screen.drawImage(mask, 0, 0);
    screen.globalCompositeOperation = "source-in";
    screen.globalAlpha = 0.85;
    screen.fillStyle = screen.createPattern(tile(width), "repeat");
    screen.fillRect(0, 0, width, height);
    if (!cursor) return;
    screen.globalCompositeOperation = "source-over";
    screen.globalAlpha = 1;
    // both rings, so that one shows on any picture
    for (const [tone, thick] of [
      ["#000", 4],
      ["#fff", 2],
    ]) {
      screen.strokeStyle = tone;
      screen.lineWidth = (thick * width) / 1500;
      screen.beginPath();
      screen.arc(cursor.x, cursor.y, cursor.radius, 0, 2 * Math.PI);
      screen.stroke();
    }
  }

  function dab(x, y, { radius, soft, erase }) {
    const gradient = pen.createRadialGradient(x, y, 0, x, y, radius);
    gradient.addColorStop(0, "#fff");
    gradient.addColorStop(Math.max(0, Math.min(0.98, 1 - soft)), "#fff");
    gradient.addColorStop(1, "#fff0");
    pen.globalCompositeOperation = erase ? "destination-out" : "source-over";
    pen.fillStyle = gradient;
    pen.beginPath();
    pen.arc(x, y, radius, 0, 2 * Math.PI);
    pen.fill();
  }

  return {
    show,

    /** Go on with a stroke to x, y in pixels of the mask; the first call begins it. */
    stroke(x, y, brush) {
      const from = last ?? { x, y };
      const way = Math.hypot(x - from.x, y - from.y);
      const steps = Math.max(1, Math.ceil(way / Math.max(1, brush.radius / 5)));
      for (let step = 1; step <= steps; step += 1) {
        const part = step / steps;
        dab(from.x + (x - from.x) * part, from.y + (y - from.y) * part, brush);
      }
      last = { x, y };
    },

    lift() {
      last = null;
    },

    clear() {
      pen.globalCompositeOperation = "source-over";
      pen.clearRect(0, 0, width, height);
    },

    /** Take a grey picture as the mask: white is wholly in. */
    async take(blob) {
      const picture = await createImageBitmap(blob);
      const grey = canvasOf(width, height).getContext("2d", { willReadFrequently: true });
      grey.drawImage(picture, 0, 0, width, height);
      const data = grey.getImageData(0, 0, width, height);
      for (let at = 0; at < data.data.length; at += 4) {
        data.data[at + 3] = data.data[at];
        data.data.fill(255, at, at + 3);
      }
      pen.putImageData(data, 0, 0);
      show();
    },

    /** Return the mask as a PNG, white on black. */
    png() {
      const out = canvasOf(width, height);
      const ink = out.getContext("2d");
      ink.fillStyle = "#000";
      ink.fillRect(0, 0, width, height);
      ink.drawImage(mask, 0, 0);
      return new Promise((done) => out.toBlob(done, "image/png"));
    },
  };
}

function canvasOf(width, height) {
  const canvas = document.createElement("canvas");
  canvas.width = width;
  canvas.height = height;
  return canvas;
}

/** Stripes of the accent and nothing, about as wide on the screen however fine the mask is. */
function tile(width) {
  const side = Math.max(6, Math.round(width / 110));
  const stripes = canvasOf(side, side);
  const pen = stripes.getContext("2d");
  pen.fillStyle = colour("--accent");
  pen.globalAlpha = 0.28;
  pen.fillRect(0, 0, side, side);
  pen.globalAlpha = 1;
  pen.strokeStyle = colour("--accent");
  pen.lineWidth = side / 5;
  for (const shift of [-side, 0, side]) {
    pen.beginPath();
    pen.moveTo(shift - 1, -1);
    pen.lineTo(shift + side + 1, side + 1);
    pen.stroke();
  }
  return stripes;
}
