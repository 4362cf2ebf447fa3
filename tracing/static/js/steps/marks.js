// Marks as commands take them, and lists of lengths that people gave.
import { button, el, say, show } from "../dom.js";
import { textField, tickField } from "../fields.js";
import { isBlamed } from "../words.js";

/** A mark of the job as a command gives it: one that lies on ink may settle there again, one put by hand stays. */
export function givenMark(mark) {
  return { x_px: mark.x_px, y_px: mark.y_px, snap: mark.settled !== "as given" };
}

/** Where a length stands in the picture: its identity in a list, whatever its text becomes. */
export function lengthKey(length) {
  return [length.start, length.end].map((mark) => `${mark.x_px},${mark.y_px}`).join(" ");
}

/** What the calibration says of the nth known distance or check length. */
export function observedOf(state, word, index) {
  const wanted = `${word} ${index + 1}`;
  return state.results.scale?.observed?.find((item) => item.label.toLowerCase() === wanted) ?? null;
}

/** A row for one given length: its text to edit, how it agrees, a bin. `word` is "known distance" or "check length". */
export function lengthRow(bench, { word, kind }) {
  const { store, panels } = bench;
  let at = 0;
  const number = el("span", { class: "number" });
  const text = textField({
    label: "Length", quiet: true, example: "36 in",
    send: (typed) => store.do({ do: `set_${kind}`, index: at, text: typed }),
  });
  const bin = button("", () => panels.attempt(() => store.do({ do: `remove_${kind}`, index: at })), { kind: "bare", iconName: "bin", label: "Take it out" });
  const says = el("p", { class: "says" });
  const paper = tickField({ label: "Measured on the paper, not of the thing", panels, send: (on) => store.do({ do: "set_known", index: at, on_paper: on }) });
  const extra = el("div", { class: "extra" }, paper.node);
  const node = el("li", { class: "item" }, number, text.node, bin, says, extra);
  node.addEventListener("focusin", () => store.select({ kind, index: at }));
  return {
    node,
    update(length, index) {
      at = index;
      const state = store.state;
      const observed = observedOf(state, word, index);
      say(number, String(index + 1));
      text.label(`${word[0].toUpperCase()}${word.slice(1)} ${index + 1}`);
      bin.setAttribute("aria-label", `Take out ${word} ${index + 1}, ${length.text}`);
      text.set(length.text);
      paper.set(length.on_paper);
      // The question arises only where the paper shows the thing at another size.
      show(extra, kind === "known" && (length.on_paper || Boolean(state.job.sheet.drawn_at)));
      // What was said of the job before this change is no answer to it.
      const fresh = store.isFresh("scale");
      const blamed = fresh && isBlamed(state, `${word} ${index + 1}`);
      const loud = blamed || (fresh && Boolean(observed?.loud));
      node.classList.toggle("loud", loud);
      node.classList.toggle("agrees", fresh && Boolean(observed) && !loud);
      says.classList.toggle("loud-text", loud);
      say(says, !fresh ? "Comparing" : observed ? observed.words : blamed ? "Does not agree: see above." : "Not compared: see above.");
      node.classList.toggle("chosen", store.selection?.kind === kind && store.selection.index === index);
    },
  };
}
