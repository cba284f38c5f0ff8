// The histogram: how much of the picture has which light, in stops below white.

import { colour, find, prepare } from "./elements.js";

const CHANNELS = [
  ["r", "--red", "red"],
  ["g", "--green", "green"],
  ["b", "--blue", "blue"],
];

/** Draw what a preview told: {edges_stops, counts: {r, g, b}}. */
export function drawHistogram(told) {
  const { context, width, height } = prepare(find("histogram"));
  if (!told) return;
  const edges = told.edges_stops;
  const low = edges[0];
  const high = edges.at(-1);
  const x = (stops) => ((stops - low) / (high - low)) * width;
  context.strokeStyle = colour("--rule");
  for (let stop = Math.ceil(low); stop <= high; stop += 1) {
    context.globalAlpha = stop === 0 ? 1 : 0.6;
    line(context, x(stop), height);
  }
  context.globalAlpha = 1;
  // the root makes the few pixels of lamps visible beside a whole dark sky; the end bins, where all
  // that is darker or clipped gathers, may stick out
  const inner = CHANNELS.flatMap(([name]) => told.counts[name].slice(1, -1));
  const most = Math.sqrt(Math.max(...inner, 1)) * 1.08;
  for (const [name, tone] of CHANNELS) {
    context.strokeStyle = colour(tone);
    context.lineWidth = 1.25;
    context.beginPath();
    told.counts[name].forEach((pixels, bin) => {
      const y = height - 1 - Math.min(1, Math.sqrt(pixels) / most) * (height - 4);
      context.lineTo(x((edges[bin] + edges[bin + 1]) / 2), y);
    });
    context.stroke();
  }
  find("histogram").setAttribute("role", "img");
  find("histogram").setAttribute("aria-label", inWords(told));
}

function line(context, x, height) {
  context.beginPath();
  context.moveTo(x, 0);
  context.lineTo(x, height);
  context.stroke();
}

function inWords({ edges_stops: edges, counts }) {
  const parts = CHANNELS.map(([name, , word]) => {
    const all = counts[name].reduce((sum, pixels) => sum + pixels, 0);
    let passed = 0;
    const middle = counts[name].findIndex((pixels) => (passed += pixels) >= all / 2);
    return `${word} ${Math.abs(edges[Math.max(middle, 0)]).toFixed(1)}`;
  });
  return `Histogram. Half of the picture lies more than this many stops below white: ${parts.join(", ")}.`;
}
