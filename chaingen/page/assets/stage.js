// The one WebGL renderer that all views of the page share, and the clock that they draw by.
//
// Browsers allow few WebGL contexts and each needs the studio's light and the shaders of its own, so a view draws
// here and copies what it drew to its own 2D canvas. Nothing is drawn while nothing changes.

import { NeutralToneMapping, WebGLRenderer } from "./three.js";
import { studioLight } from "./light.js";

/** Thrown where the browser cannot draw in three dimensions at all. */
export class NoWebGL extends Error {
  constructor() {
    super("this browser cannot draw in 3D: WebGL 2 is switched off or missing");
    this.name = "NoWebGL";
  }
}

const SLOW_FRAME = 24; // ms from one frame to the next, above which moving pictures get fewer pixels
const QUICK_FRAME = 17.5; // ms, below which they get more again
const COARSEST = 0.5; // pixels along an edge, as part of all there are

let shared = null;

/** The stage; made when the first view asks for it. */
export function stage() {
  shared ??= new Stage();
  return shared;
}

class Stage {
  constructor() {
    this.canvas = document.createElement("canvas");
    this.canvas.width = this.canvas.height = 16;
    const wanted = { alpha: true, antialias: true, depth: true, stencil: false, powerPreference: "high-performance" };
    const context = this.canvas.getContext("webgl2", wanted);
    if (!context) throw new NoWebGL();
    this.renderer = new WebGLRenderer({ canvas: this.canvas, context, ...wanted });
    this.renderer.setPixelRatio(1);
    this.renderer.setClearColor(0x000000, 0);
    this.renderer.toneMapping = NeutralToneMapping;
    this.renderer.setScissorTest(true);
    this.light = studioLight();
    this.lost = false;
    this.views = new Set();
    this.waiting = new Set();
    this.detail = 1; // of moving pictures: part of the pixels along an edge
    this.asked = 0;
    this.last = 0;
    this.slow = this.quick = 0;
    this.tick = this.tick.bind(this);
    this.canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault(); // else it is never given back
      this.lost = true;
    });
    this.canvas.addEventListener("webglcontextrestored", () => {
      this.lost = false;
      for (const view of this.views) view.refresh();
    });
  }

  join(view) {
    this.views.add(view);
  }

  leave(view) {
    this.views.delete(view);
    this.waiting.delete(view);
  }

  /** Have a view drawn in the next frame. */
  ask(view) {
    this.waiting.add(view);
    if (!this.asked) this.asked = requestAnimationFrame(this.tick);
  }

  tick(now) {
    this.asked = 0;
    const passed = this.last ? now - this.last : 0;
    const views = [...this.waiting];
    this.waiting.clear();
    let moving = false;
    for (const view of views) moving = view.frameAt(Math.min(passed || 16, 300)) || moving;
    // Pauses are no slow frames: only the time from one moving frame to the next is told.
    if (moving && this.last) this.adapt(passed);
    this.last = moving ? now : 0;
  }

  adapt(passed) {
    this.slow = passed > SLOW_FRAME ? this.slow + 1 : 0;
    this.quick = passed < QUICK_FRAME ? this.quick + 1 : 0;
    if (this.slow >= 3) {
      this.detail = Math.max(COARSEST, this.detail * 0.8);
      this.slow = 0;
    } else if (this.quick >= 90) {
      this.detail = Math.min(1, this.detail * 1.25);
      this.quick = 0;
    }
  }

  /**
   * Draw a scene in so many pixels. It lies in the lower left of the canvas until the caller's task ends.
   * @returns {number} how far from the canvas's top it lies, in pixels
   */
  draw(scene, camera, width, height) {
    const { canvas, renderer } = this;
    if (width > canvas.width || height > canvas.height) {
      // It only grows: to make a drawing buffer anew takes longer than a frame.
      renderer.setSize(Math.max(width, canvas.width), Math.max(height, canvas.height), false);
    }
    renderer.setViewport(0, 0, width, height);
    renderer.setScissor(0, 0, width, height);
    renderer.render(scene, camera);
    return canvas.height - height;
  }
}
