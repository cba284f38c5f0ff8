// What counts: what was said, else what the subject chooses, else what is usual.
//
// Settings name their blend in a list, `blends`; on the page it is always one, `blend`.

const USUAL = {
  blend: "mean",
  floor: "plain",
  tail_to: "start",
  even: "off",
  exposure: 0,
  warmth: 0,
  shoulder: false,
  bridge: false,
  ramp_in_s: 0,
  ramp_out_s: 0,
};

/** Return what the subject of settings chooses, by names of the page. */
export function chosenBySubject(settings, hello) {
  const subject = hello.subjects.find((each) => each.name === settings.subject);
  return withBlend(subject?.chooses ?? {});
}

/** Return all settings that count. */
export function inForce(settings, hello) {
  return { ...USUAL, ...chosenBySubject(settings, hello), ...withBlend(settings) };
}

/** Return a change that says a choice, or leaves it unsaid where it is what counts anyway. */
export function saying(name, value, settings, hello) {
  const unsaid = { ...USUAL, ...chosenBySubject(settings, hello) }[name] ?? null;
  const said = value === unsaid ? undefined : value;
  if (name !== "blend") return { [name]: said };
  return { blends: said === undefined ? undefined : [said] };
}

/** Return settings with their one blend as `blend`. */
function withBlend({ blends, ...rest }) {
  return blends ? { ...rest, blend: blends[0] } : rest;
}
