// The strip at the bottom: where the pointer is, what a length there is good to, and what comes out of it all.
import { button, el, icon, say, show } from "./dom.js";
import { nothingGiven } from "./words.js";

// The program is asked about a place only when the pointer rests that long; a question takes it a few ms.
const REST_MS = 60;

/** Fill the strip and keep it true; `seeAll()` brings the whole picture into sight. */
export function mountReadout(strip, store, api, seeAll) {
  const at = el("span", { class: "figure" });
  const give = el("span", { class: "figure" });
  const badge = el("strong", { class: "badge", text: "Scale not settled", hidden: true });
  const headline = el("span", { class: "headline-text" });
  const busy = el("span", { class: "busy", hidden: true, text: "working" });
  const saved = el("span", { class: "saved" });
  const home = el("p", { class: "cell", text: "Your plan stays on this computer: nothing is sent anywhere." });
  const all = button("", seeAll, { kind: "bare", iconName: "all", label: "See all of the picture" });
  all.title = "See all of the picture (0)";
  const cells = [
    el("div", { class: "cell" }, all),
    el("div", { class: "cell place" }, icon("place"), el("span", { class: "out-of-sight", text: "Under the pointer: " }), at),
    el("div", { class: "cell give" }, icon("give"), give),
    el("div", { class: "cell headline", role: "status" }, badge, headline, busy),
    el("div", { class: "cell kept" }, saved)];
  strip.append(home, ...cells);

  let timer = 0;
  let asked = null;
  let known = "";

  function pointer() {
    const point = store.pointer;
    if (!store.state) {
      say(at, "");
      return say(give, "");
    }
    say(at, point ? `${point[0].toFixed(1)}, ${point[1].toFixed(1)} px` : "no pointer");
    clearTimeout(timer);
    if (point && store.state.results.scale?.ok && store.isFresh("scale")) timer = setTimeout(here, REST_MS);
    else say(give, store.state.results.scale?.ok ? known || "Give or take: point at the plan" : "Give or take: once a length is known");
  }

  async function here() {
    asked?.abort();
    const mine = (asked = new AbortController());
    try {
      const said = await api.measure("here", [store.pointer ?? [0, 0]], { signal: mine.signal });
      if (asked !== mine) return;
      known = said.words;
      say(give, said.words);
    } catch (error) {
      if (error.name !== "AbortError" && asked === mine) say(give, known || "Give or take: point at the plan");
    }
  }

  function headlines() {
    const state = store.state;
    show(home, !state);
    for (const cell of cells) show(cell, Boolean(state));
    if (!state) return;
    const { pages, scale } = state.results;
    // Every change is answered for every stage; until then the line is that of the job before.
    const fresh = store.isFresh("pages");
    const unset = scale?.ok === false && !nothingGiven(state.job);
    // The sentence stands whole where it can be settled; cut to a line here, its end would be missed.
    say(headline, unset ? "The scale cannot be set: see “Set the scale”." : headlineOf(state));
    headline.classList.toggle("todo", headline.textContent !== pages?.words);
    headline.title = headlineOf(state);
    headline.classList.toggle("loud-line", unset);
    headline.classList.toggle("old", !fresh);
    show(badge, Boolean(scale?.ok && !scale.settled && pages?.ok));
    const running = state.tasks.find((task) => task.state === "running");
    show(busy, Boolean(running) || !fresh);
    say(busy, running?.share > 0 && running.share < 1 ? `working, ${Math.round(running.share * 100)} %` : "working");
  }

  store.on("pointer", pointer);
  for (const kind of ["job", "results", "task", "progress"]) store.on(kind, headlines);
  for (const kind of ["job", "results"]) store.on(kind, pointer);
  store.on("saved", () => say(saved, "Saved"));
  store.on("job", (reply) => reply && say(saved, "Saving"));
  store.on("link", (up) => say(saved, up ? "" : "Not connected"));
  pointer();
  headlines();
}

/** The one line that tells how things stand. */
export function headlineOf(state) {
  const { seen, scale, outlines, pages } = state.results;
  // A stage that failed just now outweighs pages that were laid out before.
  if (pages?.ok && ![seen, scale, outlines].some((result) => result && !result.ok)) return pages.words;
  if (seen && !seen.ok) return seen.error;
  if (!seen) return "Looking at the picture";
  if (!scale) return "Setting the scale";
  if (!scale.ok) return nothingGiven(state.job) || !scale.error ? "Mark one length you know, and the size of everything follows." : scale.error;
  // What was said before the last change is no answer to it.
  if (!outlines || (!outlines.ok && outlines.of < state.revision)) return "Finding the outlines";
  if (!outlines.ok) return outlines.error;
  return pages?.error ?? "Laying out the pages";
}
