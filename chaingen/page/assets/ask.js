// Asking the server: one session a tab, plain answers, and answers that come line by line.

import { sentence } from "/assets/units.js";

let session = null;
let opening = null; // a session that is being opened anew
const beside = new Map(); // files put beside the design, by name: a new session has none of them

/** The server is not there any more. */
export class Gone extends Error {}

/** The server refused: `problems` say why. */
export class Refused extends Error {
  constructor(status, problems) {
    super(problems.map((one) => one.expected ?? one.where).join("; "));
    this.status = status;
    this.problems = problems;
  }
}

async function send(path, body, signal, own = session, keepalive = false) {
  const headers = { "Content-Type": "application/json" };
  if (own) headers["X-Session"] = own;
  let answer;
  try {
    answer = await fetch(path, { method: "POST", headers, body: JSON.stringify(body), signal, keepalive });
  } catch (fault) {
    if (fault.name === "AbortError") throw fault;
    throw new Gone("the server does not answer");
  }
  if (answer.ok) return answer;
  let problems;
  try {
    problems = (await answer.json()).problems;
  } catch {
    problems = null;
  }
  throw new Refused(answer.status, problems ?? [{ where: path, got: String(answer.status), expected: "an answer" }]);
}

/** Opens a session, with the files beside the design that the one before had; what the server says of itself. */
export async function opened() {
  const said = await (await send("/api/session", {}, null, null)).json();
  for (const one of beside.values()) await (await send("/api/beside", one, null, said.session)).json();
  session = said.session;
  return said;
}

/** The page is left: the server need keep nothing of it any more. */
export function left() {
  if (session) send("/api/end", {}, null, session, true).catch(() => {});
}

async function inSession(path, body, signal) {
  const held = session;
  try {
    return await send(path, body, signal);
  } catch (fault) {
    // A session that the server has let go: a new one, once, for all who find it so at the same time.
    const lost = fault instanceof Refused && fault.problems.some((one) => /session/i.test(one.where ?? ""));
    if (!lost) throw fault;
    if (session === held) {
      opening ??= opened().finally(() => {
        opening = null;
      });
      await opening;
    }
    return send(path, body, signal);
  }
}

/** Puts a file {name, text} beside the design. */
export async function putBeside(file) {
  const said = await asked("/api/beside", file);
  if (said.problems) throw new Refused(200, said.problems);
  beside.set(file.name, file);
}

/** An answer of one object. */
export async function asked(path, body, signal) {
  return (await inSession(path, body, signal)).json();
}

/**
 * An answer of many lines: `told` hears every one but the last, which is returned.
 */
export async function streamed(path, body, told, signal) {
  const answer = await inSession(path, body, signal);
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let held = [];
  let last = null;
  const line = (text) => {
    if (!text.trim()) return;
    if (last) told(last);
    last = JSON.parse(text);
    if (passing(last)) {
      told(last);
      last = null;
    }
  };
  try {
    for (;;) {
      const { done, value } = await reader.read();
      if (done) break;
      const parts = value.split("\n");
      // A long line comes in many parts: they are joined once.
      held.push(parts[0]);
      for (const part of parts.slice(1)) {
        line(held.join(""));
        held = [part];
      }
    }
    line(held.join(""));
  } catch (fault) {
    if (fault.name === "AbortError" || fault instanceof SyntaxError) throw fault;
    throw new Gone("the answer broke off");
  }
  if (!last) throw new Gone("the answer broke off");
  return last;
}

/**
 * Why an answer has not what was asked, as [lines, whether nothing is wrong]: the maker may have asked for something
 * newer.
 */
export function whyNot(said, what) {
  if (said.problems) return [said.problems.map(sentence), false];
  if (isReplaced(said)) return [[`${what}: something newer was asked for meanwhile.`], true];
  return [[said.fault ?? `${what}: ${said.stopped}.`], false];
}

/** Whether an answer was given up for something newer. */
export const isReplaced = (said) => /\breplaced\b/.test(said.stopped ?? "");

const LAST = ["look", "rest", "files", "problems", "stopped", "fault"];
const passing = (said) => !LAST.some((key) => key in said);
