// The page's beginning: makes store, panels, steps and picture, and keeps them together.
import { mountCard } from "./card.js";
import { makeAsk, makeNotices, openDialog } from "./dialogs.js";
import { button, say, show } from "./dom.js";
import { mountHead } from "./head.js";
import { makeHints, makePrefs } from "./hints.js";
import { makeKeys } from "./keys.js";
import { mountReadout } from "./readout.js";
import { connect, NoAnswer } from "./server.js";
import { makeStore } from "./store.js";
import { mountWelcome, watchDrops } from "./welcome.js";
import { makeTheme } from "./theme.js";
import { mountCanvas } from "./canvas.js";
import { STEPS } from "./words.js";

// A short break heals itself, with nobody told; a longer one is said.
const LINK_PATIENCE_MS = 800;

const $ = (id) => document.getElementById(id);

const api = connect();
const store = makeStore(api);
const prefs = makePrefs();
const theme = makeTheme(prefs);
const keys = makeKeys(prefs, { extras: () => [button("Show the hints once more", () => hints.again(), { kind: "quiet" })] });
const hints = makeHints(prefs);
const notices = makeNotices($("notices"));

/** What the picture area may use of the page around it. */
const panels = {
  ask: null, // Filled in once the card is there.
  say: notices.say,
  announce: (text) => {
    $("told").textContent = "";
    requestAnimationFrame(() => say($("told"), text));
  },
  dialog: openDialog,
  keys,
  hints,
  /** Run something that the program may refuse; its sentence is shown. Gives true when it was done. */
  async attempt(work) {
    try {
      await work();
      return true;
    } catch (error) {
      if (error.name !== "AbortError") notices.say(error.message, { loud: true, id: error instanceof NoAnswer ? "link" : null });
      return false;
    }
  },
};

const bench = { store, api, panels, prefs, canvas: null, desk: null, open: openPlan, leave: showWelcome, back: () => arrange(true) };
const card = mountCard($("card"), bench);
panels.ask = card.ask;
mountHead($("head"), bench, { theme });
mountReadout($("strip"), store, api, () => bench.canvas?.view.fit());
const welcome = mountWelcome($("welcome"), bench);
watchDrops(document, bench);

/** Open a plan: `how()` asks the program and gives {key}; then everything follows it. */
async function openPlan(how) {
  const { key } = await how();
  await follow(key);
}

async function follow(key) {
  // The picture is fitted to its place when it is laid, so the place comes first.
  arrange(true);
  try {
    await store.follow(key);
  } catch (error) {
    arrange(false);
    throw error;
  }
  store.setTool("pan");
  document.title = `${store.state.name}: Scantling`;
  // Whoever comes back goes on where the scale is; whoever begins looks at the picture first.
  store.step = store.state.job.knowns.length ? "scale" : "open";
  store.emit("step", store.step);
  layPicture();
  if (store.state.opening_note) notices.say(store.state.opening_note, { stay: true });
  panels.announce(`${store.state.name} is open.`);
}

let mounted = null;

/** Lay the picture on the bench once it can be shown, and anew when it is another one. */
function layPicture() {
  const { state } = store;
  if (!card.isFilled()) return;
  const which = state?.tiles.ready ? `${state.key} ${state.tiles.of ?? state.source.page}` : null;
  if (which === mounted && which !== null) return;
  mounted = which;
  const place = $("canvas").cloneNode(false);
  $("canvas").replaceWith(place);
  bench.canvas = which ? mountCanvas(place, store, api, panels) : null;
  if (bench.canvas || !state) return;
  const line = document.createElement("p");
  line.className = "reading";
  line.textContent = state.results.seen?.error ? "The picture cannot be shown." : "Reading the picture";
  place.append(line);
}
store.on("picture", layPicture);
store.on("results", (stage) => stage === "seen" && layPicture());
async function showWelcome() {
  bench.desk = await api.desk();
  welcome.fill(bench.desk);
  hints.clear();
  document.title = "Scantling";
  arrange(false);
}

function arrange(open) {
  show($("welcome"), !open);
  show($("card"), open);
  show($("stage"), open);
}

store.on("link", (up) => {
  if (up) {
    notices.take("link");
    notices.say("The program answers again. Everything up to here is kept.");
  } else {
    notices.say("The program does not answer. What you see is as it was last kept; the page goes on by itself as soon as the program is back.", { loud: true, id: "link" });
  }
});
// A stream that breaks may only be the job being closed for another; the program is asked before anything is said.
let asking = false;
api.onLink = async (up) => {
  if (up) return store.setLinked(true);
  if (asking || !store.linked) return undefined;
  asking = true;
  try {
    await new Promise((resolve) => setTimeout(resolve, LINK_PATIENCE_MS));
    if (store.state) await store.refresh();
    else await api.desk();
  } catch (error) {
    if (error instanceof NoAnswer) store.setLinked(false);
  } finally {
    asking = false;
  }
  return undefined;
};

store.on("gone", (sentence) => {
  notices.say(sentence, { loud: true, id: "gone", choices: [{ label: "Show what is open now", run: () => location.reload() }] });
});

let deciding = false;
store.on("conflict", async (conflict) => {
  if (!conflict || deciding) return;
  if (conflict.kind === "unsaved") {
    notices.say(conflict.text, { loud: true, id: "unsaved" });
    return;
  }
  deciding = true;
  let settledElsewhere = null;
  const body = document.createElement("div");
  body.className = "stack";
  for (const text of [conflict.text, "Nothing has been overwritten. Which of the two shall count from here on?"]) {
    const line = document.createElement("p");
    line.textContent = text;
    body.append(line);
  }
  const keep = await openDialog({
    title: "The job file was changed outside this page", body, must: true,
    onOpen: (close) => {
      settledElsewhere = store.on("job", () => store.state?.conflict === null && close());
    },
    choices: [
      { value: "theirs", label: "Take the changed file (undo begins anew)" },
      { value: "mine", label: "Keep mine (the other stays beside it)", kind: "primary" },
    ],
  });
  deciding = false;
  settledElsewhere();
  if (keep) await panels.attempt(() => store.keep(keep));
});

const running = () => Boolean(store.state);
keys.add(
  { keys: ["ctrl+z"], words: "Undo", group: "Anywhere", when: running, run: () => panels.attempt(store.undo) },
  { keys: ["ctrl+shift+z", "ctrl+y"], words: "Redo", group: "Anywhere", when: running, run: () => panels.attempt(store.redo) },
  { keys: ["?"], words: "Show this list", group: "Anywhere", run: () => keys.show() },
  { keys: ["escape"], words: "Put the tool away, or what is typed", group: "Anywhere", when: () => running() && store.tool !== "pan", run: () => store.setTool("pan") },
  { keys: ["q"], words: "Go to the question in the card", group: "Anywhere", when: running, run: () => card.focus() },
  { keys: ["w"], words: "Go to the picture", group: "Anywhere", when: running, run: () => focusPicture() },
  ...STEPS.map((step, index) => ({
    keys: [String(index + 1)], words: step.title, group: "Steps", when: running, run: () => store.setStep(step.name),
  })),
);
document.addEventListener("keydown", (event) => keys.press(event));

function focusPicture() {
  const place = $("canvas");
  const first = place.matches("[tabindex]") ? place : place.querySelector("[tabindex='0'], button");
  first?.focus();
}

try {
  bench.desk = await api.desk();
  if (bench.desk.open) await follow(bench.desk.open);
  else await showWelcome();
} catch (error) {
  notices.say(error.message, { loud: true, id: "link" });
}
