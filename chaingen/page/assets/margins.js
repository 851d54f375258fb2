// Room asked for between wires, how far real rings are off, and whether two are made.

import { LengthBox } from "/assets/boxes.js";
import { choice, el, refill } from "/assets/dom.js";

export class Margins {
  constructor(root, bench, said) {
    Object.assign(this, { root, bench, said });
    this.built = false;
  }

  update(controls) {
    if (!this.built) this.#build(controls);
    this.clearance.update(controls.clearance);
    this.tolerance.update(controls.tolerance);
    this.pair.checked = controls.pair;
    this.#serve(controls.service ?? "");
  }

  blame(problems) {
    this.clearance?.blame(problems);
    this.tolerance?.blame(problems);
  }

  #build(controls) {
    this.built = true;
    this.clearance = this.#box("Clearance", controls.clearance);
    this.tolerance = this.#box("Tolerance", controls.tolerance);
    this.service = el("div", {});
    this.pair = el("input", {
      type: "checkbox",
      id: "pair",
      "data-key": "pair",
      onchange: () =>
        this.bench.change(
          [this.pair.checked ? { do: "set", at: ["pair"], value: true } : { do: "remove", at: ["pair"] }],
          this.pair.checked ? "A pair" : "One piece",
        ),
    });
    refill(
      this.root,
      this.clearance.root,
      el("p", {
        class: "soft about",
        text: "The gap asked for between any two wires: room for plating, or for parts that are printed in one.",
      }),
      this.tolerance.root,
      el("p", { class: "soft about", text: "How far real rings are off, inside diameter and wire alike." }),
      this.service,
      el("label", { class: "tick" }, this.pair, el("span", { text: "A pair: two are made, mirror images" })),
    );
  }

  /** Which process makes the piece from its model, if one does. */
  #serve(process) {
    if (this.process === process) return;
    this.process = process;
    const how = ({ assembled, casts }) =>
      [assembled ? "in one, linked" : "ring by ring", casts ? "then cast" : null].filter(Boolean).join(", ");
    const own = this.said.processes ?? [];
    const options = [["", "by hand, from wire"], ...own.map((one) => [one.name, `${one.name} (${how(one)})`])];
    if (process && !own.some((one) => one.name === process)) options.push([process, process]);
    const pick = (name) =>
      this.bench.change(
        [
          name
            ? { do: "set", at: ["service", "process"], value: name }
            : { do: "remove", at: ["service"] },
        ],
        name ? `Made by a service: ${name}` : "Made by hand",
      );
    refill(
      this.service,
      choice("How it is made", options, process, pick, { id: "service", "data-key": "service" }),
      el("p", {
        class: "soft",
        text: "For a print or casting service the verdict says too whether the process can make it.",
      }),
    );
  }

  #box(label, box) {
    const say = (value, going = false) => {
      if (value === null) this.bench.settle();
      else this.bench.change([{ do: "set", at: box.at, value }], `${label}: ${value}`, going ? label : null);
    };
    return new LengthBox(label, label, box, { move: (text) => say(text, true), set: say });
  }
}
