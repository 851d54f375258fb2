// A view of a piece: what `show`, `mark`, `poses` and `supports` set, seen by a camera that gestures and keys move.
//
// Lengths are mm, z is up. The clock and the renderer are the stage's; see stage.js.

import { PerspectiveCamera, Scene } from "./three.js";
import { FIELD, Gestures, Orbit } from "./controls3d.js";
import { Framing } from "./framing.js";
import { Support } from "./held.js";
import { KindShown } from "./kinds.js";
import { Labels, labelsOf } from "./marks.js";
import { floats, whole } from "./numbers.js";
import { NoWebGL, stage } from "./stage.js";

export { NoWebGL };

const SHARPEST = 2; // pixels of the picture for one of CSS
const BACKS = { light: ["#fbfbfa", "#e3e5e8"], dark: ["#2a2e35", "#14161a"] };
const LIGHT = { light: 1, dark: 0.85 }; // of the studio

export class View extends Framing {
  /**
   * @param {HTMLCanvasElement} canvas of any size; CSS says it
   * @param {HTMLElement} labels an element over the canvas
   * @throws {NoWebGL}
   */
  constructor(canvas, labels, { dark = false, still = false } = {}) {
    super(new Orbit(still));
    this.stage = stage();
    this.canvas = canvas;
    this.paper = canvas.getContext("2d", { alpha: false });
    this.scene = new Scene();
    this.camera = new PerspectiveCamera((180 / Math.PI) * FIELD, 1, 1, 1000);
    this.camera.matrixAutoUpdate = false;
    this.gestures = new Gestures(canvas, this.orbit, { changed: () => this.refresh(), frame: () => this.frame() });
    this.labels = new Labels(labels);
    this.shared = { dim: { value: 0 }, ground: { value: 0.7 } };
    this.kinds = [];
    this.names = [];
    this.settling = false;
    this.moving = false;
    this.told = { calls: 0, triangles: 0, frameMs: 0 };
    this.stage.join(this);
    this.sized = new ResizeObserver(() => this.resize());
    this.sized.observe(canvas);
    this.resize();
    this.dark(dark);
  }

  dispose() {
    this.sized.disconnect();
    this.gestures.dispose();
    this.labels.clear();
    for (const kind of this.kinds) kind.dispose();
    this.supports(null);
    this.stage.leave(this);
  }

  resize() {
    const { clientWidth: wide, clientHeight: high } = this.canvas;
    if (!wide || !high) return;
    const ratio = Math.min(window.devicePixelRatio || 1, SHARPEST);
    const size = [Math.round(wide * ratio), Math.round(high * ratio)];
    const other = wide !== this.wide || high !== this.high;
    [this.wide, this.high] = [wide, high];
    if (this.canvas.width !== size[0] || this.canvas.height !== size[1]) {
      [this.canvas.width, this.canvas.height] = size;
    }
    if (other && this.radii.length) {
      if (!this.begun) this.begin();
      else if (this.orbit.framed) this.again(false);
    }
    // A canvas is blank after its size was set: it is drawn before the browser shows that.
    if (this.radii.length) this.drawNow();
    else this.refresh();
  }

  dark(dark) {
    this.theme = dark ? "dark" : "light";
    this.shared.ground.value = dark ? 0.03 : 0.75;
    this.labels.setDark(dark);
    for (const support of this.held) support.tone(this.theme);
    this.refresh();
  }

  /** Show a piece; see the page's protocol for what it is. The camera stays unless the piece outgrew its frame. */
  show(piece, { keepCamera = false } = {}) {
    const first = !this.radii.length;
    const before = this.kinds;
    this.kinds = piece.kinds.map((kind) => {
      const spec = piece.materials[kind.material];
      const k = before.findIndex((one) => one?.like(kind, spec));
      if (k < 0) {
        const made = new KindShown(kind, spec, this.shared);
        this.scene.add(made.mesh);
        return made;
      }
      const [kept] = before.splice(k, 1);
      const old = kept.mesh;
      if (kept.hold(whole(kind.bodies))) {
        this.scene.remove(old);
        this.scene.add(kept.mesh);
      }
      return kept;
    });
    for (const kind of before) {
      this.scene.remove(kind.mesh);
      kind.dispose();
    }
    this.names = piece.names;
    this.at = floats(piece.poses);
    this.radii = new Float32Array(this.at.length / 7);
    for (const kind of this.kinds) {
      for (const body of kind.bodies) this.radii[body] = Math.max(this.radii[body], kind.reach);
    }
    this.bounds();
    this.settling = false;
    for (const kind of this.kinds) kind.pose(this.at);
    this.setMarks({});
    if (first || !keepCamera) this.begin();
    else this.follow();
    this.refresh();
  }

  /** Mark bodies that run into others, and the tightest pair. */
  mark(marks) {
    this.setMarks(marks);
    this.refresh();
  }

  setMarks({ collided = [], collisions = [], tightest = null }) {
    this.marks = { collided, collisions, tightest };
    const each = new Float32Array(this.radii.length);
    for (const body of tightest?.bodies ?? []) each[body] = 2;
    for (const body of collided) each[body] = 1;
    this.shared.dim.value = collided.length ? 1 : 0;
    for (const kind of this.kinds) kind.mark(each);
    this.labels.set(labelsOf(this.marks, this.names, this.radii));
  }

  /** New poses of all bodies, 7 numbers each, while a piece settles. */
  poses(poses) {
    this.at = poses;
    this.settling = true;
    this.labels.hide();
    for (const kind of this.kinds) kind.pose(poses);
    this.bounds();
    this.follow();
    this.refresh();
  }

  /** What holds the piece, or null for nothing. */
  supports(list) {
    for (const old of this.held) {
      this.scene.remove(old.mesh);
      old.dispose();
    }
    this.held = (list ?? []).map((one) => new Support(one, this.middle, this.radius, this.theme));
    for (const { mesh } of this.held) this.scene.add(mesh);
    this.refresh();
  }

  turn(right, down) {
    this.orbit.turn(right, down);
    this.refresh();
  }

  zoom(factor) {
    this.orbit.zoom(factor);
    this.refresh();
  }

  pan(dx, dy) {
    this.orbit.pan(dx, dy, this.high || 1);
    this.refresh();
  }

  refresh() {
    this.stage.ask(this);
  }

  /** A frame of the stage's clock; tells whether another must follow. */
  frameAt(ms) {
    const more = this.orbit.step(ms);
    this.drawNow(more ? this.stage.detail : 1);
    if (more) this.refresh();
    return more;
  }

  /** Draw now, with a part of the pixels there are. */
  drawNow(detail = 1) {
    const { width, height } = this.canvas;
    if (!this.wide || !width || this.stage.lost) return;
    const began = performance.now();
    this.drawTo(this.paper, width, height, detail);
    if (!this.settling) this.labels.update(this.camera, this.at, this.radii, this.wide, this.high);
    const { calls, triangles } = this.stage.renderer.info.render;
    this.told = { calls, triangles, frameMs: performance.now() - began };
  }

  drawTo(paper, width, height, detail) {
    const { camera, stage: on } = this;
    const light = LIGHT[this.theme];
    for (const { material } of [...this.kinds, ...this.held]) {
      material.envMap = on.light;
      material.envMapIntensity = light * (material.userData.light ?? 1);
      // The studio turns with the viewer.
      material.envMapRotation.z = this.orbit.now.yaw;
    }
    camera.aspect = width / height;
    this.orbit.apply(camera, this.middle, this.radius);
    const [w, h] = [Math.max(1, Math.round(detail * width)), Math.max(1, Math.round(detail * height))];
    const top = on.draw(this.scene, camera, w, h);
    const back = paper.createLinearGradient(0, 0, 0, height);
    BACKS[this.theme].forEach((colour, k) => back.addColorStop(k, colour));
    paper.fillStyle = back;
    paper.fillRect(0, 0, width, height);
    paper.drawImage(on.canvas, 0, top, w, h, 0, 0, width, height);
  }

  /** Of the last frame: draw calls, triangles, and how long JavaScript took for it [ms]. */
  stats() {
    return { ...this.told };
  }

  /** The picture as it stands, without labels, as a PNG. */
  async picture(width, height) {
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = [width, height];
    this.drawTo(canvas.getContext("2d", { alpha: false }), width, height, 1);
    return new Promise((done) => canvas.toBlob(done, "image/png"));
  }
}
