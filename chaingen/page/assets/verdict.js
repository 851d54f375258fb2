// The verdict in a sentence under the piece, its numbers, and what would fit instead.

import { byId, el, problemWords, refill, shape } from "/assets/dom.js";
import { sentence } from "/assets/units.js";

const GRACE = 250; // [ms] that a glance at what was just set may take

const STATES = { comfortable: "fits", tight: "tight", loose: "loose", "does not fit": "bad" };

/** Which shape a verdict has. */
export function stateOf(verdict) {
  return STATES[verdict.word] ?? (verdict.fits ? "fits" : "unknown");
}

/** The numbers that a maker asks first, as [key, name, words, the same in inches or a note]; also for comparing. */
export function factsOf(look) {
  const { numbers, gap } = look;
  const plain = (value) => (typeof value === "number" ? value.toLocaleString("en-GB") : value);
  const all = [
    ["gap", "Closest wires", gap.text, gap.inch],
    ["rings", "Rings", plain(numbers.rings)],
    ["findings", "Findings", numbers.findings ? plain(numbers.findings) : null],
    ["pieces", "Pieces", numbers.pieces > 1 ? `${numbers.pieces}, mirrored` : null],
    ["weight", "Weight", numbers.weight, numbers.weight_note],
    ["length", "Finished length", numbers.length, numbers.length_inch],
    ["size", "Size as shown", numbers.size?.replaceAll(" x ", " × ")],
  ];
  return all.filter(([, , words]) => words);
}

/** A fact of a list of facts. */
export function factRow(name, words, more, attributes = {}) {
  return el(
    "div",
    attributes,
    el("dt", { text: name }),
    el("dd", {}, el("span", { text: words }), more ? el("span", { class: "also", text: ` ${more}` }) : null),
  );
}

export class Verdict {
  constructor(bench, { tightest, line }) {
    Object.assign(this, { bench, tightest, line });
    this.said = "";
    this.late = 0;
  }

  /** A change was made: what stands here is of the sizes before, unless a glance at the new ones comes at once. */
  behind() {
    this.late ||= setTimeout(() => this.before(), GRACE);
  }

  /** What stands here is not of the design as it is now: it is told so, and shows no sign of fitting. */
  before() {
    this.#there();
    const { dataset } = byId("verdict");
    if (dataset.fresh === "true" || dataset.wrong === "true" || !this.bench.look) return;
    if (this.bench.shown.number === this.bench.number) return;
    dataset.before = "true";
    dataset.quick = "true";
    byId("before").textContent = "Of the sizes before your last change";
    byId("before").hidden = false;
    byId("glance").hidden = true;
    byId("verdict-shape").replaceChildren(shape("none"));
  }

  /** What was asked was stopped or failed: what stands here stays, and is told for what it is. */
  ended() {
    this.before();
    const { dataset } = byId("verdict");
    if (dataset.wrong === "true") return;
    byId("glance").hidden = true;
    if (dataset.fresh === "true") byId("headline").textContent = `${this.title} was not worked out.`;
    else if (dataset.quick === "true" && dataset.before !== "true") {
      byId("before").textContent = "At a glance only: the full check was not done";
      byId("before").hidden = false;
    }
  }

  #there() {
    clearTimeout(this.late);
    this.late = 0;
    byId("verdict").dataset.before = "false";
    byId("before").hidden = true;
  }

  /** Another piece was chosen, and nothing is known of it yet. */
  fresh(title) {
    const verdict = byId("verdict");
    if (verdict.dataset.fresh === "true" && this.title === title) return;
    this.title = title;
    this.#there();
    Object.assign(verdict.dataset, { fresh: "true", state: "none", quick: "true" });
    byId("verdict-shape").replaceChildren(shape("none"));
    byId("headline").textContent = `${title} is being worked out …`;
    byId("binding").hidden = true;
    byId("glance").hidden = true;
  }

  look(look, quick) {
    this.#there();
    byId("verdict").dataset.fresh = "false";
    const state = stateOf(look.verdict);
    byId("verdict").dataset.state = state;
    byId("verdict").dataset.quick = String(quick);
    byId("verdict-shape").replaceChildren(shape(state));
    byId("headline").textContent = look.verdict.headline;
    byId("glance").hidden = !quick;
    const binding = byId("binding");
    binding.hidden = !look.tightest;
    if (look.tightest) {
      refill(
        binding,
        `Tightest are ${look.tightest.names}. `,
        el("button", {
          type: "button",
          class: "quiet",
          id: "show-tightest",
          text: "Show it",
          "data-key": "tightest",
          onclick: this.tightest,
        }),
      );
    }
    refill(
      byId("facts"),
      factsOf(look).map(([key, name, words, more]) => factRow(name, words, more, { id: `fact-${key}` })),
    );
    this.#counts(look.counts ?? []);
    // What comes apart or cannot be made stands with the verdict, never folded away.
    const all = look.verdict.lines ?? [];
    const but = all.filter((one) => /^But\b/.test(one));
    const lines = all.filter((one) => !but.includes(one));
    byId("evidence").hidden = !lines.length || quick;
    refill(
      byId("verdict-lines"),
      lines.map((one) => el("li", { text: one.trim() })),
    );
    refill(
      byId("cautions"),
      but.map((one) => el("p", { class: "but", text: one })),
      (look.cautions ?? []).map((one) => el("p", { text: one })),
    );
    this.#nearest(quick ? [] : (look.nearest ?? []));
    if (!quick) this.#announce(look.verdict.headline);
  }

  #counts(counts) {
    if (counts.length < 2) return;
    byId("facts").append(
      el(
        "div",
        { id: "fact-counts" },
        el("dt", { text: "Of these" }),
        counts.map((one) => el("dd", { text: [`${one.count} × ${one.what}`, one.weight].filter(Boolean).join(", ") })),
      ),
    );
  }

  #nearest(nearest) {
    refill(
      byId("nearest"),
      nearest.map((one, k) =>
        el(
          "div",
          { class: "line spread" },
          el("p", { text: one.words }),
          one.changes?.length
            ? el("button", {
                type: "button",
                "data-key": `nearest-${k}`,
                text: "Take these sizes",
                onclick: () => {
                  this.bench.change(one.changes, "Took sizes that fit");
                  this.bench.settle();
                },
              })
            : null,
        ),
      ),
    );
  }

  /** What is wrong with the design; with a way to the line. */
  problems(problems, cleared) {
    const place = byId("problems");
    if (!problems.length) {
      refill(place);
      if (!cleared) return;
      byId("verdict").dataset.wrong = "false";
      // The numbers of the piece before are seen again.
      if (this.bench.look) byId("headline").textContent = this.bench.look.verdict.headline;
      this.before();
      return;
    }
    this.#there();
    byId("verdict").dataset.wrong = "true";
    byId("verdict").dataset.fresh = "false";
    byId("verdict").dataset.state = "bad";
    byId("verdict-shape").replaceChildren(shape("bad"));
    const head =
      problems.length === 1
        ? "One thing in the design is to be put right."
        : `${problems.length} things in the design are to be put right.`;
    byId("headline").textContent = head;
    byId("binding").hidden = true;
    byId("glance").hidden = true;
    refill(byId("nearest"));
    refill(
      place,
      el(
        "ul",
        { class: "wrongs" },
        problems.map((one, k) =>
          el(
            "li",
            {},
            problemWords(one),
            " ",
            one.line
              ? el("button", {
                  type: "button",
                  class: "quiet",
                  "data-key": `line-${k}`,
                  text: `Line ${one.line}`,
                  onclick: () => this.line(one.line),
                })
              : null,
          ),
        ),
      ),
    );
    this.#announce(`${head} ${sentence(problems[0])}`);
  }

  #announce(words) {
    if (words === this.said) return;
    this.said = words;
    byId("announce").textContent = words;
  }
}
