// Light, dark, or as the system has it; kept for the next time where the browser keeps anything.

import { byId } from "/assets/dom.js";

const KEY = "chaingen-theme";
const SYSTEM = matchMedia("(prefers-color-scheme: dark)");

function kept() {
  try {
    return localStorage.getItem(KEY) ?? "system";
  } catch {
    return "system";
  }
}

/** Follows the choice and the system; tells `changed(dark)`; whether it is dark now. */
export function theme(changed) {
  const select = byId("theme");
  select.value = kept();
  const dark = () => (select.value === "system" ? SYSTEM.matches : select.value === "dark");
  const set = () => {
    document.documentElement.dataset.theme = select.value;
    changed(dark());
  };
  select.addEventListener("change", () => {
    try {
      localStorage.setItem(KEY, select.value);
    } catch {
      // Not kept, then.
    }
    set();
  });
  SYSTEM.addEventListener("change", set);
  document.documentElement.dataset.theme = select.value;
  return dark;
}
