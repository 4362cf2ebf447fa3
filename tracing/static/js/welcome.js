// Before a plan is open: drop it, choose it, or go on with a job of late.
import { button, el, icon, say, show } from "./dom.js";
import { photoGuide } from "./dialogs.js";
import { textField } from "./fields.js";
import { ago } from "./words.js";

const KINDS = ".jpg,.jpeg,.png,.tif,.tiff,.pdf,.heic,.heif,.webp,.bmp,.gif,.toml";

export function mountWelcome(place, bench) {
  const { api } = bench;
  const wrong = el("p", { class: "wrong", role: "alert" });
  const going = el("progress", { max: "1", value: 0, hidden: true, "aria-label": "Reading the file" });
  const chooser = el("input", { type: "file", accept: KINDS, class: "out-of-sight", id: "choose-file", tabindex: "-1", "aria-label": "Choose a file" });
  const choose = button("Choose a file", () => chooser.click(), { kind: "primary" });
  const back = button("", () => bench.back(), { kind: "quiet" });
  back.append(el("span"));
  const recentList = el("ul", { class: "recents" });
  const recents = el("section", { "aria-label": "Jobs of late" }, el("h3", { text: "Go on with a job" }), recentList);
  const how = el("section", { class: "how", "aria-label": "What comes next" }, el("h3", { text: "What comes next" }),
    el("ol", { class: "steps-list" }, ["Click both ends of something you know, and type its length as you would say it: 36 in, or 190.5 mm.",
      "Look over the outlines that were found. Name them, leave some out, trace what is missing.",
      "Say how large to build. Read how many sheets that takes and how far to trust it, then print one page and check it with a rule."].map((text) => el("li", { text }))),
    el("p", { class: "row" }, el("span", { class: "quiet-text", text: "No plan at hand?" }), button("Try it with the sample plan", () => attempt(() => api.open({ sample: true })).catch(() => {}), { kind: "small" })));
  const path = textField({
    label: "Or type where it lies", example: "plans/plan.jpg", send: (text) => attempt(() => api.open({ path: text })),
    hint: "A picture, or the job.toml of a job.",
  });

  place.append(el("div", { class: "welcome" },
    el("div", { class: "stack" },
      back, el("h2", { text: "Which plan do you want to work from?" }),
      el("div", { class: "drop" }, el("p", { text: "Drop a photo, a scan or a PDF here" }), choose, chooser, going, wrong),
      recents, path.node, how),
    el("aside", { class: "guide-side", "aria-label": "Taking the photo" }, el("h3", { text: "Before you take the photo" }), photoGuide())));

  chooser.addEventListener("change", () => {
    if (chooser.files.length) send(chooser.files[0]);
    chooser.value = "";
  });

  async function attempt(how) {
    say(wrong, "");
    try {
      await bench.open(how);
    } catch (error) {
      say(wrong, error.message);
      throw error;
    }
  }

  async function send(file) {
    const limit = bench.desk?.limits?.upload_bytes;
    if (limit && file.size > limit) {
      say(wrong, `${file.name} is ${(file.size / 2 ** 20).toFixed(0)} MB; at most ${(limit / 2 ** 20).toFixed(0)} MB can be dropped here: type where it lies instead.`);
      return;
    }
    show(going, true);
    going.value = 0;
    await attempt(() => api.upload(file, (share) => { going.value = share; })).catch(() => {});
    show(going, false);
  }
  bench.send = async (file) => {
    if (bench.store.state) await bench.leave();
    await send(file);
  };

  return {
    fill(desk) {
      say(wrong, "");
      const { state } = bench.store;
      show(back, Boolean(state));
      if (state) say(back.lastElementChild, `Back to ${state.name}`);
      show(recents, desk.recent.length > 0);
      // Whoever has a job to go on with knows the way.
      show(how, desk.recent.length === 0);
      recentList.replaceChildren(...desk.recent.map((job) => {
        const node = el("button", { type: "button", class: job.there ? "recent" : "recent gone" },
          el("b", { text: job.name }), el("small", { class: "when", text: ago(job.when) }),
          el("small", { text: job.there ? job.folder : `no longer in ${job.folder}` }));
        node.addEventListener("click", () => attempt(() => api.open({ recent: job.id })).catch(() => {}));
        return el("li", {}, node);
      }));
    },
  };
}

/** Take files dropped anywhere on the page. */
export function watchDrops(page, bench) {
  const veil = el("div", { id: "drop-veil", text: "Let go to open it", hidden: true });
  page.body.append(veil);
  let depth = 0;
  const hasFile = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");
  const put = (on) => show(veil, on);
  page.addEventListener("dragenter", (event) => {
    if (!hasFile(event)) return;
    depth += 1;
    put(true);
  });
  page.addEventListener("dragleave", (event) => {
    if (!hasFile(event)) return;
    depth = Math.max(0, depth - 1);
    if (depth === 0) put(false);
  });
  page.addEventListener("dragover", (event) => hasFile(event) && event.preventDefault());
  page.addEventListener("drop", (event) => {
    if (!hasFile(event)) return;
    event.preventDefault();
    depth = 0;
    put(false);
    if (event.dataTransfer.files.length > 1) bench.panels.say("Several files were dropped; one job works from one picture. The first is opened.", { stay: true });
    if (event.dataTransfer.files.length) bench.send(event.dataTransfer.files[0]);
  });
}
