// Arrays of numbers as they are sent: base64 of little-endian bytes.

export function bytes(b64) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(b64);
  const text = atob(b64);
  const out = new Uint8Array(text.length);
  for (let k = 0; k < text.length; k++) out[k] = text.charCodeAt(k);
  return out;
}

/** A Float32Array. */
export function floats(b64) {
  return new Float32Array(bytes(b64).buffer);
}

/** A Uint32Array. */
export function whole(b64) {
  return new Uint32Array(bytes(b64).buffer);
}
