// Up to four variants beside one another: pictures that turn together, sizes, verdict and numbers.

import { byId, el, iconButton, refill, shape } from "/assets/dom.js";
import { factRow, factsOf, stateOf } from "/assets/verdict.js";
import { turned, viewOf } from "/assets/sight.js";

const MOST = 4;
const PICTURE = [320, 200];
const TURN = 0.0075; // [rad] a pixel

export class Compare {
  constructor(root, bench, sight, dark) {
    Object.assign(this, { root, bench, sight, dark });
    this.kept = [];
    this.views = [];
    this.dialog = byId("compare-dialog");
    this.dialog.addEventListener("close", () => this.#away());
    this.#list();
  }

  /** The full look of now may be kept; a glance may not. */
  ready(whole) {
    this.whole = whole;
    this.#keepable();
  }

  #keepable() {
    const keep = byId("keep");
    if (!keep) return;
    const there = this.kept.some((one) => one.text === this.bench.text);
    keep.disabled = !this.whole || !this.bench.look || this.kept.length >= MOST || there;
    byId("keep-words").textContent =
      this.kept.length >= MOST ? "Four are kept: remove one to keep another." : there ? "This one is kept." : "";
  }

  async #keep() {
    const { look, text, controls } = this.bench;
    const used = controls.sizes.filter((one) => one.used);
    const sizes = used.map((one) => `${one.name} ${one.inside.text} of ${one.wire.text}`);
    const metals = [...new Set(used.map((one) => one.metal ?? controls.metal.value))].join(", ");
    const one = { look, text, sizes, metals, picture: null };
    this.kept.push(one);
    this.#list();
    try {
      const blob = this.sight.resting ? null : await this.sight.view?.picture(...PICTURE);
      if (blob) one.picture = URL.createObjectURL(blob);
    } catch {
      // Without a picture, then.
    }
    this.#list();
  }

  #remove(one) {
    if (one.picture) URL.revokeObjectURL(one.picture);
    this.kept = this.kept.filter((other) => other !== one);
    this.#list();
    if (this.dialog.open) this.#fill();
  }

  #up(one) {
    this.dialog.close();
    this.bench.write(one.text, `Took up ${one.look.title} again`, { frame: true });
  }

  #list() {
    refill(
      this.root,
      el("p", { class: "soft", text: "Keep up to four variants of a piece and look at them side by side." }),
      el(
        "div",
        { class: "line" },
        el("button", {
          type: "button",
          id: "keep",
          "data-key": "keep",
          text: "Keep for comparing",
          onclick: () => this.#keep(),
        }),
        el("button", {
          type: "button",
          id: "compare-open",
          "data-key": "compare",
          disabled: this.kept.length < 2,
          text: `Side by side (${this.kept.length})`,
          onclick: () => this.#open(),
        }),
      ),
      el("p", { id: "keep-words", class: "soft", role: "status" }),
      el(
        "ol",
        { class: "kept", "aria-label": "Kept for comparing" },
        this.kept.map((one, k) =>
          el(
            "li",
            {},
            one.picture
              ? el("img", { src: one.picture, alt: "", width: 80, height: 50 })
              : el("span", { class: "shape small" }, shape(stateOf(one.look.verdict))),
            el(
              "div",
              {},
              el("strong", { text: one.look.title }),
              el("p", { class: "soft", text: [...one.sizes, one.metals].join("; ") }),
            ),
            iconButton("cross", `Remove variant ${k + 1}, ${one.look.title}`, () => this.#remove(one)),
          ),
        ),
      ),
    );
    this.#keepable();
  }

  #open() {
    this.dialog.showModal();
    this.#fill();
  }

  #away() {
    for (const view of this.views) view.dispose();
    this.views = [];
    byId("compare-list").replaceChildren();
  }

  async #fill() {
    this.#away();
    const list = byId("compare-list");
    list.dataset.count = this.kept.length;
    const cards = this.kept.map((one, k) => this.#card(one, k));
    list.replaceChildren(...cards.map((one) => one.root));
    const shown = this.kept;
    for (const [k, { canvas, labels, wrong }] of cards.entries()) {
      const view = await viewOf(canvas, labels, this.dark(), (words) => {
        wrong.textContent = words;
        wrong.hidden = false;
        canvas.hidden = true;
      });
      if (!view) continue;
      if (!this.dialog.open || shown !== this.kept) {
        view.dispose();
        return;
      }
      const { piece, collided, collisions, tightest } = shown[k].look;
      view.show(piece, { keepCamera: false });
      view.mark({ collided, collisions, tightest });
      this.views.push(view);
    }
  }

  #card(one, k) {
    const state = stateOf(one.look.verdict);
    const canvas = el("canvas", { tabindex: 0, role: "img", "aria-label": `Variant ${k + 1}: ${one.look.title}` });
    const labels = el("div", { class: "view-labels", "aria-hidden": "true" });
    const wrong = el("p", { class: "no-view", hidden: true });
    const sight = el("div", { class: "sight" }, canvas, labels, wrong);
    canvas.addEventListener("keydown", (event) => turned(event, this.views));
    this.#together(sight);
    const rows = [
      ["Sizes", one.sizes.join("; ")],
      ["Metal", one.metals],
      ...factsOf(one.look).map(([, ...fact]) => fact),
    ];
    const root = el(
      "article",
      { class: "variant", "aria-label": `Variant ${k + 1}: ${one.look.title}` },
      sight,
      el("h3", { text: one.look.title }),
      el(
        "p",
        { class: "line said-small", "data-state": state },
        el("span", { class: "shape small" }, shape(state)),
        el("strong", { text: one.look.verdict.word }),
      ),
      el(
        "dl",
        { class: "facts" },
        rows.map((row) => factRow(...row)),
      ),
      el(
        "div",
        { class: "line" },
        el("button", { type: "button", text: "Take this one up", "data-key": `up-${k}`, onclick: () => this.#up(one) }),
        el("button", {
          type: "button",
          class: "quiet",
          text: "Remove",
          "data-key": `away-${k}`,
          onclick: () => this.#remove(one),
        }),
      ),
    );
    return { root, canvas, labels, wrong };
  }

  /** A hand on one view turns all of them, by the same angle. */
  #together(sight) {
    let from = null;
    const caught = (event) => {
      event.stopPropagation();
      event.preventDefault();
    };
    sight.addEventListener(
      "pointerdown",
      (event) => {
        if (event.button !== 0) return;
        event.stopPropagation();
        from = [event.clientX, event.clientY];
        sight.setPointerCapture(event.pointerId);
        sight.querySelector("canvas").focus({ preventScroll: true });
      },
      { capture: true },
    );
    sight.addEventListener(
      "pointermove",
      (event) => {
        if (!from) return;
        caught(event);
        const [right, down] = [event.clientX - from[0], event.clientY - from[1]];
        for (const view of this.views) view.turn(-right * TURN, down * TURN);
        from = [event.clientX, event.clientY];
      },
      { capture: true },
    );
    for (const kind of ["pointerup", "pointercancel"])
      sight.addEventListener(
        kind,
        () => {
          from = null;
        },
        { capture: true },
      );
    sight.addEventListener(
      "wheel",
      (event) => {
        caught(event);
        for (const view of this.views) view.zoom(event.deltaY < 0 ? 1.1 : 1 / 1.1);
      },
      { capture: true, passive: false },
    );
  }
}
