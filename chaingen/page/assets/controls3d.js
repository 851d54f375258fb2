// The camera and what moves it: it goes round a target, z is up.
//
// `yaw` 0 looks along +y with x to the right, and grows as the viewer walks to the right; `pitch` is how far the
// viewer looks down [rad]. Every gesture moves the goal, and the camera follows it: that is all the damping.

const STEEPEST = 0.5 * Math.PI;
const FOLLOW = 55; // ms: the camera goes 1 - 1/e of its way to the goal in this time
const FOLLOW_FAR = 160; // the same when the page moves it, as in framing
const TURN = 0.0075; // rad a pixel
export const FIELD = (28 * Math.PI) / 180; // of view, upright

export class Orbit {
  constructor(still) {
    this.still = still;
    this.now = { x: 0, y: 0, z: 0, yaw: 0.6, pitch: 0.5, distance: 100 };
    this.goal = { ...this.now };
    this.least = 1;
    this.most = 1e4;
    this.framed = true; // until somebody zooms or pans
    this.pace = FOLLOW;
  }

  turn(right, down) {
    this.goal.yaw += right;
    this.goal.pitch = Math.min(STEEPEST, Math.max(-STEEPEST, this.goal.pitch + down));
    this.pace = FOLLOW;
  }

  /** Nearer by a factor, so that what lies (x, y) frame halves off the middle of a frame stays where it is. */
  zoom(factor, x = 0, y = 0, aspect = 1) {
    const before = this.goal.distance;
    const after = Math.min(this.most, Math.max(this.least, before / factor));
    const shift = (before - after) * Math.tan(0.5 * FIELD);
    this.goal.distance = after;
    this.shift(x * aspect * shift, y * shift);
  }

  /** Moves the target along the frame [mm]. */
  shift(right, up) {
    const { yaw, pitch } = this.goal;
    const [s, c] = [Math.sin(yaw), Math.cos(yaw)];
    this.goal.x += right * c - up * Math.sin(pitch) * s;
    this.goal.y += right * s + up * Math.sin(pitch) * c;
    this.goal.z += up * Math.cos(pitch);
    this.framed = false;
    this.pace = FOLLOW;
  }

  /** Pulls the piece along by pixels of a frame so high. */
  pan(dx, dy, height) {
    const size = (2 * this.goal.distance * Math.tan(0.5 * FIELD)) / height;
    this.shift(-dx * size, dy * size);
  }

  /** Go somewhere; at once when nothing is shown yet. */
  go(goal, at_once) {
    Object.assign(this.goal, goal);
    if (goal.yaw !== undefined) {
      // The short way round.
      const turns = Math.round((this.now.yaw - this.goal.yaw) / (2 * Math.PI));
      this.goal.yaw += 2 * Math.PI * turns;
    }
    this.pace = FOLLOW_FAR;
    if (at_once || this.still) Object.assign(this.now, this.goal);
  }

  /** Follow the goal; tells whether there is more to go. */
  step(ms) {
    const { now, goal } = this;
    const part = this.still ? 1 : 1 - Math.exp(-ms / this.pace);
    const size = goal.distance;
    const rest =
      Math.abs(goal.yaw - now.yaw) + Math.abs(goal.pitch - now.pitch) + Math.abs(Math.log(goal.distance / now.distance)) +
      (Math.abs(goal.x - now.x) + Math.abs(goal.y - now.y) + Math.abs(goal.z - now.z)) / size;
    if (rest < 2e-4) {
      Object.assign(now, goal);
      return false;
    }
    for (const key of ["x", "y", "z", "yaw", "pitch"]) now[key] += part * (goal[key] - now[key]);
    now.distance *= (goal.distance / now.distance) ** part;
    return true;
  }

  /** Set a three.js camera, its near and far planes about a piece of this radius round its middle. */
  apply(camera, middle, radius) {
    const { x, y, z, yaw, pitch, distance } = this.now;
    const [s, c, u, v] = [Math.sin(yaw), Math.cos(yaw), Math.sin(pitch), Math.cos(pitch)];
    // Columns: right, up, back.
    const back = [v * s, -v * c, u];
    camera.matrix.set(
      c, -u * s, back[0], x + distance * back[0],
      s, u * c, back[1], y + distance * back[1],
      0, v, back[2], z + distance * back[2],
      0, 0, 0, 1,
    );
    camera.matrixWorldNeedsUpdate = true;
    const away = distance + (x - middle[0]) * back[0] + (y - middle[1]) * back[1] + (z - middle[2]) * back[2];
    camera.near = Math.max(0.02 * distance, away - 1.5 * radius);
    camera.far = Math.max(camera.near * 1.5, away + 40 * radius);
    camera.updateProjectionMatrix();
  }
}

/**
 * Where to stand to see spheres whole, looking as `yaw` and `pitch` say.
 * @param places x, y, z of each
 * @param stride numbers from one place to the next
 * @param radii of each
 * @returns {x, y, z, distance}
 */
export function fitted(places, stride, radii, yaw, pitch, aspect, margin = 1.06) {
  const [s, c, u, v] = [Math.sin(yaw), Math.cos(yaw), Math.sin(pitch), Math.cos(pitch)];
  const axes = [[c, s, 0], [-u * s, u * c, v], [v * s, -v * c, u]];
  const along = (k, a) => places[stride * k] * a[0] + places[stride * k + 1] * a[1] + places[stride * k + 2] * a[2];
  // A sphere is inside a side of the view's pyramid where d - back >= radius / sin(half) + (off - middle) / tan(half):
  // each side is nearest to one of them. Opposite sides give the middle, and the wider of both ways the distance.
  const halves = [Math.atan(Math.tan(0.5 * FIELD) * aspect), 0.5 * FIELD];
  const middle = [0, 0, 0];
  let distance = 0;
  for (let axis = 0; axis < 2; axis++) {
    const [sine, tangent] = [Math.sin(halves[axis]), Math.tan(halves[axis])];
    let above = -Infinity;
    let below = -Infinity;
    for (let k = 0; k < radii.length; k++) {
      const off = along(k, axes[axis]);
      const room = (margin * radii[k]) / sine + along(k, axes[2]);
      above = Math.max(above, room + (margin * off) / tangent);
      below = Math.max(below, room - (margin * off) / tangent);
    }
    middle[axis] = (0.5 * (above - below) * tangent) / margin;
    distance = Math.max(distance, 0.5 * (above + below));
  }
  // The target lies in the piece's middle in depth, so that it is turned about that.
  let [near, far] = [-Infinity, Infinity];
  for (let k = 0; k < radii.length; k++) {
    near = Math.max(near, along(k, axes[2]) + radii[k]);
    far = Math.min(far, along(k, axes[2]) - radii[k]);
  }
  middle[2] = 0.5 * (near + far);
  const place = [0, 1, 2].map((n) => middle[0] * axes[0][n] + middle[1] * axes[1][n] + middle[2] * axes[2][n]);
  return { x: place[0], y: place[1], z: place[2], distance: distance - middle[2] };
}

/**
 * Fingers, mouse and wheel on a canvas. One finger or the left button turns, two fingers or the right button (or
 * shift) pan, pinch and wheel zoom, a double click or tap frames.
 */
export class Gestures {
  constructor(canvas, orbit, { changed, frame }) {
    this.canvas = canvas;
    this.orbit = orbit;
    this.changed = changed;
    this.frame = frame;
    this.fingers = new Map();
    this.tapped = { time: -1e9, x: 0, y: 0 };
    canvas.style.touchAction = "none"; // the page scrolls by everything that is not the canvas
    this.stop = new AbortController();
    const on = (name, act, more) => canvas.addEventListener(name, act, { signal: this.stop.signal, ...more });
    on("pointerdown", (event) => this.down(event));
    on("pointermove", (event) => this.move(event));
    on("pointerup", (event) => this.up(event));
    on("pointercancel", (event) => this.fingers.delete(event.pointerId));
    on("contextmenu", (event) => event.preventDefault());
    on("dblclick", () => this.frame());
    on("wheel", (event) => this.wheel(event), { passive: false });
  }

  dispose() {
    this.stop.abort();
  }

  down(event) {
    if (this.fingers.size >= 2) return;
    this.canvas.setPointerCapture(event.pointerId);
    const pans = event.button === 2 || event.button === 1 || event.shiftKey;
    this.fingers.set(event.pointerId, { x: event.clientX, y: event.clientY, pans, moved: 0 });
    if (event.button === 1) event.preventDefault();
  }

  move(event) {
    const finger = this.fingers.get(event.pointerId);
    if (!finger) return;
    const [dx, dy] = [event.clientX - finger.x, event.clientY - finger.y];
    const other = [...this.fingers.values()].find((one) => one !== finger);
    if (other) {
      const before = Math.hypot(finger.x - other.x, finger.y - other.y);
      const after = Math.hypot(event.clientX - other.x, event.clientY - other.y);
      const [x, y, aspect] = this.within(0.5 * (event.clientX + other.x), 0.5 * (event.clientY + other.y));
      this.orbit.zoom(Math.max(after, 8) / Math.max(before, 8), x, y, aspect);
      // Their middle goes half as far as the one that moved.
      this.orbit.pan(0.5 * dx, 0.5 * dy, this.canvas.clientHeight);
    } else if (finger.pans) {
      this.orbit.pan(dx, dy, this.canvas.clientHeight);
    } else {
      this.orbit.turn(-TURN * dx, TURN * dy);
    }
    finger.x = event.clientX;
    finger.y = event.clientY;
    finger.moved += Math.abs(dx) + Math.abs(dy);
    this.changed();
  }

  up(event) {
    const finger = this.fingers.get(event.pointerId);
    this.fingers.delete(event.pointerId);
    if (!finger || event.pointerType !== "touch" || finger.moved > 12) return;
    const { clientX: x, clientY: y, timeStamp: time } = event;
    const near = Math.hypot(x - this.tapped.x, y - this.tapped.y) < 30;
    if (near && time - this.tapped.time < 320) this.frame();
    this.tapped = { time, x, y };
  }

  wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 18 : 1;
    const delta = Math.max(-240, Math.min(240, event.deltaY * lines * (event.ctrlKey ? 6 : 1)));
    this.orbit.zoom(Math.exp(-0.0016 * delta), ...this.within(event.clientX, event.clientY));
    this.changed();
  }

  /** A place of the window in halves of the frame from its middle, right and up, and the frame's aspect. */
  within(clientX, clientY) {
    const box = this.canvas.getBoundingClientRect();
    const x = (2 * (clientX - box.left)) / box.width - 1;
    return [x, 1 - (2 * (clientY - box.top)) / box.height, box.width / box.height];
  }
}
