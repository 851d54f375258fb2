// How it rests: a scene is settled by the program and played as it goes.

import { Gone, Refused, streamed, whyNot } from "/assets/ask.js";
import { byId, el, icon, refill } from "/assets/dom.js";
import { Laid } from "/assets/laid.js";
import { floats } from "/assets/numbers.js";
import { looked } from "/assets/told.js";
import { factRow } from "/assets/verdict.js";
import { sentence } from "/assets/units.js";

const NAMES = {
  hang: "Hung from one end",
  swag: "Swag between two pegs",
  table: "Laid on a table",
  wrist: "Round a wrist",
  neck: "Round a neck",
  corners: "Held by two corners",
  edge: "Held by an edge",
};
const MOST_FRAMES = 900;
const FRAME = 50; // [ms]

export class Rest {
  constructor(root, bench, sight, gone) {
    Object.assign(this, { root, bench, sight, gone });
    this.frames = [];
    this.running = null;
    this.playing = 0;
    this.scenes = el("div", { class: "scenes" });
    this.laid = new Laid();
    this.state = el("div", { class: "rest-state" });
    refill(
      root,
      el("p", { class: "soft", text: "Let it come to rest under its own weight, and watch it settle." }),
      this.scenes,
      this.laid.root,
      this.state,
    );
  }

  update(controls) {
    const scenes = controls.scenes ?? [];
    const shape = scenes.join();
    if (shape === this.shape) return;
    this.shape = shape;
    refill(
      this.scenes,
      scenes.map((kind) =>
        el("button", {
          type: "button",
          "data-scene": kind,
          "data-key": `scene-${kind}`,
          "aria-pressed": "false",
          text: NAMES[kind] ?? kind,
          onclick: () => this.#settle(kind),
        }),
      ),
      scenes.length ? null : el("p", { class: "soft", text: "There is no scene for this piece." }),
    );
    this.laid.suits(scenes);
  }

  /** A change of the design: what lies at rest is another piece now. */
  stale() {
    this.running?.abort();
    this.running = null;
    this.#stop();
    this.frames = [];
    this.#pressed(null);
    byId("at-rest").hidden = true;
    refill(this.state);
  }

  #pressed(kind) {
    for (const button of this.scenes.querySelectorAll("button")) {
      button.setAttribute("aria-pressed", String(button.dataset.scene === kind));
    }
  }

  async #settle(kind) {
    this.stale();
    const own = new AbortController();
    this.running = own;
    this.#pressed(kind);
    const scene = this.laid.scene(kind);
    const since = performance.now();
    const words = el("span", { text: this.bench.working ? "Waiting for the piece to be worked out" : "Getting ready" });
    const clock = setInterval(() => {
      words.dataset.seconds = `${((performance.now() - since) / 1000).toFixed(0)} s`;
    }, 500);
    refill(
      this.state,
      el(
        "p",
        { class: "line" },
        el("span", { class: "spin", "aria-hidden": "true" }),
        words,
        el("button", {
          type: "button",
          id: "rest-cancel",
          "data-key": "rest-cancel",
          text: "Cancel",
          onclick: () => this.#back(),
        }),
      ),
    );
    try {
      if (!(await looked(this.bench))) {
        if (this.running === own) this.#wrong(["There is no piece to let come to rest yet: its check is to be done first."]);
        return;
      }
      if (this.running !== own) return;
      words.textContent = "Getting ready";
      this.#bar(NAMES[kind] ?? kind);
      const said = await streamed(
        "/api/rest",
        { text: this.bench.text, scene },
        (line) => {
          if (this.running !== own) return;
          if (line.piece) this.sight.rest(line.piece, line.supports ?? []);
          else if (line.poses) this.#frame(line.poses);
          if (line.progress) words.textContent = line.progress;
        },
        own.signal,
      );
      if (this.running === own) this.#rested(said, kind);
    } catch (fault) {
      if (fault.name === "AbortError" || this.running !== own) return;
      if (fault instanceof Gone) {
        this.#back();
        this.gone();
      } else this.#wrong(fault instanceof Refused ? fault.problems.map(sentence) : [fault.message]);
    } finally {
      clearInterval(clock);
      if (this.running === own) this.running = null;
    }
  }

  #frame(poses) {
    const numbers = floats(poses);
    if (this.frames.length >= MOST_FRAMES) this.frames = this.frames.filter((_, k) => k % 2 === 0);
    this.frames.push(numbers);
    this.sight.poses(numbers);
  }

  #wrong(lines, soft = false) {
    this.#back();
    refill(
      this.state,
      el(
        "div",
        soft ? { class: "soft", role: "status" } : { class: "wrong", role: "alert" },
        lines.map((one) => el("p", { text: one })),
      ),
    );
  }

  #rested(said, kind) {
    if (!said.rest) {
      this.#wrong(...whyNot(said, "It was not let come to rest"));
      return;
    }
    const { rest } = said;
    const told = () => {
      const lines = rest.words?.length ? rest.words : [rest.reached ? "At rest." : `Not at rest: ${rest.why}`];
      return el(
        "div",
        { id: "rest-words", role: "status", class: rest.reached ? "rested" : "rested not" },
        lines.map((one) => el("p", { text: one })),
      );
    };
    if (!rest.poses) {
      // It was not laid there at all: nothing is shown but the piece as placed.
      this.#back();
      refill(this.state, told());
      return;
    }
    if (rest.supports) this.sight.view?.supports(rest.supports);
    this.#frame(rest.poses);
    const found = [
      ["Length", rest.length],
      ["Drop", rest.drop],
      ["Sag", rest.sag],
      ["Round", rest.circumference],
      ["Pegs apart", rest.span],
      ["Closest wires", rest.smallest_gap?.text || null],
    ].filter(([, one]) => one !== null && one !== undefined);
    const scrub = el("input", {
      type: "range",
      id: "rest-moment",
      min: 0,
      max: this.frames.length - 1,
      value: this.frames.length - 1,
      "data-key": "rest-moment",
      oninput: (event) => {
        this.#stop();
        this.sight.poses(this.frames[event.target.valueAsNumber]);
      },
    });
    this.scrub = scrub;
    refill(
      this.state,
      told(),
      el(
        "dl",
        { class: "facts" },
        found.map(([name, one]) => factRow(name, one)),
      ),
      this.frames.length > 1
        ? el("div", { class: "field slide" }, el("label", { for: "rest-moment", text: "Moment of settling" }), scrub)
        : null,
      el(
        "div",
        { class: "line" },
        this.frames.length > 1
          ? el(
              "button",
              { type: "button", id: "rest-again", "data-key": "rest-again", onclick: () => this.#play() },
              icon("play"),
              "Play again",
            )
          : null,
        el(
          "button",
          { type: "button", id: "rest-back", "data-key": "rest-back", onclick: () => this.#back() },
          icon("back"),
          "Back to as placed",
        ),
      ),
    );
    this.#bar(`${NAMES[kind] ?? kind}: ${rest.reached ? "at rest" : "not at rest"}`);
  }

  #bar(words) {
    const bar = byId("at-rest");
    bar.hidden = false;
    refill(
      bar,
      el("span", { text: words }),
      el("button", { type: "button", text: "As placed", onclick: () => this.#back() }),
    );
  }

  #play() {
    this.#stop();
    let k = 0;
    this.playing = setInterval(() => {
      this.sight.poses(this.frames[k]);
      this.scrub.value = k;
      k += 1;
      if (k >= this.frames.length) this.#stop();
    }, FRAME);
  }

  #stop() {
    clearInterval(this.playing);
    this.playing = 0;
  }

  #back() {
    this.stale();
    this.sight.asPlaced();
  }
}
