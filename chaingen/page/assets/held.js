// What holds a piece: a table, pegs, a forearm, a bust. Matt surfaces, their shade sent with them.

import { BufferAttribute, BufferGeometry, Mesh } from "./three.js";
import { supportMaterial } from "./metal.js";
import { bytes, floats, whole } from "./numbers.js";

// Light that supports give back for what their colour says: factor and power. By dark nothing glares or is lost.
const TONE = { light: [0.8, 1], dark: [0.2, 0.45] };
const FADES = 1.4; // radii of the piece, where a table fades out

const linear = (c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);

export class Support {
  /** @param support as it is sent; `middle` and `radius` of the piece that it holds [mm] */
  constructor(support, middle, radius, theme) {
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(floats(support.vertices), 3));
    geometry.setAttribute("normal", new BufferAttribute(floats(support.normals), 3));
    this.colours = bytes(support.colours);
    geometry.setAttribute("color", new BufferAttribute(new Float32Array(this.colours.length), 3));
    geometry.setIndex(new BufferAttribute(whole(support.faces), 1));
    const fades = support.kind === "plane" ? { middle: [...middle], radius: FADES * radius } : null;
    this.material = supportMaterial(fades);
    this.mesh = new Mesh(geometry, this.material);
    this.mesh.frustumCulled = false;
    this.mesh.matrixAutoUpdate = false;
    this.tone(theme);
  }

  /** Give it its colours for the light there is. */
  tone(theme) {
    const [factor, power] = TONE[theme];
    const attribute = this.mesh.geometry.getAttribute("color");
    // They are sent in sRGB and lit in linear light.
    const lit = Float32Array.from({ length: 256 }, (_, value) => factor * linear(value / 255) ** power);
    this.colours.forEach((value, k) => (attribute.array[k] = lit[value]));
    attribute.needsUpdate = true;
  }

  dispose() {
    this.mesh.geometry.dispose();
    this.material.dispose();
  }
}
