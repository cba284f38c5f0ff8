// Before a burst is open: what there is, a demo, and a place to drop files.

import { draw, fill, find, make } from "./elements.js";
import { job, makeDemo, upload } from "./server.js";
import { count } from "./words.js";

const ASK_MS = 700;

/** Show the start; `open(id)` opens a burst there is, `opened(answer)` goes on with a new one. */
export function showStart({ hello, open, opened, renew }) {
  const place = find("start");
  const trouble = make("div", { role: "alert" });
  const say = (sentence) => fill(trouble, make("p", { class: "said" }, sentence));

  const demo = make(
    "button",
    { type: "button", id: "make-demo", class: hello.bursts.length ? null : "main" },
    "Make the demo bursts",
  );
  demo.addEventListener("click", async () => {
    demo.disabled = true;
    try {
      let told = await job((await makeDemo()).job);
      while (told.state === "running" || told.state === "waiting") {
        say(
          `The demo of Kestrel Point is being made${told.of ? `: ${told.done} of ${told.of}` : ""} …`,
        );
        await new Promise((done) => setTimeout(done, ASK_MS));
        told = await job(told.id ?? told.job);
      }
      if (told.state === "done") return await renew();
      say(told.error ?? "The demo was not made.");
    } catch (error) {
      say(error.message);
    }
    demo.disabled = false;
    return undefined;
  });

  const picker = make("input", {
    type: "file",
    multiple: true,
    class: "unseen",
    id: "pick-files",
    tabIndex: -1,
    "aria-label": "Files of a burst",
  });
  picker.addEventListener("change", () => send([...picker.files]));
  const drop = make(
    "div",
    { class: "drop" },
    make("p", {}, "Drop the frames of one burst here, or a clip, or"),
    make("button", { type: "button", on: { click: () => picker.click() } }, "choose files"),
    picker,
  );

  async function send(files) {
    if (!files.length) return;
    say(`${count(files.length, "file")} ${files.length === 1 ? "is" : "are"} being copied …`);
    try {
      opened(await upload(files));
    } catch (error) {
      say(error.message);
    }
  }

  // a file dropped beside the place must not open in the page's stead
  place.ondragover = (event) => {
    event.preventDefault();
    drop.classList.add("over");
  };
  place.ondragleave = (event) => event.target === place && drop.classList.remove("over");
  place.ondrop = (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    send([...event.dataTransfer.files]);
  };

  const bursts = make(
    "ul",
    { class: "bursts" },
    hello.bursts.map(({ id, name, frames }) =>
      make(
        "li",
        {},
        make(
          "button",
          { type: "button", on: { click: () => open(id).catch((error) => say(error.message)) } },
          // the place tells folders of one name apart; what came here by the page has a mark in front
          make("span", {}, id === "." ? name : id.replace(/^\+\/?/, "")),
          make("span", { class: "quiet" }, frames ? count(frames, "frame") : "a clip"),
        ),
      ),
    ),
  );
  fill(
    place,
    make(
      "div",
      { class: "leaf" },
      make("h2", {}, "One long exposure from many short frames"),
      strip(),
      make(
        "p",
        {},
        "Open a burst, drag over the time for which the shutter shall have been open, and see the picture at once. Your files are only read.",
      ),
      hello.bursts.length
        ? make("div", {}, make("h3", {}, `Bursts in ${hello.folder}`), bursts)
        : make(
            "p",
            {},
            `There is no burst in ${hello.folder} yet. Make the demo to try the page: water, traffic, stars and a square at Kestrel Point, a harbour town that does not exist.`,
          ),
      trouble,
      make("div", { class: "row" }, demo),
      drop,
    ),
  );
}

/** A burst in little: frames, gaps, and the span that is open. */
function strip() {
  const picture = draw("svg", { class: "strip", viewBox: "0 0 594 72", "aria-hidden": "true" });
  const [pitch, wide] = [42.5, 34];
  const [first, last] = [4, 9];
  const left = first * pitch;
  const right = last * pitch + wide;
  picture.append(draw("rect", { class: "span", x: left, y: 4, width: right - left, height: 64 }));
  for (let n = 0; n < 14; n += 1) {
    const part = n >= first && n <= last ? "bar in" : "bar";
    picture.append(draw("rect", { class: part, x: n * pitch, y: 16, width: wide, height: 40 }));
  }
  for (const x of [left, right])
    picture.append(draw("rect", { class: "end-mark", x: x - 2, y: 4, width: 4, height: 64 }));
  return picture;
}
