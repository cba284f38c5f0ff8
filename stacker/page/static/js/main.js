// Where the page begins: what there is, which burst is open, and the way between the two.

import { openBench } from "./bench.js";
import { find } from "./elements.js";
import { mindKeys } from "./keys.js";
import { notice } from "./notices.js";
import { hello as askHello, openBurst } from "./server.js";
import { showStart } from "./start.js";
import { mindTone } from "./tone.js";

let hello = null;
let bench = null;

/** The burst on the page is named in the address, so that a reload opens it again. */
function named() {
  const id = decodeURIComponent(location.hash.slice(1));
  return hello.bursts.some((burst) => burst.id === id) ? id : null;
}

async function open(id) {
  show(await openBurst(id), id);
}

function show(burst, id = burst.id ?? burst.key) {
  bench?.close();
  find("start").hidden = true;
  history.replaceState(null, "", `#${encodeURIComponent(id)}`);
  bench = openBench({ hello, burst: { ...burst, id } });
}

function start() {
  bench?.close();
  bench = null;
  document.title = "stacker";
  find("saved").textContent = "";
  history.replaceState(null, "", location.pathname);
  find("start").hidden = false;
  showStart({ hello, open, opened: show, renew });
}

async function renew() {
  hello = await askHello();
  start();
}

async function begin() {
  try {
    hello = await askHello();
    const id = named() ?? hello.recent;
    if (id) await open(id);
    else start();
  } catch (error) {
    notice(error.message, [["Try again", begin]]);
    if (hello) start();
  }
}

mindTone(() => bench?.redraw());
mindKeys(
  new Proxy(
    {},
    // the keys of whatever burst is open
    { get: (_, name) => bench?.acts[name] },
  ),
);
find("other-burst").addEventListener("click", renew);
begin();
