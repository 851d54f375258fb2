// Bundles three.js into ../assets/three.js, minified, its licence in the first line. See README.md.
import { copyFileSync, readFileSync, statSync } from "node:fs";
import { gzipSync } from "node:zlib";
import { build } from "esbuild";

const { version } = JSON.parse(readFileSync("node_modules/three/package.json", "utf8"));
const licence = readFileSync("node_modules/three/LICENSE", "utf8");
const holder = licence.match(/^Copyright.*$/m)[0];
const out = "../assets/three.js";
await build({
  entryPoints: ["entry.js"],
  outfile: out,
  bundle: true,
  minify: true,
  format: "esm",
  target: "es2022",
  legalComments: "none",
  banner: { js: `/*! three.js ${version} | ${holder} | SPDX-License-Identifier: MIT */` },
});
copyFileSync("node_modules/three/LICENSE", "LICENSE-three.txt");
console.log(`three.js ${version}: ${statSync(out).size} bytes, ${gzipSync(readFileSync(out), { level: 9 }).length} in gzip`);
