// Set the scale: what is known for certain, how far each length is off, and the cheapest remedy.
import { el, keyed, say, show } from "../dom.js";
import { findingList } from "../dialogs.js";
import { textField, tickField } from "../fields.js";
import { more, toolButton } from "../controls.js";
import { give, mm, nothingGiven, off } from "../words.js";
import { lengthKey, lengthRow } from "./marks.js";

const group = "In the step Set the scale";

export function scaleStep(bench) {
  const { store, panels } = bench;
  const add = toolButton(bench, "Mark a length I know", "mark", { for: "known", on_paper: false }, { kind: "wide", iconName: "length", key: "l", group });
  const knownList = el("ul", { class: "given" });
  const fillKnowns = keyed(knownList, lengthKey, () => lengthRow(bench, { word: "known distance", kind: "known" }));
  const verdict = el("div", { class: "sum" });
  const verdictWords = el("p");
  verdict.append(verdictWords);
  const findings = el("div");
  const notes = el("div");

  const checkList = el("ul", { class: "given" });
  const fillChecks = keyed(checkList, lengthKey, () => lengthRow(bench, { word: "check length", kind: "check" }));
  const checks = more("Compare a length, without using it", el("p", { class: "hint", text: "Something you would like to hold against the result. It never moves the scale." }),
    toolButton(bench, "Mark a length to compare", "mark", { for: "check" }, { kind: "wide", iconName: "length", key: "c", group }), checkList);

  const drawnAt = textField({
    label: "The plan is drawn at", example: "1/4", hint: "Paper size to full size, as the plan says it: 1/4, 1:4, 25 %.",
    send: (text) => store.do({ do: "set_drawn_at", text: text || null }),
  });
  const paper = more("I know a length on the paper",
    el("p", { class: "hint", text: "When you measured the paper itself, the program also needs the scale it is drawn at." }), drawnAt.node,
    toolButton(bench, "Mark a length on the paper", "mark", { for: "known", on_paper: true }, { kind: "wide", iconName: "length", key: "p", group }));

  const bar = textField({
    label: "The cards’ long bar measures", example: "199.4 mm", hint: "On the sheet the cards were cut from, by a good rule: a printer is often 0.5 % off. Both bars, when you measured both: 199.4 x 149.7 mm.",
    send: (text) => store.do({ do: "set_card_bar", text: text || null }),
  });
  const cards = more("Cards lie on the plan", bar.node);

  const trust = tickField({ label: "Trust the size the file gives", panels, send: (on) => store.do({ do: "set_trust_size", on }) });
  const trustHint = el("p", { class: "hint" });
  const dpi = textField({
    label: "The scanner’s resolution", example: "300", mode: "decimal", hint: "In dots per inch. Empty when you do not know it.",
    send: async (text) => store.do({ do: "set_dpi", value: text === "" ? null : asNumber(text) }),
  });
  const scanner = more("It is a scan: take the scanner’s word", trust.node, trustHint, dpi.node);

  const rows = el("tbody");
  const table = more("Everything the scale rests on", el("div", { class: "scroll-x", tabindex: "0", role: "group", "aria-label": "Table of lengths" }, el("table", {},
    el("caption", { text: "At full size" }),
    el("thead", {}, el("tr", {}, ["What", "Given", "Off by", "Give or take"].map((text) => el("th", { scope: "col", text })))), rows)));
  const node = el("div", { class: "body scale" }, findings, cards, add, knownList, verdict, notes, checks, paper, scanner, table);

  return {
    node,
    question(state) {
      const { scale } = state.results;
      const { knowns } = state.job;
      if (knowns.length > 0 && !store.isFresh("scale")) return { ask: "Comparing what you know", lead: "How well the lengths agree shows in a moment." };
      if (scale && !scale.ok && !nothingGiven(state.job)) return { ask: "The scale cannot be set. What is wrong?", lead: "Nothing is drawn or printed until this is settled." };
      if (knowns.length === 0 && cardsAsTaken(scale)) return { ask: "How large were the cards printed?", lead: "Measure the long bar on the sheet they were cut from. Until then every length may be some 2 % off." };
      if (knowns.length === 0 && scale?.ok) return { ask: "Do you know a length for certain?", lead: `The size now comes from the ${state.job.card_bar ? "cards" : "file"} alone. One known length proves it.`, done: scale.settled };
      if (scale?.ok && !scale.settled) return { ask: "Something does not agree. Which is wrong?", lead: "Look first at what is marked loud: its marks, its figure, its unit." };
      if (knowns.length === 0) return { ask: "What do you know for certain?", lead: "The span, a printed measure, a rule laid on the plan. The longer the better." };
      if (knowns.length === 1) return { ask: "Does a second length agree?", lead: "One that runs the other way shows whether the copy was stretched. Each shows at once how well it agrees.", done: Boolean(scale?.ok) };
      return { ask: "Do they all agree?", lead: "Off by less than the give or take is as good as it gets.", done: Boolean(scale?.ok) };
    },
    update(state) {
      const { job, results, source } = state;
      const { scale } = results;
      add.classList.toggle("primary", job.knowns.length === 0);
      say(add.lastElementChild, job.knowns.length === 0 ? "Mark a length I know" : "Mark another length");
      fillKnowns(job.knowns);
      show(knownList, job.knowns.length > 0);
      fillChecks(job.checks);
      if (job.checks.length) checks.open = true;
      drawnAt.set(job.sheet.drawn_at ?? "");
      if (job.sheet.drawn_at) paper.open = true;
      bar.set(job.card_bar ?? "");
      // Only cards that were found have a bar to ask for; a bar without any can be taken back.
      show(cards, Boolean(job.card_bar) || (scale?.findings ?? []).some((finding) => finding.code.startsWith("cards-")));
      if (job.card_bar || cardsAsTaken(scale)) cards.open = true;
      trust.set(job.sheet.trust_size);
      say(trustHint, source.medium === "pdf page" ? "The page says how large it is; whoever made the file may have shrunk it." : source.tag_dpi ? `The file says ${Number(source.tag_dpi).toFixed(0)} dots per inch. A photo’s figure means nothing.` : "This file gives no size.");
      dpi.set(job.sheet.dpi === null ? "" : String(job.sheet.dpi));
      const onTrust = (scale?.findings ?? []).some((finding) => finding.code === "page-size-taken");
      if (job.sheet.trust_size || job.sheet.dpi !== null || onTrust) scanner.open = true;
      // The scanner's figure is of no use where the page is drawn, and a drawn page states its size.
      show(dpi.node, source.medium !== "pdf page");
      say(verdictWords, scale?.ok ? scale.words : nothingGiven(job) || scale?.error ? "" : "Working it out");
      show(verdict, Boolean(verdictWords.textContent));
      // What must be decided comes before everything else; what is worth knowing comes after the lengths.
      const failed = scale && !scale.ok && !nothingGiven(job) ? [{ code: "no-scale", level: "decide", about: "what you gave", text: scale.error }] : [];
      const found = [...failed, ...(scale?.findings ?? [])];
      for (const [place, level] of [[findings, "decide"], [notes, "note"]]) {
        const here = found.filter((finding) => (finding.level === "decide") === (level === "decide"));
        place.replaceChildren(findingList(here));
        show(place, here.length > 0);
      }
      node.classList.toggle("unsettled", failed.length > 0 || Boolean(scale?.ok && !scale.settled));
      const observed = scale?.observed ?? [];
      show(table, observed.length > 0);
      rows.replaceChildren(...observed.map((item) => el("tr", { class: item.loud ? "loud" : "" },
        el("th", { scope: "row" }, item.label, item.used ? null : el("small", { text: ", not used" })),
        el("td", { text: item.given_text || mm(item.given_mm) }), el("td", { text: off(item.residual_mm) }), el("td", { text: give(item.u95_mm) }))));
      if (job.knowns.length) panels.hints.done("scale");
    },
    select() {
      fillKnowns(store.state.job.knowns);
      fillChecks(store.state.job.checks);
    },
    enter() {
      if (store.state.job.knowns.length === 0) panels.hints.offer("scale", "Lengths are typed as you would say them: 36 in, 7-1/2\", 2' 6\", 190.5 mm.");
    },
  };
}

function cardsAsTaken(scale) {
  return (scale?.findings ?? []).some((finding) => finding.code === "cards-size-taken");
}

function asNumber(text) {
  const value = Number(text.replace(",", "."));
  if (Number.isFinite(value)) return value;
  throw new Error(`“${text}” is no number; the scanner’s dots per inch were needed: write them as 300.`);
}
