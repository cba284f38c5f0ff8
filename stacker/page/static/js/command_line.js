// The command for what is on the screen, to copy.

import { find } from "./elements.js";
import { command, takenBack } from "./server.js";

/** Return how to show the command for settings and a name of a file. */
export function makeCommandLine({ key, say }) {
  const line = find("command");
  const copy = find("copy");
  let control = null;

  async function show(settings, output) {
    control?.abort();
    control = new AbortController();
    try {
      line.textContent = (await command(key, settings, output, control.signal)).command;
      line.classList.remove("trouble");
      copy.disabled = false;
    } catch (error) {
      if (takenBack(error)) return;
      line.textContent = error.message;
      line.classList.add("trouble");
      copy.disabled = true;
    }
  }

  copy.onclick = async () => {
    try {
      await navigator.clipboard.writeText(line.textContent);
      copy.textContent = "Copied";
      say("The command is copied.");
      setTimeout(() => (copy.textContent = "Copy"), 1600);
    } catch {
      // no leave to write there: mark it, so that Ctrl+C takes it
      getSelection().selectAllChildren(line);
      say("The command is marked; copy it with Control C.");
    }
  };

  return { show, close: () => control?.abort() };
}
