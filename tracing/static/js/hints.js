// First-run hints: one at a time, out of the way, and never again once put away. Also where the page keeps its own choices.
import { button, el } from "./dom.js";

// The program listens at another port each time, and everything a browser keeps for a page but cookies belongs to one port.
const COOKIE = "scantling-page";
const YEAR_S = 365 * 24 * 3600;

/** The page's own choices (theme, letters, hints put away), kept in one cookie. */
export function makePrefs(jar = document) {
  const read = () => {
    const text = jar.cookie.split("; ").find((part) => part.startsWith(`${COOKIE}=`))?.slice(COOKIE.length + 1) ?? "";
    return new Map(text.split("&").filter(Boolean).map((part) => part.split(":").map(decodeURIComponent)));
  };
  return {
    get: (name) => read().get(name) ?? null,
    set(name, value) {
      const all = read();
      if (value === null) all.delete(name);
      else all.set(name, value);
      const text = [...all].map((pair) => pair.map(encodeURIComponent).join(":")).join("&");
      jar.cookie = `${COOKIE}=${text}; Max-Age=${YEAR_S}; Path=/; SameSite=Strict`;
    },
  };
}

/** Make the hints; their `node` belongs in the card, so that nothing lies over the picture. */
export function makeHints(prefs) {
  const place = el("div", { class: "hint-place" });
  const put = new Set((prefs.get("hints") ?? "").split(".").filter(Boolean));
  let shown = null;

  const away = (name) => {
    put.add(name);
    prefs.set("hints", [...put].join("."));
  };

  const hints = {
    node: place,

    /** Show a hint unless it was put away or another stands there. */
    offer(name, text) {
      if (put.has(name) || put.has("all") || shown?.name === name) return;
      hints.clear();
      const node = el("div", { class: "hint-note", role: "note" }, el("p", { text }),
        el("div", { class: "row" },
          button("Got it", () => hints.done(name), { kind: "small" }),
          button("No more hints", () => {
            away("all");
            hints.clear();
          }, { kind: "quiet small" })));
      place.append(node);
      shown = { name, node };
    },

    /** The hint was read, or what it tells was done: it never comes back. */
    done(name) {
      if (!put.has(name)) away(name);
      if (shown?.name === name) hints.clear();
    },

    /** Out of the way; it comes back with the next visit to its step. */
    clear() {
      shown?.node.remove();
      shown = null;
    },

    /** Let all of them come once more. */
    again() {
      put.clear();
      prefs.set("hints", null);
    },
  };
  return hints;
}
