// Elements made in few words, and icons drawn as paths (no picture files, no markup from strings).

import { said, sentence } from "/assets/units.js";

/** An element: attributes, `on...` listeners, `text`, then children (elements, texts, null for none). */
export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "text") made.textContent = value;
    else if (name === "value") made.value = value;
    else if (name === "class") made.className = value;
    else made.setAttribute(name, value === true ? "" : String(value));
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return made;
}

export const byId = (id) => document.getElementById(id);

let made = 0;
/** An id that nothing else has. */
export const freshId = (stem) => `${stem}-${(made += 1)}`;

const PATHS = {
  up: "M5 12l5-5 5 5",
  down: "M5 8l5 5 5-5",
  cross: "M5.5 5.5l9 9m0-9l-9 9",
  plus: "M10 4v12M4 10h12",
  minus: "M4 10h12",
  undo: "M7 5L3.5 8.5 7 12M4 8.5h8a4 4 0 0 1 0 8H8",
  redo: "M13 5l3.5 3.5L13 12M16 8.5H8a4 4 0 0 0 0 8h4",
  play: "M6 4l10 6-10 6z",
  back: "M9 4l-6 6 6 6M3.5 10H17",
};

const SVG = "http://www.w3.org/2000/svg";

function drawn(size, ...shapes) {
  const svg = document.createElementNS(SVG, "svg");
  const attributes = { viewBox: `0 0 ${size} ${size}`, "aria-hidden": "true", focusable: "false" };
  for (const [name, value] of Object.entries(attributes)) svg.setAttribute(name, value);
  for (const [tag, own] of shapes) {
    const shape = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(own)) shape.setAttribute(name, String(value));
    svg.append(shape);
  }
  return svg;
}

/** A line icon of 20 units. */
export function icon(name) {
  return drawn(20, ["path", { d: PATHS[name], class: "line" }]);
}

const DISC = ["circle", { cx: 20, cy: 20, r: 17, class: "solid" }];
const SHAPES = {
  // Each state has an outline of its own, so that it is told without colour.
  fits: [DISC, ["path", { d: "M12 21l6 6 11-13", class: "cut" }]],
  tight: [DISC, ["path", { d: "M11 20h7m4 0h7M18 13v14M22 13v14", class: "cut" }]],
  loose: [
    ["circle", { cx: 20, cy: 20, r: 15, class: "ring" }],
    ["path", { d: "M13 21l5 5 9-11", class: "line" }],
  ],
  bad: [
    ["path", { d: "M13 3h14l10 10v14L27 37H13L3 27V13z", class: "solid" }],
    ["path", { d: "M13 13l14 14m0-14L13 27", class: "cut" }],
  ],
  unknown: [
    ["path", { d: "M20 3l17 17-17 17L3 20z", class: "solid" }],
    ["path", { d: "M16 16a4 4 0 1 1 5 4c-1 .5-1 1-1 3m0 4v1", class: "cut" }],
  ],
  none: [["circle", { cx: 20, cy: 20, r: 15, class: "ring" }]],
};

/** The shape of a verdict: fits, tight, loose, bad, unknown, none. */
export function shape(state) {
  return drawn(40, ...(SHAPES[state] ?? SHAPES.none));
}

/** A button with an icon and a name for those who do not see it. */
export function iconButton(name, label, press, more = {}) {
  return el(
    "button",
    { type: "button", class: "icon", "aria-label": label, title: label, onclick: press, ...more },
    icon(name),
  );
}

/** A labelled choice: options as [value, words]. */
export function choice(label, options, value, pick, more = {}) {
  const id = more.id ?? freshId("choice");
  const select = el(
    "select",
    { id, ...more, onchange: (event) => pick(event.target.value) },
    options.map(([one, words]) => el("option", { value: one, text: words })),
  );
  select.value = value ?? "";
  const hidden = more["data-quiet"] !== undefined;
  return el("div", { class: "field" }, el("label", { for: id, class: hidden ? "sr" : null, text: label }), select);
}

/** Replaces what is in a place, keeping the focus on what has the same `data-key`. */
export function refill(place, ...children) {
  const held = place.contains(document.activeElement) ? document.activeElement : null;
  const key = held?.dataset.key;
  place.replaceChildren(...children.flat().filter((child) => child !== null && child !== undefined));
  if (!held) return;
  const same = key && place.querySelector(`[data-key="${CSS.escape(key)}"]`);
  const other = same && !same.disabled ? same : place.querySelector("button:not([disabled]), select, input");
  other?.focus({ preventScroll: true });
}

/** What the box of a place in the design is called on the page; null where it has none. */
function calledAt(where) {
  const name = CSS.escape(where ?? "");
  const find = (key) => document.querySelector(`#sizes [data-${key}="${name}"]`);
  const box = name && (find("key") ?? find("at"));
  return box && (box.getAttribute("aria-label") ?? box.labels?.[0]?.textContent ?? null);
}

/** A problem in words: what its box is called, what is wrong, and where it stands in the text. */
export function problemWords(problem) {
  const called = calledAt(problem.where);
  if (!called) return [sentence(problem)];
  return [el("strong", { text: called }), `: ${said(problem)} `, el("span", { class: "soft", text: problem.where })];
}

/** One of a few, all to be seen. */
export function either(label, options, value, pick) {
  const name = freshId("either");
  return el(
    "fieldset",
    { class: "switch" },
    el("legend", { text: label }),
    el(
      "div",
      {},
      options.map(([one, text]) =>
        el(
          "label",
          {},
          el("input", {
            type: "radio",
            name,
            value: String(one),
            checked: one === value,
            "data-key": `${label}-${one}`,
            onchange: () => pick(one),
          }),
          el("span", { text }),
        ),
      ),
    ),
  );
}
