// How long: groups repeated, a finished length, or what a wrist or a neck asks; columns and rows of a sheet.

import { CountBox, LengthBox } from "/assets/boxes.js";
import { choice, either, el, refill } from "/assets/dom.js";

const USUAL = { wrist: "165 mm", neck: "360 mm" };
const LABELS = { length: "Finished length", wrist: "Round the wrist", neck: "Round the neck" };
const MOST_REPEATED = 20_000;
const MOST_CELLS = 400;

export class Extent {
  constructor(root, bench) {
    Object.assign(this, { root, bench });
    this.shape = "";
    this.box = null;
    this.counts = [];
  }

  update(controls) {
    const { extent, sheet } = controls;
    const outline = sheet?.outline ?? null;
    const shape = JSON.stringify([
      extent?.kind,
      extent?.ease?.value,
      controls.form,
      sheet && [outline, sheet.shape, controls.sheet.boxes?.length],
    ]);
    if (shape !== this.shape) {
      this.shape = shape;
      this.#build(controls, outline);
    }
    if (extent && extent.kind === "repeat") this.box?.update(extent.value ?? extent.repeat);
    else if (extent?.box) this.box?.update(extent.box);
    this.follow(controls);
    if (sheet?.outline) sheet.boxes.forEach((box, k) => this.counts[k]?.update(box));
    else if (sheet) {
      this.counts[0]?.update(sheet.columns);
      this.counts[1]?.update(sheet.rows);
    }
  }

  /** What is only read, of an answer to what was set a moment ago. */
  follow({ extent }) {
    if (!this.made || !extent) return;
    this.made.hidden = !extent.repeat;
    this.made.textContent = `${this.cells} repeated: ${extent.repeat}.`;
  }

  blame(problems) {
    for (const box of [this.box, ...this.counts]) box?.blame(problems);
  }

  #build(controls, outline) {
    this.box = null;
    this.counts = [];
    this.made = null;
    if (controls.sheet) this.#sheet(controls.sheet, outline);
    else if (controls.extent) this.#extent(controls);
    else
      refill(
        this.root,
        el("p", { class: "soft", text: "This piece says how long it is section by section: see its text." }),
      );
  }

  #extent({ extent, form }) {
    const cells = form === "chain" ? "Cells" : "Groups";
    this.cells = cells;
    const kinds = [
      ["repeat", "repeats"],
      ["length", "a length"],
      ["wrist", "a wrist"],
      ["neck", "a neck"],
    ];
    const way = either("Length set by", kinds, extent.kind, (kind) =>
      this.bench.change(
        [{ do: "extent", kind, value: this.#start(kind, extent) }],
        `Length set by ${kinds.find(([one]) => one === kind)[1]}`,
      ),
    );
    const say = (value, going = false) => {
      if (value === null) this.bench.settle();
      else
        this.bench.change([{ do: "extent", kind: extent.kind, value }], `How long: ${value}`, going ? "extent" : null);
    };
    if (extent.kind === "repeat") {
      const value = extent.value ?? extent.repeat;
      this.box = new CountBox(`${cells} repeated`, `${cells} repeated`, extent.at, value, {
        low: 1,
        high: MOST_REPEATED,
        set: say,
        slider: Math.max(60, 2 * value),
      });
    } else if (extent.box) {
      const label = LABELS[extent.kind];
      this.box = new LengthBox(label, label, extent.box, { move: (text) => say(text, true), set: say });
      this.made = el("p", { class: "soft" });
    }
    refill(this.root, way, this.box?.root, this.#ease(extent), this.made);
  }

  /** How much longer than the wrist or the neck: a word, or a length as the text has it. */
  #ease({ ease }) {
    if (!ease) return null;
    const named = ease.choices ?? [];
    const options = [["", "usual"], ...named.map((one) => [one, one])];
    if (ease.value && !named.includes(ease.value)) options.push([ease.value, ease.value]);
    const pick = (value) =>
      this.bench.change(
        [value ? { do: "set", at: ease.at, value } : { do: "remove", at: ease.at }],
        `Ease: ${value || "usual"}`,
      );
    return choice("Ease", options, ease.value, pick, { id: "ease", "data-key": "ease" });
  }

  #start(kind, extent) {
    if (kind === "repeat") return Math.max(extent.repeat ?? 10, 1);
    if (kind in USUAL) return USUAL[kind];
    const length = this.bench.look?.numbers.length;
    return length && !Number.isNaN(parseFloat(length)) ? `${Math.round(parseFloat(length))} mm` : "180 mm";
  }

  #sheet(sheet, outline) {
    if (outline) {
      const labels = { circle: ["Diameter"], drop: ["Width", "Height"] }[sheet.shape] ?? [];
      this.counts = (sheet.boxes ?? []).map((box, k) => {
        const say = (value, going = false) => {
          if (value === null) this.bench.settle();
          else
            this.bench.change([{ do: "set", at: box.at, value }], `${labels[k]}: ${value}`, going ? labels[k] : null);
        };
        return new LengthBox(labels[k], `${labels[k]} of the outline`, box, {
          move: (text) => say(text, true),
          set: say,
        });
      });
      refill(
        this.root,
        el("p", {}, "Cut to an outline: ", el("strong", { text: sheet.shape ?? "" })),
        this.counts.map((one) => one.root),
        labels.length ? null : el("p", { class: "soft", text: "Its corners stand in the design as text." }),
        el("button", {
          type: "button",
          text: "Columns and rows instead",
          "data-key": "rectangle",
          onclick: () =>
            this.bench.change(
              [
                { do: "remove", at: ["pattern", "outline"] },
                { do: "set", at: ["pattern", "columns"], value: sheet.columns || 10 },
                { do: "set", at: ["pattern", "rows"], value: sheet.rows || 10 },
              ],
              "Columns and rows",
            ),
        }),
      );
      return;
    }
    const count = (label, key, value) =>
      new CountBox(label, label, ["pattern", key], value, {
        low: 1,
        high: MOST_CELLS,
        slider: Math.max(40, value),
        set: (now, going = false) => {
          if (now === null) this.bench.settle();
          else
            this.bench.change(
              [{ do: "set", at: ["pattern", key], value: now }],
              `${label}: ${now}`,
              going ? key : null,
            );
        },
      });
    this.counts = [count("Columns", "columns", sheet.columns), count("Rows", "rows", sheet.rows)];
    refill(
      this.root,
      this.counts.map((one) => one.root),
    );
  }
}
