// Talking with the program: every request the page makes, and what it says when it refuses.

/** The program refused: `message` is its sentence, `status` the HTTP status, `body` all it sent. */
export class Refused extends Error {
  constructor(message, status, body = {}) {
    super(message);
    this.name = "Refused";
    this.status = status;
    this.body = body;
  }
}

/** Nobody answered: the program was stopped, or this tablet lost its way to it. */
export class NoAnswer extends Error {
  constructor() {
    super("The program does not answer; nothing was changed: look whether it still runs in its window.");
    this.name = "NoAnswer";
  }
}

const EVENT_KINDS = ["state", "picture", "results", "progress", "task", "conflict", "saved"];
// A stream that the server closed is opened again after this long; short enough to feel at once, long enough not to hammer.
const AGAIN_MS = 1500;

/** Give the page's only way to the program. `fetcher` is for tests. */
export function connect(fetcher = (...args) => fetch(...args)) {
  const api = { key: null, onLink: () => {} };

  async function ask(method, path, { body, signal } = {}) {
    const options = { method, signal, credentials: "same-origin", headers: { Accept: "application/json" } };
    if (body !== undefined) {
      options.headers["Content-Type"] = "application/json";
      options.body = JSON.stringify(body);
    }
    let response;
    try {
      response = await fetcher(path, options);
    } catch (error) {
      if (error.name === "AbortError") throw error;
      api.onLink(false);
      throw new NoAnswer();
    }
    return read(response);
  }

  async function read(response) {
    let said = null;
    try {
      said = await response.json();
    } catch {
      said = null;
    }
    if (response.ok && said !== null) return said;
    const sentence = said && typeof said.error === "string" ? said.error : null;
    throw new Refused(sentence ?? `The program answered ${response.status} without saying why: try once more.`, response.status, said ?? {});
  }

  const job = (path) => `/api/job/${encodeURIComponent(api.key)}${path}`;

  Object.assign(api, {
    desk: () => ask("GET", "/api/desk"),
    open: (what) => ask("POST", "/api/open", { body: what }),
    lookElsewhere: (path) => ask("POST", "/api/look_elsewhere", { body: { path } }),
    upload: (file, onShare) => upload(file, onShare),

    view: () => ask("GET", job("")),
    command: (base, command) => ask("POST", job("/command"), { body: { base, command } }),
    undo: (base) => ask("POST", job("/undo"), { body: { base } }),
    redo: (base) => ask("POST", job("/redo"), { body: { base } }),
    keep: (which) => ask("POST", job("/conflict"), { body: { keep: which } }),
    landmarks: () => ask("GET", job("/landmarks")),
    snap: (at, reachPx, options) => ask("POST", job("/snap"), { body: { at, reach_px: reachPx }, ...options }),
    inkWay: (points, reachPx, options) => ask("POST", job("/ink_way"), { body: { points, reach_px: reachPx }, ...options }),
    inkPath: (points, options) => ask("POST", job("/ink_path"), { body: { points }, ...options }),
    sharedEdge: (at, reachPx, options) => ask("POST", job("/shared_edge"), { body: { at, reach_px: reachPx }, ...options }),
    measure: (kind, points, options) => ask("POST", job("/measure"), { body: { kind, points }, ...options }),
    exportFiles: () => ask("POST", job("/export"), { body: {} }),
    cancel: (task) => ask("POST", job(`/tasks/${encodeURIComponent(task)}/cancel`), { body: {} }),

    tileUrl: (level, x, y) => job(`/tiles/${level}/${x}/${y}`),
    flatUrl: (revision, widthPx) => job(`/flat.jpg?of=${revision}&width=${widthPx}`),
    fileUrl: (name) => job(`/files/${encodeURIComponent(name)}`),
    listen: (handlers) => listen(job("/events"), handlers, (up) => api.onLink(up)),
  });
  return api;
}

/** Send a file's bytes; `onShare` hears 0 to 1. Only XMLHttpRequest tells how much has gone. */
function upload(file, onShare = () => {}) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", `/api/upload?name=${encodeURIComponent(file.name)}`);
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.responseType = "text";
    request.upload.addEventListener("progress", (event) => event.lengthComputable && onShare(event.loaded / event.total));
    request.addEventListener("error", () => reject(new NoAnswer()));
    request.addEventListener("load", () => {
      let said = {};
      try {
        said = JSON.parse(request.responseText);
      } catch {
        said = {};
      }
      if (request.status >= 200 && request.status < 300) resolve(said);
      else reject(new Refused(said.error ?? `The program answered ${request.status}: choose the file again.`, request.status, said));
    });
    request.send(file);
  });
}

/** Follow the program's events; gives a function that stops. The stream opens itself again for as long as it takes. */
function listen(path, handlers, onLink) {
  let source = null;
  let timer = 0;
  let stopped = false;
  const start = () => {
    source = new EventSource(path);
    source.addEventListener("open", () => onLink(true));
    for (const kind of EVENT_KINDS) {
      source.addEventListener(kind, (event) => handlers[kind]?.(JSON.parse(event.data)));
    }
    source.addEventListener("error", () => {
      onLink(false);
      if (source.readyState !== EventSource.CLOSED || stopped) return;
      timer = setTimeout(start, AGAIN_MS);
    });
  };
  start();
  return () => {
    stopped = true;
    clearTimeout(timer);
    source.close();
  };
}
