// How a scene is laid: what goes round the wrist, how far apart the pegs are, friction, and how it is shaken before.

import { el, freshId } from "/assets/dom.js";

const MEASURES = { wrist: "circumference", neck: "circumference", swag: "span", corners: "span" };

export class Laid {
  constructor() {
    this.values = { friction: 0.2, disorder: 0, seed: 0 };
    this.root = el("details", { class: "more" }, el("summary", { text: "How it is laid" }));
    const length = (key, label, example) => {
      const id = freshId("rest");
      return el(
        "div",
        { class: "field" },
        el("label", { for: id, text: label }),
        el("input", {
          type: "text",
          id,
          size: 9,
          placeholder: "usual",
          "data-rest": key,
          "aria-description": `For example ${example}; empty for what suits the piece`,
          onchange: (event) => {
            this.values[key] = event.target.value.trim() || undefined;
          },
        }),
      );
    };
    this.fields = {
      circumference: length("circumference", "Wrist or neck, round", "165 mm"),
      span: length("span", "Pegs apart", "120 mm"),
    };
    const slide = (key, label, low, high, step) => {
      const id = freshId("rest");
      const read = el("output", { for: id, text: String(this.values[key]) });
      return el(
        "div",
        { class: "field slide" },
        el("label", { for: id, text: label }),
        read,
        el("input", {
          type: "range",
          id,
          min: low,
          max: high,
          step,
          value: this.values[key],
          "data-rest": key,
          oninput: (event) => {
            this.values[key] = event.target.valueAsNumber;
            read.textContent = event.target.value;
          },
        }),
      );
    };
    this.root.append(
      this.fields.circumference,
      this.fields.span,
      slide("friction", "Friction, wire on wire", 0, 1, 0.05),
      slide("disorder", "Shaken before it is let go", 0, 1, 0.1),
      slide("seed", "Shaken another way", 0, 20, 1),
    );
  }

  /** Shows what goes with these scenes. */
  suits(kinds) {
    for (const [key, field] of Object.entries(this.fields)) {
      field.hidden = !kinds.some((kind) => MEASURES[kind] === key);
    }
  }

  /** A scene as the program is asked for it; what is empty is what suits the piece. */
  scene(kind) {
    const { friction, disorder, seed } = this.values;
    const scene = { kind, friction, ...(disorder > 0 ? { disorder, seed } : {}) };
    const measure = MEASURES[kind];
    if (measure && this.values[measure]) scene[measure] = this.values[measure];
    return scene;
  }
}
