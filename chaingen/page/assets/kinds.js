// A kind of body in the scene: one instanced mesh, which is one draw call however many bodies there are.

import { BufferAttribute, BufferGeometry, DynamicDrawUsage, InstancedBufferAttribute, InstancedMesh } from "./three.js";
import { bodyMaterial, stripes } from "./metal.js";
import { floats, whole } from "./numbers.js";

export class KindShown {
  constructor(kind, spec, shared) {
    this.geometry = new BufferGeometry();
    const vertices = floats(kind.vertices);
    this.geometry.setAttribute("position", new BufferAttribute(vertices, 3));
    this.geometry.setAttribute("normal", new BufferAttribute(floats(kind.normals), 3));
    this.geometry.setIndex(new BufferAttribute(whole(kind.faces), 1));
    this.told = kind;
    this.spec = JSON.stringify(spec);
    this.material = bodyMaterial(spec, { ...shared, stripe: { value: stripes(vertices) } });
    this.reach = 0;
    for (let k = 0; k < vertices.length; k += 3) {
      this.reach = Math.max(this.reach, Math.hypot(vertices[k], vertices[k + 1], vertices[k + 2]));
    }
    this.mesh = null;
    this.room = 0;
    this.hold(whole(kind.bodies));
  }

  /** Whether another look's kind has the same mesh and material, so that only its bodies need be set. */
  like(kind, spec) {
    const own = this.told;
    return (
      own.vertices === kind.vertices && own.normals === kind.normals && own.faces === kind.faces &&
      this.spec === JSON.stringify(spec)
    );
  }

  /** Say which bodies are of this kind. Returns whether the mesh in the scene is another one now. */
  hold(bodies) {
    this.bodies = bodies;
    const anew = bodies.length > this.room;
    if (anew) {
      this.mesh?.dispose();
      this.room = Math.ceil(1.3 * bodies.length);
      this.mesh = new InstancedMesh(this.geometry, this.material, this.room);
      this.mesh.instanceMatrix.setUsage(DynamicDrawUsage);
      this.mesh.frustumCulled = false;
      this.mesh.matrixAutoUpdate = false;
      this.geometry.setAttribute("mark", new InstancedBufferAttribute(new Float32Array(this.room), 1));
    }
    this.mesh.count = bodies.length;
    return anew;
  }

  /** Put its bodies where a whole piece's poses say, 7 numbers a body: place [mm] and quaternion x, y, z, w. */
  pose(poses) {
    const into = this.mesh.instanceMatrix.array;
    const { bodies } = this;
    for (let k = 0; k < bodies.length; k++) {
      const from = 7 * bodies[k];
      const to = 16 * k;
      const x = poses[from + 3];
      const y = poses[from + 4];
      const z = poses[from + 5];
      const w = poses[from + 6];
      into[to] = 1 - 2 * (y * y + z * z);
      into[to + 1] = 2 * (x * y + z * w);
      into[to + 2] = 2 * (x * z - y * w);
      into[to + 4] = 2 * (x * y - z * w);
      into[to + 5] = 1 - 2 * (x * x + z * z);
      into[to + 6] = 2 * (y * z + x * w);
      into[to + 8] = 2 * (x * z + y * w);
      into[to + 9] = 2 * (y * z - x * w);
      into[to + 10] = 1 - 2 * (x * x + y * y);
      into[to + 12] = poses[from];
      into[to + 13] = poses[from + 1];
      into[to + 14] = poses[from + 2];
      into[to + 15] = 1;
    }
    this.mesh.instanceMatrix.needsUpdate = true;
  }

  /** Set the marks of its bodies from those of all. */
  mark(marks) {
    const attribute = this.geometry.getAttribute("mark");
    for (let k = 0; k < this.bodies.length; k++) attribute.array[k] = marks[this.bodies[k]];
    attribute.needsUpdate = true;
  }

  dispose() {
    this.mesh.dispose();
    this.geometry.dispose();
    this.material.dispose();
  }
}
