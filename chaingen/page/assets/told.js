// Waiting for a bench.

/** Waits until the text holds all that was changed; tells whether it does. */
export function told(bench) {
  if (!bench.waiting.length) return Promise.resolve(true);
  if (!bench.working && !bench.quick) bench.check();
  return new Promise((done) => {
    const over = new AbortController();
    const heard = (last) => {
      if (bench.waiting.length && !last) return;
      over.abort();
      done(!bench.waiting.length);
    };
    const { signal } = over;
    for (const what of ["text", "problems"]) bench.addEventListener(what, () => heard(false), { signal });
    for (const what of ["gone", "fault", "cancelled"]) bench.addEventListener(what, () => heard(true), { signal });
  });
}

/** Waits for the full look of the newest text; tells whether it came. */
export function looked(bench) {
  if (bench.problems.length && !bench.working) return Promise.resolve(false);
  if (!bench.shown.quick && bench.shown.number === bench.number && !bench.working) return Promise.resolve(true);
  if (!bench.working) bench.check();
  return new Promise((done) => bench.awaiting.push(done));
}
