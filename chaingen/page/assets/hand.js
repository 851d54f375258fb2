// Whether a hand is on a slider: by pointer, by touch, or by keys. Answers leave a held slider where it is.

const REST = 500; // [ms] after the last key, for the next may follow

const KEYS = /^(Arrow(Left|Right|Up|Down)|Page(Up|Down)|Home|End)$/;

export class Hand {
  /** `off` is called when the hand goes off the slider. */
  constructor(slider, off) {
    Object.assign(this, { off, held: false, timer: 0 });
    const on = (kind, heard) => slider.addEventListener(kind, heard, { passive: true });
    for (const kind of ["pointerdown", "touchstart"]) on(kind, () => this.#on());
    for (const kind of ["pointerup", "pointercancel", "touchend", "blur"]) on(kind, () => this.#away());
    on("keydown", ({ key }) => KEYS.test(key) && this.#on(REST));
    on("keyup", ({ key }) => KEYS.test(key) && this.#on(REST));
  }

  #on(rest = 0) {
    this.held = true;
    clearTimeout(this.timer);
    this.timer = rest ? setTimeout(() => this.#away(), rest) : 0;
  }

  #away() {
    clearTimeout(this.timer);
    this.timer = 0;
    if (!this.held) return;
    this.held = false;
    this.off();
  }
}
