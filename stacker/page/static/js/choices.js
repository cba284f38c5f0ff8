// The sheet's questions about the exposure: subject, blend, hold, gaps, uneven light.

import { chips, pull, tick } from "./chips.js";
import { fill, find, make } from "./elements.js";
import { chosenBySubject, inForce, saying } from "./in_force.js";
import { seconds } from "./words.js";

const LIGHTEN_ONLY = { floor: undefined, tail_s: undefined, tail_to: undefined };
const GAPLESS = new Set(["median", "darken", "trimmed"]);
// the tail's slider runs over the logarithm, from a second to two hours
const TAIL_HIGH = Math.log2(7200);

/**
 * Return how to show settings in the sheet.
 *
 * `waitForBox(change)` takes a change that makes no sense before there is a box, or null.
 */
export function makeChoices({ store, hello, waitForBox }) {
  const say = (name, value, words) =>
    change(saying(name, value, store.get().settings, hello), words);

  function change(parts, words) {
    const next = { ...store.get().settings, ...parts };
    const boxed = inForce(next, hello).hold === "subject";
    // what a subject of the list holds is looked for in the burst, unless it is shown
    if (next.hold === "subject" && !next.box) return waitForBox(parts);
    waitForBox(null);
    return store.change(boxed ? parts : { ...parts, box: undefined }, words);
  }

  const subject = find("subject");
  fill(
    subject,
    make("option", { value: "" }, "nothing said"),
    hello.subjects.map(({ name, words }) => make("option", { value: name }, titleOf(words))),
  );
  subject.onchange = () => setSubject(subject.value);

  /** A new subject chooses anew: what was said of those questions before is taken back. */
  function setSubject(name) {
    const settings = { ...store.get().settings, subject: name || undefined };
    const chooses = chosenBySubject(settings, hello);
    const names = Object.keys(chooses).map((key) => (key === "blend" ? "blends" : key));
    const anew = Object.fromEntries(names.map((key) => [key, undefined]));
    const { blend } = inForce({ ...settings, ...anew }, hello);
    if (blend !== "lighten") Object.assign(anew, LIGHTEN_ONLY);
    if (GAPLESS.has(blend)) anew.bridge = undefined;
    change({ ...anew, subject: settings.subject }, "the subject");
  }

  function setBlend(name) {
    const other = name === "lighten" ? {} : LIGHTEN_ONLY;
    const gaps = GAPLESS.has(name) ? { bridge: undefined } : {};
    const said = saying("blend", name, store.get().settings, hello);
    change({ ...other, ...gaps, ...said }, "the blend");
  }

  const showBlend = chips(
    find("blend"),
    "blend",
    hello.blends.map(({ name, words }) => ({ value: name, label: name, title: words })),
    setBlend,
  );
  const showHold = chips(
    find("hold"),
    "hold",
    [
      { value: null, label: "as needed" },
      ...hello.holds.map(({ name, words }) => ({ value: name, label: name, title: words })),
    ],
    (name) => say("hold", name, "what is held"),
  );
  const showBridge = chips(
    find("bridge"),
    "bridge",
    [
      { value: false, label: "leave the gaps" },
      { value: true, label: "fill the gaps" },
    ],
    (value) => say("bridge", value, "the gaps"),
  );
  const showEven = chips(
    find("even"),
    "even",
    [
      { value: "off", label: "as it fell" },
      {
        value: "auto",
        label: "no flicker",
        title: "takes out flicker and keeps slow changes such as dusk",
      },
      { value: "level", label: "all alike", title: "brings all frames to one light" },
    ],
    (value) => say("even", value, "uneven light"),
  );

  const floor = tick(
    "Keep the dark clean",
    "A true floor: the brightest value only where it stands clear of the noise, the mean elsewhere.",
    (on) => say("floor", on ? "true" : "plain", "the floor"),
  );
  const tail = pull({
    id: "tail",
    label: "Tails fade over",
    low: 0,
    high: TAIL_HIGH,
    step: 0.25,
    usual: 0,
    words: (value) => (value === 0 ? "no tails" : seconds(2 ** value)),
    live: (value) => store.live(tailSettings(value)),
    settle: (value) => store.change(tailSettings(value), "the tails"),
  });
  const tailTo = make("div", { class: "chips", role: "group", "aria-label": "Tails point to" });
  const showTailTo = chips(
    tailTo,
    "tail_to",
    [
      { value: "start", label: "to the start" },
      { value: "end", label: "to the end" },
      { value: "both", label: "to both" },
    ],
    (value) => say("tail_to", value, "the tails"),
  );
  const tailSettings = (value) => ({
    tail_s: value === 0 ? undefined : Number((2 ** value).toPrecision(2)),
    ...(value === 0 ? { tail_to: undefined } : {}),
  });
  const forLighten = make("div", { class: "group" }, floor.element, tail.element, tailTo);
  fill(find("blend-more"), forLighten);

  function because(name) {
    const settings = store.get().settings;
    const subjectOf = hello.subjects.find((each) => each.name === settings.subject);
    const said = name === "blend" ? "blends" : name;
    if (said in settings || !(name in chosenBySubject(settings, hello))) return "";
    return ` Chosen for ${settings.subject}: ${subjectOf.why?.[name] ?? "it suits"}.`;
  }

  return {
    show(settings) {
      const now = inForce(settings, hello);
      subject.value = settings.subject ?? "";
      const chosen = hello.subjects.find((each) => each.name === settings.subject);
      find("subject-words").textContent = chosen
        ? sentence(chosen.words.slice(titleOf(chosen.words).length + 2))
        : "A subject chooses the rest; what you choose besides wins.";
      showBlend(now.blend);
      const words = hello.blends.find((each) => each.name === now.blend)?.words ?? "";
      find("blend-words").textContent = sentence(words) + because("blend");
      forLighten.hidden = now.blend !== "lighten";
      floor.show(now.floor === "true");
      tail.show(now.tail_s ? Math.log2(now.tail_s) : 0);
      tailTo.hidden = !now.tail_s;
      showTailTo(now.tail_to);
      showHold(now.hold ?? null);
      const holdWords = hello.holds.find((each) => each.name === now.hold)?.words;
      find("hold-words").textContent =
        sentence(holdWords ?? "frames are brought together only if the camera moved") +
        because("hold");
      showBridge(now.bridge && !GAPLESS.has(now.blend));
      for (const input of find("bridge").querySelectorAll("input"))
        input.disabled = GAPLESS.has(now.blend);
      find("bridge-words").textContent = GAPLESS.has(now.blend)
        ? `A ${now.blend} knows no gaps.`
        : because("bridge").trim();
      showEven(now.even);
    },
  };
}

/** A subject's words are a title, and after a colon what it chooses. */
function titleOf(words) {
  return words.split(": ")[0];
}

function sentence(words) {
  if (!words) return "";
  return `${words[0].toUpperCase()}${words.slice(1).replace(/\.$/, "")}.`;
}
