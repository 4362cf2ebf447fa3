// The head: the job's name, the way through the job, undo and redo with their words.
import { button, el, icon, say, show } from "./dom.js";
import { allFindings, doneSteps, nothingGiven, STEPS } from "./words.js";

// Which step shows that something must be decided, by the stage that found it.
const STAGE_STEP = { seen: "flatten", scale: "scale", outlines: "outlines", pages: "size" };

export function mountHead(head, { store, panels, back }, { theme }) {
  const name = el("h1", { text: "Scantling" });
  const file = el("p");
  const knobs = new Map();
  const list = el("ol");
  STEPS.forEach((step, index) => {
    const knob = el("span", { class: "knob", text: String(index + 1) });
    const told = el("span", { class: "out-of-sight" });
    const node = el("button", { type: "button", class: "step", name: `step-${step.name}` }, knob, el("span", { text: step.title }), told);
    node.addEventListener("click", () => {
      if (!store.state) return;
      back();
      store.setStep(step.name);
    });
    knobs.set(step.name, { node, knob, told, number: String(index + 1) });
    list.append(el("li", {}, node));
  });

  const undo = deed("undo", "Undo", () => panels.attempt(store.undo));
  const redo = deed("redo", "Redo", () => panels.attempt(store.redo));
  const keysButton = button("", () => panels.keys.show(), { kind: "bare", iconName: "keys", label: "What the keys do" });
  const themeButton = button("", () => theme.turn(), { kind: "bare", label: "Light or dark" });
  theme.onChange((dark) => {
    themeButton.replaceChildren(icon(dark ? "light" : "dark"));
    themeButton.setAttribute("aria-label", dark ? "Turn to light" : "Turn to dark");
    themeButton.title = themeButton.getAttribute("aria-label");
  });
  keysButton.title = "What the keys do (?)";
  const way = el("nav", { class: "way", "aria-label": "Steps" }, list);
  head.append(
    el("div", { class: "job-name" }, name, file), way,
    el("div", { class: "deeds" }, undo.node, redo.node, keysButton, themeButton));

  function update() {
    const { state } = store;
    say(name, state?.name ?? "Scantling");
    name.title = state?.name ?? "";
    say(file, state ? state.source.file.split(/[\\/]/).pop() : "From a plan to pages");
    file.title = state?.source.file ?? "";
    show(way, Boolean(state));
    show(undo.node, Boolean(state));
    show(redo.node, Boolean(state));
    if (!state) return;
    undo.set(state.undo);
    redo.set(state.redo);
    const done = doneSteps(state);
    const loud = new Set();
    for (const [stage, step] of Object.entries(STAGE_STEP)) {
      if (allFindings({ [stage]: state.results[stage] }).some((finding) => finding.level === "decide")) loud.add(step);
    }
    if (state.results.scale?.ok === false && !nothingGiven(state.job)) loud.add("scale");
    for (const [step, { node, knob, told, number }] of knobs) {
      const here = step === store.step;
      node.classList.toggle("done", done.has(step) && !loud.has(step));
      node.classList.toggle("loud", loud.has(step));
      if (here) node.setAttribute("aria-current", "step");
      else node.removeAttribute("aria-current");
      const mark = loud.has(step) ? "!" : done.has(step) && !here ? "tick" : number;
      if (knob.dataset.mark !== mark) {
        knob.dataset.mark = mark;
        knob.replaceChildren(mark === "tick" ? icon("tick") : mark);
      }
      say(told, loud.has(step) ? ", something to decide" : done.has(step) ? ", done" : "");
    }
  }

  for (const kind of ["job", "results", "task", "step"]) store.on(kind, update);
  update();
}

function deed(iconName, word, run) {
  const words = el("small");
  const node = el("button", { type: "button", class: "deed", name: word.toLowerCase() }, icon(iconName), el("span", {}, el("b", { text: word }), words));
  node.addEventListener("click", () => node.getAttribute("aria-disabled") !== "true" && run());
  return {
    node,
    set({ can, words: said }) {
      say(words, can ? said : "nothing");
      node.title = can ? `${word}: ${said}` : `Nothing to ${word.toLowerCase()}`;
      if (can) node.removeAttribute("aria-disabled");
      else node.setAttribute("aria-disabled", "true");
    },
  };
}
