// The page: engines of the day, one of them open, and the queue of what waits for an answer.
import { openGuide } from "./guide.js";
import { release } from "./picture.js";
import { card, show } from "./show.js";
import { shrink } from "./shrink.js";
import * as store from "./store.js";
import * as wire from "./wire.js";
import { make, say } from "./words.js";

const at = (id) => document.getElementById(id);

let items = [];
let current = null;
let pumping = false;
let retry = null;

// --- what is on the screen -----------------------------------------------------------

function phase(name, values) {
  at("phase").hidden = name === null;
  if (name !== null) at("phase-text").textContent = say(`phase_${name}`, values);
  // Nothing turns while nothing is being done.
  at("phase").toggleAttribute("data-still", name === "queued" || name === "busy");
}

function trouble(text) {
  at("trouble").hidden = !text;
  at("trouble").textContent = text || "";
}

function reach(is) {
  const waiting = items.filter((item) => item.pending).length;
  const words = is ? say("reach_yes") : waiting ? say("reach_no_queue", { count: waiting }) : say("reach_no");
  at("reach").dataset.reach = is ? "yes" : "no";
  if (at("reach").textContent !== words) at("reach").textContent = words;
}

function draw() {
  at("welcome").hidden = current !== null;
  at("adds").textContent = say(current ? "same_engine" : "new_engine");
  at("next-engine").disabled = current === null;
  at("answer").replaceChildren(current ? show(current, acts(current)) : "");
  trouble(current && current.trouble);
  at("today").hidden = items.length === 0;
  at("cards").replaceChildren(...items.map((item, index) => card(item, index + 1, item === current, () => open(item))));
}

function open(item) {
  current = item;
  phase(item && item.pending ? "queued" : null);
  draw();
  window.scrollTo(0, 0);
}

function words(error) {
  const text = say(`error_${error.code}`);
  return error.detail ? `${text} (${error.detail})` : text;
}

// --- what a person does --------------------------------------------------------------

async function add(files) {
  if (!files.length) return;
  if (current === null) {
    const id = `${Date.now()}-${items.length}`;
    current = { id, when: Date.now(), photos: [], seen: [], said: {}, skip: [], note: "", pending: false, change: 0 };
    items.push(current);
  }
  const item = current;
  phase("shrink");
  for (const file of files) {
    if (item.photos.length >= wire.limits.photos) {
      item.trouble = say("error_too_many", { count: wire.limits.photos });
      break;
    }
    item.photos.push(await shrink(file));
    item.trouble = null;
  }
  ask(item);
}

function ask(item) {
  item.pending = true;
  item.change += 1;
  // What was saved is no longer all there is.
  item.kept = null;
  store.save(item);
  if (item === current) trouble(null);
  draw();
  pump();
}

function acts(item) {
  return {
    say(name, value) {
      if (item.said[name] === value) delete item.said[name];
      else item.said[name] = value;
      ask(item);
    },
    unsay(name) {
      delete item.said[name];
      ask(item);
    },
    skip(name) {
      item.skip.push(name);
      ask(item);
    },
    remove(photo) {
      item.photos = item.photos.filter((one) => one !== photo);
      ask(item);
    },
    note(text) {
      item.note = text;
      if (item.kept) {
        item.kept = null;
        draw();
      }
      store.save(item);
      at("cards").replaceChildren(...items.map((one, index) => card(one, index + 1, one === current, () => open(one))));
    },
    share: () => share(item),
    keep: wire.limits.archive && (() => keep(item)),
    throwAway: async () => (await sure("throw_away_sure")) && throwAway(item),
  };
}

async function throwAway(item) {
  item.photos.forEach(release);
  items = items.filter((one) => one !== item);
  // Gone from the screen only when it is gone from the phone.
  await store.drop(item.id);
  open(null);
}

function sure(word) {
  at("sure-text").textContent = say(word);
  at("sure-box").showModal();
  return new Promise((resolve) => {
    const answer = (yes) => () => {
      at("sure-box").close();
      resolve(yes);
    };
    at("sure-yes").onclick = answer(true);
    at("sure-no").onclick = answer(false);
    at("sure-box").oncancel = () => resolve(false);
  });
}

async function keep(item) {
  try {
    item.kept = await wire.keep(item, phase);
    phase(null);
    store.save(item);
    draw();
  } catch (error) {
    phase(null);
    failed(error, item);
  }
}

async function share(item) {
  try {
    const { html } = await wire.share(item, phase);
    phase(null);
    const name = say("share_name", { years: item.shown.years.replace(/\s+/g, "-") });
    const file = new File([html], name, { type: "text/html" });
    if (navigator.canShare && navigator.canShare({ files: [file] })) {
      await navigator.share({ files: [file] }).catch(() => {});
      return;
    }
    const url = URL.createObjectURL(file);
    make("a", { href: url, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
  } catch (error) {
    phase(null);
    failed(error, item);
  }
}

// --- the queue -----------------------------------------------------------------------

async function pump() {
  if (pumping) return;
  pumping = true;
  clearTimeout(retry);
  let again = false;
  for (let item; !again && (item = items.find((one) => one.pending)); ) again = await send(item);
  pumping = false;
  if (again) retry = setTimeout(pump, 1000 * wire.limits.retry_s);
}

// Sends one engine; returns whether the queue must wait before it goes on.
async function send(item) {
  const change = item.change;
  const tell = (name, values) => item === current && phase(name, values);
  try {
    tell("send", { percent: 0 });
    const photos = [...item.photos];
    const { answer, shown } = await wire.answer(item, tell);
    // What was said while the laptop was reading is asked again.
    if (item.change !== change || !items.includes(item)) return false;
    item.seen.filter((photo) => !photos.includes(photo)).forEach(release);
    // An answer is shown with the photos that it was given for, whatever is added since.
    Object.assign(item, { answer, shown, seen: photos, pending: false, trouble: null });
    reach(true);
  } catch (error) {
    if (!(error instanceof wire.Refused) || error.code === "door") {
      failed(error, item);
      return true;
    }
    item.pending = false;
    item.trouble = words(error);
  }
  store.save(item);
  tell(null);
  draw();
  return false;
}

function failed(error, item) {
  if (error instanceof wire.OutOfReach) {
    reach(false);
    if (item === current && item.pending) phase("queued");
  } else if (error instanceof wire.Busy) {
    reach(true);
    if (item === current) phase("busy");
  } else if (error instanceof wire.Refused && error.code === "door") {
    // The laptop may have been started anew; if it wants a code, `look` asks for one.
    setTimeout(look, 1000);
  } else if (error instanceof wire.Refused) {
    trouble(words(error));
  } else {
    throw error;
  }
}

// --- the door ------------------------------------------------------------------------

function askCode() {
  phase(null);
  if (!at("code-box").open) at("code-box").showModal();
}

async function enter(code) {
  try {
    await wire.enter(code);
    at("code-box").close();
    reach(true);
    pump();
  } catch (error) {
    at("code-trouble").textContent = error instanceof wire.Refused ? words(error) : say("reach_no");
    askCode();
  }
}

async function look() {
  try {
    await wire.reached();
    reach(true);
    if (items.some((item) => item.pending)) pump();
  } catch (error) {
    if (error instanceof wire.OutOfReach) reach(false);
    else if (error instanceof wire.Refused && error.code === "door") askCode();
  }
}

// --- the start -----------------------------------------------------------------------

for (const id of ["snap", "choose"]) {
  at(id).addEventListener("change", (event) => {
    const files = [...event.target.files];
    event.target.value = "";
    add(files);
  });
}
at("next-engine").addEventListener("click", () => open(null));
at("open-guide").addEventListener("click", () => openGuide(current).catch((error) => failed(error, null)));
at("throw-all").addEventListener("click", async () => {
  if (!(await sure("throw_all_sure"))) return;
  items.forEach((item) => item.photos.forEach(release));
  items = [];
  await store.clear();
  open(null);
});
at("code-form").addEventListener("submit", (event) => {
  event.preventDefault();
  enter(at("code").value);
});
at("code-box").addEventListener("cancel", (event) => event.preventDefault());
document.addEventListener("dragover", (event) => {
  event.preventDefault();
  document.body.classList.add("over");
});
document.addEventListener("dragleave", () => document.body.classList.remove("over"));
document.addEventListener("drop", (event) => {
  event.preventDefault();
  document.body.classList.remove("over");
  add([...event.dataTransfer.files].filter((file) => file.size > 0));
});
window.addEventListener("online", look);
window.addEventListener("offline", () => reach(false));

async function begin() {
  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js").catch(() => {});
  items = await store.load();
  if (items.length) open(items[items.length - 1]);
  const code = location.hash.slice(1);
  if (code) {
    // Used once: gone from the address, so that a reload does not try it again.
    history.replaceState(null, "", location.pathname);
    await enter(code);
  } else {
    await look();
  }
  if (items.some((item) => item.pending)) pump();
  setInterval(look, 2000 * wire.limits.retry_s);
}

begin();
