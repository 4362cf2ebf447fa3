// Export: one button, the files, and what to do with the first page.
import { button, el, say, show } from "../dom.js";
import { findingList } from "../dialogs.js";
import { more } from "../controls.js";
import { allFindings, FILES, filesAreOf, mm } from "../words.js";
import { headlineOf } from "../readout.js";

export function exportStep(bench) {
  const { store, api, panels } = bench;
  const stamp = el("div", { class: "stamp", hidden: true }, el("b", { text: "Scale not settled" }), el("span", { text: "Every page and file will carry this stamp until what stands under “To decide” is settled. Do not cut wood from them." }));
  const sum = el("p");
  const sumNote = el("p");
  const findings = el("div");
  const make = button("Make the files", () => panels.attempt(() => api.exportFiles()), { kind: "primary wide", name: "export" });
  const progress = el("progress", { max: "1", "aria-label": "Making the files" });
  const stage = el("span", { class: "quiet-text" });
  let running = null;
  const cancel = button("Stop", () => panels.attempt(() => api.cancel(running)), { kind: "small", name: "cancel" });
  const going = el("div", { class: "stack", hidden: true }, progress, el("div", { class: "row" }, stage, cancel));
  const said = el("p", { class: "wrong", role: "status" });
  const old = el("p", { class: "wrong", text: "The job has changed since these files were made: make them again." });
  const list = el("ul", { class: "files" });
  const files = el("section", { class: "stack", hidden: true, "aria-label": "The files" }, old, list);
  const cautions = el("ul", { class: "findings" });
  const first = el("ol", { class: "steps-list" },
    ["Open pages.pdf and print its first page only. In the printer’s window choose “actual size” or 100 %; never “fit to page”.",
      "Lay a steel rule on the two bars printed there, one across, one upright. Each must be as long as the figure beside it.",
      "If one is not, the printer has changed the size: find that setting, print the first page once more, and measure again.",
      "Then print the rest. Every sheet has two bars of its own. Join the sheets at their marks, and measure one long part before you cut."].map((text) => el("li", { text })));
  const node = el("div", { class: "body" }, stamp, el("div", { class: "sum" }, sum, sumNote), findings, make, going, said, files,
    el("section", { class: "stack", "aria-label": "One page to print first" }, el("h3", { text: "One page to print first" }), first),
    more("Before you build: take care", cautions));
  let listed = "";

  return {
    node,
    question(state) {
      const task = lastExport(state);
      if (task?.state === "running") return { ask: "Making the files", lead: "You may go on looking; stopping leaves the earlier files as they were." };
      if (task?.state === "done" && filesAreOf(task, state.job) === false) return { ask: "Something changed. Make the files again?", lead: "Those below are of the job as it was before." };
      if (task?.state === "done") return { ask: "Done. Print one page first.", lead: "The files also lie next to the job." };
      if (state.results.pages && !state.results.pages.ok) return { ask: "Not yet: something comes first", lead: "Files can be made once the scale is set and there are outlines." };
      return { ask: "Ready to make the files?", lead: "Outlines, pages and a report, next to the job and here for download." };
    },
    update(state) {
      const { results } = state;
      const { pages, scale } = results;
      const decide = allFindings(results).filter((finding) => finding.level === "decide");
      const unsettled = decide.length > 0 || Boolean(scale?.ok && !scale.settled);
      show(stamp, unsettled && Boolean(scale?.ok));
      say(sum, headlineOf(state));
      say(sumNote, pages?.ok ? `${mm(pages.width_mm)} wide, ${mm(pages.height_mm)} high over all, on ${pages.paper}, ${pages.fraction === "1" ? "at full size" : `at ${pages.fraction} of full size`}.` : "");
      findings.replaceChildren(findingList(decide));
      show(findings, decide.length > 0);

      const task = lastExport(state);
      running = task?.state === "running" ? task.task : null;
      show(going, running !== null);
      show(make, running === null);
      say(make.lastElementChild, task?.state === "done" ? "Make them again" : "Make the files");
      // What stands above must be what the files will be.
      make.disabled = !pages?.ok || !store.isFresh("pages");
      if (task?.share > 0) progress.value = task.share;
      else progress.removeAttribute("value");
      say(stage, task?.stage ?? "");
      say(said, task?.state === "failed" ? task.error : task?.state === "cancelled" ? "Stopped; nothing was changed." : "");
      const done = task?.state === "done" ? task : null;
      show(files, Boolean(done?.files?.length));
      show(old, Boolean(done) && filesAreOf(done, state.job) === false);
      const names = JSON.stringify(done?.files ?? []);
      if (names !== listed) {
        listed = names;
        // In the order in which they are wanted: the report first.
        const order = Object.keys(FILES);
        list.replaceChildren(...[...(done?.files ?? [])].sort((a, b) => order.indexOf(a) - order.indexOf(b)).map((name) => fileRow(name, api)));
      }
      if (!cautions.children.length) cautions.append(...(bench.desk?.cautions ?? []).map((text) => el("li", { text })));
      show(cautions.closest("details"), cautions.children.length > 0);
    },
  };
}

function lastExport(state) {
  return state.tasks.filter((task) => task.kind === "export").at(-1) ?? null;
}

function fileRow(name, api) {
  const report = name.endsWith(".html");
  return el("li", {}, el("a", report ? { href: api.fileUrl(name), target: "_blank", rel: "noopener", text: name } : { href: api.fileUrl(name), download: name, text: name }),
    el("small", { text: FILES[name] ?? "" }));
}
