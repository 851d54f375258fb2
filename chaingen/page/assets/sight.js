// The piece in the middle: the view, what is shown in it (as placed, or at rest), and its keys.

import { byId } from "/assets/dom.js";

const STILL = matchMedia("(prefers-reduced-motion: reduce)");
const TURN = Math.PI / 24; // [rad] a key; the piece goes the way of the arrow, as under a hand
const PAN = 40; // [px] a key
const NEARER = 1.15;

/** What keys do with views; true when the key was one of them. */
export function turned(event, views) {
  const { key, shiftKey } = event;
  if (event.ctrlKey || event.metaKey || event.altKey) return false;
  const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  const way = ways[key];
  for (const view of views) {
    if (way && shiftKey) view.pan(way[0] * PAN, way[1] * PAN);
    else if (way) view.turn(-way[0] * TURN, way[1] * TURN);
    else if (key === "+" || key === "=") view.zoom(NEARER);
    else if (key === "-" || key === "_") view.zoom(1 / NEARER);
    else if (key === "Home") view.look("whole");
    else if (key === "c" || key === "C") view.look("close");
    else if (key === "t" || key === "T") view.look("tightest");
    else return false;
  }
  event.preventDefault();
  return true;
}

/** The View of `view.js`; null with words in the place of the piece when there is none. */
export async function viewOf(canvas, labels, dark, wrong) {
  try {
    const { View } = await import("/assets/view.js");
    return new View(canvas, labels, { dark, still: STILL.matches });
  } catch (fault) {
    wrong(
      fault.name === "NoWebGL"
        ? "This browser draws nothing in three dimensions (WebGL is off or missing). Verdict, numbers, text and files work without."
        : `The view of the piece could not be opened (${fault.message}). Verdict, numbers, text and files work without.`,
    );
    return null;
  }
}

export class Sight {
  constructor() {
    this.canvas = byId("view");
    this.view = null;
    this.look = null;
    this.resting = false;
    this.first = new Promise((done) => {
      this.drawn = done;
    });
  }

  async open(dark) {
    this.view = await viewOf(this.canvas, byId("view-labels"), dark, (words) => {
      byId("no-view").textContent = words;
      byId("no-view").hidden = false;
      this.canvas.hidden = true;
      document.body.classList.add("no-3d");
    });
    if (!this.view) return;
    this.canvas.addEventListener("keydown", (event) => turned(event, [this.view]));
    for (const button of document.querySelectorAll("[data-look]")) {
      button.addEventListener("click", () => this.towards(button.dataset.look));
    }
    if (this.look) this.#placed(true);
  }

  towards(way) {
    this.view?.look(way);
  }

  /** Another look: shown as placed, unless it is the quick one of what lies at rest. */
  show(look, frame) {
    this.look = look;
    this.resting = false;
    this.canvas.setAttribute("aria-label", `The piece in three dimensions: ${look.title}. ${look.verdict.headline}`);
    byId("look-tightest").disabled = !look.tightest;
    if (this.view) this.#placed(frame);
  }

  #placed(frame) {
    const { piece, collided, collisions, tightest } = this.look;
    this.view.supports(null);
    this.view.show(piece, { keepCamera: !frame });
    this.view.mark({ collided, collisions, tightest });
    this.drawn();
  }

  /** Back from rest to the piece as placed. */
  asPlaced() {
    this.resting = false;
    if (this.view && this.look) this.#placed(true);
  }

  rest(piece, supports) {
    this.resting = true;
    if (!this.view) return;
    this.view.mark({ collided: [], collisions: [], tightest: null });
    this.view.show(piece, { keepCamera: true });
    this.view.supports(supports);
    this.view.begin();
  }

  poses(numbers) {
    if (this.resting) this.view?.poses(numbers);
  }

  /** Whether what is shown is not what the design says; and which other piece is to come, {title, picture}. */
  dim(on, coming = null) {
    byId("sight").classList.toggle("dim", on);
    byId("sight").classList.toggle("fresh", Boolean(coming));
    byId("coming").hidden = !coming;
    byId("coming-name").textContent = coming?.title ?? "";
    byId("coming-picture").hidden = !coming?.picture;
    if (coming?.picture) byId("coming-picture").src = coming.picture;
  }

  dark(on) {
    this.view?.dark(on);
  }
}
