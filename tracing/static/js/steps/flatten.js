// Flatten: what tells the plan's true shape (border, corners, straight lines, what is level), and how it then looks.
import { button, el, keyed, say, show } from "../dom.js";
import { findingList, openDialog } from "../dialogs.js";
import { pickField, textField } from "../fields.js";
import { more, plainItem, toolButton } from "../controls.js";
import { givenMark } from "./marks.js";

const BORDER = "drawn border";
// Twice the card's width, for screens with two device px to a CSS px.
const PREVIEW_PX = 720;

const group = "In the step Flatten";

export function flattenStep(bench) {
  const { store, api, panels } = bench;
  const yes = button("Yes, use it", () => panels.attempt(async () => {
    if (store.state.job.ignore.includes(BORDER)) await store.do({ do: "ignore", what: BORDER, on: false });
    store.setStep("scale");
  }), { kind: "primary", name: "use-border" });
  const no = button("No, it is something else", () => panels.attempt(() => store.do({ do: "ignore", what: BORDER, on: true })), { name: "leave-border" });
  const again = button("Use the found border after all", () => panels.attempt(() => store.do({ do: "ignore", what: BORDER, on: false })));
  const border = el("div", { class: "row" }, yes, no, again);

  const cornerTool = toolButton(bench, "Mark four corners", "corner", {}, { kind: "wide", key: "c", group });
  const cornerSize = textField({
    label: "The rectangle’s size, if you know it", example: "420 x 297 mm", hint: "Width, then height, as the plan reads. Leave it empty if you do not know it.",
    send: (text) => store.do({ do: "set_corners", marks: store.state.job.corners.marks.map(givenMark), size_text: text || null }),
  });
  const clear = button("Take the corners away", () => panels.attempt(() => store.do({ do: "clear_corners" })), { kind: "small" });
  const cornerRows = el("div", { class: "stack" }, cornerSize.node, clear);
  const corners = more("Corners of a rectangle", el("p", { class: "hint", text: "A drawn border, a former’s box, the paper itself if nothing better is there. Drag a corner, or nudge it with the arrow keys." }), cornerTool, cornerRows);

  const straightList = el("ul");
  const straights = more("Lines that are straight on the plan",
    el("p", { class: "hint", text: "Each drawn line you mark as straight helps where paper is wavy or a lens bends." }),
    toolButton(bench, "Mark a straight line", "straight", {}, { kind: "wide", key: "s", group }), straightList);
  const fillStraights = keyed(straightList, (item) => JSON.stringify(item), () => plainItem((index) => ({ do: "remove_straight", index }), (index) => `Straight line ${index + 1}`, bench));

  const acrossTool = toolButton(bench, "Mark the line to lay level", "across", {}, { kind: "wide", key: "a", group });
  const clearAcross = button("Take it away", () => panels.attempt(() => store.do({ do: "clear_across" })), { kind: "small" });
  const across = more("The line to lay level", el("p", { class: "hint", text: "A centre line or the border’s lower side: it will run straight across the flat plan and its pages." }), acrossTool, clearAcross);

  const kind = pickField({
    label: "How was the picture made?", panels, send: (value) => store.do({ do: "set_kind", kind: value }),
    options: [{ value: "auto", label: "Let the program tell" }, { value: "photo", label: "A photo" }, { value: "scan", label: "A scan or a copy" }],
  });
  const kindMore = more("Photo or scan", kind.node);

  const image = el("img", { class: "flat", alt: "The plan laid flat, as it will be printed" });
  const large = button("Look at it larger", () => {
    // Its shape is known from the small one, so that the dialog has its size before the picture is there.
    const body = el("img", { class: "flat", alt: "The plan laid flat", width: image.naturalWidth, height: image.naturalHeight, src: api.flatUrl(store.state.revision, 2 * PREVIEW_PX) });
    return openDialog({ title: "The plan, flat", wide: true, body });
  }, { kind: "small" });
  show(large, false);
  const preview = el("figure", { class: "stack" }, image, el("figcaption", { class: "hint", text: "Flat, it should look square: no side leaning, nothing cut off." }), large);
  const findings = el("div");
  const node = el("div", { class: "body" }, border, preview, findings, corners, straights, across, kindMore);
  image.addEventListener("error", () => show(preview, false));
  image.addEventListener("load", () => {
    image.classList.remove("old");
    show(large, true);
  });
  let shown = null;

  return {
    node,
    question(state) {
      const { seen, scale } = state.results;
      const { job } = state;
      if (!seen) return { ask: "Looking at the picture", lead: "The program looks for a drawn border, the paper and what is level. You may go on meanwhile." };
      if (job.corners) return { ask: "Do the four corners sit right?", lead: "Zoom in on each. A tenth of a pixel matters: the arrow keys move a chosen corner by that.", done: true };
      if (seen.border_px && !job.ignore.includes(BORDER)) return { ask: "Is this the plan’s drawn border?", lead: "It lies over the picture. If it is, the plan can be laid flat by it.", done: Boolean(scale?.ok) };
      if (seen.kind === "scan" || seen.kind === "page") return { ask: "Does the plan lie straight?", lead: seen.kind === "page" ? "A page that was drawn is flat already. Mark a line to lay level if it stands askew." : "A scan is flat already. Mark a line to lay level if it went in askew.", done: true };
      return { ask: "Is there a rectangle on the plan that you can trust?", lead: "No border was found. The four corners of any true rectangle take the slant out of the photo." };
    },
    update(state) {
      const { job, results } = state;
      const found = Boolean(results.seen?.border_px) && !job.corners;
      const ignored = job.ignore.includes(BORDER);
      show(border, found);
      show(yes, !ignored);
      show(no, !ignored);
      show(again, ignored);
      if (results.seen && !results.seen.border_px && !job.corners && results.seen.kind === "photo") corners.open = true;
      cornerTool.classList.toggle("primary", !job.corners && (!found || ignored) && results.seen?.kind === "photo");
      show(cornerRows, Boolean(job.corners));
      cornerSize.set(job.corners?.size_text ?? "");
      fillStraights(job.straights ?? []);
      show(clearAcross, Boolean(job.across));
      say(acrossTool.lastElementChild, job.across ? "Mark another line to lay level" : "Mark the line to lay level");
      kind.set(job.sheet.kind);
      findings.replaceChildren(findingList(results.seen?.findings ?? []));
      show(findings, (results.seen?.findings ?? []).length > 0);
      const flat = results.scale?.ok ? results.scale.since : null;
      if (flat === null) show(preview, false);
      else if (flat !== shown) {
        show(preview, true);
        image.classList.add("old");
        image.src = api.flatUrl(state.revision, PREVIEW_PX);
      }
      shown = flat;
    },
    enter() {
      panels.hints.offer("flatten", "Any mark can be dragged; a magnifier shows where it goes. Arrow keys move it by a tenth of a pixel.");
    },
  };
}
