// Findings: what stands at either end, and the sizes of each.

import { LengthBox } from "/assets/boxes.js";
import { choice, el, freshId, refill } from "/assets/dom.js";
import { place } from "/assets/units.js";

export class Ends {
  constructor(root, bench, said, wires) {
    Object.assign(this, { root, bench, said, wires });
    this.shape = "";
    this.boxes = [];
  }

  update(controls) {
    const { ends, findings } = controls;
    const shape = JSON.stringify([
      ends,
      this.wires.list,
      findings.map((one) => [one.name, one.kind, one.keys.map((key) => [key.at, key.given, key.box ? 0 : key.value])]),
      controls.form,
      controls.closed,
    ]);
    if (shape !== this.shape) {
      this.shape = shape;
      this.#build(controls.form === "sheet" || controls.closed ? null : ends, findings);
    }
    for (const [name, box] of this.boxes) {
      const key = findings.flatMap((one) => one.keys).find((one) => place(one.at) === name);
      if (key?.box) box.update({ ...key.box, at: key.at });
    }
  }

  blame(problems) {
    for (const [, box] of this.boxes) box.blame(problems);
  }

  #build(ends, findings) {
    this.boxes = [];
    const shown = new Set([...this.root.querySelectorAll("details[open]")].map((one) => one.dataset.finding));
    const rows = findings.map((one) => this.#finding(one, shown.has(one.name)));
    const none = ends
      ? null
      : el("p", {
          class: "soft",
          text: rows.length ? null : "Findings stand at the ends of an open chain; this piece has no such ends.",
        });
    refill(
      this.root,
      ends ? [this.#end("start", "At the start", ends), this.#end("end", "At the end", ends)] : none,
      rows,
    );
  }

  #end(which, label, ends) {
    const own = this.said.kinds.filter((one) => one.ends.includes(which));
    const kinds = own.map((one) => [one.kind, one.kind]);
    const kind = ends[which]?.kind;
    if (kind && !kinds.some(([one]) => one === kind)) kinds.push([kind, kind]);
    const field = choice(
      label,
      [["", "nothing"], ...kinds],
      kind ?? "",
      (value) =>
        this.bench.change(
          [{ do: "end", which, kind: value || null }],
          value ? `${label}: ${value}` : `${label}: nothing`,
        ),
      { id: `end-${which}`, "data-key": `end-${which}` },
    );
    const about = own.find((one) => one.kind === kind)?.about;
    if (about) field.append(el("p", { class: "soft about", text: about }));
    return field;
  }

  #finding(finding, open) {
    return el(
      "details",
      { class: "more", open, "data-finding": finding.name },
      el(
        "summary",
        {},
        el("strong", { text: finding.name }),
        finding.kind === finding.name ? null : ` (${finding.kind})`,
      ),
      finding.keys.map((key) => this.#key(finding, key)),
    );
  }

  #key(finding, key) {
    const label = key.key[0].toUpperCase() + key.key.slice(1);
    const called = `${label} of ${finding.name}`;
    const say = (value, going = false) => {
      if (value === null) this.bench.settle();
      else if (value === "") this.bench.change([{ do: "remove", at: key.at }], `${called}: as usual`);
      else this.bench.change([{ do: "set", at: key.at, value }], `${called}: ${value}`, going ? place(key.at) : null);
    };
    const made = this.#widget(key, label, called, say);
    const about = key.about ? el("p", { class: "soft about", text: key.about }) : null;
    const usual =
      key.given && key.box
        ? el("button", {
            type: "button",
            class: "quiet",
            "data-key": `${place(key.at)}-usual`,
            "aria-label": `${called}: as usual`,
            text: "As usual",
            onclick: () => say(""),
          })
        : null;
    return el("div", { class: "key" }, made, about, usual);
  }

  #widget(key, label, called, say) {
    const id = freshId("key");
    const more = { id, "data-key": place(key.at), "aria-label": called };
    if ((key.type === "length" || key.type === "wire") && key.box) {
      const box = new LengthBox(
        label,
        called,
        { ...key.box, at: key.at },
        {
          move: (text) => say(text, true),
          set: say,
          usual: true,
          wires: key.type === "wire" ? () => this.wires.chosen() : null,
        },
      );
      this.boxes.push([place(key.at), box]);
      return box.root;
    }
    if (key.type === "choice") {
      const options = key.choices.map((one) => [String(one), String(one)]);
      return choice(label, [["", "as usual"], ...options], key.given ? key.value : "", say, more);
    }
    if (key.type === "flag") {
      return el(
        "label",
        { class: "tick" },
        el("input", {
          type: "checkbox",
          ...more,
          checked: key.value === true,
          onchange: (event) => say(event.target.checked),
        }),
        el("span", { text: label }),
      );
    }
    const number = key.type === "number";
    const input = el("input", {
      type: "text",
      inputmode: number ? "decimal" : null,
      ...more,
      value: (key.given && key.value) || "",
      placeholder: key.value === null || key.value === "" ? "usual" : `usual: ${key.value}`,
      onchange: (event) => {
        const text = event.target.value.trim();
        const value = Number(text);
        say(number && text && !Number.isNaN(value) ? value : text);
      },
    });
    const field = el("div", { class: "field" }, el("label", { for: id, text: label }), input);
    if (!key.colour) return field;
    const pick = el("input", {
      type: "color",
      value: key.colour,
      "aria-label": `${called}, chosen by eye`,
      "data-key": `${place(key.at)}-pick`,
      onchange: (event) => say(event.target.value),
    });
    input.remove();
    field.append(el("div", { class: "box-row" }, input, pick));
    return field;
  }
}
