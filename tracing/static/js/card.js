// The card: one plain question at a time, what answers it, and the way on.
import { makeAsk } from "./dialogs.js";
import { button, el, say, show } from "./dom.js";
import { STEPS, toolWords } from "./words.js";
import { exportStep } from "./steps/export.js";
import { flattenStep } from "./steps/flatten.js";
import { measureStep } from "./steps/measure.js";
import { openStep } from "./steps/open.js";
import { outlinesStep } from "./steps/outlines.js";
import { scaleStep } from "./steps/scale.js";
import { sizeStep } from "./steps/size.js";

const MAKERS = { open: openStep, flatten: flattenStep, scale: scaleStep, outlines: outlinesStep, measure: measureStep, size: sizeStep, export: exportStep };

/** Fill the card; gives {ask, focus}. A step is {node, update(state), question(state) -> {ask, lead, done}}. */
export function mountCard(card, bench) {
  const { store, panels } = bench;
  const where = el("p");
  const fold = button("", () => turn(), { kind: "bare", iconName: "fold", label: "Fold the card away" });
  const asking = el("div", { class: "asking-place" });
  const doingWords = el("p");
  const doing = el("div", { class: "doing", hidden: true, role: "status" }, doingWords, button("Put it away", () => store.setTool("pan"), { kind: "small" }));
  const title = el("h2", { id: "question", tabindex: "-1" });
  const lead = el("p", { class: "lead" });
  const body = el("div", { class: "body" });
  const scroll = el("div", { class: "card-scroll" }, asking, doing, title, lead, panels.hints.node, body);
  const back = button("Back", () => go(-1));
  const next = button("Next", () => go(1), { name: "next" });
  card.append(el("div", { class: "card-top" }, where, fold), scroll, el("div", { class: "card-foot" }, back, next));
  const { ask, put } = makeAsk(asking);

  const made = new Map();
  let moving = false;
  const stepAt = () => STEPS.findIndex((step) => step.name === store.step);
  const current = () => made.get(store.step);

  function go(by) {
    const step = STEPS[stepAt() + by];
    if (!step) return;
    moving = true;
    store.setStep(step.name);
    moving = false;
    title.focus({ preventScroll: true });
  }

  function turn(folded = !card.classList.contains("folded")) {
    card.classList.toggle("folded", folded);
    fold.setAttribute("aria-label", folded ? "Show the card" : "Fold the card away");
    fold.setAttribute("aria-expanded", String(!folded));
    fold.title = fold.getAttribute("aria-label");
  }
  turn(false);

  function enter() {
    if (!store.state) return;
    put();
    // All at once, so that the list of keys is whole from the beginning.
    if (!made.size) for (const [name, make] of Object.entries(MAKERS)) made.set(name, make(bench));
    body.replaceChildren(current().node);
    scroll.scrollTop = 0;
    const at = stepAt();
    say(where, `Step ${at + 1} of ${STEPS.length}: ${STEPS[at].title}`);
    show(back, at > 0);
    show(next, at < STEPS.length - 1);
    if (STEPS[at + 1]) say(next.lastElementChild, `Next: ${STEPS[at + 1].title}`);
    store.setTool("pan");
    panels.hints.clear();
    current().enter?.();
    update();
    // Where the focus does not follow, a screen reader is told; it reads the question itself where it does.
    if (!moving) panels.announce(`${where.textContent}. ${title.textContent}`);
  }

  function update() {
    if (!store.state || !current()) return;
    const question = current().question(store.state);
    say(title, question.ask);
    say(lead, question.lead ?? "");
    show(lead, Boolean(question.lead));
    next.classList.toggle("primary", Boolean(question.done));
    current().update(store.state);
  }

  function tool() {
    const words = toolWords(store.tool, store.toolOptions);
    say(doingWords, words);
    show(doing, Boolean(words));
    // On a small screen the picture needs the room while a tool is in the hand.
    card.classList.toggle("working", Boolean(words));
    if (words) turn(false);
    if (words) scroll.scrollTop = 0;
  }

  store.on("step", enter);
  store.on("tool", tool);
  for (const kind of ["job", "results", "task", "progress"]) store.on(kind, update);
  store.on("selection", () => current()?.select?.(store.selection));
  store.on("job", (reply) => reply === null && made.size && store.state && forget());

  const filled = () => Boolean(store.state) && made.has(store.step) && body.firstChild === current().node;

  // Another job: its steps begin anew, nothing of the last one stays typed.
  let key = null;
  function forget() {
    if (key === store.state.key) return;
    key = store.state.key;
    made.clear();
  }

  return {
    /** Whether the card has its size, so that the picture's place has its own. */
    isFilled: filled,
    ask: (options) => {
      turn(false);
      return ask(options);
    },
    focus: () => {
      turn(false);
      title.focus();
    },
  };
}
