// Measure: lengths, angles, areas, radii and notes that stay in the job.
import { button, el, keyed, say, show } from "../dom.js";
import { textField } from "../fields.js";
import { toolButton } from "../controls.js";

const KEYS = { length: "l", angle: "a", area: "s", radius: "r", note: "m" };
const WORDS = { length: "Length", angle: "Angle", area: "Area", radius: "Radius", note: "Note" };

export function measureStep(bench) {
  const { store } = bench;
  const tools = el("div", { class: "tools" }, ["length", "angle", "area", "radius", "note"].map((kind) =>
    toolButton(bench, WORDS[kind], "measure", { kind }, { iconName: kind === "note" ? "pen" : kind, key: KEYS[kind], group: "In the step Measure" })));
  const list = el("ul", { class: "given" });
  const fill = keyed(list, (item) => `${item.kind} ${item.marks.map((mark) => `${mark.x_px},${mark.y_px}`).join(" ")}`, () => measureRow(bench));
  const none = el("p", { class: "quiet-text", text: "Nothing measured yet. What you measure stays in the job and moves nothing." });
  const notes = textField({ label: "Notes on the whole job", multiline: true, most: 10000, example: "wood, glue, what to change", send: (text) => store.do({ do: "set_notes", text }) });
  const node = el("div", { class: "body" }, tools, none, list, notes.node);
  return {
    node,
    question: (state) => ({
      ask: "What would you like to measure?",
      lead: state.results.scale?.ok ? "Figures come at full size and at build size, with their give or take. You may also go straight on." : "Figures come once the scale is set.",
      done: true,
    }),
    update(state) {
      const measures = state.job.measures ?? [];
      fill(measures);
      show(none, measures.length === 0);
      notes.set(state.job.notes);
    },
    select: () => fill(store.state.job.measures ?? []),
  };
}

function measureRow(bench) {
  const { store, api, panels } = bench;
  let at = 0;
  let asked = "";
  const number = el("span", { class: "number" });
  const says = el("p", { class: "says" });
  const note = textField({ label: "Note", quiet: true, example: "what it is", send: (text) => store.do({ do: "set_measure", index: at, note: text }) });
  const bin = button("", () => panels.attempt(() => store.do({ do: "remove_measure", index: at })), { kind: "bare", iconName: "bin", label: "Take it out" });
  const node = el("li", { class: "item" }, number, note.node, bin, says);
  node.addEventListener("focusin", () => store.select({ kind: "measure", index: at }));

  async function measure(item, token) {
    try {
      const said = await api.measure(item.kind, item.marks.map((mark) => [mark.x_px, mark.y_px]));
      if (asked === token) say(says, `${WORDS[item.kind]}: ${said.words}`);
    } catch (error) {
      if (asked !== token) return;
      say(says, error.message);
      asked = ""; // asked again with the next result
    }
  }

  return {
    node,
    update(item, index) {
      at = index;
      say(number, String(index + 1));
      note.label(`Note on ${WORDS[item.kind].toLowerCase()} ${index + 1}`);
      bin.setAttribute("aria-label", `Take out ${WORDS[item.kind].toLowerCase()} ${index + 1}`);
      note.set(item.note);
      node.classList.toggle("chosen", store.selection?.kind === "measure" && store.selection.index === index);
      if (item.kind === "note") return say(says, "Note");
      // The figure belongs to the scale and to the build size; it is asked for again when either changes.
      const { scale } = store.state.results;
      const token = JSON.stringify([item.kind, item.marks, scale?.since, store.state.job.fraction, store.state.job.build_length]);
      if (token === asked) return undefined;
      asked = token;
      if (scale?.ok) measure(item, token);
      else say(says, `${WORDS[item.kind]}: once the scale is set.`);
      return undefined;
    },
  };
}
