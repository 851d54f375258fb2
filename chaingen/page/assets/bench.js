// The bench: the design's text as the single truth, changes to it, and the looks that answer them.
//
// Each change has a number. A look asks with the text and the changes that no answer has taken in yet; its answer
// stands for all changes up to the number it was asked with. A quick look is asked at once, one at a time, always
// with the newest; the full one when the maker pauses, and a newer change puts an end to it.

import { Gone, Refused, streamed } from "/assets/ask.js";
import { History } from "/assets/history.js";

const PAUSE = 350; // [ms] without a change before the full look is asked
const KEPT = 6; // full looks remembered by their text

export class Bench extends EventTarget {
  constructor(text) {
    super();
    this.text = text;
    this.saved = text;
    this.look = null;
    this.controls = null;
    this.problems = [];
    this.history = new History(text, "Opened");
    this.waiting = []; // changes that no answer has taken in: {number, change, words, key}
    this.number = 0;
    this.taken = 0;
    this.shown = { number: -1, quick: true };
    this.gesture = 0;
    this.kept = new Map();
    this.quick = null;
    this.full = null;
    this.again = false;
    this.timer = 0;
    this.frame = true; // whether the next look fills the frame anew
  }

  tell(what, detail = {}) {
    this.dispatchEvent(new CustomEvent(what, { detail }));
  }

  /** What the maker does: changes of the text, words for it; `key` when it goes on (a slider). */
  change(changes, words, key = null) {
    this.number += 1;
    const own = changes.length === 1 && key ? key : null;
    if (own) this.waiting = this.waiting.filter((one) => one.key !== own);
    for (const change of changes) this.waiting.push({ number: this.number, change, words, key: own });
    this.#moved();
  }

  /** The text as typed, opened or taken up; `reset` begins anew with it. */
  write(text, words, { key = null, reset = false, record = true, frame = false } = {}) {
    this.number += 1;
    this.waiting = [];
    this.text = text;
    this.taken = this.number;
    this.frame ||= frame || reset;
    if (reset) {
      this.history = new History(text, words);
      this.saved = text;
      this.tell("history");
    } else if (record) this.#record(words, key);
    this.tell("text");
    const known = this.kept.get(text);
    if (known) {
      this.#stop();
      this.#show(known, this.number, false);
    } else this.#moved(key ? PAUSE : 0);
  }

  undo() {
    this.#again(this.history.back(), "Undone");
  }

  redo() {
    this.#again(this.history.on(), "Done again");
  }

  #again(text, words) {
    if (text === null) return;
    this.write(text, words, { record: false });
    this.tell("history");
  }

  /** The hand is off the slider: the full look need not wait. */
  settle() {
    if (this.number > this.shown.number || this.shown.quick) this.#later(60);
  }

  /** The full look of the text as it is. */
  check() {
    this.#later(0);
  }

  cancel() {
    clearTimeout(this.timer);
    this.full?.abort();
    this.full = null;
    this.tell("busy", { words: null });
    this.tell("cancelled");
  }

  get changed() {
    return this.text !== this.saved || this.waiting.length > 0;
  }

  #stop() {
    clearTimeout(this.timer);
    this.full?.abort();
    this.full = null;
    this.tell("busy", { words: null });
  }

  #moved(pause = PAUSE) {
    this.#stop();
    this.tell("moved");
    if (this.look) this.#askQuick();
    this.#later(pause);
  }

  #later(pause) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#askFull(), pause);
  }

  #asking(quick) {
    const changes = this.waiting.map((one) => one.change);
    return { number: this.number, body: { text: this.text, changes, quick } };
  }

  async #askQuick() {
    if (this.quick) {
      this.again = true;
      return;
    }
    this.again = false;
    const { number, body } = this.#asking(true);
    this.quick = new AbortController();
    try {
      const answer = await streamed("/api/look", body, () => {}, this.quick.signal);
      this.#answered(answer, number, true);
    } catch (fault) {
      if (fault instanceof Gone) this.tell("gone");
      // Anything else the full look will tell.
    } finally {
      this.quick = null;
      if (this.again) this.#askQuick();
    }
  }

  async #askFull() {
    this.full?.abort();
    const { number, body } = this.#asking(false);
    const own = new AbortController();
    this.full = own;
    this.tell("busy", { words: "Placing rings", since: performance.now() });
    const told = (said) => {
      if (this.full === own && said.progress) this.tell("busy", { words: said.progress });
    };
    try {
      const answer = await streamed("/api/look", body, told, own.signal);
      if (this.full === own) this.#answered(answer, number, false);
    } catch (fault) {
      if (fault.name === "AbortError" || this.full !== own) return;
      if (fault instanceof Gone) this.tell("gone");
      else if (fault instanceof Refused) this.#refused(fault.problems, number);
      else this.tell("fault", { words: fault.message });
    } finally {
      if (this.full === own) {
        this.full = null;
        this.tell("busy", { words: null });
      }
    }
  }

  #answered(answer, number, quick) {
    this.tell("there");
    if ("stopped" in answer || "fault" in answer) {
      if (!quick) this.tell("fault", { words: answer.fault ?? answer.stopped });
    } else if (answer.text === undefined) {
      if (!quick || number === this.number) this.#refused(answer.problems ?? [], number);
    } else {
      if (number > this.taken) this.#take(answer.text, number);
      this.#show(answer, number, quick);
    }
  }

  /** The answer's text holds all changes up to `number`. */
  #take(text, number) {
    const done = this.waiting.filter((one) => one.number <= number);
    this.waiting = this.waiting.filter((one) => one.number > number);
    this.taken = number;
    this.text = text;
    const last = done.at(-1);
    if (last) this.#record(last.words, last.key && `${last.key}:${this.gesture}`);
    this.tell("text");
  }

  #record(words, key) {
    this.history.push(this.text, words, key && (key.includes(":") ? key : `${key}:${this.gesture}`));
    this.tell("history");
  }

  #refused(problems, number) {
    this.waiting = this.waiting.filter((one) => one.number > number);
    this.taken = Math.max(this.taken, number);
    if (number !== this.number) return;
    clearTimeout(this.timer);
    this.problems = problems;
    this.tell("problems");
    this.tell("controls");
  }

  #show(answer, number, asked) {
    // What the program has worked out in full already it gives in full at once.
    const quick = asked && answer.look?.quick !== false;
    const older = number < this.shown.number || (number === this.shown.number && quick && !this.shown.quick);
    if (older) return;
    const wrong = answer.problems?.length > 0;
    if (quick && !answer.look && !wrong) {
      this.tell("far");
      return;
    }
    this.shown = { number, quick };
    this.controls = answer.controls ?? (wrong ? null : this.controls);
    this.problems = answer.problems ?? [];
    this.tell("controls");
    this.tell("problems");
    if (answer.look) {
      this.look = answer.look;
      if (!quick) this.#keep(answer);
      this.tell("look", { look: answer.look, quick, frame: this.frame });
      this.frame = false;
    }
    if (!quick) this.gesture += 1;
    // All is said already: what is wrong with the text, or the full look.
    if (asked && (wrong || !quick) && number === this.number) this.#stop();
  }

  #keep(answer) {
    this.kept.delete(answer.text);
    this.kept.set(answer.text, answer);
    if (this.kept.size > KEPT) this.kept.delete(this.kept.keys().next().value);
  }
}
