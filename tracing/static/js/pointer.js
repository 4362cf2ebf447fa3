/**
 * Mouse, pen and fingers in the picture area: zooming and panning here, everything else handed to the tool.
 *
 * Two fingers, the middle button, or the left one with space held, always move the picture; one finger or the left
 * button belongs to the tool.
 */

const WHEEL_ZOOM = 0.0016; // of a doubling-like step for each px a wheel reports: a notch of 100 zooms by a sixth
const WHEEL_LINE_PX = 33; // some browsers count a wheel in lines
const MOVED_PX = 3; // a pointer that went less than this was pressed and let go in one place
const REACH_PX = { mouse: 8, pen: 12, touch: 22, key: 8 }; // CSS px: how far off a thing may be and still be meant

export function reachOf(kind) {
  return REACH_PX[kind] ?? REACH_PX.mouse;
}

export class Pointers {
  #down = new Map(); // pointerId -> [sx, sy]
  #mode = null; // "pan", "pinch", "tool" or null
  #start = null;
  #space = false;
  #last = null;

  /** `hands` has `tool()`, `onHover(event)`, `onLeave()`; the element's focus is taken by any press. */
  constructor(element, view, hands) {
    Object.assign(this, { element, view, hands });
    const on = (kind, listener, options) => element.addEventListener(kind, listener, options);
    on("pointerdown", (event) => this.#onDown(event));
    on("pointermove", (event) => this.#onMove(event));
    on("pointerup", (event) => this.#onUp(event));
    on("pointercancel", (event) => this.#onCancel(event));
    on("lostpointercapture", (event) => this.#onCancel(event));
    on("pointerleave", () => this.#down.size || hands.onLeave());
    on("wheel", (event) => this.#onWheel(event), { passive: false });
    on("contextmenu", (event) => event.preventDefault());
    on("dblclick", (event) => hands.tool().double?.(this.#told(event)));
  }

  /** Where the pointer was seen last, CSS px of the picture area, or null. */
  get last() {
    return this.#last;
  }

  get busy() {
    return this.#mode !== null;
  }

  /** Space held: a drag moves the picture. */
  holdSpace(held) {
    this.#space = held;
    this.element.classList.toggle("is-grabbable", held);
  }

  #told(event) {
    const screen = this.#screen(event);
    const kind = event.pointerType || "mouse";
    return {
      screen,
      at: this.view.toPicture(screen),
      kind,
      reach: reachOf(kind) / this.view.scale,
      shift: event.shiftKey,
      alt: event.altKey,
      ctrl: event.ctrlKey || event.metaKey,
      moved: this.#start ? Math.hypot(screen[0] - this.#start[0], screen[1] - this.#start[1]) >= MOVED_PX : false,
    };
  }

  #screen(event) {
    const box = this.element.getBoundingClientRect();
    return [event.clientX - box.left - this.element.clientLeft, event.clientY - box.top - this.element.clientTop];
  }

  #onDown(event) {
    if (event.target.closest?.("[data-outside-picture]")) return;
    this.element.setPointerCapture(event.pointerId);
    const screen = this.#screen(event);
    this.#down.set(event.pointerId, screen);
    this.#last = screen;
    if (this.#down.size === 2) {
      if (this.#mode === "tool") this.hands.tool().release(); // the first finger was the start of a pinch
      this.#mode = "pinch";
      return;
    }
    if (this.#down.size > 2) return;
    this.#start = screen;
    const pans = event.button === 1 || (event.button === 0 && this.#space);
    if (!pans && event.button !== 0) {
      this.#mode = null;
      return;
    }
    event.preventDefault(); // no text selection, no autoscroll
    this.hands.onPress?.();
    this.#mode = pans ? "pan" : "tool";
    this.element.classList.toggle("is-panning", pans);
    if (!pans) this.hands.tool().down(this.#told(event));
  }

  #onMove(event) {
    const screen = this.#screen(event);
    const was = this.#down.get(event.pointerId);
    this.#last = screen;
    if (!was) {
      if (!this.#down.size) this.hands.onHover(this.#told(event));
      return;
    }
    if (this.#mode === "pinch") {
      this.#pinch(event.pointerId, screen);
      return;
    }
    this.#down.set(event.pointerId, screen);
    if (this.#mode === "pan") this.view.panBy(screen[0] - was[0], screen[1] - was[1]);
    else if (this.#mode === "tool") {
      const told = this.#told(event);
      this.hands.onMove(told);
      this.hands.tool().move(told, [screen[0] - was[0], screen[1] - was[1]]);
    }
  }

  #pinch(id, screen) {
    const ids = [...this.#down.keys()].slice(0, 2);
    const before = ids.map((one) => this.#down.get(one));
    this.#down.set(id, screen);
    const after = ids.map((one) => this.#down.get(one));
    const middle = ([a, b]) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
    const apart = ([a, b]) => Math.max(1, Math.hypot(a[0] - b[0], a[1] - b[1]));
    const [from, to] = [middle(before), middle(after)];
    this.view.panBy(to[0] - from[0], to[1] - from[1]);
    this.view.zoomAt(to, apart(after) / apart(before));
  }

  #onUp(event) {
    if (!this.#down.has(event.pointerId)) return;
    const mode = this.#mode;
    const told = this.#told(event);
    this.#down.delete(event.pointerId);
    if (mode === "pinch") {
      if (this.#down.size < 2) this.#mode = this.#down.size ? "spent" : null; // the finger left over does nothing
      return;
    }
    this.#mode = null;
    this.element.classList.remove("is-panning");
    if (mode === "tool") this.hands.tool().up(told);
    this.#start = null;
  }

  #onCancel(event) {
    if (!this.#down.delete(event.pointerId)) return;
    if (this.#mode === "tool") this.hands.tool().release();
    if (!this.#down.size) this.#mode = null;
    this.element.classList.remove("is-panning");
  }

  #onWheel(event) {
    event.preventDefault();
    const unit = event.deltaMode === 1 ? WHEEL_LINE_PX : event.deltaMode === 2 ? this.view.height : 1;
    if (event.shiftKey && !event.ctrlKey) {
      this.view.panBy(-(event.deltaX || event.deltaY) * unit, event.deltaX ? -event.deltaY * unit : 0);
      return;
    }
    // A pinch on a touchpad comes as a wheel with ctrl and small steps.
    const strength = event.ctrlKey && Math.abs(event.deltaY) < 50 ? 6 : 1;
    const step = Math.max(-400, Math.min(400, event.deltaY * unit));
    this.view.zoomAt(this.#screen(event), Math.exp(-step * WHEEL_ZOOM * strength));
    this.hands.onWheel?.(event);
  }
}
