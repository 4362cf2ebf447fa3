/** What the picture area takes from the page around it: its size in device px, and colours. */

const COLOURS = ["halo", "part", "other", "line", "hover", "trace", "rub", "border", "page", "pageEdge", "pageName", "regionIn", "regionOut", "regionInFill", "regionOutFill"];

/** Canvas colours are read from canvas.css, which takes them from the page's custom properties. */
export function readColours(element, tiles, overlay) {
  const style = getComputedStyle(element);
  tiles.surround = style.getPropertyValue("--c-surround").trim();
  for (const name of COLOURS) overlay.colours[name] = style.getPropertyValue(`--c-${name}`).trim();
  overlay.refresh();
}

/** Call `onChange` when light and dark change places, by the system or by the page. Gives the function that ends it. */
export function watchColours(onChange) {
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const later = () => requestAnimationFrame(onChange);
  dark.addEventListener("change", later);
  const watch = new MutationObserver(later);
  watch.observe(document.documentElement, { attributes: true });
  watch.observe(document.head, { attributes: true, subtree: true, attributeFilter: ["media", "disabled"] });
  return () => {
    dark.removeEventListener("change", later);
    watch.disconnect();
  };
}

/** Keep canvases as large as the element, in device px. Gives the function that ends it. */
export function watchSize(element, canvases, view, onChange) {
  let exact = null; // device px as the browser lays them out, where it tells
  const put = () => {
    const ratio = window.devicePixelRatio || 1;
    const { clientWidth: width, clientHeight: height } = element;
    if (!width || !height) return; // hidden
    const rounded = [Math.round(width * ratio), Math.round(height * ratio)];
    // A browser that plays another screen tells the size on its own; then it is no better than what is reckoned.
    const [deviceWidth, deviceHeight] = exact?.every((size, i) => Math.abs(size - rounded[i]) <= 1) ? exact : rounded;
    for (const canvas of canvases) {
      // Setting a canvas's size wipes it, even to the size it has.
      if (canvas.width !== deviceWidth) canvas.width = deviceWidth;
      if (canvas.height !== deviceHeight) canvas.height = deviceHeight;
    }
    view.setWindow(width, height, ratio);
    onChange();
  };
  put();
  const watch = new ResizeObserver(([entry]) => {
    const size = entry.devicePixelContentBoxSize?.[0];
    exact = size ? [size.inlineSize, size.blockSize] : null;
    put();
  });
  try {
    watch.observe(element, { box: "device-pixel-content-box" });
  } catch {
    watch.observe(element); // a browser that knows no device px
  }
  window.addEventListener("resize", put);
  return () => {
    watch.disconnect();
    window.removeEventListener("resize", put);
  };
}
