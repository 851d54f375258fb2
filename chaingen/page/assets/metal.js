// What things are made of: metal, glass, marked bodies, supports.

import { DoubleSide, MeshPhysicalMaterial, MeshStandardMaterial, SRGBColorSpace } from "./three.js";

const PALER = 0.55; // by eye, between the colour as linear light and as it is written
const GLASS = { roughness: 0.06, ior: 1.9, light: 1.8 }; // by eye: true glass looks dull under soft boxes

// Marked bodies. `mark` of a body: 0 none, 1 runs into another, 2 one of the tightest pair.
// Bodies that collide have bands across the wire, near black on magenta, and no shine: what tells them from metal
// is the pattern and the finish, so it does not need an eye for colour.
const VERTEX_HEAD = `
attribute float mark;
varying float vMark;
varying vec3 vOwn;
varying float vInner;
uniform vec2 stripe;
`;
const VERTEX = `
vMark = mark;
vOwn = position;
vInner = stripe.y > 0.5 ? dot(normal.xy, normalize(position.xy + vec2(1e-9))) : 1.0;
`;
const FRAGMENT_HEAD = `
varying float vMark;
varying vec3 vOwn;
varying float vInner;
uniform vec2 stripe;
uniform float dim;
uniform float ground;
`;
const FRAGMENT = `
// Little light gets to the inside of a ring.
outgoingLight *= mix(0.62, 1.0, smoothstep(-1.0, 0.35, vInner));
if (vMark > 1.5) {
  float edge = 1.0 - saturate(dot(normal, geometryViewDir));
  outgoingLight = mix(outgoingLight, vec3(0.0, 0.16, 0.85), 0.2 + 0.8 * smoothstep(0.45, 0.62, edge));
} else if (vMark > 0.5) {
  float phase = stripe.y > 0.5 ? atan(vOwn.y, vOwn.x) * stripe.x : dot(vOwn, vec3(0.6, 0.5, 0.62)) * stripe.x;
  float wave = sin(phase);
  float soft = clamp(fwidth(wave), 0.02, 1.0);
  float lit = 0.4 + 0.6 * saturate(dot(normal, normalize(vec3(-0.35, 0.55, 0.75))));
  outgoingLight = lit * mix(vec3(0.75, 0.0, 0.28), vec3(0.012, 0.01, 0.014), smoothstep(-soft, soft, wave));
} else {
  float grey = dot(outgoingLight, vec3(0.2126, 0.7152, 0.0722));
  outgoingLight = mix(outgoingLight, vec3(mix(grey, ground, 0.35)), 0.75 * dim);
}
#include <opaque_fragment>
`;

function marked(material, uniforms) {
  material.onBeforeCompile = (shader) => {
    Object.assign(shader.uniforms, uniforms);
    shader.vertexShader = shader.vertexShader
      .replace("#include <common>", `#include <common>\n${VERTEX_HEAD}`)
      .replace("#include <begin_vertex>", `#include <begin_vertex>\n${VERTEX}`);
    shader.fragmentShader = shader.fragmentShader
      .replace("#include <common>", `#include <common>\n${FRAGMENT_HEAD}`)
      .replace("#include <opaque_fragment>", FRAGMENT);
  };
  return material;
}

/**
 * The material of a kind of body.
 * @param spec {name, colour: sRGB, roughness, metallic}
 * @param uniforms {stripe, dim, ground}: bands of this kind; whether others are dimmed and to which grey
 */
export function bodyMaterial(spec, uniforms) {
  const material = spec.metallic
    ? new MeshStandardMaterial({ metalness: 1, roughness: spec.roughness })
    : new MeshPhysicalMaterial({ metalness: 0, roughness: GLASS.roughness, ior: GLASS.ior });
  material.color.setRGB(...spec.colour, SRGBColorSpace);
  if (spec.metallic) {
    // A metal's colour is told as it looks, highlights and all; what it mirrors straight on is that much paler.
    const { color } = material;
    color.setRGB(...["r", "g", "b"].map((part, k) => color[part] + PALER * (spec.colour[k] - color[part])));
  }
  material.userData.light = spec.metallic ? 1 : GLASS.light;
  return marked(material, uniforms);
}

/** Bands of a kind: how dense, in radians of the wave for each radian or mm, and whether they go round z. */
export function stripes(vertices) {
  let least = Infinity;
  let most = 0;
  let high = 0;
  for (let k = 0; k < vertices.length; k += 3) {
    const reach = Math.hypot(vertices[k], vertices[k + 1]);
    least = Math.min(least, reach);
    most = Math.max(most, reach);
    high = Math.max(high, Math.abs(vertices[k + 2]));
  }
  const round = least > 0.2 * most && high < 0.5 * most;
  // A band is about as wide as the wire.
  if (round) return [Math.max(4, Math.round((0.5 * Math.PI * (least + most)) / (0.7 * (most - least)))), 1];
  return [(2 * Math.PI) / (0.12 * Math.max(most, high)), 0];
}

/** Matt, with colours of its vertices; a table fades out where it would run through the frame. */
export function supportMaterial(reach) {
  const material = new MeshStandardMaterial({ vertexColors: true, roughness: 0.9, metalness: 0, side: DoubleSide });
  material.transparent = material.forceSinglePass = reach !== null;
  if (reach !== null) {
    material.onBeforeCompile = (shader) => {
      shader.uniforms.middle = { value: reach.middle };
      shader.uniforms.reach = { value: reach.radius };
      shader.vertexShader = shader.vertexShader
        .replace("#include <common>", "#include <common>\nvarying vec3 vPlace;")
        .replace("#include <begin_vertex>", "#include <begin_vertex>\nvPlace = position;");
      shader.fragmentShader = shader.fragmentShader
        .replace("#include <common>", "#include <common>\nvarying vec3 vPlace;\nuniform vec3 middle;\nuniform float reach;")
        .replace(
          "#include <opaque_fragment>",
          "diffuseColor.a = 1.0 - smoothstep(0.7, 1.35, distance(vPlace, middle) / reach);\n#include <opaque_fragment>",
        );
    };
  }
  return material;
}
