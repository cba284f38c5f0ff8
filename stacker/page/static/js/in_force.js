// What counts: what was said, else what the subject chooses, else what is usual.

export const USUAL = {
  blend: "mean",
  floor: "plain",
  tail_to: "start",
  even: "off",
  exposure: 0,
  warmth: 0,
  shoulder: false,
  ramp_in_s: 0,
  ramp_out_s: 0,
};

/** Return what the subject of settings chooses, by names of settings. */
export function chosenBySubject(settings, hello) {
  return hello.subjects.find((each) => each.name === settings.subject)?.chooses ?? {};
}

/** Return all settings that count. */
export function inForce(settings, hello) {
  return { ...USUAL, ...chosenBySubject(settings, hello), ...settings };
}

/** Return a change that says a choice, or leaves it unsaid where it is what counts anyway. */
export function saying(name, value, settings, hello) {
  const unsaid = { ...USUAL, ...chosenBySubject(settings, hello) }[name];
  return { [name]: value === (unsaid ?? null) ? undefined : value };
}
