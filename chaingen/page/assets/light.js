// The studio that things are seen in: soft boxes between dark walls, as a cube map blurred for every roughness.
//
// three.js blurs such a map on the graphics card with some twenty passes and shaders of their own. Here the light is
// a formula and its boxes are soft, so a few samples do, and the first picture is there sooner on a slow machine.
//
// Longitude 0 is behind the viewer, positive to the viewer's right, z is up: the studio turns with the viewer, as if
// the piece were turned in the hand.

import { CubeTexture, HalfFloatType, LinearFilter, LinearMipmapLinearFilter, LinearSRGBColorSpace, RGBAFormat } from "./three.js";

const BRIGHTEST = 2.2; // light that the boxes come near to and never pass: above it metal is white without form
const TINT = [0.985, 0.99, 1];
const SIZE = 128; // of a face of the sharpest cube
const SAMPLES = [0, 16, 48, 128, 512]; // for each texel of each level; the roughest also lights what is matt
const BOXES = [
  // longitude, latitude, half widths of both, softness [rad], strength
  [-0.95, 0.5, 0.5, 0.4, 0.16, 2.6],
  [1.35, 0.3, 0.28, 0.6, 0.16, 1.5],
  [0, 1.4, 4, 0.36, 0.25, 1.9],
  [2.7, 0.1, 0.3, 0.8, 0.2, 1.3],
  [-2.5, 0.2, 0.2, 0.7, 0.2, 1.1],
  [0.3, -0.85, 0.8, 0.25, 0.25, 0.6],
];

const clip = (x) => Math.min(1, Math.max(0, x));

/** Light from a direction, a unit vector. */
export function studio(x, y, z) {
  const lat = Math.asin(Math.min(1, Math.max(-1, z)));
  const lon = Math.atan2(x, -y);
  let sum = 0.13 + 0.3 * clip(z) + 0.1 * clip(-z);
  for (const [lon0, lat0, halfLon, halfLat, soft, strength] of BOXES) {
    const turned = Math.abs(lon - lon0);
    const away = Math.min(turned, 2 * Math.PI - turned);
    sum += strength * clip((halfLon - away) / soft + 0.5) * clip((halfLat - Math.abs(lat - lat0)) / soft + 0.5);
  }
  return -BRIGHTEST * Math.expm1(-sum / BRIGHTEST);
}

// Directions of the texels of a cube map by face, as OpenGL has them, s to the right and t down.
const FACES = [
  (s, t) => [1, -t, -s],
  (s, t) => [-1, -t, s],
  (s, t) => [s, 1, t],
  (s, t) => [s, -1, -t],
  (s, t) => [s, -t, 1],
  (s, t) => [-s, -t, -1],
];

function eachTexel(face, size, act) {
  for (let j = 0; j < size; j++) {
    for (let i = 0; i < size; i++) {
      const [x, y, z] = FACES[face]((2 * i + 1) / size - 1, (2 * j + 1) / size - 1);
      const length = Math.hypot(x, y, z);
      act(j * size + i, x / length, y / length, z / length);
    }
  }
}

/** What the sharpest cube has nearest to a direction. */
function seen(faces, x, y, z) {
  const [a, b, c] = [Math.abs(x), Math.abs(y), Math.abs(z)];
  let face, s, t;
  if (a >= b && a >= c) [face, s, t] = x > 0 ? [0, -z / a, -y / a] : [1, z / a, -y / a];
  else if (b >= c) [face, s, t] = y > 0 ? [2, x / b, z / b] : [3, x / b, -z / b];
  else [face, s, t] = z > 0 ? [4, x / c, -y / c] : [5, -x / c, -y / c];
  const i = Math.min(SIZE - 1, Math.floor((0.5 * s + 0.5) * SIZE));
  return faces[face][Math.min(SIZE - 1, Math.floor((0.5 * t + 0.5) * SIZE)) * SIZE + i];
}

/**
 * Directions of light about +z that a surface of this roughness, seen from +z, mirrors to the viewer, with their
 * weights: GGX as in Walter et al. 2007, "Microfacet models for refraction through rough surfaces", section 5.2.
 */
function lobe(roughness, count) {
  const alpha = roughness * roughness;
  const samples = [];
  let total = 0;
  for (let k = 0; k < count; k++) {
    const u = (k + 0.5) / count;
    const turn = 2.399963229728653 * k; // the golden angle
    const cosine = Math.sqrt((1 - u) / (1 + (alpha * alpha - 1) * u));
    const z = 2 * cosine * cosine - 1;
    if (z <= 0) continue;
    const across = Math.sqrt(1 - z * z);
    samples.push([across * Math.cos(turn), across * Math.sin(turn), z]);
    total += z;
  }
  return samples.map(([x, y, z]) => [x, y, z, z / total]);
}

function blurred(sharp, face, size, samples) {
  const out = new Float32Array(size * size);
  eachTexel(face, size, (at, x, y, z) => {
    // A frame about the direction, after Duff et al. 2017, "Building an orthonormal basis, revisited".
    const sign = z >= 0 ? 1 : -1;
    const a = -1 / (sign + z);
    const b = x * y * a;
    const [ux, uy, uz] = [1 + sign * x * x * a, sign * b, -sign * x];
    const [vx, vy, vz] = [b, sign + y * y * a, -y];
    let sum = 0;
    for (const [p, q, r, weight] of samples) {
      sum += weight * seen(sharp, p * ux + q * vx + r * x, p * uy + q * vy + r * y, p * uz + q * vz + r * z);
    }
    out[at] = sum;
  });
  return out;
}

/** Light as half floats, RGBA. Exact enough for numbers from 0.0001 to 60000, which light here is. */
export function halves(light) {
  const out = new Uint16Array(4 * light.length);
  const one = new Float32Array(1);
  const bits = new Uint32Array(one.buffer);
  const half = (value) => {
    one[0] = value;
    return ((bits[0] + 0x1000) >>> 13) - (112 << 10);
  };
  for (let k = 0; k < light.length; k++) {
    for (let part = 0; part < 3; part++) out[4 * k + part] = half(TINT[part] * light[k]);
    out[4 * k + 3] = 0x3c00;
  }
  return out;
}

/** All levels: of each its six faces of light, sharpest first. */
export function levels() {
  const order = [0, 1, 2, 3, 4, 5];
  // The renderer looks cube maps up with x turned round.
  const sharp = order.map((face) => {
    const light = new Float32Array(SIZE * SIZE);
    eachTexel(face, SIZE, (at, x, y, z) => (light[at] = studio(-x, y, z)));
    return light;
  });
  const last = SAMPLES.length - 1;
  return SAMPLES.map((count, level) => {
    if (level === 0) return sharp;
    // Which roughness a level is for is the renderer's choice.
    const samples = lobe(1 - Math.sqrt(1 - level / last), count);
    return order.map((face) => blurred(sharp, face, SIZE >> level, samples));
  });
}

/** The studio as the renderer wants it. */
export function studioLight() {
  const faces = levels().map((level) =>
    level.map((light) => {
      const size = Math.sqrt(light.length);
      return { isDataTexture: true, image: { data: halves(light), width: size, height: size } };
    }),
  );
  const texture = new CubeTexture(faces[0]);
  Object.assign(texture, {
    format: RGBAFormat, type: HalfFloatType, colorSpace: LinearSRGBColorSpace,
    magFilter: LinearFilter, minFilter: LinearMipmapLinearFilter, generateMipmaps: false,
  });
  // The renderer takes the last of these for one that is never looked up.
  texture.mipmaps = [...faces.slice(1), faces.at(-1).map(halved)].map((image) => ({ image, width: SIZE }));
  texture.isPMREMTexture = true; // it is blurred already
  texture.needsUpdate = true;
  return texture;
}

function halved({ image }) {
  const size = image.width >> 1;
  return { isDataTexture: true, image: { data: image.data.slice(0, 4 * size * size), width: size, height: size } };
}
