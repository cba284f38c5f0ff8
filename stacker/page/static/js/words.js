// How times and amounts are said, wherever that is on the page.

/** Return seconds in words, such as "1/8 s", "2.5 s", "48 min", "1 h 5 min". */
export function seconds(value) {
  if (!Number.isFinite(value)) return "unknown time";
  if (value <= 0) return "0 s";
  if (value < 0.3) return `1/${Math.round(1 / value)} s`;
  if (value < 10) return `${trim(value.toFixed(value < 1 ? 2 : 1))} s`;
  if (value < 59.5) return `${Math.round(value)} s`;
  const minutes = Math.round(value / 60);
  if (value < 600) {
    const rest = Math.round(value - Math.floor(value / 60) * 60);
    return rest && rest < 60 ? `${Math.floor(value / 60)} min ${rest} s` : `${minutes} min`;
  }
  if (minutes < 60) return `${minutes} min`;
  return minutes % 60 ? `${Math.floor(minutes / 60)} h ${minutes % 60} min` : `${minutes / 60} h`;
}

const UNITS = { h: "hour", min: "minute", s: "second" };

/** Return seconds for a screen reader, in whole words. */
export function spokenSeconds(value) {
  return seconds(value).replace(/([\d./]+) (h|min|s)\b/g, (_, number, unit) => {
    if (number.includes("/")) return `${number} of a second`;
    return `${number} ${UNITS[unit]}${number === "1" ? "" : "s"}`;
  });
}

/** Return a number and what it counts, such as "1 frame", "24 frames". */
export function count(number, thing) {
  return `${number} ${thing}${number === 1 ? "" : "s"}`;
}

/** Return a number with its sign, such as "+0.5", "−2", "0". */
export function signed(value, digits = 1) {
  const text = trim(Math.abs(value).toFixed(digits));
  if (Number(text) === 0) return "0";
  return (value < 0 ? "−" : "+") + text;
}

function trim(text) {
  return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}
