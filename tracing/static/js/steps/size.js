// Size and pages: how large to build, and on which paper.
import { button, el, say, show } from "../dom.js";
import { findingList } from "../dialogs.js";
import { textField, tickField } from "../fields.js";
import { more, toolButton } from "../controls.js";
import { counted, FRACTIONS, give, mm, PAPERS } from "../words.js";
import { givenMark } from "./marks.js";

const OTHER = "another size";

const group = "In the step Size and pages";

export function sizeStep(bench) {
  const { store, panels } = bench;
  const ways = {
    part: button("By a fraction", () => turn("part"), { kind: "small" }),
    span: button("By a length", () => turn("span"), { kind: "small" }),
  };
  let way = null;

  const fraction = textField({
    label: "Part of full size", example: "1/2", hint: "As you would say it: 1/2, 50 %, 1:2, 0.62.",
    send: (text) => store.do({ do: "set_fraction", text }),
  });
  const chips = FRACTIONS.map((text) => button(text === "1" ? "Full" : text, () => panels.attempt(() => store.do({ do: "set_fraction", text })), { kind: "small" }));
  const part = el("div", { class: "stack" }, el("div", { class: "chips", role: "group", "aria-label": "Usual parts" }, chips), fraction.node);

  const which = el("select", { class: "input", id: "which-length" });
  const wanted = textField({
    label: "shall come out as", example: "990 mm",
    send: (text) => {
      const { job } = store.state;
      const length = which.value === "kept" ? job.build_length : job.knowns[Number(which.value)];
      return store.do({ do: "set_build_length", start: givenMark(length.start), end: givenMark(length.end), text });
    },
  });
  const known = el("div", { class: "stack" }, el("div", { class: "field" }, el("label", { for: "which-length", text: "This length" }), which), wanted.node);
  const noSpan = button("Back to full size", () => panels.attempt(() => store.do({ do: "set_fraction", text: "1" })), { kind: "small" });
  noSpan.title = "Forget the wanted length";
  const span = el("div", { class: "stack" }, known, noSpan, toolButton(bench, "Mark another on the plan", "mark", { for: "build" }, { kind: "wide", iconName: "length", key: "m", group }));

  const count = el("p", { class: "count" });
  const countNote = el("p");
  const countBox = el("div", { class: "sum" }, count, countNote);
  const findings = el("div");

  const paper = el("select", { class: "input", id: "paper" }, [...PAPERS, OTHER].map((name) => el("option", { value: name, text: name })));
  const paperSize = textField({ label: "Its size", example: "300 x 400 mm", send: (text) => store.do({ do: "set_paper", name: text }) });
  paper.addEventListener("change", () => {
    show(paperSize.node, paper.value === OTHER);
    if (paper.value === OTHER) paperSize.input.focus();
    else panels.attempt(() => store.do({ do: "set_paper", name: paper.value }));
  });
  const margin = textField({ label: "Margin", example: "6 mm", hint: "What the printer cannot reach.", send: (text) => store.do({ do: "set_margin", text }) });
  const overlap = textField({ label: "Overlap", example: "10 mm", hint: "What neighbouring sheets share.", send: (text) => store.do({ do: "set_overlap", text }) });
  const mirrored = tickField({ label: "The other hand (mirrored)", panels, send: (on) => store.do({ do: "set_mirrored", on }) });
  const lines = tickField({ label: "Only the outlines, without the plan’s picture", panels, send: (on) => store.do({ do: "set_lines_only", on }) });
  const gridTool = toolButton(bench, "Drag the pages", "grid", {}, { key: "d", group });
  const gridClear = button("Lay them anew", () => panels.attempt(() => store.do({ do: "clear_grid" })));

  const node = el("div", { class: "body" },
    el("div", { class: "ways", role: "group", "aria-label": "How to say the size" }, Object.values(ways)), part, span, countBox, findings,
    el("div", { class: "field beside" }, el("label", { for: "paper", text: "Paper" }), paper), paperSize.node,
    el("div", { class: "tools" }, gridTool, gridClear),
    more("Margin, overlap and what is printed", el("div", { class: "pair" }, margin.node, overlap.node), mirrored.node, lines.node));
  let whichText = "";

  function turn(to) {
    way = to;
    for (const [name, each] of Object.entries(ways)) each.setAttribute("aria-pressed", String(name === to));
    show(part, to === "part");
    show(span, to === "span");
  }

  function fillWhich(job) {
    const options = [
      ...(job.build_length ? [{ value: "kept", text: "The length marked for it" }] : []),
      ...job.knowns.map((length, index) => ({ value: String(index), text: `Known distance ${index + 1} (${length.text})` })),
    ];
    show(known, options.length > 0);
    const text = JSON.stringify(options);
    if (text === whichText) return;
    whichText = text;
    const had = which.value;
    which.replaceChildren(...options.map((option) => el("option", option)));
    if (options.some((option) => option.value === had)) which.value = had;
  }

  return {
    node,
    question(state) {
      return { ask: "How large do you want to build it?", lead: way === "span" ? "Say how long one length shall come out; all the rest goes with it." : "", done: Boolean(state.results.pages?.ok) };
    },
    update(state) {
      const { job, results } = state;
      const { pages } = results;
      const built = job.build_length;
      if (way === null) turn(built ? "span" : "part");
      fraction.set(built ? "" : job.fraction);
      chips.forEach((chip, index) => chip.setAttribute("aria-pressed", String(!built && FRACTIONS[index] === job.fraction)));
      fillWhich(job);
      wanted.set(built?.text ?? "");
      show(noSpan, Boolean(built));
      say(count, pages?.ok ? counted(pages.count, `${pages.paper} sheet`) : "");
      show(count, Boolean(pages?.ok));
      say(countNote, pages?.ok ? pagesNote(pages) : (pages?.error ?? (results.scale?.ok ? "Laying out the pages" : "The count of sheets shows here once the scale is set.")));
      findings.replaceChildren(findingList(pages?.findings ?? []));
      show(findings, (pages?.findings ?? []).length > 0);
      const named = PAPERS.includes(job.setup.paper);
      if (document.activeElement !== paper) paper.value = named ? job.setup.paper : OTHER;
      paperSize.set(named ? "" : job.setup.paper);
      show(paperSize.node, paper.value === OTHER);
      margin.set(`${job.setup.margin_mm} mm`);
      overlap.set(`${job.setup.overlap_mm} mm`);
      mirrored.set(job.mirrored);
      lines.set(job.lines_only);
      gridClear.disabled = !job.grid;
    },
    enter() {
      way = null;
      panels.hints.offer("size", "The sheets lie over the plan. “Drag the pages” moves them so that a joint does not run through a part.");
    },
  };
}

function cut({ cut_parts: parts = [] }) {
  return parts.length ? ` ${parts.length === 1 ? "Part" : "Parts"} ${parts.join(", ")} ${parts.length === 1 ? "runs" : "run"} over a joint.` : "";
}

function pagesNote(pages) {
  return `${mm(pages.width_mm)} wide, ${mm(pages.height_mm)} high, give or take ${give(pages.u95_mm)}. ${pages.rows} × ${pages.cols} sheets, ${pages.landscape ? "lying" : "upright"}, and one that shows how they join.${cut(pages)}`;
}
