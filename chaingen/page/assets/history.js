// What was done: texts of the design, each with words for it. Going back is taking up an earlier text. A step that
// went by too fast for its text to be told has the text before it and the changes of that.

const MOST = 200;

export class History {
  constructor(text, words) {
    this.steps = [{ text, words, key: "", changes: [] }];
    this.at = 0;
  }

  /** Another text; the same gesture (`key`) goes on with the step it began. */
  push(text, words, key, changes = []) {
    const now = this.steps[this.at];
    if (now.text === text && !changes.length && !now.changes.length) return;
    this.steps.length = this.at + 1;
    if (key && now.key === key && this.at > 0) {
      Object.assign(now, { text, changes });
      return;
    }
    this.steps.push({ text, words, key, changes });
    if (this.steps.length > MOST) this.steps.shift();
    this.at = this.steps.length - 1;
  }

  /**
   * Changes that were made one after the other, each number of them a step to be undone by itself. The last has the
   * `text` after them, if that is known; those before it the text `before` and their changes.
   */
  take(done, before, text, gesture) {
    done.forEach((one, k) => {
      if (one.number === done[k + 1]?.number) return;
      const last = text !== null && k === done.length - 1;
      if (one.step) {
        if (last) Object.assign(one.step, { text, changes: [] });
        return;
      }
      const changes = done.slice(0, k + 1).map(({ change }) => change);
      this.push(last ? text : before, one.words, one.key && `${one.key}:${gesture}`, last ? [] : changes);
    });
  }

  get undone() {
    return this.at > 0 ? this.steps[this.at].words : null;
  }

  get redone() {
    return this.at + 1 < this.steps.length ? this.steps[this.at + 1].words : null;
  }

  /** The step before, or null. */
  back() {
    if (this.at === 0) return null;
    this.at -= 1;
    return this.steps[this.at];
  }

  /** The step after, or null. */
  on() {
    if (this.at + 1 >= this.steps.length) return null;
    this.at += 1;
    return this.steps[this.at];
  }
}
