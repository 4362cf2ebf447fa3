// Size and pages: how large to build, and on which paper.
import { button, el, say, show } from "../dom.js";
import { findingList } from "../dialogs.js";
import { textField, tickField } from "../fields.js";
import { more, toolButton } from "../controls.js";
import { FRACTIONS, PAPERS } from "../words.js";
import { givenMark } from "./marks.js";

const OTHER = "another size";

export function sizeStep(bench) {
  const { store, panels } = bench;
  const fraction = textField({
    label: "Build it at this part of full size", example: "1/2", hint: "As you would say it: 1/2, 50 %, 1:2, 0.62.",
    send: (text) => store.do({ do: "set_fraction", text }),
  });
  const chips = el("div", { class: "chips", role: "group", "aria-label": "Usual fractions" }, FRACTIONS.map((text) =>
    button(text === "1" ? "Full size" : text, () => panels.attempt(() => store.do({ do: "set_fraction", text })), { kind: "small" })));

  const which = el("select", { class: "input", id: "which-length" });
  const wanted = textField({
    label: "shall come out as", example: "990 mm",
    send: (text) => {
      const { job } = store.state;
      const length = which.value === "kept" ? job.build_length : job.knowns[Number(which.value)];
      return store.do({ do: "set_build_length", start: givenMark(length.start), end: givenMark(length.end), text });
    },
  });
  const span = el("div", { class: "stack" }, el("div", { class: "field" }, el("label", { for: "which-length", text: "This length" }), which), wanted.node);
  const spanTool = toolButton(bench, "Mark the length on the plan", "mark", { for: "build" }, { kind: "wide", iconName: "length" });
  const spanMore = more("Or say how long something shall come out", span, spanTool);

  const count = el("p", { class: "count" });
  const countNote = el("p");
  const countBox = el("div", { class: "sum", role: "status" }, count, countNote);
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
  const gridTool = toolButton(bench, "Drag the pages", "grid");
  const gridClear = button("Lay them anew", () => panels.attempt(() => store.do({ do: "clear_grid" })));

  const node = el("div", { class: "body" },
    el("div", { class: "stack" }, fraction.node, chips), spanMore, countBox, findings,
    el("div", { class: "field" }, el("label", { for: "paper", text: "Paper" }), paper), paperSize.node,
    el("div", { class: "tools" }, gridTool, gridClear),
    more("Margin, overlap and what is printed", el("div", { class: "pair" }, margin.node, overlap.node), mirrored.node, lines.node));
  let whichText = "";

  return {
    node,
    question(state) {
      const { pages } = state.results;
      return { ask: "How large do you want to build it?", lead: "Give a part of full size, or say how long one length shall come out.", done: Boolean(pages?.ok) };
    },
    update(state) {
      const { job, results } = state;
      const { pages } = results;
      const built = job.build_length;
      fraction.set(built ? "" : job.fraction);
      for (const chip of chips.children) chip.setAttribute("aria-pressed", String(!built && FRACTIONS[[...chips.children].indexOf(chip)] === job.fraction));
      const options = [
        ...(built ? [{ value: "kept", text: "The length marked for it" }] : []),
        ...job.knowns.map((known, index) => ({ value: String(index), text: `Known distance ${index + 1} (${known.text})` })),
      ];
      const text = JSON.stringify(options);
      if (text !== whichText) {
        whichText = text;
        const had = which.value;
        which.replaceChildren(...options.map((option) => el("option", option)));
        if (options.some((option) => option.value === had)) which.value = had;
      }
      show(span, options.length > 0);
      if (built) spanMore.open = true;
      wanted.set(built?.text ?? "");
      say(count, pages?.ok ? pages.words : (pages?.error ?? ""));
      count.classList.toggle("wrong", Boolean(pages && !pages.ok));
      count.classList.toggle("count", !(pages && !pages.ok));
      say(countNote, pages?.ok ? pagesNote(pages) : results.scale?.ok ? "" : "The count of sheets shows here once the scale is set.");
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
      panels.hints.offer("size", "The sheets lie over the plan. “Drag the pages” moves them so that a joint does not run through a part.");
    },
  };
}

function pagesNote(pages) {
  return `${pages.rows} × ${pages.cols}, ${pages.landscape ? "lying" : "upright"}, at ${pages.fraction} of full size; one page more shows how they join.`;
}
