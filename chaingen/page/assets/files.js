// Files: opening and saving the design, and having models, pictures and the maker's sheet made.

import { Gone, Refused, putBeside, streamed, whyNot } from "/assets/ask.js";
import { LARGEST, fileName, kindOf, plain } from "/assets/design_files.js";
import { byId, el, refill } from "/assets/dom.js";
import { looked, told } from "/assets/told.js";
import { sentence } from "/assets/units.js";

const WHAT = [
  ["models", "Models", "STL, OBJ, 3MF and GLB of the piece", true],
  ["pictures", "Pictures", "front, side, three-quarter and close-up", false],
  ["sheet", "Maker’s sheet", "what to prepare, in which order to make it", true],
  ["scenes", "Scenes", "the same of the piece at rest, where the design names scenes", false],
  ["service", "For a print or casting service", "what is sent, where the design names a service", false],
];
const FOLDED = ["Pictures of the sheet", "For other programs"];

export class Files {
  constructor(root, bench, { told, gone }) {
    Object.assign(this, { root, bench, told, gone });
    this.running = null;
    this.of = null; // the text and title of what the files listed are of
    this.ticks = WHAT.map(([key, name, about, on]) => {
      const box = el("input", { type: "checkbox", id: `make-${key}`, checked: on });
      return {
        key,
        box,
        root: el(
          "label",
          { class: "tick" },
          box,
          el("span", {}, name, el("span", { class: "soft", text: `, ${about}` })),
        ),
      };
    });
    this.make = el("button", {
      type: "button",
      id: "make-files",
      class: "strong",
      text: "Make the files",
      onclick: () => this.#make(),
    });
    this.state = el("div", { id: "files-state", role: "status" });
    this.old = el("p", { id: "files-old", class: "wrong", role: "status", hidden: true });
    this.list = el("div", { id: "files-list" });
    for (const what of ["moved", "text", "look"]) bench.addEventListener(what, () => this.#mark());
    bench.addEventListener("another", () => this.#clear());
    refill(
      root,
      el(
        "div",
        { class: "ticks", role: "group", "aria-label": "What to make" },
        this.ticks.map((one) => one.root),
      ),
      el("div", { class: "line" }, this.make),
      this.state,
      this.old,
      this.list,
    );
    byId("save").addEventListener("click", () => this.save());
    byId("open").addEventListener("click", () => byId("open-files").click());
    byId("open-files").addEventListener("change", (event) => {
      this.open([...event.target.files]);
      event.target.value = "";
    });
    this.#dropped();
  }

  /** The design as a file of its title's name, with all that was changed. */
  async save() {
    const all = await told(this.bench);
    const { text, look } = this.bench;
    const url = URL.createObjectURL(new Blob([text], { type: "application/toml" }));
    const name = fileName(this.bench.controls?.title?.value ?? look?.title);
    el("a", { href: url, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(url), 10_000);
    this.bench.saved = text;
    if (all) this.told(`Saved as ${name}.`);
    else this.told(`Saved as ${name}, but without your last change, which the program has not taken in.`, true);
  }

  /** A design, and beside it the weave and settings files that it names. */
  async open(files) {
    const read = [];
    for (const file of files) {
      if (file.size > LARGEST) return this.told(`${file.name} is too large for a design.`, true);
      const text = plain(await file.arrayBuffer());
      if (text === null) return this.told(`${file.name} is not a text file. The bench is as it was.`, true);
      read.push({ name: file.name, text, kind: kindOf(text) });
    }
    const design = read.find((one) => one.kind === "a design");
    const other = read.find((one) => one.kind === null);
    if (other) {
      return this.told(`${other.name} is no design, weave or settings file. The bench is as it was.`, true);
    }
    if (read.filter((one) => one.kind === "a design").length > 1) {
      return this.told("Only one design can be opened at a time. The bench is as it was.", true);
    }
    const beside = read.filter((one) => one !== design);
    try {
      for (const one of beside) await putBeside({ name: one.name, text: one.text });
    } catch (fault) {
      if (fault instanceof Gone) return this.gone();
      return this.told(fault instanceof Refused ? fault.problems.map(sentence).join(" ") : fault.message, true);
    }
    if (beside.length) this.bench.kept.clear();
    if (!design) {
      const named = (one) => this.bench.text.includes(one.name);
      if (beside.some(named)) {
        if (this.of) this.of.text = null;
        this.bench.renew();
      }
      const words = beside.map((one) =>
        named(one)
          ? `${one.name} is ${one.kind}, taken as a file beside this design.`
          : `${one.name} is ${one.kind}, and this design does not name it. The bench is as it was.`,
      );
      return this.told(words.join(" "), true);
    }
    this.bench.write(design.text, `Opened ${design.name}`, { opened: true });
    const also = beside.length ? `${beside.map((one) => one.name).join(", ")} beside it` : "";
    return this.told(`${[`Opened ${design.name}`, also].filter(Boolean).join(", with ")}.`);
  }

  /** Says of which design the files are, once it is not the one on the bench any more. */
  #mark() {
    const old = this.of !== null && (this.of.text !== this.bench.text || this.bench.waiting.length > 0);
    this.old.hidden = !old;
    this.old.textContent = old ? `Files of ${this.of.title}, before your changes:` : "";
    this.list.classList.toggle("before", old);
  }

  /** Another piece is on the bench. */
  #clear() {
    this.running?.abort();
    this.make.disabled = false;
    this.of = null;
    refill(this.state);
    refill(this.list);
    this.#mark();
  }

  #dropped() {
    addEventListener("dragover", (event) => {
      if (event.dataTransfer?.types.includes("Files")) {
        event.preventDefault();
        document.body.classList.add("dropping");
      }
    });
    for (const kind of ["dragleave", "drop"]) {
      addEventListener(kind, (event) => {
        if (kind === "dragleave" && event.relatedTarget) return;
        document.body.classList.remove("dropping");
      });
    }
    addEventListener("drop", (event) => {
      const files = [...(event.dataTransfer?.files ?? [])];
      if (!files.length) return;
      event.preventDefault();
      this.open(files);
    });
  }

  async #make() {
    const own = new AbortController();
    this.running?.abort();
    this.running = own;
    const words = el("span", { text: "Getting ready" });
    refill(
      this.state,
      el(
        "p",
        { class: "line" },
        el("span", { class: "spin", "aria-hidden": "true" }),
        words,
        el("button", {
          type: "button",
          id: "files-cancel",
          text: "Cancel",
          onclick: () => {
            own.abort();
            refill(this.state);
            this.make.disabled = false;
          },
        }),
      ),
    );
    refill(this.list);
    this.of = null;
    this.#mark();
    this.make.disabled = true;
    const state = (lines, soft = false) =>
      refill(
        this.state,
        el(
          "div",
          { class: soft ? "soft" : "wrong" },
          lines.map((one) => el("p", { text: one })),
        ),
      );
    const what = Object.fromEntries(this.ticks.map((one) => [one.key, one.box.checked]));
    try {
      if (this.bench.working) words.textContent = "Waiting for the piece to be worked out";
      const there = await looked(this.bench);
      if (own.signal.aborted) return undefined;
      if (!there) {
        const why = this.bench.problems.length ? "what is wrong is to be put right first" : "its check is to be done first";
        return state([`There is no piece to make files of: ${why}.`]);
      }
      const of = { text: this.bench.text, title: this.bench.look?.title ?? "this piece" };
      const said = await streamed(
        "/api/files",
        { text: of.text, ...what },
        (line) => {
          if (line.progress) words.textContent = line.progress;
        },
        own.signal,
      );
      if (own.signal.aborted) return undefined;
      refill(this.state);
      if (said.files) this.#made(said.files, of);
      else state(...whyNot(said, "The files were not made"));
    } catch (fault) {
      if (this.running !== own || own.signal.aborted) return undefined;
      refill(this.state);
      if (fault instanceof Gone) this.gone();
      else if (fault.name !== "AbortError") {
        state(fault instanceof Refused ? fault.problems.map(sentence) : [fault.message]);
      }
    } finally {
      if (this.running === own) this.make.disabled = false;
    }
    return undefined;
  }

  #made({ zip, list, notes }, of) {
    this.of = of;
    const row = (one) => {
      const page = /\.(html|pdf)$/.test(one.path);
      return el(
        "li",
        {},
        el("a", {
          href: one.url,
          download: page ? null : one.path.split("/").at(-1),
          target: page ? "_blank" : null,
          rel: page ? "noopener" : null,
          "data-file": one.path,
          text: page ? `${one.path} (opens beside this page)` : one.path,
        }),
        el("span", { class: "soft", text: ` ${[one.what, bytes(one.bytes)].filter(Boolean).join(", ")}` }),
      );
    };
    // In the order in which they come; those that few makers open are folded.
    const groups = new Map();
    for (const one of list) groups.set(one.group, [...(groups.get(one.group) ?? []), one]);
    const parts = [...groups].map(([name, own]) => {
      const rows = el("ul", { class: "made", "aria-label": name }, own.map(row));
      return FOLDED.includes(name)
        ? el("details", { class: "more" }, el("summary", { text: `${name} (${own.length})` }), rows)
        : el("section", {}, el("h3", { text: name }), rows);
    });
    refill(
      this.list,
      el("a", {
        class: "button",
        id: "files-zip",
        href: zip,
        download: fileName(of.title).replace(".toml", ".zip"),
        text: `Everything as one zip (${list.length} files)`,
      }),
      parts,
      (notes ?? []).map((one) => el("p", { class: "soft", text: one })),
    );
    this.#mark();
  }
}

function bytes(count) {
  if (count < 1000) return `${count} bytes`;
  return count < 1e6 ? `${(count / 1e3).toFixed(0)} kB` : `${(count / 1e6).toFixed(1)} MB`;
}
