// The page's own words: steps, tools, files. What depends on the job comes from the program, in its sentences.
import { same } from "./same.js";

export const STEPS = [
  { name: "open", title: "Open" },
  { name: "flatten", title: "Flatten" },
  { name: "scale", title: "Set the scale" },
  { name: "outlines", title: "Outlines" },
  { name: "measure", title: "Measure" },
  { name: "size", title: "Size and pages" },
  { name: "export", title: "Export" },
];

/** What a tool waits for, said while it is in the hand. */
export function toolWords(tool, options = {}) {
  switch (tool) {
    case "mark":
      return {
        known: "Click one end of the length you know, then its other end. Zoom in first: a mark goes to the crossing, corner or line end beside it.",
        check: "Click one end of the length to compare, then its other end.",
        build: "Click one end of what shall come out at a size you choose, then its other end.",
      }[options.for] ?? "Click one end, then the other.";
    case "corner":
      return "Click four corners of one rectangle: upper left first, then clockwise as the plan reads.";
    case "straight":
      return "Click both ends of a drawn line that is straight on the plan.";
    case "across":
      return "Click the left end of a line that runs level on the plan, then its right end.";
    case "trace":
      return "Click along a drawn line; the path follows its middle. Enter places it, Backspace takes the last click back.";
    case "straightline":
      return options.why === "close" ? "Click one end of the gap, then the other." : options.why === "split" ? "Click both ends of the cut, on the outline." : "Click where the line begins, then where it ends. Enter places it.";
    case "curve":
      return "Click points along the curve. Enter places it, Backspace takes the last one back.";
    case "choose":
      return "Click an outline to take it or to leave it out.";
    case "rub":
      return options.why === "join" ? "Click the line that two outlines share: it is rubbed out, and they become one. Or draw over it." : "Draw over the lines that shall not count.";
    case "region":
      return options.keep === "out" ? "Click round what shall be left out. Enter closes it." : "Click round what shall count; everything else is left out. Enter closes it.";
    case "measure":
      return {
        length: "Click two points.",
        angle: "Click a point on one arm, the corner, then a point on the other arm.",
        area: "Click inside an outline, or round what you want measured; Enter closes it.",
        radius: "Click three points on the arc, well apart.",
        note: "Click where the note belongs.",
      }[options.kind] ?? "Click the points to measure.";
    case "grid":
      return "Drag the pages over the plan; arrow keys move them 1 mm.";
    default:
      return "";
  }
}

/** What each written file is for. */
export const FILES = {
  "report.html": "Read this first: what came out, how sure it is, what to check",
  "pages.pdf": "The page plan and the sheets to print",
  "outlines.svg": "Outlines in millimetres, for a cutter or a drawing program",
  "outlines.dxf": "The same outlines for drawing programs that read DXF",
  "outlines_arcs.dxf": "The same outlines in straight lines and arcs, for cutters",
  "flat.png": "The plan at its true shape, to look at",
  "report.json": "The report's figures, for other programs",
  "job.toml": "Everything you decided; it makes all of this again",
};

/** Papers offered by name; any other size can be typed. */
export const PAPERS = ["A4", "A3", "A2", "A1", "A0", "A5", "Letter", "Legal", "Tabloid", "ANSI-C", "ANSI-D", "ANSI-E"];

export const FRACTIONS = ["1", "3/4", "2/3", "1/2", "1/3", "1/4"];

/** A length in mm as people read it: figures that can be told on a rule, no more. */
export function mm(value) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "";
  const digits = Math.abs(value) >= 1000 ? 0 : Math.abs(value) >= 0.095 ? 1 : 2;
  return `${value.toFixed(digits)} mm`;
}

/** A give or take as the report says it: rounded up, so that it never promises too much. */
export function give(u95) {
  if (u95 === null || u95 === undefined || !Number.isFinite(u95)) return "unknown";
  const digits = u95 >= 10 ? 0 : u95 >= 0.1 ? 1 : 2;
  // A hair is taken off first, or 0.3 held as 0.30000000000000004 would be said as 0.4.
  return `${(Math.ceil(u95 * 10 ** digits - 1e-9) / 10 ** digits).toFixed(digits)} mm`;
}

/** How far something is off, with its sign, as the report says it. */
export function off(residual) {
  if (!Number.isFinite(residual)) return "";
  const text = Math.abs(residual).toFixed(Math.abs(residual) < 1 ? 2 : 1);
  return `${Number(text) === 0 ? "" : residual > 0 ? "+" : "−"}${text} mm`;
}

/** Whether nothing at all was said yet that could tell the scale. */
export function nothingGiven(job) {
  return job.knowns.length === 0 && !job.sheet.trust_size && job.sheet.dpi === null && !job.corners?.size_text;
}

/** Whether a scale that cannot be set is put down to this length ("known distance 3"): its sentence names the suspects. */
export function isBlamed(state, label) {
  const { scale } = state.results;
  return scale?.ok === false && new RegExp(`\\b${label}\\b`, "i").test(scale.error ?? "");
}

/** "1 sheet", "12 sheets". */
export function counted(n, word) {
  return `${n} ${word}${n === 1 ? "" : "s"}`;
}

/** How long ago, in the roughest words that help to tell jobs apart. `when` is seconds since 1970 or an ISO date. */
export function ago(when, now = Date.now()) {
  const then = typeof when === "number" ? when * 1000 : Date.parse(when);
  if (!Number.isFinite(then)) return "";
  const minutes = Math.round((now - then) / 60000);
  if (minutes < 2) return "just now";
  if (minutes < 90) return `${minutes} minutes ago`;
  const hours = Math.round(minutes / 60);
  if (hours < 36) return counted(hours, "hour") + " ago";
  const days = Math.round(hours / 24);
  if (days < 60) return counted(days, "day") + " ago";
  return new Date(then).toISOString().slice(0, 10);
}

/** The findings of all stages, what must be decided first. */
export function allFindings(results) {
  const found = ["seen", "scale", "outlines", "pages"].flatMap((stage) => results?.[stage]?.findings ?? []);
  const once = new Map(found.map((finding) => [`${finding.code}|${finding.about}|${finding.text}`, finding]));
  return [...once.values()].sort((a, b) => (b.level === "decide") - (a.level === "decide"));
}

/** Which steps are done, from what the job and its results say; nothing is ticked for having been visited. */
export function doneSteps(state) {
  const done = new Set();
  if (!state) return done;
  const { job, results } = state;
  done.add("open");
  const border = results.seen?.ok && results.seen.border_px && !job.ignore.includes("drawn border");
  const flatKind = results.scale?.ok && results.scale.kind !== "photo";
  if (border || job.corners || flatKind) done.add("flatten");
  if (results.scale?.ok && results.scale.settled) done.add("scale");
  if (results.outlines?.ok && results.outlines.parts.length > 0) done.add("outlines");
  if ((job.measures ?? []).length > 0) done.add("measure");
  if (done.has("scale") && results.pages?.ok) done.add("size");
  if (state.tasks.some((task) => task.kind === "export" && task.state === "done" && filesAreOf(task, job) === true)) done.add("export");
  return done;
}

/** Whether an export's files are those of the job as it stands: true, false, or null when the page does not know. */
export function filesAreOf(task, job) {
  if (!task.job) return null;
  // Notes and kept measures change no file but job.toml, which is always written.
  const made = ({ notes: _notes, measures: _measures, ...rest }) => rest;
  return same(made(task.job), made(job));
}
