// How a piece is framed: which of its bodies fill the frame, and from which side they are seen.

import { FIELD, fitted } from "./controls3d.js";
import { along, ASLANT, grazes, isLong, nearPart } from "./stand.js";

const SIDES = {
  front: { yaw: 0, pitch: 0 },
  side: { yaw: 0.5 * Math.PI, pitch: 0 },
  above: { yaw: 0, pitch: 0.5 * Math.PI },
  "three-quarter": ASLANT,
};
const CLOSE = 9; // bodies that fill the frame close up
const MARGINS = { placed: 1.06, held: 1.3 }; // about a piece; what holds it is seen too

/** What of a view knows where the piece is and moves its `orbit`; `refresh` has it drawn. */
export class Framing {
  constructor(orbit) {
    this.orbit = orbit;
    this.at = new Float32Array(0); // poses of all bodies, 7 numbers each
    this.radii = new Float32Array(0);
    this.lows = new Float64Array(3); // of the piece [mm]
    this.highs = new Float64Array(3);
    this.middle = [0, 0, 0];
    this.radius = 1;
    this.begun = false; // whether anything was framed yet: a canvas that is hidden has no size
    this.whole = true; // whether all of the piece is framed, or its near part
    this.stood = null; // the way looked that was chosen for the piece
    this.held = []; // supports
    this.marks = { collided: [], collisions: [], tightest: null };
    this.wide = this.high = 0; // CSS pixels
  }

  /** See it as one does first: a long piece along its length, of a very long one the near part. */
  begin({ whole = false, smooth = false } = {}) {
    if (!this.radii.length || !this.wide) return;
    this.begun = true;
    this.whole = whole || this.held.length > 0 || !isLong(this.lows, this.highs);
    const { places, radii } = this.part();
    const long = isLong(this.lows, this.highs) && !this.held.length;
    this.frame({ smooth, ...(long ? along(places, 3, radii, this.wide / this.high, FIELD) : ASLANT) }, this.whole);
    const { yaw, pitch } = this.orbit.goal;
    this.stood = { yaw, pitch };
  }

  /** Frame it again where what is framed, or the frame, is another now; who has not turned it stands anew. */
  again(smooth) {
    const { yaw, pitch } = this.orbit.goal;
    if (this.stood?.yaw === yaw && this.stood.pitch === pitch) this.begin({ whole: this.whole, smooth });
    else this.frame({ smooth }, this.whole);
  }

  /** The bodies that are framed: where they are and how large. */
  part(only = this.whole ? null : nearPart(this.at, 7, this.radii.length, this.lows, this.highs)) {
    const bodies = only ?? Array.from(this.radii, (_, k) => k);
    const places = Float64Array.from({ length: 3 * bodies.length }, (_, n) => this.at[7 * bodies[(n / 3) | 0] + (n % 3)]);
    return { places, radii: bodies.map((body) => this.radii[body]) };
  }

  /** Where to stand to see what is framed, looking so. */
  where({ yaw, pitch }) {
    const { places, radii } = this.part();
    const margin = this.held.length ? MARGINS.held : MARGINS.placed;
    return fitted(places, 3, radii, yaw, pitch, this.wide / this.high || 1, margin);
  }

  /** Note where the piece is, for the camera. */
  bounds() {
    const { at, radii, lows: low, highs: high } = this;
    low.fill(Infinity);
    high.fill(-Infinity);
    for (let k = 0; k < radii.length; k++) {
      for (let axis = 0; axis < 3; axis++) {
        low[axis] = Math.min(low[axis], at[7 * k + axis] - radii[k]);
        high[axis] = Math.max(high[axis], at[7 * k + axis] + radii[k]);
      }
    }
    if (!radii.length) return;
    for (let axis = 0; axis < 3; axis++) this.middle[axis] = 0.5 * (low[axis] + high[axis]);
    this.radius = 0.5 * Math.hypot(high[0] - low[0], high[1] - low[1], high[2] - low[2]);
    this.orbit.least = 0.01 * this.radius;
    this.orbit.most = 40 * this.radius;
  }

  /** The whole piece (or its near part) fills the frame, seen as it is now or from a side. */
  frame({ smooth = true, ...side } = {}, whole = true) {
    if (!this.radii.length || !this.wide) return;
    this.whole = whole;
    const { yaw, pitch } = { ...this.orbit.goal, ...side };
    this.orbit.go({ ...this.where({ yaw, pitch }), yaw, pitch }, !smooth);
    this.orbit.framed = true;
    this.refresh();
  }

  /** Where the camera was framing the piece it goes on doing so; elsewhere it stays, unless the piece is gone. */
  follow() {
    if (!this.radii.length) return;
    const { goal, framed } = this.orbit;
    const where = this.where(goal);
    const away = Math.hypot(goal.x - where.x, goal.y - where.y, goal.z - where.z);
    const grown = where.distance / goal.distance;
    const off = away > 0.08 * goal.distance;
    if (framed ? grown > 1.02 || grown < 0.7 || off : away > 2 * this.radius + goal.distance) this.again(true);
  }

  /** Look at it: "whole", "close", "tightest", or from a side. */
  look(side) {
    if (side === "whole") this.begin({ whole: true, smooth: true });
    else if (side === "close") this.close();
    else if (side === "tightest") this.tightest();
    else if (SIDES[side]) this.frame(SIDES[side]);
  }

  tightest() {
    const { tightest } = this.marks;
    if (!tightest) return;
    const reach = Math.max(...[...tightest.bodies].map((body) => this.radii[body]));
    const [x, y, z] = tightest.place;
    this.near({ x, y, z, distance: (2.6 * reach) / Math.sin(0.5 * FIELD), ...this.clear() });
  }

  /** A few bodies fill the frame: those about the one nearest to what is looked at. */
  close() {
    if (!this.radii.length) return;
    const order = (x, y, z) => {
      const { at } = this;
      const off = Float64Array.from(this.radii, (_, k) => Math.hypot(at[7 * k] - x, at[7 * k + 1] - y, at[7 * k + 2] - z));
      return Array.from(off.keys()).sort((a, b) => off[a] - off[b]);
    };
    const { goal } = this.orbit;
    const [first] = order(goal.x, goal.y, goal.z);
    const few = order(...this.at.subarray(7 * first, 7 * first + 3)).slice(0, CLOSE);
    const way = this.clear();
    const { places, radii } = this.part(few);
    this.near({ ...fitted(places, 3, radii, way.yaw, way.pitch, this.wide / this.high || 1), ...way });
  }

  /** The way looked, unless that is along a long piece: then aslant. */
  clear() {
    const { yaw, pitch } = this.orbit.goal;
    return isLong(this.lows, this.highs) && grazes({ yaw, pitch }) ? ASLANT : { yaw, pitch };
  }

  near(goal) {
    this.orbit.go(goal);
    this.orbit.framed = false;
    this.refresh();
  }
}
