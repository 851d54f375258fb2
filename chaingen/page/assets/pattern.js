// Groups and joins of a pattern, or the weave it names; open or closed; its hand.

import { choice, either, el, freshId, iconButton, refill } from "/assets/dom.js";
import { CountBox } from "/assets/boxes.js";
import { place } from "/assets/units.js";

const KINDS = [
  ["side_by_side", "side by side"],
  ["rosette", "rosette"],
  ["join", "join"],
  ["finding", "finding"],
];
const WHERE = {
  first: "Once, before the rest",
  groups: "Repeated",
  last: "Once, after the rest",
  ends: "Joins at an end",
};
const ENDS = { start: "Joins at the start", end: "Joins at the end" };
const LIMITS = { side_by_side: [1, 12], rosette: [2, 12], join: [1, 12] };

export class Pattern {
  constructor(root, bench, choose) {
    Object.assign(this, { root, bench, choose });
    this.shape = "";
  }

  update(controls) {
    const { form, closed, weave, hand, groups } = controls;
    const { roles } = controls;
    const names = [roles, controls.sizes.map((one) => one.name), controls.findings.map((one) => one.name)];
    const shape = JSON.stringify([form, closed, weave, hand, groups, names]);
    if (shape === this.shape) return;
    this.shape = shape;
    refill(
      this.root,
      this.#chosen(weave),
      this.#form(closed),
      this.#hand(hand),
      this.#roles(controls),
      this.#groups(controls),
    );
  }

  #chosen(weave) {
    if (!weave) return null;
    return el(
      "div",
      { class: "line spread" },
      el("p", { class: "weave" }, "Weave: ", el("strong", { text: weave.title })),
      el("button", { type: "button", text: "Choose another", onclick: this.choose, "data-key": "another-weave" }),
    );
  }

  #form(closed) {
    if (closed === null) return null;
    const say = (value) => this.bench.change([{ do: "closed", value }], value ? "Closed to a loop" : "Opened to a run");
    return either(
      "Form",
      [
        [false, "open run"],
        [true, "closed loop"],
      ],
      closed,
      say,
    );
  }

  #hand(hand) {
    if (!hand) return null;
    const say = (value) => this.bench.change([{ do: "set", at: ["pattern", "hand"], value }], `Hand: ${value}`);
    return either(
      "Hand",
      [
        ["left", "left"],
        ["right", "right"],
      ],
      hand,
      say,
    );
  }

  #roles({ roles, sizes }) {
    if (!roles?.length || sizes.length < 2) return null;
    return roles.map((role) =>
      choice(
        `Rings of the ${role.name} role`,
        sizes.map((one) => [one.name, one.name]),
        role.size,
        (value) => this.bench.change([{ do: "set", at: role.at, value }], `${role.name}: rings ${value}`),
        { "data-key": `role-${role.name}` },
      ),
    );
  }

  #groups(controls) {
    const parts = [];
    for (const [where, title] of Object.entries(WHERE)) {
      const own = controls.groups.filter((one) => one.where === where);
      if (!own.length && where !== "groups") continue;
      // Groups of several sections are kept apart: each list has a path of its own.
      const lists = grouped(own);
      if (!lists.size && controls.form === "groups") lists.set("", []);
      for (const list of lists.values()) {
        const end = where === "ends" && ENDS[list[0]?.at[1]];
        parts.push(this.#list(end || title, where, list, controls));
      }
    }
    return parts;
  }

  #list(title, where, list, controls) {
    const several = controls.groups.some((one) => one.where !== "groups");
    const into = list.length ? list[0].at.slice(0, -1) : ["pattern", "groups"];
    const id = freshId("groups");
    const rows = list.map((group, k) => this.#row(group, k, list.length, controls));
    return el(
      "div",
      { class: "groups" },
      several ? el("h3", { id, text: title }) : null,
      el("ol", { "aria-label": several ? null : "Groups", "aria-labelledby": several ? id : null }, rows),
      where === "ends" ? null : this.#adding(into, list, controls),
    );
  }

  #row(group, k, count, controls) {
    const { bench } = this;
    const { at } = group;
    const called = `group ${k + 1}`;
    const put = (more, words, key) =>
      bench.change(
        [
          {
            do: "group",
            at,
            kind: group.kind,
            ...(group.kind === "finding" ? { finding: group.finding } : { count: group.count }),
            ...(group.ring ? { ring: group.ring } : {}),
            ...more,
          },
        ],
        words,
        key,
      );
    const kinds = KINDS.filter(([kind]) => kind !== "finding" || controls.findings.length || group.kind === kind);
    const kind = choice(
      `Kind of ${called}`,
      kinds,
      group.kind,
      (value) => {
        if (value === "finding") {
          bench.change([{ do: "group", at, kind: value, finding: controls.findings[0].name }], "A finding as a group");
          return;
        }
        const [low, high] = LIMITS[value];
        const kept = Math.min(Math.max(group.count ?? low, value === "rosette" ? 3 : low), high);
        const ring = group.ring ?? (controls.sizes.length > 1 ? controls.sizes[0].name : null);
        bench.change(
          [{ do: "group", at, kind: value, count: kept, ...(ring ? { ring } : {}) }],
          `Group ${k + 1}: ${words(value)}`,
        );
      },
      { "data-quiet": "", "data-key": `${place(at)}-kind` },
    );
    const parts = [kind];
    if (group.kind === "finding") {
      parts.push(
        choice(
          `Finding of ${called}`,
          controls.findings.map((one) => [one.name, one.name]),
          group.finding,
          (finding) => put({ finding }, `Group ${k + 1}: ${finding}`),
          { "data-quiet": "", "data-key": `${place(at)}-f` },
        ),
      );
    } else {
      const [low, high] = LIMITS[group.kind] ?? [1, 12];
      const box = new CountBox(
        `Rings in ${called}`,
        `Rings in ${called}`,
        [...at, group.kind ?? ""],
        group.count ?? 1,
        { low, high, set: (value) => put({ count: value }, `Group ${k + 1}: ${value}`) },
      );
      box.root.classList.add("bare");
      parts.push(box.root);
      if (controls.sizes.length > 1) {
        parts.push(
          choice(
            `Ring size of ${called}`,
            controls.sizes.map((one) => [one.name, one.name]),
            group.ring ?? controls.sizes[0].name,
            (ring) => put({ ring }, `Group ${k + 1}: rings ${ring}`),
            { "data-quiet": "", "data-key": `${place(at)}-ring` },
          ),
        );
      }
    }
    const move = (to) => this.#moved([{ do: "move", at, to }], "Moved a group");
    const key = (what) => ({ "data-key": `${place(at)}-${what}` });
    if (controls.sizes.length < 2 || group.kind === "finding") {
      parts.push(el("span", { class: "soft words", "aria-hidden": "true", text: group.words }));
    }
    if (group.where !== "ends" && count > 1) {
      parts.push(
        el(
          "span",
          { class: "order" },
          iconButton("up", `Move ${called} up`, () => move(k - 1), { disabled: k === 0, ...key("up") }),
          iconButton("down", `Move ${called} down`, () => move(k + 1), { disabled: k === count - 1, ...key("down") }),
          iconButton(
            "cross",
            `Take ${called} away`,
            () => this.#moved([{ do: "remove", at }], "Took a group away"),
            key("remove"),
          ),
        ),
      );
    }
    return el("li", { "data-at": place(at), "aria-label": `${called}: ${group.words}` }, parts);
  }

  /** Groups change places. What is pressed before the places after the last such change are shown is not meant so. */
  #moved(changes, words) {
    const moving = ({ change }) => ["move", "remove", "insert"].includes(change.do);
    if (!this.bench.waiting.some(moving)) this.bench.change(changes, words);
  }

  #adding(into, list, controls) {
    const ring = controls.sizes.length > 1 ? { ring: list.at(-1)?.ring ?? controls.sizes[0].name } : {};
    const add = (value, said) => () =>
      this.#moved([{ do: "insert", at: [...into, list.length], value: { ...value, ...ring } }], said);
    const button = (text, value, key) =>
      el(
        "button",
        { type: "button", class: "quiet", "data-key": `add-${key}`, onclick: add(value, `Added ${text}`) },
        text,
      );
    return el(
      "div",
      { class: "line adding", role: "group", "aria-label": "Add a group" },
      el("span", { class: "soft", text: "Add" }),
      button("rings side by side", { side_by_side: 2 }, "side"),
      button("a rosette", { rosette: 3 }, "rosette"),
      button("a join", { join: 1 }, "join"),
    );
  }
}

const parent = (group) => place(group.at.slice(0, -1));
const words = (kind) => KINDS.find(([one]) => one === kind)[1];

function grouped(groups) {
  const lists = new Map();
  for (const group of groups) lists.set(parent(group), [...(lists.get(parent(group)) ?? []), group]);
  return lists;
}
