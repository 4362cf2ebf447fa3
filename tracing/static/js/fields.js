// Inputs that send what is typed when it is finished, and never lose it to news from the program.
import { el, say, show } from "./dom.js";

let count = 0;
const nextId = (word) => `${word}-${(count += 1)}`;

/**
 * A text input with its question. `send(text)` gives a promise; what the program refuses stays typed, its sentence under
 * it. `set(value)` is the program's value: it waits while somebody is typing.
 */
export function textField({ label, hint = "", example = "", send, multiline = false, kind = "", mode = null, quiet = false, most = 200 }) {
  const id = nextId("field");
  const input = el(multiline ? "textarea" : "input", {
    id, class: `input ${kind}`, placeholder: example, autocomplete: "off", spellcheck: "false", autocapitalize: "off",
    inputmode: mode, maxlength: String(most), "aria-describedby": `${id}-hint ${id}-wrong`, ...(multiline ? { rows: "3" } : { type: "text" }),
  });
  const wrong = el("p", { id: `${id}-wrong`, class: "wrong", hidden: true });
  const node = el("div", { class: "field" },
    el("label", { for: id, text: label, class: quiet ? "out-of-sight" : "" }), input,
    el("p", { id: `${id}-hint`, class: "hint", text: hint, hidden: !hint }), wrong);
  let settled = "";
  let sending = null;

  const field = {
    node, input,
    get dirty() {
      return input.value !== settled;
    },
    set(value) {
      const text = value ?? "";
      const typing = field.dirty;
      settled = text;
      if (!typing && input.value !== text) input.value = text;
    },
    label(text) {
      say(node.querySelector("label"), text);
    },
    refuse(sentence) {
      say(wrong, sentence ?? "");
      show(wrong, Boolean(sentence));
      if (sentence) input.setAttribute("aria-invalid", "true");
      else input.removeAttribute("aria-invalid");
    },
  };

  async function finish() {
    const text = input.value.trim();
    if (text === settled.trim() || text === sending) return;
    sending = text;
    try {
      await send(text);
      field.refuse(null);
      settled = text;
      if (input.value.trim() === text) input.value = text;
    } catch (error) {
      field.refuse(error.message);
    } finally {
      sending = null;
    }
  }

  input.addEventListener("change", finish);
  input.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && !multiline) {
      event.preventDefault();
      finish();
    } else if (event.key === "Escape" && field.dirty) {
      event.stopPropagation();
      input.value = settled;
      field.refuse(null);
    }
  });
  return field;
}

/** A box to tick; `send(on)` gives a promise, and the box goes back when the program refuses. */
export function tickField({ label, hint = "", send, panels }) {
  const id = nextId("tick");
  const input = el("input", { type: "checkbox", id });
  const node = el("label", { class: "tick", for: id }, input, el("span", {}, label, hint ? el("small", { text: hint }) : null));
  input.addEventListener("change", async () => {
    const on = input.checked;
    try {
      await send(on);
    } catch (error) {
      input.checked = !on;
      panels.say(error.message, { loud: true });
    }
  });
  return { node, input, set: (on) => { input.checked = Boolean(on); } };
}

/** One of a few: options [{value, label, hint}]. */
export function pickField({ label, options, send, panels, quiet = false }) {
  const name = nextId("pick");
  const node = el("fieldset", { class: "pick" }, el("legend", { text: label, class: quiet ? "out-of-sight" : "" }));
  const inputs = new Map();
  let value = null;
  const put = (next) => {
    value = next;
    for (const [key, input] of inputs) input.checked = key === next;
  };
  for (const option of options) {
    const input = el("input", { type: "radio", name, value: option.value });
    inputs.set(option.value, input);
    input.addEventListener("change", async () => {
      const had = value;
      value = option.value;
      try {
        await send(option.value);
      } catch (error) {
        put(had);
        panels.say(error.message, { loud: true });
      }
    });
    node.append(el("label", { class: "tick" }, input, el("span", {}, option.label, option.hint ? el("small", { text: option.hint }) : null)));
  }
  return { node, set: put };
}
