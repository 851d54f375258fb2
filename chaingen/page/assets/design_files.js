// What files are: told from their bytes and keys, and what a design is saved as.

export const LARGEST = 200_000; // [characters] of a file beside the design, more than the program reads

/** Bytes as text; null where they are none. */
export function plain(bytes) {
  try {
    const text = new TextDecoder("utf-8", { fatal: true }).decode(bytes);
    return text.includes("\0") ? null : text;
  } catch {
    return null;
  }
}

/** What a file is, by the keys that only such files have; designs may be unfinished. Null where it is none of them. */
export function kindOf(text) {
  if (/^\s*(\[+\s*)?(pattern|sections)\b/m.test(text)) return "a design";
  if (/^\s*(repeats|links)\s*=/m.test(text)) return "a weave";
  if (/^\s*(\[\s*rings\b|title\s*=)/m.test(text)) return "a design";
  return /^\s*\[+\s*\w+|^\s*\w+\s*=/m.test(text) ? "a settings file" : null;
}

/** What a design is saved as. */
export function fileName(title) {
  const plain = (title ?? "")
    .normalize("NFKD")
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, "-")
    .replace(/^-+|-+$/g, "");
  return `${plain.slice(0, 60) || "design"}.toml`;
}
