// Labels over the picture: each by its place, with a leader line to it, none over another, all within the frame.

const MARGIN = 6; // px from the frame's edges and from one label to the next
const REACHES = [14, 38, 72, 120]; // px from what a label tells of to the nearest point of the label
const CLEAR = 110; // px round its place that a label leaves free at most, to see what it tells of
const WAYS = 12; // directions tried
const ROOM = 45000; // square px of the frame for each label there may be
const CELL = 16; // px, of the grid that says where the piece is in the frame

const INK = {
  light: { paper: "rgba(255,255,255,0.94)", ink: "#1c2127", line: "#1c2127" },
  dark: { paper: "rgba(24,27,32,0.94)", ink: "#f2f3f5", line: "#f2f3f5" },
};
const EDGE = { collision: "#c2007c", tightest: "#1668d8" };

export class Labels {
  constructor(container) {
    this.container = container;
    this.dark = false;
    this.items = [];
    this.cells = new Uint8Array(0);
    this.columns = this.rows = 0;
  }

  /** @param list [{place: [x, y, z], reach, text, sort: "collision" | "tightest"}], the most telling first */
  set(list) {
    this.clear();
    this.items = list.map(({ place, reach, text, sort }) => {
      const label = this.element("mark-label");
      label.textContent = text;
      const line = this.element("mark-line");
      const dot = this.element("mark-dot");
      this.container.append(line, dot, label);
      return { place, reach, sort, label, line, dot, wide: 0, high: 0, last: null, shown: true };
    });
    this.paint();
  }

  clear() {
    for (const { label, line, dot } of this.items) for (const part of [label, line, dot]) part.remove();
    this.items = [];
  }

  setDark(dark) {
    this.dark = dark;
    this.paint();
  }

  element(name) {
    const made = document.createElement("div");
    made.className = name;
    made.setAttribute("aria-hidden", "true"); // the page says the same in words
    Object.assign(made.style, { position: "absolute", left: "0", top: "0", pointerEvents: "none" });
    return made;
  }

  paint() {
    const { paper, ink, line } = INK[this.dark ? "dark" : "light"];
    for (const item of this.items) {
      Object.assign(item.label.style, {
        background: paper, color: ink, borderLeft: `4px solid ${EDGE[item.sort]}`, borderRadius: "3px",
        padding: "2px 8px", whiteSpace: "nowrap", fontSize: "13px", lineHeight: "18px",
        boxShadow: "0 1px 4px rgba(0,0,0,0.3)",
      });
      Object.assign(item.line.style, { height: "1.5px", background: line, transformOrigin: "0 50%", opacity: "0.8" });
      Object.assign(item.dot.style, {
        width: "7px", height: "7px", margin: "-4.5px 0 0 -4.5px", borderRadius: "50%",
        background: EDGE[item.sort], border: `1.5px solid ${paper}`, boxSizing: "content-box",
      });
      item.wide = item.label.offsetWidth;
      item.high = item.label.offsetHeight;
    }
  }

  /** Hide all, as while a piece settles; `update` shows them again. */
  hide() {
    for (const item of this.items) this.show(item, false);
  }

  show(item, yes) {
    if (item.shown === yes) return;
    item.shown = yes;
    for (const part of [item.label, item.line, item.dot]) part.style.visibility = yes ? "visible" : "hidden";
  }

  /**
   * Put every label where it belongs as the camera stands.
   * @param poses of all bodies, 7 numbers each, and `radii` of each [mm]: labels lie beside them where they can
   * @param wide of the frame in CSS pixels, and how `high`
   */
  update(camera, poses, radii, wide, high) {
    if (!this.items.length) return;
    const m = camera.projectionMatrix.clone().multiply(camera.matrixWorldInverse).elements;
    const scale = 0.5 * high * camera.projectionMatrix.elements[5]; // pixels of 1 mm at a distance of 1 mm
    this.map(m, scale, poses, radii, wide, high);
    const most = Math.max(1, Math.floor((wide * high) / ROOM));
    const taken = [];
    const anchors = this.items.map(({ place: [x, y, z] }) => {
      const w = m[3] * x + m[7] * y + m[11] * z + m[15];
      const px = (0.5 + (0.5 * (m[0] * x + m[4] * y + m[8] * z + m[12])) / w) * wide;
      const py = (0.5 - (0.5 * (m[1] * x + m[5] * y + m[9] * z + m[13])) / w) * high;
      return w > 0 && px > 0 && py > 0 && px < wide && py < high ? [px, py, w] : null;
    });
    this.items.forEach((item, k) => {
      const anchor = k < most ? anchors[k] : null;
      const pixels = anchor && (scale * item.reach) / anchor[2];
      const box = anchor && this.room(item, anchor, Math.min(pixels, CLEAR), anchors, taken, wide, high);
      this.show(item, Boolean(box));
      if (!box) return;
      taken.push(box);
      this.put(item, anchor, box);
    });
  }

  /** A box [left, top, right, bottom] for a label where nothing else is, or null. */
  room(item, [ax, ay], clear, anchors, taken, wide, high) {
    const outwards = Math.atan2(ay - 0.5 * high, ax - 0.5 * wide) || -0.5 * Math.PI;
    const tries = item.last === null ? [] : [item.last];
    for (const reach of REACHES) {
      for (let n = 0; n < WAYS; n++) {
        const turn = Math.ceil(n / 2) * (n % 2 ? 1 : -1) * ((2 * Math.PI) / WAYS);
        tries.push([outwards + turn, reach]);
      }
    }
    let best = null;
    let fewest = Infinity;
    for (const way of tries) {
      const [dx, dy] = [Math.cos(way[0]), Math.sin(way[0])];
      const x = ax + (clear + way[1] + 0.5 * item.wide) * dx;
      const y = ay + (clear + way[1] + 0.5 * item.high) * dy;
      const box = [x - 0.5 * item.wide, y - 0.5 * item.high, x + 0.5 * item.wide, y + 0.5 * item.high];
      if (box[0] < MARGIN || box[1] < MARGIN || box[2] > wide - MARGIN || box[3] > high - MARGIN) continue;
      if (taken.some((other) => overlap(box, other, MARGIN))) continue;
      if (anchors.some((one) => one && overlap(box, [one[0], one[1], one[0], one[1]], 10))) continue;
      // What a label covers counts, and a long leader a little; it moves only if that helps.
      const cost = this.covered(box) + 0.02 * way[1] - (way === item.last ? 1.5 : 0);
      if (cost >= fewest) continue;
      [best, fewest] = [[way, box], cost];
      if (cost < 0.3) break;
    }
    if (!best) return null;
    item.last = best[0];
    return best[1];
  }

  /** Note in which cells of the frame there are bodies. */
  map(m, scale, poses, radii, wide, high) {
    this.columns = Math.ceil(wide / CELL);
    this.rows = Math.ceil(high / CELL);
    if (this.cells.length !== this.columns * this.rows) this.cells = new Uint8Array(this.columns * this.rows);
    else this.cells.fill(0);
    for (let k = 0; k < radii.length; k++) {
      const [x, y, z] = [poses[7 * k], poses[7 * k + 1], poses[7 * k + 2]];
      const w = m[3] * x + m[7] * y + m[11] * z + m[15];
      if (w <= 0) continue;
      const px = (0.5 + (0.5 * (m[0] * x + m[4] * y + m[8] * z + m[12])) / w) * wide;
      const py = (0.5 - (0.5 * (m[1] * x + m[5] * y + m[9] * z + m[13])) / w) * high;
      // Bodies are seldom seen face on.
      const r = (0.7 * scale * radii[k]) / w;
      this.each([px - r, py - r, px + r, py + r], (cell) => (this.cells[cell] = 1));
    }
  }

  covered(box) {
    let count = 0;
    this.each(box, (cell) => (count += this.cells[cell]));
    return count;
  }

  each(box, act) {
    const [left, top] = [Math.max(0, Math.floor(box[0] / CELL)), Math.max(0, Math.floor(box[1] / CELL))];
    const right = Math.min(this.columns - 1, Math.floor(box[2] / CELL));
    const bottom = Math.min(this.rows - 1, Math.floor(box[3] / CELL));
    for (let j = top; j <= bottom; j++) for (let i = left; i <= right; i++) act(j * this.columns + i);
  }

  put(item, [ax, ay], box) {
    // The leader ends at the point of the label nearest to the place.
    const x = Math.min(Math.max(ax, box[0]), box[2]);
    const y = Math.min(Math.max(ay, box[1]), box[3]);
    item.label.style.transform = `translate(${Math.round(box[0])}px, ${Math.round(box[1])}px)`;
    item.dot.style.transform = `translate(${ax.toFixed(1)}px, ${ay.toFixed(1)}px)`;
    item.line.style.width = `${Math.hypot(x - ax, y - ay).toFixed(1)}px`;
    item.line.style.transform = `translate(${ax.toFixed(1)}px, ${ay.toFixed(1)}px) rotate(${Math.atan2(y - ay, x - ax)}rad)`;
  }
}

export function overlap(a, b, margin) {
  return a[0] < b[2] + margin && b[0] < a[2] + margin && a[1] < b[3] + margin && b[1] < a[3] + margin;
}

/**
 * The labels of what a look marks: of the tightest pair, and of collisions, worst first.
 * @param radii of all bodies [mm]
 * @param most labels in all
 */
export function labelsOf({ collisions = [], tightest = null }, names, radii, most = 5) {
  const reach = (bodies) => Math.max(...bodies.map((body) => radii[body] ?? 0));
  const list = [];
  if (tightest) {
    const { place, gap, names: who, bodies } = tightest;
    const sort = collisions.length ? "collision" : "tightest";
    list.push({ place, reach: reach(bodies), text: `${gap}, ${who}`, sort });
  }
  const told = tightest ? String([...tightest.bodies].sort()) : "";
  for (const { bodies, gap, place } of collisions) {
    if (list.length >= most) break;
    if (String([...bodies].sort()) === told) continue;
    const text = `${gap}, ${names[bodies[0]]} and ${names[bodies[1]]}`;
    list.push({ place, reach: reach(bodies), text, sort: "collision" });
  }
  return list;
}
