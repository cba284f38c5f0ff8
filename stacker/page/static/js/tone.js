// Light or dark: as the system says, until the person says otherwise.

import { find } from "./elements.js";

const KEPT = "stacker.tone";

/** Mind the switch; `changed` is called when colours are others, for what is drawn. */
export function mindTone(changed) {
  const root = document.documentElement;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const button = find("tone");
  const isDark = () => (root.dataset.tone ? root.dataset.tone === "dark" : dark.matches);

  function tell() {
    button.textContent = isDark() ? "Light" : "Dark";
    button.title = `Show the page ${isDark() ? "light" : "dark"}`;
    changed();
  }

  try {
    const kept = localStorage.getItem(KEPT);
    if (kept) root.dataset.tone = kept;
  } catch {
    // no storage: the system's wish counts
  }
  button.addEventListener("click", () => {
    root.dataset.tone = isDark() ? "light" : "dark";
    try {
      localStorage.setItem(KEPT, root.dataset.tone);
    } catch {
      // holds until the page is closed
    }
    tell();
  });
  dark.addEventListener("change", tell);
  tell();
}
