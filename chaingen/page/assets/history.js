// What was done: texts of the design, each with words for it. Going back is taking up an earlier text.

const MOST = 200;

export class History {
  constructor(text, words) {
    this.steps = [{ text, words, key: "" }];
    this.at = 0;
  }

  /** Another text; the same gesture (`key`) goes on with the step it began. */
  push(text, words, key) {
    const now = this.steps[this.at];
    if (now.text === text) return;
    this.steps.length = this.at + 1;
    if (key && now.key === key && this.at > 0) {
      now.text = text;
      return;
    }
    this.steps.push({ text, words, key });
    if (this.steps.length > MOST) this.steps.shift();
    this.at = this.steps.length - 1;
  }

  get undone() {
    return this.at > 0 ? this.steps[this.at].words : null;
  }

  get redone() {
    return this.at + 1 < this.steps.length ? this.steps[this.at + 1].words : null;
  }

  back() {
    if (this.at === 0) return null;
    this.at -= 1;
    return this.steps[this.at].text;
  }

  on() {
    if (this.at + 1 >= this.steps.length) return null;
    this.at += 1;
    return this.steps[this.at].text;
  }
}
