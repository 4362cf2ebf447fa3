// Questions: small ones in the card beside the picture, and the few that are worth covering it.
import { button, el, icon, say, show } from "./dom.js";

/** Make the in-card question. `place` is the card's top; the picture stays usable while it is open. */
export function makeAsk(place) {
  let open = null;

  /**
   * Ask for a line of text. `check(text)` may give (or promise) a sentence that says what is wrong, or throw one; the
   * question then stays, with what was typed. Resolves to the text, or null when it is put away.
   */
  function ask({ question, example = "", hint = "", value = "", check = () => null, yes = "OK", no = "Never mind" }) {
    open?.(null);
    return new Promise((resolve) => {
      const before = document.activeElement;
      const input = el("input", {
        type: "text", class: "input big", id: "ask-text", value, placeholder: example, autocomplete: "off", spellcheck: "false",
        autocapitalize: "off", maxlength: "200", "aria-describedby": "ask-hint ask-wrong",
      });
      const wrong = el("p", { class: "wrong", id: "ask-wrong", role: "alert" });
      const form = el("form", { class: "ask", "aria-label": question },
        el("label", { for: "ask-text", class: "ask-question", text: question }), input,
        el("p", { class: "hint", id: "ask-hint", text: hint || (example ? `For example ${example}` : "") }), wrong,
        el("div", { class: "row" }, el("button", { type: "submit", class: "button primary", text: yes }), button(no, () => finish(null))));
      const finish = (text) => {
        if (open !== finish) return;
        open = null;
        form.remove();
        place.classList.remove("asking");
        if (before?.isConnected) before.focus({ preventScroll: true });
        resolve(text);
      };
      open = finish;
      let busy = false;
      form.addEventListener("submit", async (event) => {
        event.preventDefault();
        const text = input.value.trim();
        if (busy || !text) return;
        busy = true;
        let sentence;
        try {
          sentence = await check(text);
        } catch (error) {
          sentence = error.message;
        }
        busy = false;
        if (typeof sentence === "string" && sentence) {
          say(wrong, sentence);
          input.setAttribute("aria-invalid", "true");
          input.select();
        } else finish(text);
      });
      form.addEventListener("keydown", (event) => {
        if (event.key !== "Escape") return;
        event.stopPropagation();
        finish(null);
      });
      place.prepend(form);
      place.classList.add("asking");
      place.scrollTop = 0;
      input.focus();
    });
  }

  return { ask, put: () => open?.(null), isOpen: () => open !== null };
}

/** Open a dialog over everything; resolves to the value of the button that closed it (null: Escape). */
export function openDialog({ title, body, choices = [{ value: null, label: "Close", kind: "primary" }], wide = false, must = false, onOpen = () => {} }) {
  return new Promise((resolve) => {
    const dialog = el("dialog", { class: wide ? "dialog wide" : "dialog", "aria-labelledby": "dialog-title" });
    let answer = null;
    const row = el("div", { class: "row end" }, choices.map((choice) => button(choice.label, () => {
      answer = choice.value;
      dialog.close();
    }, { kind: choice.kind ?? "plain" })));
    dialog.append(
      el("div", { class: "dialog-head" }, el("h2", { id: "dialog-title", text: title }),
        must ? null : button("", () => dialog.close(), { kind: "bare", iconName: "close", label: "Close" })),
      el("div", { class: "dialog-body" }, body), row);
    if (must) dialog.addEventListener("cancel", (event) => event.preventDefault());
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(answer);
    });
    if (!must) dialog.addEventListener("click", (event) => event.target === dialog && dialog.close());
    document.body.append(dialog);
    dialog.showModal();
    onOpen(() => dialog.close());
    const scrolls = dialog.querySelector(".dialog-body");
    if (scrolls.scrollHeight > scrolls.clientHeight) scrolls.tabIndex = 0;
  });
}

/** Short notices over the picture: loud ones stay until they are put away. */
export function makeNotices(place) {
  // Long enough to read a sentence of 25 words at an unhurried 4 words a second.
  const SHOWN_MS = 7000;

  function sayNotice(text, { loud = false, stay = loud, id = null, choices = [] } = {}) {
    if (id) place.querySelector(`[data-id="${CSS.escape(id)}"]`)?.remove();
    for (const other of [...place.children]) if (other.dataset.text === text) other.remove();
    const notice = el("div", { class: loud ? "notice loud" : "notice", role: loud ? "alert" : "status", "data-id": id, "data-text": text },
      icon(loud ? "stop" : "note"), el("p", { text }));
    for (const choice of choices) notice.append(button(choice.label, async () => {
      notice.remove();
      await choice.run();
    }));
    notice.append(button("", () => notice.remove(), { kind: "bare", iconName: "close", label: "Put this away" }));
    place.append(notice);
    while (place.children.length > 3) place.firstElementChild.remove();
    if (!stay) setTimeout(() => notice.remove(), SHOWN_MS);
    return () => notice.remove();
  }

  return { say: sayNotice, take: (id) => place.querySelector(`[data-id="${CSS.escape(id)}"]`)?.remove() };
}

const GUIDE = [
  ["guide-flat", "Lay it flat", "On a table or the floor. Press out the folds; weigh down the corners, beside the drawing."],
  ["guide-back", "Step back, then zoom in", "Stand two or three metres away and zoom until the plan fills half the picture. From close by, a lens bends straight lines."],
  ["guide-light", "Even light", "By a window on a dull day. No flash, no lamp from one side, and your shadow off the paper."],
  ["guide-whole", "The whole of it, and one length", "All four sides of the frame drawn round the plan, and something of known length: a printed measure, or a steel rule laid on it."],
  ["guide-scan", "Or scan it", "A scan is better still, at 300 dots to the inch (dpi), as a picture or a PDF."],
];

/** The one-screen guide to taking the photo. */
export function photoGuide() {
  return el("ul", { class: "guide" }, GUIDE.map(([name, title, text]) =>
    el("li", {}, icon(name, { className: "pictogram" }), el("div", {}, el("h3", { text: title }), el("p", { text })))));
}

/** Show a node only while there is something to show. */
export function findingList(findings) {
  const list = el("ul", { class: "findings" });
  for (const finding of findings) {
    const about = finding.about ? finding.about[0].toUpperCase() + finding.about.slice(1) : "";
    list.append(el("li", { class: finding.level === "decide" ? "decide" : "" },
      el("b", { text: finding.level === "decide" ? `To decide: ${about}` : about }), el("span", { text: finding.text })));
  }
  show(list, findings.length > 0);
  return list;
}
