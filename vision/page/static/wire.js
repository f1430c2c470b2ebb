// What goes to the laptop and comes back. Three kinds of failure, told apart: out of reach
// (no answer at all), busy (try again), refused (a code with words for it).
export class OutOfReach extends Error {}
export class Busy extends Error {}
export class Refused extends Error {
  constructor(code, detail = "") {
    super(code);
    this.code = code;
    this.detail = detail;
  }
}

let token = null;
export let limits = { photos: 8, photo_bytes: 12e6, request_bytes: 30e6, retry_s: 3, archive: false };

async function ask(path, options = {}) {
  let response;
  try {
    response = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(8000), ...options });
  } catch {
    throw new OutOfReach();
  }
  return opened(response.status, await response.json().catch(() => ({})));
}

function opened(status, content) {
  if (status === 200) return content;
  if (status === 503) throw new Busy();
  throw new Refused(content.error || "fault", content.detail);
}

// The way in that is being tried. Whoever needs a token meanwhile waits for it: without one it
// would be refused, and of two at once the token of one would go with the session of the other.
let entering = null;

async function comeIn(wanted, ...request) {
  while (entering) await entering.catch(() => {});
  if (!wanted()) return;
  entering = ask(...request)
    .then((welcome) => ({ token, ...limits } = welcome))
    .finally(() => (entering = null));
  await entering;
}

export function start() {
  return comeIn(() => token === null, "/start");
}

export function enter(code) {
  return comeIn(() => true, "/enter", { method: "POST", body: code });
}

export async function reached() {
  if (token === null) await start();
  else await ask("/turn/none");
}

export function guide() {
  return ask("/guide");
}

function form(item, more = {}) {
  const data = new FormData();
  for (const photo of item.photos) data.append("photo", photo.blob, photo.name);
  for (const [name, value] of Object.entries(item.said)) data.append("saw", `${name}=${value}`);
  for (const name of item.skip) data.append("skip", name);
  for (const [name, value] of Object.entries(more)) data.append(name, value);
  return data;
}

// XMLHttpRequest, because fetch does not tell how much has been sent.
async function post(path, data, tell) {
  if (token === null) await start();
  const ticket = [...crypto.getRandomValues(new Uint8Array(9))].map((n) => n.toString(36)).join("");
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    let polling = null;
    const done = () => clearInterval(polling);
    request.open("POST", path);
    request.responseType = "json";
    request.timeout = 100000;
    request.setRequestHeader("X-Telltale-Token", token);
    request.setRequestHeader("X-Telltale-Ticket", ticket);
    request.upload.onprogress = (event) => {
      if (event.lengthComputable) tell("send", { percent: Math.floor((100 * event.loaded) / event.total) });
    };
    request.upload.onload = () => {
      polling = setInterval(() => turn(ticket, tell), 700);
    };
    request.onload = () => {
      done();
      try {
        resolve(opened(request.status, request.response || {}));
      } catch (error) {
        if (error instanceof Refused && error.code === "door") token = null;
        reject(error);
      }
    };
    request.onerror = request.ontimeout = () => {
      done();
      reject(new OutOfReach());
    };
    request.send(data);
  });
}

async function turn(ticket, tell) {
  try {
    const { state, before } = await ask(`/turn/${ticket}`);
    if (state === "reading") tell("read");
    else if (state === "waiting") tell(before > 0 ? "wait" : "turn", { before });
  } catch {
    // The answer itself will tell.
  }
}

export function answer(item, tell) {
  return post("/answer", form(item), tell);
}

export function keep(item, tell) {
  return post("/keep", form(item, { note: item.note }), tell);
}

export function share(item, tell) {
  return post("/share", form(item, { note: item.note }), tell);
}
