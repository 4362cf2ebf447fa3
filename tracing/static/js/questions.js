/** What Enter or a double click asks: the length again, the rectangle's size, the note, a part's name. */

const LENGTHS = { known: ["How long is it from mark to mark?", "36 in"], check: ["How long should this be?", "110 mm"], build: ["How long shall this come out?", "990 mm"] };

/** Ask about a part, or what a mark belongs to; false when there is nothing to ask. */
export async function askAbout({ kind, index }, { store, panels }) {
  const { job } = store.state;
  const ask = (question, example, value, check) => panels.ask({ question, example, value: value ?? "", check });
  if (kind === "known" || kind === "check") {
    const given = (kind === "known" ? job.knowns : job.checks)[index];
    await ask(...LENGTHS[kind], given.text, (text) => store.do({ do: `set_${kind}`, index, text }));
  } else if (kind === "build") {
    const { start, end, text: had } = job.build_length;
    const mark = ({ x_px, y_px, settled }) => ({ x_px, y_px, snap: settled !== "as given" });
    await ask(...LENGTHS.build, had, (text) => store.do({ do: "set_build_length", start: mark(start), end: mark(end), text }));
  } else if (kind === "corner") {
    const { marks, size_text: had } = job.corners;
    const kept = marks.map(({ x_px, y_px, settled }) => ({ x_px, y_px, snap: settled !== "as given" }));
    await ask("How large is the rectangle, width by height?", "420 x 297 mm", had, (text) => store.do({ do: "set_corners", marks: kept, size_text: text }));
  } else if (kind === "measure") {
    await ask("What shall the note say?", "wash out 3 mm at the tip", job.measures[index].note, (note) => store.do({ do: "set_measure", index, note }));
  } else if (kind === "part") {
    const part = store.state.results.outlines?.parts?.[index];
    if (!part) return false;
    await ask(`What is part ${part.number} called?`, "rib 3", part.name, (name) => store.do({ do: "rename", inside_px: part.inside_px, area_px2: part.area_px2, name }));
  } else return false;
  return true;
}
