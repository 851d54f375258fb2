// The design as text, with numbers of lines and what is wrong beside them. Long lines are broken where they are
// seen: behind the text lies the same once more, unseen, line by line, which tells how high each of them is.

import { el, problemWords, refill } from "/assets/dom.js";
import { sentence } from "/assets/units.js";

const PAUSE = 400; // [ms] after the last key

export class Text {
  constructor(root, bench) {
    this.bench = bench;
    this.timer = 0;
    this.problems = [];
    this.gutter = el("div", { class: "gutter", "aria-hidden": "true" });
    this.marks = el("div", { class: "line-marks", "aria-hidden": "true" });
    this.area = el("textarea", {
      id: "design-text",
      spellcheck: "false",
      autocomplete: "off",
      autocapitalize: "off",
      rows: 16,
      "aria-label": "The design as text",
      "aria-describedby": "text-wrong",
    });
    this.wrong = el("div", { id: "text-wrong", class: "text-wrong" });
    root.append(
      el("p", { class: "soft", text: "Everything above stands here; change either, and the other follows." }),
      el("div", { class: "editor" }, this.gutter, el("div", { class: "sheet" }, this.marks, this.area)),
      this.wrong,
    );
    this.area.addEventListener("input", () => this.#typed());
    this.area.addEventListener("scroll", () => this.#scrolled());
    this.area.addEventListener("blur", () => this.#send());
    new ResizeObserver(() => this.#measure()).observe(this.area);
    this.update();
  }

  /** The bench's text; what is being typed stays. */
  update() {
    if (this.timer || this.area.value === this.bench.text) return;
    const { selectionStart, selectionEnd, scrollTop } = this.area;
    this.area.value = this.bench.text;
    if (document.activeElement === this.area) this.area.setSelectionRange(selectionStart, selectionEnd);
    this.area.scrollTop = scrollTop;
    this.#number();
  }

  blame(problems) {
    this.problems = problems;
    const own = problems.length > 0;
    this.area.setAttribute("aria-invalid", String(own));
    refill(
      this.wrong,
      own
        ? el(
            "ul",
            { class: "wrongs" },
            problems.map((one, k) =>
              el(
                "li",
                {},
                one.line
                  ? el("button", {
                      type: "button",
                      class: "quiet",
                      "data-key": `text-line-${k}`,
                      text: `Line ${one.line}`,
                      onclick: () => this.go(one.line),
                    })
                  : null,
                " ",
                problemWords(one),
              ),
            ),
          )
        : null,
    );
    this.#number();
  }

  /** Brings a line (from 1) into sight and the caret into it. */
  go(line) {
    this.area.closest("details").open = true;
    const lines = this.area.value.split("\n");
    const start = lines.slice(0, line - 1).reduce((sum, one) => sum + one.length + 1, 0);
    this.area.focus();
    this.area.setSelectionRange(start, start + (lines[line - 1] ?? "").length);
    this.area.scrollTop = this.marks.children[Math.max(0, Math.min(line, lines.length) - 4)].offsetTop;
    this.area.scrollIntoView({ block: "nearest" });
  }

  #typed() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#send(), PAUSE);
    this.#number();
  }

  #send() {
    if (!this.timer) return;
    clearTimeout(this.timer);
    this.timer = 0;
    if (this.area.value !== this.bench.text) this.bench.write(this.area.value, "Typed", { key: "typed" });
  }

  /** What is typed and not sent yet goes now. */
  flush() {
    this.#send();
  }

  #number() {
    const lines = this.area.value.split("\n");
    const wrong = new Map(this.problems.filter((one) => one.line).map((one) => [one.line, one]));
    for (const place of [this.gutter, this.marks]) {
      while (place.childElementCount > lines.length) place.lastChild.remove();
      const more = Array.from({ length: lines.length - place.childElementCount }, () => el("div"));
      place.append(...more);
    }
    for (const [k, line] of lines.entries()) {
      const own = wrong.get(k + 1);
      // An empty line is as high as one with a space that does not break.
      const texts = [own ? `✕ ${k + 1}` : String(k + 1), line || "\u00a0"];
      for (const [j, place] of [this.gutter, this.marks].entries()) {
        const row = place.children[k];
        if (row.textContent !== texts[j]) row.textContent = texts[j];
        if (row.className !== (own ? "marked" : "")) row.className = own ? "marked" : "";
      }
      this.gutter.children[k].title = own ? sentence(own) : "";
    }
    this.#measure();
  }

  /** Numbers stand at the first row of their lines. */
  #measure() {
    const heights = Array.from(this.marks.children, (row) => row.getBoundingClientRect().height);
    heights.forEach((high, k) => {
      this.gutter.children[k].style.height = high ? `${high}px` : "";
    });
    this.#scrolled();
  }

  #scrolled() {
    const { scrollTop } = this.area;
    this.gutter.scrollTop = scrollTop;
    this.marks.scrollTop = scrollTop;
  }
}
