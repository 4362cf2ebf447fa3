// Making elements without markup: text from the program only ever goes in as text.

const SVG = "http://www.w3.org/2000/svg";

/** Make an element. `props`: class, text, on: {event: fn}, hidden/disabled/checked/value, anything else an attribute. */
export function el(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (name === "class") node.className = value;
    else if (name === "text") node.textContent = value;
    else if (name === "on") for (const [event, fn] of Object.entries(value)) node.addEventListener(event, fn);
    else if (["hidden", "disabled", "checked", "open", "selected", "value"].includes(name)) node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

/** Give one of the page's own drawings (a symbol of index.html). */
export function icon(name, { label = null, className = "icon" } = {}) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", className);
  if (label) {
    svg.setAttribute("role", "img");
    svg.setAttribute("aria-label", label);
  } else svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS(SVG, "use");
  use.setAttribute("href", `#i-${name}`);
  svg.append(use);
  return svg;
}

/** A button: `run` may give a promise; while it runs the button waits. */
export function button(text, run, { kind = "plain", name = null, label = null, iconName = null } = {}) {
  const node = el("button", { type: "button", class: `button ${kind}`, "aria-label": label, name });
  if (iconName) node.append(icon(iconName));
  if (text) node.append(el("span", { text }));
  node.addEventListener("click", async () => {
    if (node.getAttribute("aria-disabled") === "true") return;
    node.setAttribute("aria-disabled", "true");
    try {
      await run(node);
    } finally {
      node.removeAttribute("aria-disabled");
    }
  });
  return node;
}

/**
 * Keep a parent's children in step with `items`. `make(item, index)` gives {node, update(item, index)}; a child stays the
 * same node for as long as its key is there, so that nothing typed in it is lost.
 */
export function keyed(parent, key, make) {
  let rows = new Map();
  return (items) => {
    const next = new Map();
    const seen = new Map();
    items.forEach((item, index) => {
      const base = key(item, index);
      const nth = seen.get(base) ?? 0;
      seen.set(base, nth + 1);
      const name = `${base}#${nth}`;
      const row = rows.get(name) ?? make(item, index);
      next.set(name, row);
    });
    for (const [name, row] of rows) if (!next.has(name)) row.node.remove();
    let at = 0;
    for (const row of next.values()) {
      if (parent.children[at] !== row.node) parent.insertBefore(row.node, parent.children[at] ?? null);
      at += 1;
    }
    rows = next;
    [...next.values()].forEach((row, index) => row.update(items[index], index));
  };
}

/** Set text only where it differs, so that screen readers are not told twice. */
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** Show or hide. */
export function show(node, on) {
  if (node.hidden === on) node.hidden = !on;
}
