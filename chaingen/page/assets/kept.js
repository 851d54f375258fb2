// Full looks remembered by the text they are of, those of the newest few.

const MOST = 6;

export class Kept {
  constructor() {
    this.clear();
  }

  clear() {
    this.answers = new Map();
  }

  get(text) {
    return this.answers.get(text);
  }

  add(answer) {
    this.answers.delete(answer.text);
    this.answers.set(answer.text, answer);
    if (this.answers.size > MOST) this.answers.delete(this.answers.keys().next().value);
  }
}
