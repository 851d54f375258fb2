// Boxes to set one value with: a slider and a text box for a length or a wire, a stepper for a count.
// Each has `update(box)`, which leaves alone what is just being moved or typed in; the bench sees to it that no box
// is told of an answer to less than all that was changed.

import { el, freshId, iconButton } from "/assets/dom.js";
import { Hand } from "/assets/hand.js";
import { inchWords, listOf, mmWords, nearest, place, written } from "/assets/units.js";

/** What all boxes share: label, what is read beside it, the control, what is wrong. */
class Field {
  constructor(label, at) {
    this.at = at;
    this.id = freshId("box");
    this.read = el("span", { class: "read", id: `${this.id}-read` });
    this.wrong = el("p", { class: "wrong", id: `${this.id}-wrong`, hidden: true });
    this.label = el("label", { for: this.id, text: label });
    this.row = el("div", { class: "box-row" });
    this.root = el(
      "div",
      { class: "box", "data-at": place(at) },
      el("div", { class: "box-head" }, this.label, this.read),
      this.row,
      this.wrong,
    );
  }

  /** Says what is wrong with what stands here. */
  blame(problems) {
    const own = problems.find((one) => one.where === place(this.at));
    this.wrong.hidden = !own;
    this.wrong.textContent = own ? `Expected ${own.expected}${own.advice ? ` (${own.advice})` : ""}` : "";
    this.text?.setAttribute("aria-invalid", own ? "true" : "false");
    this.offer?.(Boolean(own));
  }
}

const MOST_GAUGE = 40;
const THICK = 12; // [mm] no wire that is wound by hand is thicker

/** What a bare number may have meant: a length, or a wire of a list. */
function meant(text, wire) {
  if (!/^(\d+[.,]?\d*|[.,]\d+)$/.test(text)) return [];
  const number = text.replace(",", ".");
  const mm = Number(number) > 0 && !(wire && Number(number) > THICK) ? [`${number} mm`] : [];
  const gauge = wire && /^\d+$/.test(text) && Number(text) <= MOST_GAUGE;
  return gauge ? [`${text} AWG`, `${text} SWG`, ...(Number(text) > 4 ? [] : mm)] : mm;
}

/**
 * A length or a wire. `move(text)` while the slider moves, `set(text)` when it is let go or typed.
 * `wires` gives the wires to step through for a wire; null for a length.
 */
export class LengthBox extends Field {
  constructor(label, called, box, { move, set, wires = null, usual = false }) {
    super(label, box.at);
    this.wires = wires;
    this.move = move;
    this.set = set;
    this.told = true; // whether the box as told is newer than what the slider was moved to
    this.slider = el("input", {
      type: "range",
      "aria-label": `${called}, slider`,
      "data-key": `${place(box.at)}-slider`,
    });
    this.text = el("input", {
      type: "text",
      id: this.id,
      size: 9,
      autocomplete: "off",
      spellcheck: "false",
      "aria-describedby": `${this.id}-read ${this.id}-wrong`,
      "data-key": place(box.at),
      placeholder: usual ? "usual" : null,
    });
    if (called !== label) this.text.setAttribute("aria-label", called);
    this.row.append(this.slider, this.text);
    this.offers = el("div", { class: "line", hidden: true });
    this.root.append(this.offers);
    this.slider.addEventListener("input", () => this.#moved());
    this.slider.addEventListener("change", () => this.set(null));
    this.hand = new Hand(this.slider, () => this.told && this.#set(this.box));
    this.text.addEventListener("change", () => {
      this.told = false;
      this.#write(this.text.value.trim());
      this.set(this.text.value);
    });
    this.text.addEventListener("keydown", (event) => {
      if (event.key === "Escape") this.#write(this.box.text ?? "");
    });
    this.update(box);
  }

  /** Where a number stands without its unit: what it may have meant, to be taken. */
  offer(wrong) {
    const all = wrong ? meant(this.text.value.trim(), Boolean(this.wires)) : [];
    const key = all.join();
    if (this.offers.dataset.all === key) return;
    this.offers.dataset.all = key;
    this.offers.hidden = !all.length;
    const take = (one) => () => {
      this.told = false;
      this.#write(one);
      this.text.focus();
      this.set(one);
    };
    this.offers.replaceChildren(
      ...all.map((one) => el("button", { type: "button", text: `${one}?`, onclick: take(one) })),
    );
  }

  get list() {
    const all = this.wires?.();
    if (!all) return null;
    const { low, high } = this.box;
    const own = all.filter((one) => one.mm >= low - 1e-9 && one.mm <= high + 1e-9);
    return own.length ? own : all;
  }

  update(box) {
    this.box = box;
    this.at = box.at;
    this.told = true;
    if (!this.#typing()) this.#write(box.text ?? "");
    if (!this.hand.held) this.#set(box);
    this.#tell(box.mm, box.gauge);
  }

  /** Whether something is typed that is not sent yet. */
  #typing() {
    return document.activeElement === this.text && this.text.value !== this.written;
  }

  #write(text) {
    this.text.value = text;
    this.written = text;
  }

  #set(box) {
    const list = this.list;
    if (list) {
      Object.assign(this.slider, { min: 0, max: list.length - 1, step: 1 });
      this.slider.value = nearest(list, box.mm);
    } else {
      const { low, high, step } = box.slider ?? { low: box.low, high: box.high, step: 0.05 };
      Object.assign(this.slider, { min: low, max: high, step });
      this.slider.value = box.mm ?? low;
    }
  }

  #moved() {
    const list = this.list;
    const wire = list?.[this.slider.valueAsNumber];
    const mm = wire ? wire.mm : this.slider.valueAsNumber;
    const text = wire ? wire.text : written(mm, this.box.text, this.box.slider?.step ?? 0.05);
    this.told = false;
    this.#write(text);
    this.#tell(mm, wire && listOf(wire.text) !== "mm" ? wire.text : null);
    this.move(text);
  }

  #tell(mm, gauge) {
    if (typeof mm !== "number") {
      this.read.textContent = "";
      this.slider.setAttribute("aria-valuetext", "not read");
      return;
    }
    const said = [mmWords(mm), inchWords(mm)];
    if (gauge) said.push(gauge);
    this.read.replaceChildren(...said.map((one) => el("span", { text: one })));
    this.slider.setAttribute("aria-valuetext", said.join(", "));
  }
}

/** A whole number with less and more. */
export class CountBox extends Field {
  constructor(label, called, at, value, { low, high, set, slider = false }) {
    super(label, at);
    this.set = set;
    this.low = low;
    this.high = high;
    this.text = el("input", {
      type: "number",
      id: this.id,
      min: low,
      max: high,
      step: 1,
      inputmode: "numeric",
      "aria-describedby": `${this.id}-wrong`,
      "data-key": place(at),
    });
    if (called !== label) this.text.setAttribute("aria-label", called);
    this.less = iconButton("minus", `Fewer: ${called}`, () => this.#step(-1), { "data-key": `${place(at)}-less` });
    this.more = iconButton("plus", `More: ${called}`, () => this.#step(1), { "data-key": `${place(at)}-more` });
    if (slider) {
      this.slider = el("input", {
        type: "range",
        min: low,
        max: slider,
        step: 1,
        "aria-label": `${called}, slider`,
        "data-key": `${place(at)}-slider`,
      });
      this.hand = new Hand(this.slider, () => this.told && this.#set());
      this.slider.addEventListener("input", () => {
        this.told = false;
        this.#write(this.slider.value);
        this.set(this.slider.valueAsNumber, true);
      });
      this.slider.addEventListener("change", () => this.set(null));
      this.row.append(this.slider);
    }
    this.row.append(el("span", { class: "stepper" }, this.less, this.text, this.more));
    this.text.addEventListener("change", () => {
      if (!Number.isInteger(this.text.valueAsNumber)) {
        this.#write(this.value);
        return;
      }
      this.told = false;
      this.#write(this.text.value);
      this.set(this.text.valueAsNumber);
    });
    this.update(value);
  }

  update(value) {
    this.value = value;
    this.told = true;
    const typing = document.activeElement === this.text && this.text.value !== this.written;
    if (!typing) this.#write(value);
    if (this.slider && !this.hand.held) this.#set();
    this.less.disabled = value <= this.low;
    this.more.disabled = value >= this.high;
  }

  #write(value) {
    this.text.value = value;
    this.written = this.text.value;
  }

  #set() {
    this.slider.max = Math.max(Number(this.slider.max), this.value);
    this.slider.value = this.value;
  }

  #step(by) {
    const now = Number.isInteger(this.text.valueAsNumber) ? this.text.valueAsNumber : this.low;
    const next = Math.min(Math.max(now + by, this.low), this.high);
    this.told = false;
    this.#write(next);
    this.set(next);
  }
}
