// The page: puts its parts together and passes on what is told.
//
// Ids for tests: #choose #undo #redo #open #open-files #save #theme #title, #view, #headline #binding #show-tightest
// #facts (#fact-gap #fact-rings #fact-weight #fact-length #fact-size), #problems #nearest #cautions #verdict-lines,
// #busy #cancel #coming #glance, #metal #size-name, #end-start #end-end, #pair #service #ease, #keep #compare-open #compare-list,
// #rest-words #rest-again #rest-back #rest-moment #rest-cancel, #make-files #files-zip #files-list #files-cancel,
// #design-text #text-wrong, #choose-search #choose-list, #banner #announce.
// Data attributes: data-choice (a pattern to choose), data-size (a ring size), data-at (a value's path in the
// design), data-scene, data-look, data-file, data-finding. #verdict has data-state (fits tight loose bad unknown
// none) and data-quick. `window.page`: ready after the first picture, looks counts looks drawn, full the full ones.

import { Gone, left, opened } from "/assets/ask.js";
import { Bench } from "/assets/bench.js";
import { Choose } from "/assets/choose.js";
import { Compare } from "/assets/compare.js";
import { byId, el, icon, refill } from "/assets/dom.js";
import { Ends } from "/assets/ends.js";
import { Extent } from "/assets/extent.js";
import { Files } from "/assets/files.js";
import { Margins } from "/assets/margins.js";
import { Pattern } from "/assets/pattern.js";
import { Rest } from "/assets/rest.js";
import { Sight } from "/assets/sight.js";
import { Sizes } from "/assets/sizes.js";
import { Text } from "/assets/text.js";
import { theme } from "/assets/theme.js";
import { Verdict } from "/assets/verdict.js";

window.page = { ready: false, looks: 0, full: 0 };

const sight = new Sight();
const dark = theme((now) => sight.dark(now));

/** Words over the bench; `passing` ones go with the next change. */
function banner(words, button = null, press = null, passing = false) {
  const place = byId("banner");
  place.hidden = !words;
  place.dataset.passing = String(passing);
  refill(
    place,
    words ? el("span", { text: words }) : null,
    button ? el("button", { type: "button", text: button, onclick: press }) : null,
    words ? el("button", { type: "button", class: "quiet", text: "Put away", onclick: () => banner(null) }) : null,
  );
}

async function start() {
  for (const dialog of document.querySelectorAll("dialog")) {
    dialog.querySelector("[data-close]").addEventListener("click", () => dialog.close());
    dialog.addEventListener("click", (event) => event.target === dialog && dialog.close());
  }
  if (matchMedia("(max-width: 47.9rem)").matches) {
    for (const panel of [...document.querySelectorAll(".panel")].slice(1)) panel.open = false;
  }
  const seen = sight.open(dark());
  let said;
  try {
    said = await opened();
  } catch (fault) {
    banner(fault instanceof Gone ? GONE : `The page could not be opened: ${fault.message}`, "Try again", () =>
      location.reload(),
    );
    return;
  }
  bench(said, seen);
}

const GONE = `The program behind this page has ended. Save the design, or start it again with: chaingen page --port ${location.port}`;

function bench(said, seen) {
  const bench = new Bench(said.first.text);
  const gone = (more = "") => {
    verdict.ended();
    shade();
    banner(`${GONE}${more}`, "Try again", async () => {
      try {
        await opened();
        banner(null);
        bench.check();
      } catch {
        gone(". It still does not answer.");
      }
    });
  };
  const choose = new Choose(said, {
    coming: (one) => {
      coming = one && { title: one.title, picture: one.picture };
      if (!one && bench.look) verdict.look(bench.look, bench.shown.quick);
      shade();
    },
    taken: (text, one) => {
      coming = null;
      bench.write(text, `Chose ${one.title}`, { fresh: { title: one.title, picture: one.picture } });
    },
    gone,
  });
  const sizes = new Sizes(byId("rings"), bench, said);
  const text = new Text(byId("text"), bench);
  const rest = new Rest(byId("rest"), bench, sight, gone);
  const compare = new Compare(byId("compare"), bench, sight, dark);
  const parts = [
    sizes,
    new Pattern(byId("pattern"), bench, () => choose.open()),
    new Extent(byId("extent"), bench),
    new Ends(byId("ends"), bench, said, sizes.wires),
    new Margins(byId("margins"), bench, said),
    rest,
  ];
  const verdict = new Verdict(bench, { tightest: () => sight.towards("tightest"), line: (one) => text.go(one) });
  const told = (words, wrong = false) =>
    wrong ? banner(words, null, null, true) : (byId("announce").textContent = words);
  const files = new Files(byId("files"), bench, { told, gone });

  bench.addEventListener("controls", () => {
    const { controls } = bench;
    byId("unread").hidden = Boolean(controls);
    byId("sizes").classList.toggle("unread-all", !controls);
    if (!controls) return;
    for (const part of parts) part.update(controls);
    byId("extent-title").textContent = controls.sheet ? "How large" : "How long";
    if (document.activeElement !== byId("title")) byId("title").value = controls.title.value ?? "";
    document.title = controls.title.value ? `${controls.title.value} · chaingen` : "chaingen";
  });
  bench.addEventListener("follows", ({ detail: { controls } }) => {
    for (const part of parts) part.follow?.(controls);
  });
  let wrong = false;
  let coming = null; // what was chosen, before there is a text of it
  let far = true; // whether what is shown is not what the design says
  const shade = () => {
    const next = coming ?? bench.fresh;
    sight.dim(wrong || far || Boolean(next), next);
    if (next) verdict.fresh(next.title);
  };
  bench.addEventListener("problems", () => {
    verdict.problems(bench.problems, wrong);
    text.blame(bench.problems);
    for (const part of parts) part.blame?.(bench.problems);
    wrong = bench.problems.length > 0;
    shade();
  });
  bench.addEventListener("look", ({ detail: { look, quick, frame } }) => {
    far = false;
    verdict.look(look, quick);
    if (bench.shown.number < bench.number) verdict.behind();
    if (sight.resting) rest.stale();
    sight.show(look, frame);
    shade();
    compare.ready(!quick);
    window.page.looks += 1;
    if (!quick) window.page.full += 1;
  });
  bench.addEventListener("moved", () => {
    if (byId("banner").dataset.passing === "true") banner(null);
    if (bench.fresh) far = true;
    byId("verdict").dataset.quick = "true"; // what it says is of the design before
    verdict.behind();
    shade();
    if (sight.resting) sight.asPlaced();
    rest.stale();
    compare.ready(false);
  });
  bench.addEventListener("far", () => {
    far = true;
    verdict.before();
    shade();
  });
  bench.addEventListener("another", () => {
    byId("sizes").scrollTop = 0;
    scrollTo(0, 0);
  });
  bench.addEventListener("text", () => text.update());
  bench.addEventListener("gone", () => gone());
  bench.addEventListener("there", () => byId("banner").textContent.startsWith(GONE) && banner(null));
  bench.addEventListener("fault", ({ detail: { words } }) => {
    verdict.ended();
    shade();
    banner(words, "Check again", () => again(), true);
  });
  const again = () => {
    banner(null);
    bench.check();
  };
  bench.addEventListener("cancelled", () => {
    far = true;
    verdict.ended();
    shade();
    banner("Stopped. What is shown may not be what the design says now.", "Check it", again, true);
  });
  undoing(bench, text);
  busy(bench);
  byId("choose").addEventListener("click", () => choose.open());
  byId("title").addEventListener("change", (event) =>
    bench.change([{ do: "title", value: event.target.value.trim() }], "Title"),
  );
  addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s") {
      event.preventDefault();
      // What is typed in a box counts, though it is not left yet.
      const typed = document.activeElement;
      if (typed?.matches("input")) {
        typed.blur();
        typed.focus();
      }
      text.flush();
      files.save();
    }
  });
  addEventListener("beforeunload", (event) => bench.changed && event.preventDefault());
  addEventListener("pagehide", (event) => event.persisted || left());
  Promise.all([seen, sight.view === null ? null : sight.first]).then(async () => {
    if (sight.view) await sight.first;
    requestAnimationFrame(() => {
      window.page.ready = true;
    });
  });
  if (said.version) byId("choose").closest("header").dataset.version = said.version;
  bench.check();
}

/** Undo and redo, by button and by key; a box that is typed in keeps its own. */
function undoing(bench, text) {
  const undo = byId("undo");
  const redo = byId("redo");
  undo.prepend(icon("undo"));
  redo.prepend(icon("redo"));
  const back = () => {
    text.flush();
    bench.undo();
  };
  undo.addEventListener("click", back);
  redo.addEventListener("click", () => bench.redo());
  bench.addEventListener("history", () => {
    const { undone, redone } = bench.history;
    undo.disabled = undone === null;
    redo.disabled = redone === null;
    undo.title = undone ? `Undo: ${undone}` : "";
    redo.title = redone ? `Redo: ${redone}` : "";
  });
  addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const key = event.key.toLowerCase();
    const typing = event.target.matches?.("textarea, input:not([type=range], [type=radio], [type=checkbox])");
    if (typing || document.querySelector("dialog[open]") || (key !== "z" && key !== "y")) return;
    event.preventDefault();
    if (key === "y" || event.shiftKey) bench.redo();
    else back();
  });
}

/** What the program is at, and for how long; said only when it takes a while. */
function busy(bench) {
  let since = 0;
  let words = null;
  let clock = 0;
  const show = () => {
    const seconds = (performance.now() - since) / 1000;
    byId("busy").hidden = words === null || (seconds < 0.3 && !bench.fresh);
    byId("busy-words").textContent = `${words ?? ""} … ${seconds.toFixed(1)} s`;
  };
  bench.addEventListener("busy", ({ detail }) => {
    words = detail.words === null ? null : detail.words[0].toUpperCase() + detail.words.slice(1);
    if (detail.since) since = detail.since;
    clearInterval(clock);
    if (words !== null) clock = setInterval(show, 100);
    show();
  });
  byId("cancel").addEventListener("click", () => bench.cancel());
}

start();
