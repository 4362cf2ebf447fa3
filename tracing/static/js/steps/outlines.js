// Outlines: which are parts, what they are called, and mending what the ink did not give.
import { button, el, keyed, say, show } from "../dom.js";
import { findingList } from "../dialogs.js";
import { textField } from "../fields.js";
import { more, plainItem, toolButton } from "../controls.js";
import { counted, give, mm } from "../words.js";

const group = "In the step Outlines";

export function outlinesStep(bench) {
  const { store, panels } = bench;
  const progress = el("progress", { max: "1", "aria-label": "Finding the outlines" });
  const wrong = el("p", { class: "wrong", role: "status" });
  const findings = el("div");
  const caption = el("p", { class: "hint", text: "At full size: width × height, give or take." });
  let filled = null;
  const partList = el("ul", { class: "given parts" });
  const fillParts = keyed(partList, (part) => near(part), () => partRow(bench));
  const choose = toolButton(bench, "Choose by clicking outlines", "choose", {}, { kind: "wide", iconName: "pen", key: "c", group });
  // A plan may have hundreds of parts; those in doubt are gone through one by one.
  const unsure = button("Show the next one in doubt", () => {
    const doubtful = (store.state.results.outlines?.parts ?? []).map((part, index) => ({ part, index })).filter(({ part }) => part.kind === "unsure");
    const from = store.selection?.kind === "part" ? store.selection.index : -1;
    const next = doubtful.find(({ index }) => index > from) ?? doubtful[0];
    if (next) store.select({ kind: "part", index: next.index });
  });
  const otherList = el("div", { class: "groups" });
  const fillOthers = keyed(otherList, (group) => group.why, () => otherGroup(bench));
  const others = more("Found, but not taken", otherList);

  const mend = more("Mend outlines", el("div", { class: "tools" },
    toolButton(bench, "Join two", "rub", { why: "join" }, { key: "j", group }),
    toolButton(bench, "Split one", "straightline", { why: "split" }, { key: "s", group }),
    toolButton(bench, "Close a gap", "straightline", { why: "close" }, { key: "g", group }),
    toolButton(bench, "Rub out", "rub", { why: "rub" }, { key: "x", group })));
  const draw = more("Draw what is missing", el("div", { class: "tools" },
    toolButton(bench, "Along the ink", "trace", {}, { key: "t", group }),
    toolButton(bench, "Straight line", "straightline", { why: "draw" }, { key: "l", group }),
    toolButton(bench, "Free curve", "curve", {}, { key: "v", group })));
  const region = more("Only part of the plan", el("div", { class: "tools" },
    toolButton(bench, "Keep an area", "region", { keep: "in" }, { key: "k", group }),
    toolButton(bench, "Leave one out", "region", { keep: "out" }, { key: "o", group })));

  const handList = el("ul");
  const fillHand = keyed(handList, (item) => item.key, () => {
    let current = null;
    const row = plainItem(() => current.command, () => current.words, bench);
    row.node.addEventListener("focusin", () => store.select({ kind: current.kind, index: current.index }));
    return { node: row.node, update(item, index) {
      current = item;
      row.update(item, index);
    } };
  });
  const hand = more("Done by hand", handList);
  const notes = more("Worth knowing");
  const node = el("div", { class: "body" }, progress, wrong, findings, choose, unsure, caption, partList, others, mend, draw, region, hand, notes);

  const rowOf = (what) => (what?.kind === "part" || what?.kind === "other" ? ({ part: partList, other: otherList })[what.kind].querySelector(`[data-index="${what.index}"]`) : null);
  let lit = null;
  store.on("pointed", (what) => {
    lit?.classList.remove("pointed");
    lit = rowOf(what);
    lit?.classList.add("pointed");
  });

  return {
    node,
    question(state) {
      const { outlines, scale } = state.results;
      if (!outlines?.ok && scale && !scale.ok) return { ask: "First, the scale", lead: "Outlines are drawn once one length is known; you can already rub out and trace." };
      if (!outlines || (!outlines.ok && !store.isFresh("outlines"))) return { ask: "Finding the outlines", lead: "Every closed line that may be a part. You may go on meanwhile." };
      const unsure = (outlines.parts ?? []).filter((part) => part.kind === "unsure").length;
      if (unsure) return { ask: "Are these the parts you want?", lead: `${counted(unsure, "outline")} may or may not be ${unsure === 1 ? "a part; look at it" : "parts; look at them"} first.`, done: true };
      return { ask: "Are these the parts you want?", lead: "A name is printed on its part: type it in the list, or double-click the part.", done: outlines.ok };
    },
    update(state) {
      const { outlines } = state.results;
      const { job } = state;
      const task = state.tasks.find((item) => item.state === "running" && item.kind !== "export");
      show(progress, Boolean(task));
      if (task?.share > 0) progress.value = task.share;
      else progress.removeAttribute("value");
      // Without a scale the question says so already.
      const failed = outlines && !outlines.ok && store.isFresh("outlines") && state.results.scale?.ok !== false;
      say(wrong, failed ? (outlines.error ?? "") : "");
      show(unsure, (outlines?.parts ?? []).some((part) => part.kind === "unsure"));
      if (outlines !== filled) {
        fillParts(outlines?.parts ?? []);
        fillOthers(grouped(outlines?.others ?? []));
        say(others.firstElementChild, `Found, but not taken (${(outlines?.others ?? []).length})`);
        filled = outlines;
      }
      show(caption, (outlines?.parts ?? []).length > 0);
      show(others, (outlines?.others ?? []).length > 0);
      // What must be decided comes before the lists; what is worth knowing is there to be opened.
      const told = outlines?.findings ?? [];
      for (const [place, level] of [[findings, "decide"], [notes.lastElementChild, "note"]]) place.replaceChildren(findingList(told.filter((finding) => (finding.level === "decide") === (level === "decide"))));
      show(findings, told.some((finding) => finding.level === "decide"));
      show(notes, told.some((finding) => finding.level !== "decide"));
      const done = byHand(job);
      fillHand(done);
      show(hand, done.length > 0);
    },
    select(what) {
      for (const list of [partList, otherList]) for (const row of list.querySelectorAll(".chosen")) row.classList.remove("chosen");
      const row = rowOf(what);
      if (!row) return;
      row.classList.add("chosen");
      if (what.kind === "other") for (const folded of [others, row.closest("details")]) folded.open = true;
      // A row under the pointer does not move away from it; one chosen in the picture is brought into view.
      if (!row.matches(":hover, :focus-within")) row.scrollIntoView({ block: "nearest" });
    },
    enter() {
      panels.hints.offer("outlines", "Solid outlines will be cut, dashed ones are left out. Press “Choose by clicking outlines”, then click an outline to change it.");
    },
  };
}

/** "400.0 × 109.9 mm" */
const sizes = (part) => `${mm(part.width_mm).replace(/ mm$/, "")} × ${mm(part.height_mm)}`;

// An outline found again moves by far less than this; two outlines never share a middle and a size that closely.
const SAME_PLACE_PX = 8;
const near = (shape) => `${Math.round(shape.inside_px[0] / SAME_PLACE_PX)},${Math.round(shape.inside_px[1] / SAME_PLACE_PX)} ${Math.round(Math.log(shape.area_px2) * 20)}`;

function partRow(bench) {
  const { store, panels } = bench;
  let part = null;
  let at = 0;
  const number = el("span", { class: "number" });
  const name = textField({
    label: "Name", quiet: true, example: "no name yet",
    send: (text) => store.do({ do: "rename", inside_px: part.inside_px, area_px2: part.area_px2, name: text }),
  });
  const drop = button("Leave out", () => panels.attempt(() => store.do({ do: "choose", inside_px: part.inside_px, area_px2: part.area_px2, action: "drop", ...(part.name ? { name: part.name } : {}) })), { kind: "small" });
  const tag = el("span", { class: "tag unsure", text: "unsure" });
  const size = el("span");
  const node = el("li", { class: "item" }, number, name.node, drop, el("p", { class: "says" }, size, " ", tag));
  watchRow(node, store, () => ({ kind: "part", index: at }));
  return {
    node,
    update(next, index) {
      part = next;
      at = index;
      node.dataset.index = String(index);
      say(number, String(part.number));
      name.label(`Name of part ${part.number}`);
      drop.setAttribute("aria-label", `Leave out part ${part.number}${part.name ? `, ${part.name}` : ""}`);
      name.set(part.name);
      say(size, part.width_mm ? `${sizes(part)}, ± ${give(part.u95_mm)}` : "");
      show(tag, part.kind === "unsure");
      node.classList.toggle("chosen", store.selection?.kind === "part" && store.selection.index === index);
    },
  };
}

/** A row lights its outline while it is pointed at; clicked or come to with the keyboard it chooses it. */
function watchRow(node, store, what) {
  node.addEventListener("focusin", () => store.select(what()));
  node.addEventListener("click", () => store.select(what()));
  node.addEventListener("pointerenter", (event) => event.pointerType !== "touch" && store.point(what()));
  node.addEventListener("pointerleave", () => store.point(null));
}

/** Outlines by the reason why they were not taken, those that are left out by the builder first, large before small. */
function grouped(others) {
  const groups = new Map();
  others.forEach((other, index) => {
    if (!groups.has(other.why)) groups.set(other.why, { why: other.why, own: false, items: [] });
    const group = groups.get(other.why);
    group.own ||= other.choice !== null && other.choice !== undefined;
    group.items.push({ other, index });
  });
  for (const { items } of groups.values()) items.sort((a, b) => b.other.area_px2 - a.other.area_px2);
  return [...groups.values()].sort((a, b) => b.own - a.own || b.items.length - a.items.length);
}

/** All outlines of one reason; pointed at, all of them are lit. */
function otherGroup(bench) {
  const { store } = bench;
  let items = [];
  const list = el("ul");
  const fill = keyed(list, ({ other }) => near(other), () => otherRow(bench));
  const words = el("span");
  const count = el("span", { class: "how-many" });
  const summary = el("summary", {}, words, " ", count);
  const node = el("details", { class: "group" }, summary, list);
  const all = () => store.point({ kind: "other", index: -1, all: items.map(({ index }) => index) });
  summary.addEventListener("pointerenter", (event) => event.pointerType !== "touch" && all());
  summary.addEventListener("focus", all);
  for (const kind of ["pointerleave", "blur"]) summary.addEventListener(kind, () => store.point(null));
  return {
    node,
    update(group) {
      items = group.items;
      say(words, group.why[0].toUpperCase() + group.why.slice(1));
      say(count, `${items.length}`);
      count.setAttribute("aria-label", `, ${items.length}`);
      // What the builder left out is wanted back more often than anything else.
      if (group.own && !node.dataset.seen) node.open = true;
      node.dataset.seen = "yes";
      fill(items);
    },
  };
}

function otherRow(bench) {
  const { store, panels } = bench;
  let other = null;
  let at = 0;
  const why = el("span");
  const take = button("Take", () => panels.attempt(() => store.do({ do: "choose", inside_px: other.inside_px, area_px2: other.area_px2, action: "take" })), { kind: "small" });
  const node = el("li", { class: "plain-item" }, why, take);
  watchRow(node, store, () => ({ kind: "other", index: at }));
  return {
    node,
    update({ other: next, index }) {
      other = next;
      at = index;
      node.dataset.index = String(index);
      say(why, sizes(other));
      take.setAttribute("aria-label", `Take outline ${index + 1}, ${sizes(other)}: ${other.why}`);
      node.classList.toggle("chosen", store.selection?.kind === "other" && store.selection.index === index);
    },
  };
}

/** Everything drawn, rubbed out or fenced in by hand, with the command that takes it away. */
function byHand(job) {
  const list = (items, kind, words, command) => (items ?? []).map((item, index) => ({ kind, index, words: words(item, index), command: command(index), key: `${kind} ${JSON.stringify(item)}` }));
  return [
    ...list(job.traces, "trace", (trace, index) => `Traced line ${index + 1}${trace.closed ? ", closed" : ""}`, (index) => ({ do: "remove_trace", index })),
    ...list(job.rubbed, "rub", (_, index) => `Rubbed out ${index + 1}`, (index) => ({ do: "remove_rub", index })),
    ...list(job.regions, "region", (region, index) => `Area ${index + 1}, ${region.keep === "out" ? "left out" : "kept"}`, (index) => ({ do: "remove_region", index })),
    ...list(job.choices, "choice", (choice) => `${choice.action === "take" ? "Taken" : "Left out"}: ${choice.name || `the outline at ${choice.inside_px.map((value) => value.toFixed(0)).join(", ")} px`}`, (index) => ({ do: "unchoose", index })),
  ];
}
