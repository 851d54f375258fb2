// Choosing a chain, a weave or a finished piece from its picture.

import { Gone, Refused, asked } from "/assets/ask.js";
import { byId, el } from "/assets/dom.js";
import { counted, sentence } from "/assets/units.js";

const ORDER = ["Chains of groups", "Finished pieces", "Weaves that make a chain", "Weaves that make a sheet"];

export class Choose {
  /** `coming` is told of what was chosen, or null when it is not to be had; `taken` of its text. */
  constructor(said, { coming, taken, gone }) {
    Object.assign(this, { said, coming, taken, gone });
    this.dialog = byId("choose-dialog");
    this.list = byId("choose-list");
    this.search = byId("choose-search");
    this.search.addEventListener("input", () => this.#sift());
    this.search.addEventListener("keydown", (event) => {
      if (event.key !== "ArrowDown" && event.key !== "Enter") return;
      event.preventDefault();
      this.#shown()[0]?.focus();
    });
    this.list.addEventListener("keydown", (event) => this.#walk(event));
  }

  open(wrong = null) {
    if (!this.cards) this.#build();
    byId("choose-wrong").hidden = !wrong;
    byId("choose-wrong").textContent = wrong;
    this.search.value = "";
    this.#sift();
    this.dialog.showModal();
    this.search.focus();
  }

  #build() {
    const groups = [...new Set([...ORDER, ...this.said.catalogue.map((one) => one.group)])];
    this.cards = [];
    this.parts = groups.map((group) => {
      const own = this.said.catalogue.filter((one) => one.group === group);
      const cards = own.map((one) => {
        const picture = el("img", {
          src: one.picture,
          alt: "",
          width: 240,
          height: 168,
          loading: "lazy",
          decoding: "async",
        });
        const card = el(
          "button",
          { type: "button", class: "card", "data-choice": one.name, onclick: () => this.#take(one) },
          picture,
          el("strong", { text: one.title }),
          el("span", { class: "soft", text: one.about }),
        );
        this.cards.push({
          card,
          words: `${one.title} ${one.name} ${one.about} ${one.words ?? ""} ${group}`.toLowerCase(),
        });
        return card;
      });
      return {
        cards,
        root: el(
          "section",
          { "aria-label": group, hidden: !own.length },
          el("h3", { text: group }),
          el("div", { class: "cards" }, cards),
        ),
      };
    });
    this.list.replaceChildren(...this.parts.map((one) => one.root));
  }

  #sift() {
    const words = this.search.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const one of this.cards) one.card.hidden = !words.every((word) => one.words.includes(word));
    for (const { cards, root } of this.parts) root.hidden = cards.every((card) => card.hidden);
    const count = this.#shown().length;
    byId("choose-count").textContent = count
      ? `${counted(count, "pattern")} to choose from`
      : "Nothing is called that. Try a shorter word.";
  }

  #shown() {
    return this.cards.filter((one) => !one.card.hidden).map((one) => one.card);
  }

  /** Arrow keys go from picture to picture, by row and column as they are seen. */
  #walk(event) {
    const shown = this.#shown();
    const now = shown.indexOf(document.activeElement);
    if (now < 0) return;
    const next = {
      ArrowRight: () => shown[now + 1],
      ArrowLeft: () => shown[now - 1],
      Home: () => shown[0],
      End: () => shown.at(-1),
      ArrowDown: () => beside(shown, now, 1),
      ArrowUp: () => beside(shown, now, -1),
    }[event.key];
    if (!next) return;
    event.preventDefault();
    (next() ?? (event.key === "ArrowUp" ? this.search : null))?.focus();
  }

  async #take(one) {
    this.taking = one;
    this.dialog.close();
    this.coming(one);
    try {
      const said = await asked("/api/new", { name: one.name });
      if (this.taking !== one) return; // another was chosen since
      if (said.problems) throw new Refused(200, said.problems);
      if (said.text === undefined) throw new Error(said.fault ?? `It was not to be had: ${said.stopped}.`);
      this.taken(said.text, one);
    } catch (fault) {
      if (this.taking !== one) return;
      this.coming(null);
      if (fault instanceof Gone) this.gone();
      else this.open(fault instanceof Refused ? fault.problems.map(sentence).join(" ") : fault.message);
    }
  }
}

/** The picture above or below the one at `now`: of the next row, the nearest across. */
function beside(cards, now, way) {
  const here = cards[now].getBoundingClientRect();
  const rows = cards.map((card) => card.getBoundingClientRect());
  let best = null;
  for (const [k, row] of rows.entries()) {
    const down = (row.top - here.top) * way;
    if (down < 5) continue;
    const off = down * 1000 + Math.abs(row.left - here.left);
    if (best === null || off < best.off) best = { off, k };
  }
  return best && cards[best.k];
}
