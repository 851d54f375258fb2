// The bench: the design's text as the single truth, changes to it, and the looks that answer them.
//
// Each change has a number. A look asks with the text and the changes that no answer has taken in yet; its answer
// stands for all changes up to the number it was asked with. A quick look is asked at once, one at a time, always
// with the newest; the full one when the maker pauses, and a newer change puts an end to it.

import { Gone, Refused, isReplaced, streamed } from "/assets/ask.js";
import { History } from "/assets/history.js";
import { Kept } from "/assets/kept.js";

const PAUSE = 350; // [ms] without a change before the full look is asked

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
    this.kept = new Kept();
    this.quick = null;
    this.full = null;
    this.again = false;
    this.timer = 0;
    this.frame = true; // whether the next look fills the frame anew
    this.fresh = null; // another piece that was chosen and is not there yet: {title, picture}
    this.read = -1; // number of the change whose text and boxes are shown already
    this.awaiting = []; // who waits for the full look
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

  /**
   * The text as typed, opened or taken up; `opened` from a file. `fresh` says that it is another piece: its
   * {title, picture}; `step` is the step of the history that is taken up, which may have changes to the text.
   */
  write(text, words, { key = null, opened = false, step = null, frame = false, fresh = null } = {}) {
    // What no answer has taken in yet stays a step of its own.
    if (!step) this.history.take(this.waiting, this.text, null, this.gesture);
    this.number += 1;
    // A step that no answer has told the text of: its changes are asked for anew.
    this.waiting = (step?.changes ?? []).map((change) => ({ number: this.number, change, words, key: null, step }));
    this.fresh = fresh;
    this.text = text;
    this.taken = this.waiting.length ? this.number - 1 : this.number;
    if (opened) this.saved = text;
    if (opened || fresh) this.tell("another");
    this.frame ||= frame || opened || fresh !== null;
    if (step) this.tell("history");
    else this.#record(words, key);
    this.tell("text");
    const known = this.waiting.length ? null : this.kept.get(text);
    if (known) {
      this.#stop();
      this.tell("moved");
      this.#show(known, this.number, false);
    } else this.#moved(key ? PAUSE : 0);
  }

  undo() {
    // What no answer has taken in is the last that was done.
    this.history.take(this.waiting, this.text, null, this.gesture);
    this.#again(this.history.back());
  }

  redo() {
    this.#again(this.history.on());
  }

  #again(step) {
    if (step !== null) this.write(step.text, step.words, { step });
  }

  /** Whether the full look of the newest text is still to come. */
  get working() {
    return this.full !== null || this.timer !== 0;
  }

  /** Files beside the design are others now: what was worked out before counts no more. */
  renew() {
    this.kept.clear();
    this.number += 1;
    if (!this.waiting.length) this.taken = this.number;
    this.#moved(0);
  }

  #over() {
    if (this.working) return;
    const there = !this.shown.quick && this.shown.number === this.number && this.problems.length === 0;
    for (const done of this.awaiting.splice(0)) done(there);
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
    this.#stop();
    this.fresh = null;
    this.tell("cancelled");
    for (const done of this.awaiting.splice(0)) done(false);
  }

  get changed() {
    return this.text !== this.saved || this.waiting.length > 0;
  }

  #stop() {
    clearTimeout(this.timer);
    this.timer = 0;
    this.full?.abort();
    this.full = null;
    this.tell("busy", { words: null });
  }

  #moved(pause = PAUSE) {
    this.#stop();
    this.tell("moved");
    // Nothing is known of another piece at a glance.
    if (this.look && !this.fresh) this.#askQuick();
    this.#later(pause);
  }

  #later(pause) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      this.timer = 0;
      this.#askFull();
    }, pause);
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
      const told = (said) => said.read && this.#wasRead(said.read, number);
      const answer = await streamed("/api/look", body, told, this.quick.signal);
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
    this.tell("busy", { words: "Getting ready", since: performance.now() });
    const told = (said) => {
      if (this.full !== own) return;
      if (said.read) this.#wasRead(said.read, number);
      if (said.progress) this.tell("busy", { words: said.progress });
    };
    try {
      const answer = await streamed("/api/look", body, told, own.signal);
      if (this.full !== own) return;
      if (isReplaced(answer)) this.#later(PAUSE);
      else this.#answered(answer, number, false);
    } catch (fault) {
      if (fault.name === "AbortError" || this.full !== own) return;
      this.fresh = null;
      if (fault instanceof Gone) this.tell("gone");
      else if (fault instanceof Refused) this.#refused(fault.problems, number);
      else this.tell("fault", { words: fault.message });
    } finally {
      if (this.full === own) {
        this.full = null;
        this.tell("busy", { words: null });
      }
      this.#over();
    }
  }

  /** Text and boxes after the changes, before there is a piece of them. */
  #wasRead({ text, controls, problems }, number) {
    if (number > this.taken) this.#take(text, number);
    if (number !== this.number || this.read === number || !controls) return;
    this.read = number;
    this.controls = controls;
    this.problems = problems ?? [];
    this.tell("controls");
    this.tell("problems");
  }

  #answered(answer, number, quick) {
    this.tell("there");
    if ("stopped" in answer || "fault" in answer) {
      if (quick) return;
      this.fresh = null;
      this.tell("fault", { words: answer.fault ?? answer.stopped });
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
    this.history.take(done, this.text, text, this.gesture);
    if (done.length) this.tell("history");
    this.text = text;
    this.tell("text");
  }

  #record(words, key) {
    this.history.push(this.text, words, key && `${key}:${this.gesture}`);
    this.tell("history");
  }

  #refused(problems, number) {
    this.waiting = this.waiting.filter((one) => one.number > number);
    this.taken = Math.max(this.taken, number);
    if (number !== this.number) return;
    clearTimeout(this.timer);
    this.timer = 0;
    this.fresh = null;
    this.problems = problems;
    this.tell("problems");
    this.tell("controls");
  }

  #show(answer, number, asked) {
    // What the program has worked out in full already it gives in full at once.
    const quick = asked && answer.look?.quick !== false;
    const older = number < this.shown.number || (number === this.shown.number && asked && !this.shown.quick);
    if (older) return;
    const wrong = answer.problems?.length > 0;
    if (quick && !answer.look && !wrong) {
      // Nothing near it is known; what may be changed is.
      this.#wasRead(answer, number);
      this.tell("far");
      return;
    }
    this.shown = { number, quick };
    if (number === this.number) this.fresh = null;
    this.problems = answer.problems ?? [];
    // What the maker has set since stands in the boxes; an answer to that is on its way.
    if (number === this.number) {
      this.controls = answer.controls ?? (wrong ? null : this.controls);
      this.tell("controls");
    } else if (answer.controls) this.tell("follows", { controls: answer.controls });
    this.tell("problems");
    if (answer.look) {
      this.look = answer.look;
      if (!quick) this.kept.add(answer);
      this.tell("look", { look: answer.look, quick, frame: this.frame });
      if (number === this.number) this.frame = false;
    }
    if (!quick) this.gesture += 1;
    // All is said already: what is wrong with the text, or the full look.
    if (asked && (wrong || !quick) && number === this.number) this.#stop();
    if (!quick || wrong) this.#over();
  }
}
