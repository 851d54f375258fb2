// Where to stand to see a piece at its best. A chain seen from the side is a thin line in a wide frame: a long piece
// is seen along its length instead, its near rings large, its far end still in the frame.

import { fitted } from "./controls3d.js";

export const ASLANT = { yaw: 0.6, pitch: 0.5 }; // how all else is seen
const LONG = 6; // times as long as thick, from which a piece is a long one
const MOST = 40; // times as long as thick: of a longer piece the near part fills the frame
const GRAZING = 0.24; // [rad] between the way looked and the piece at its far end, at least: below, rings hide each other
const YAWS = [0.6, 0.75, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4];
const PITCHES = [0.2, 0.3, 0.4, 0.5, 0.6, 0.75, 0.9];
const CELLS = 40; // across the frame, to see how much of it is filled

/** Whether a piece lies along x and is long; lows and highs of it [mm]. */
export function isLong(low, high) {
  const [x, y, z] = [0, 1, 2].map((axis) => high[axis] - low[axis]);
  return x > LONG * Math.max(y, z);
}

/** The bodies of a long piece at its near end, at +x, that one sees at a glance: all of them unless it is very long. */
export function nearPart(places, stride, count, low, high) {
  const least = high[0] - MOST * Math.max(high[1] - low[1], high[2] - low[2]);
  return Array.from({ length: count }, (_, k) => k).filter((k) => places[stride * k] >= least);
}

/** Whether a piece along x is looked at so nearly along its length that near rings hide others in a close view. */
export function grazes({ yaw, pitch }) {
  return Math.abs(Math.sin(yaw) * Math.cos(pitch)) > 0.7;
}

/**
 * The way to look at a long piece: of some ways that show all of it, the one where it fills most of the frame.
 * @param places x, y, z of bodies
 * @param stride numbers from one place to the next
 * @param radii of each
 * @returns {yaw, pitch}
 */
export function along(places, stride, radii, aspect, field) {
  let best = ASLANT;
  let most = -1;
  for (const yaw of YAWS) {
    for (const pitch of PITCHES) {
      const eye = fitted(places, stride, radii, yaw, pitch, aspect);
      const filled = filling(places, stride, radii, { ...eye, yaw, pitch }, aspect, field);
      if (filled > most) [best, most] = [{ yaw, pitch }, filled];
    }
  }
  return best;
}

/** How many cells of the frame a piece fills; -1 where its far end is looked along. */
function filling(places, stride, radii, { x, y, z, yaw, pitch, distance }, aspect, field) {
  const [s, c, u, v] = [Math.sin(yaw), Math.cos(yaw), Math.sin(pitch), Math.cos(pitch)];
  const scale = 1 / Math.tan(0.5 * field);
  const cells = new Uint8Array(CELLS * CELLS);
  let far = 0;
  let graze = 0;
  for (let k = 0; k < radii.length; k++) {
    const [a, b, d] = [places[stride * k] - x, places[stride * k + 1] - y, places[stride * k + 2] - z];
    const away = distance - (a * v * s - b * v * c + d * u);
    const right = a * c + b * s;
    const up = -a * u * s + b * u * c + d * v;
    const length = Math.hypot(right, up, away);
    if (away > far) {
      far = away;
      // The line of sight has cosine `along` with x.
      graze = Math.acos(Math.min(1, Math.abs(right * c - up * u * s - away * v * s) / length));
    }
    const [px, py] = [(right * scale) / (away * aspect), (up * scale) / away];
    // Rings are seldom seen face on.
    const reach = (0.7 * radii[k] * scale) / away;
    const cell = (value) => Math.min(CELLS - 1, Math.max(0, Math.floor((0.5 + 0.5 * value) * CELLS)));
    for (let j = cell(py - reach); j <= cell(py + reach); j++) {
      for (let i = cell(px - reach / aspect); i <= cell(px + reach / aspect); i++) cells[CELLS * j + i] = 1;
    }
  }
  return graze < GRAZING ? -1 : cells.reduce((sum, one) => sum + one, 0);
}
