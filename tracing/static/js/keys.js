// The keyboard: one list of what each key does, and the screen that shows it.
import { el } from "./dom.js";
import { openDialog } from "./dialogs.js";

/** Say whether somebody is typing, so that letters are letters. */
export function isTyping(target) {
  if (!target?.closest) return false;
  return Boolean(target.closest("input:not([type=checkbox], [type=radio], [type=button]), textarea, select, [contenteditable]"));
}

/** Write a key press the way the list does: "ctrl+shift+z", "?", "1", "escape". */
export function keyName(event) {
  const key = event.key.toLowerCase();
  const parts = [];
  if (event.ctrlKey || event.metaKey) parts.push("ctrl");
  if (event.altKey) parts.push("alt");
  // Shift is part of a sign such as "?"; it counts beside letters and named keys only.
  if (event.shiftKey && (key.length > 1 || /[a-z]/.test(key))) parts.push("shift");
  parts.push(key === " " ? "space" : key);
  return parts.join("+");
}

/** Make the key map. `prefs` keeps whether single letters work (WCAG 2.1.4 asks for the choice); `extras` go below the list. */
export function makeKeys(prefs, { extras = () => [] } = {}) {
  const all = [];

  const keys = {
    /** Add {keys: ["ctrl+z"], words, group, run, when?}; entries without `run` are only shown (the canvas answers them). */
    add(...entries) {
      all.push(...entries);
      return () => entries.forEach((entry) => all.splice(all.indexOf(entry), 1));
    },

    list: () => [...all],

    /** Answer a key press; true when it was ours. */
    press(event) {
      if (event.defaultPrevented || document.querySelector("dialog[open]")) return false;
      const name = keyName(event);
      const single = !name.includes("+") && name.length === 1;
      // While somebody types, Ctrl+Z undoes their typing, not the job.
      if (isTyping(event.target)) return false;
      if (single && name !== "?" && prefs.get("letters") === "off") return false;
      const entry = all.find((item) => item.run && item.keys.includes(name) && (!item.when || item.when()));
      if (!entry) return false;
      event.preventDefault();
      entry.run(event);
      return true;
    },

    /** Show the map. */
    show() {
      const groups = new Map();
      // A step made anew for another job has told its keys once more.
      const shownOnce = new Map(all.map((entry) => [`${entry.group}|${entry.keys}|${entry.words}`, entry]));
      for (const entry of shownOnce.values()) groups.set(entry.group, [...(groups.get(entry.group) ?? []), entry]);
      const body = el("div", { class: "keymap" });
      for (const [group, entries] of groups) {
        body.append(el("section", {}, el("h3", { text: group }), el("dl", {}, entries.flatMap((entry) => [
          el("dt", {}, entry.keys.map((name) => el("kbd", { text: shown(name) }))), el("dd", { text: entry.words }),
        ]))));
      }
      const letters = el("input", { type: "checkbox", id: "letters", checked: prefs.get("letters") !== "off" });
      letters.addEventListener("change", () => prefs.set("letters", letters.checked ? "on" : "off"));
      body.append(el("label", { class: "tick", for: "letters" }, letters, el("span", { text: "Single letters and figures work as keys" })), ...extras());
      return openDialog({ title: "What the keys do", body, wide: true });
    },
  };
  return keys;
}

const NAMES = { ctrl: "Ctrl", shift: "Shift", alt: "Alt", escape: "Esc", enter: "Enter", backspace: "Backspace", delete: "Del", space: "Space", arrowup: "↑", arrowdown: "↓", arrowleft: "←", arrowright: "→", tab: "Tab" };

function shown(name) {
  if (name === "+") return name;
  if (name.endsWith("+")) return `${shown(name.slice(0, -2))} +`;
  return name.split("+").map((part) => NAMES[part] ?? (part.length === 1 ? part.toUpperCase() : part)).join(" ");
}
