// The start: every part is joined here, and listens from here on.
import { acts, add, throwAll } from "./acts.js";
import { day, waiting } from "./day.js";
import { enter, look } from "./door.js";
import { fetchGuide, openGuide } from "./guide.js";
import { failed, pump } from "./queue.js";
import { actedBy, at, inReach, open, reach } from "./screen.js";
import * as store from "./store.js";
import * as wire from "./wire.js";

actedBy(acts);

for (const id of ["snap", "choose"]) {
  at(id).addEventListener("change", (event) => {
    const files = [...event.target.files];
    event.target.value = "";
    add(files);
  });
}
at("next-engine").addEventListener("click", () => open(null));
at("open-guide").addEventListener("click", () => openGuide(day.current, inReach()).catch(failed));
at("throw-all").addEventListener("click", throwAll);
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
  const code = location.hash.slice(1);
  // Used once: gone from the address, so that a reload does not try it again.
  if (code) history.replaceState(null, "", location.pathname);
  // Tried before anything waits: a photo taken meanwhile is sent with what the code brings.
  const way = code ? enter(code) : look();
  const kept = await store.load();
  // A photo may have been added while these were read.
  const added = new Set(day.items.map((item) => item.id));
  day.items = [...kept.filter((item) => !added.has(item.id)), ...day.items];
  if (!day.current && day.items.length) open(day.items[day.items.length - 1]);
  await way;
  if (waiting().length) pump();
  setInterval(look, 2000 * wire.limits.retry_s);
  // At hand from now on, in reach of the laptop or not.
  fetchGuide().catch(() => {});
}

begin();
