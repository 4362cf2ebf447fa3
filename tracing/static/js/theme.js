// Light and dark: the system's choice, until somebody chooses here.

/** Make the switch; `dark` is the style sheet link whose media decides. */
export function makeTheme(prefs, link = document.getElementById("dark")) {
  const system = matchMedia("(prefers-color-scheme: dark)");
  const listeners = new Set();
  const isDark = () => (prefs.get("theme") ? prefs.get("theme") === "dark" : system.matches);
  const put = () => {
    link.media = prefs.get("theme") ? (isDark() ? "all" : "not all") : "(prefers-color-scheme: dark)";
    for (const fn of listeners) fn(isDark());
  };
  system.addEventListener("change", put);
  put();
  return {
    isDark,
    onChange(fn) {
      listeners.add(fn);
      fn(isDark());
    },
    turn() {
      const dark = !isDark();
      prefs.set("theme", dark === system.matches ? null : dark ? "dark" : "light");
      put();
    },
  };
}
