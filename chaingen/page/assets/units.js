// Lengths as makers write them: what a slider writes, and what is read beside it.

export const MM_PER_INCH = 25.4;

/** Millimetres with as many places as wire needs. */
export function mmWords(mm) {
  const places = mm < 10 ? 2 : 1;
  return `${mm.toFixed(places)} mm`;
}

export function inchWords(mm) {
  const inch = mm / MM_PER_INCH;
  return `${inch.toFixed(inch < 1 ? 3 : 2)} in`;
}

/** The length as text in the unit that it was written in: a slider keeps to it. */
export function written(mm, before, step) {
  if (/in\s*$|"\s*$/.test(before ?? "")) return `${trimmed(mm / MM_PER_INCH, step < 0.5 ? 3 : 2)} in`;
  if (/cm\s*$/.test(before ?? "")) return `${trimmed(mm / 10, 2)} cm`;
  return `${trimmed(mm, 3)} mm`;
}

const trimmed = (number, places) => String(Number(number.toFixed(places)));

const GAUGE = /^(.+?)\s*(AWG|SWG)$/i;

/** What a wire's list goes by: AWG, SWG or mm. */
export function listOf(text) {
  return GAUGE.exec((text ?? "").trim())?.[2].toUpperCase() ?? "mm";
}

/** The index of the wire nearest to a thickness. */
export function nearest(wires, mm) {
  if (typeof mm !== "number") return wires.length >> 1;
  let best = 0;
  for (let k = 1; k < wires.length; k += 1) {
    if (Math.abs(wires[k].mm - mm) < Math.abs(wires[best].mm - mm)) best = k;
  }
  return best;
}

/** A path in the design as the package names it in a problem: `rings.link.inside`, `pattern.groups[2]`. */
export const place = (at) =>
  at.map((key, k) => (typeof key === "number" ? `[${key + 1}]` : `${k ? "." : ""}${named(key)}`)).join("");

const named = (key) => (/^[A-Za-z0-9_-]+$/.test(key) ? key : `'${key}'`);

/** A count and what is counted. */
export const counted = (count, what) => `${count.toLocaleString("en-GB")} ${what}${count === 1 ? "" : "s"}`;

/** A problem as one sentence. */
export const sentence = (problem) => `${problem.where}: ${said(problem)}`;

/** The same without its place. */
export function said({ got, expected, advice }) {
  return `${got ? `got ${got}; ` : ""}expected ${expected}${advice ? ` (${advice})` : ""}`;
}
