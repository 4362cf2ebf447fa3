// Open: what is on the bench, which page of it, and what to know about the file.
import { button, el, say, show } from "../dom.js";
import { openDialog, findingList, photoGuide } from "../dialogs.js";
import { textField } from "../fields.js";

export function openStep({ store, api, panels, leave, open }) {
  const facts = el("p");
  const note = el("p", { class: "quiet-text" });
  const findings = el("div");
  const pageField = textField({ label: "Which page holds the plan?", example: "1", mode: "numeric", send: async (text) => store.do({ do: "set_page", page: pageNumber(text, store.state.source.pages) }) });
  const earlier = button("Page before", () => turn(-1), { kind: "small" });
  const later = button("Page after", () => turn(1), { kind: "small" });
  const pages = el("div", { class: "stack", hidden: true }, pageField.node, el("div", { class: "row" }, earlier, later));
  const nameField = textField({ label: "What is this job called?", send: (text) => store.do({ do: "set_name", text }) });
  const elsewhere = textField({
    label: "Where is the picture now?", example: "pictures/plan.jpg", hint: "The very same file is needed, under whatever name.",
    send: (text) => open(() => api.lookElsewhere(text)),
  });
  const wrong = el("p", { class: "wrong", role: "alert" });
  const missing = el("div", { class: "stack", hidden: true }, wrong, elsewhere.node);
  const node = el("div", { class: "body" },
    missing, el("div", { class: "sum" }, facts, note), pages, findings, nameField.node,
    el("div", { class: "row" }, button("Open another plan", () => panels.attempt(leave)), button("How to take the photo", () => openDialog({ title: "Taking the photo", body: photoGuide() }))));

  async function turn(by) {
    const { page } = store.state.job.sheet;
    await panels.attempt(() => store.do({ do: "set_page", page: page + by }));
  }

  return {
    node,
    enter() {
      panels.hints.offer("open", "Turn the wheel, or pinch, to come closer. Drag to move the picture; the square below it shows all of it again.");
    },
    question(state) {
      if (cannotBeRead(state)) return { ask: "The picture is not to be had. Where is it?", lead: "Nothing of the job is lost: its marks wait for the picture." };
      if (!state.tiles.ready) return { ask: "Reading the picture", lead: "A large scan takes some seconds the first time." };
      const { pages: count } = state.source;
      if (count > 1) return { ask: "Is this the page with the plan?", lead: `The file has ${count} pages; one job works from one of them.`, done: true };
      return { ask: "Is this the plan?", lead: "Look whether all of it is there, and sharp where you zoom in.", done: true };
    },
    update(state) {
      const { source, job, results } = state;
      say(facts, source.file.split(/[\\/]/).pop() + (source.width_px ? `, ${source.width_px} × ${source.height_px} px` : ""));
      show(missing, cannotBeRead(state));
      say(wrong, results.seen?.error ?? "");
      say(note, state.folder ? `Everything is kept in ${state.folder}` : "");
      show(pages, source.pages > 1);
      pageField.set(String(job.sheet.page));
      earlier.disabled = job.sheet.page <= 1;
      later.disabled = job.sheet.page >= source.pages;
      nameField.set(job.name);
      // Whether it is a photo or a scan is asked in the next step.
      const found = (results.seen?.findings ?? []).filter((finding) => finding.code !== "picture-kind");
      findings.replaceChildren(findingList(found));
      show(findings, found.length > 0);
    },
  };
}

/** The picture moved or changed, or cannot be read: nothing of it is there to show. */
function cannotBeRead(state) {
  return !state.tiles.ready && state.results.seen?.ok === false;
}

function pageNumber(text, pages) {
  const page = Number(text);
  if (/^\d+$/.test(text) && page >= 1 && page <= pages) return page;
  throw new Error(`“${text}” is no page of this file; one from 1 to ${pages} was needed: write it as a figure.`);
}
