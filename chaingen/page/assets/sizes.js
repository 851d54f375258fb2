// Ring sizes and metals: what is wound, of what.

import { LengthBox } from "/assets/boxes.js";
import { choice, el, freshId, iconButton, refill } from "/assets/dom.js";
import { listOf } from "/assets/units.js";

const LISTS = { AWG: "AWG gauges", SWG: "SWG gauges", mm: "millimetres" };

/** Which wires the sliders step through: as the design's wires are written, until the maker says otherwise. */
export class Wires {
  constructor(all) {
    this.all = all;
    this.list = null;
  }

  chosen() {
    return this.all.filter((one) => listOf(one.text) === this.list);
  }
}

export class Sizes {
  constructor(place, bench, said) {
    Object.assign(this, { place, bench, said });
    this.wires = new Wires(said.wires);
    this.shape = "";
    this.boxes = [];
  }

  update(controls) {
    if (!this.wires.list) this.wires.list = listOf(controls.sizes[0]?.wire.text) ?? "AWG";
    const shape = JSON.stringify([
      controls.sizes.map((one) => [one.name, one.used, one.metal]),
      controls.metal,
      controls.metal_names,
      this.wires.list,
    ]);
    if (shape !== this.shape) {
      this.shape = shape;
      this.#build(controls);
    }
    for (const [k, size] of controls.sizes.entries()) {
      this.boxes[k].inside.update(size.inside);
      this.boxes[k].wire.update(size.wire);
      this.boxes[k].ratio.textContent = size.ratio ?? "?";
    }
  }

  /** What is only read, of an answer to what was set a moment ago. */
  follow(controls) {
    for (const [k, size] of controls.sizes.entries()) {
      if (this.boxes[k]?.name === size.name) this.boxes[k].ratio.textContent = size.ratio ?? "?";
    }
  }

  blame(problems) {
    for (const { inside, wire } of this.boxes) {
      inside.blame(problems);
      wire.blame(problems);
    }
  }

  #build(controls) {
    this.boxes = controls.sizes.map((size) => this.#size(size, controls));
    const colours = new Map(this.said.metals.map((one) => [one.name, one.colour]));
    const metal = choice(
      "Metal",
      (controls.metal_names ?? [...colours.keys()]).map((one) => [one, one]),
      controls.metal.value,
      (value) => this.bench.change([{ do: "metal", value }], `Metal: ${value}`),
      { id: "metal", "data-key": "metal" },
    );
    metal.classList.add("metal");
    metal.append(swatch(colours.get(controls.metal.value)));
    refill(
      this.place,
      metal,
      this.#lists(),
      this.boxes.map((one) => one.root),
      this.#another(controls),
    );
  }

  #lists() {
    const name = freshId("list");
    const all = Object.entries(LISTS).map(([list, words]) =>
      el(
        "label",
        {},
        el("input", {
          type: "radio",
          name,
          value: list,
          checked: list === this.wires.list,
          "data-key": `list-${list}`,
          onchange: () => {
            this.wires.list = list;
            this.shape = "";
            if (this.bench.controls) this.update(this.bench.controls);
          },
        }),
        el("span", { text: list, title: words }),
      ),
    );
    return el(
      "fieldset",
      { class: "switch small" },
      el("legend", { text: "Wire sliders step through" }),
      el("div", {}, all),
    );
  }

  #size(size, controls) {
    const { bench } = this;
    const { name } = size;
    const change =
      (what) =>
      (text, going = false) => {
        if (text === null) bench.settle();
        else
          bench.change(
            [{ do: "size", name, [what]: text }],
            `${what === "inside" ? "Inside" : "Wire"} of ${name}: ${text}`,
            going ? `${name}-${what}` : null,
          );
      };
    const box = (what, words, wires) =>
      new LengthBox(words, `${words} of ${name}`, size[what], {
        move: (text) => change(what)(text, true),
        set: change(what),
        wires,
      });
    const inside = box("inside", "Inside diameter", null);
    const wire = box("wire", "Wire", () => this.wires.chosen());
    const ratio = el("span", { class: "ratio-value", text: size.ratio ?? "?" });
    const metals = controls.metal_names ?? this.said.metals.map((one) => one.name);
    const metal = choice(
      `Metal of ${name}`,
      [["", "metal of the piece"], ...metals.map((one) => [one, one])],
      size.metal ?? "",
      (value) =>
        bench.change([{ do: "size", name, metal: value || null }], `Metal of ${name}: ${value || "that of the piece"}`),
      { "data-quiet": "", "data-key": `metal-${name}` },
    );
    const root = el(
      "section",
      { class: "size", "data-size": name, "aria-label": `Ring size ${name}` },
      el(
        "div",
        { class: "size-head" },
        el("h3", { text: name }),
        el("span", { class: "ratio", title: "Inside diameter over wire diameter" }, "aspect ratio ", ratio),
        size.used
          ? null
          : iconButton("cross", `Take away ring size ${name}, which nothing uses`, () =>
              bench.change([{ do: "remove", at: ["rings", name] }], `Took away ring size ${name}`),
            ),
      ),
      inside.root,
      wire.root,
      controls.sizes.length > 1 || size.metal ? metal : null,
    );
    return { root, name, inside, wire, ratio };
  }

  #another(controls) {
    const name = el("input", {
      type: "text",
      id: "size-name",
      maxlength: 40,
      size: 12,
      autocomplete: "off",
      "data-key": "size-name",
    });
    const add = () => {
      const said = name.value.trim();
      const like = controls.sizes[0];
      if (!said) return name.focus();
      name.setCustomValidity(
        controls.sizes.some((one) => one.name === said) ? `There is a ring size named ${said} already.` : "",
      );
      if (!name.reportValidity()) return undefined;
      return this.bench.change(
        [{ do: "size", name: said, inside: like?.inside.text ?? "4 mm", wire: like?.wire.text ?? "18 AWG" }],
        `Added ring size ${said}`,
      );
    };
    name.addEventListener("input", () => name.setCustomValidity(""));
    name.addEventListener("keydown", (event) => event.key === "Enter" && add());
    return el(
      "details",
      { class: "more" },
      el("summary", { text: "Another ring size" }),
      el(
        "div",
        { class: "line" },
        el("label", { for: "size-name", text: "Name" }),
        name,
        el("button", { type: "button", text: "Add it", onclick: add, "data-key": "size-add" }),
      ),
    );
  }
}

/** A spot of a metal's colour. */
export function swatch(colour) {
  const spot = el("span", { class: "swatch", "aria-hidden": "true" });
  spot.style.backgroundColor = colour ?? "transparent";
  return spot;
}
