// Small things the steps share: a button that takes up a tool, what opens to say more, a row that can be taken out.
import { button, el, say } from "./dom.js";
import { toolWords } from "./words.js";

/** A button that takes up a tool, and shows that it is in the hand. `key` is a letter that does the same in its step. */
export function toolButton({ store, panels }, text, tool, options = {}, { kind = "plain", iconName = null, key = null, group = "" } = {}) {
  const held = () => store.tool === tool && Object.entries(options).every(([name, value]) => store.toolOptions[name] === value);
  const node = button(text, () => {
    if (held()) store.setTool("pan");
    else {
      store.setTool(tool, options);
      panels.announce(toolWords(tool, options));
    }
  }, { kind, iconName });
  node.setAttribute("aria-pressed", "false");
  store.on("tool", () => node.setAttribute("aria-pressed", String(held())));
  if (key) {
    node.setAttribute("aria-keyshortcuts", key);
    node.title = `Key: ${key.toUpperCase()}`;
    panels.keys.add({ keys: [key], words: text, group, when: () => node.isConnected, run: () => node.click() });
  }
  return node;
}

/** Something that opens to say more. */
export function more(summary, ...children) {
  return el("details", { class: "more" }, el("summary", { text: summary }), el("div", { class: "stack" }, children));
}

/** One line of a list with a button that takes it out: `command(index)` and `words(index, item)`. */
export function plainItem(command, words, { store, panels }) {
  let at = 0;
  const label = el("span");
  const bin = button("", () => panels.attempt(() => store.do(command(at))), { kind: "bare", iconName: "bin", label: "Take it out" });
  const node = el("li", { class: "plain-item" }, label, bin);
  return {
    node,
    update(item, index) {
      at = index;
      say(label, words(index, item));
      bin.setAttribute("aria-label", `Take out: ${label.textContent}`);
    },
  };
}
