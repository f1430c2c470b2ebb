// The queue of what waits for an answer: one engine after the other, tried again for as long
// as the laptop is out of reach or busy.
import { day, waiting } from "./day.js";
import { release } from "./picture.js";
import { draw, phase, reach, tellAnswer, trouble } from "./screen.js";
import * as store from "./store.js";
import * as wire from "./wire.js";
import { say } from "./words.js";

// Characters of a photo's name that the laptop keeps.
const NAME_LENGTH = 80;
let pumping = false;
let retry = null;
let shut = () => {};

// What to do where the laptop does not know this phone any more; set once, by the door.
export function onShut(act) {
  shut = act;
}

function words(error) {
  const text = say(`error_${error.code}`);
  return error.detail ? `${text} (${error.detail})` : text;
}

export function ask(item, complaint = null) {
  item.pending = true;
  item.change += 1;
  item.trouble = complaint;
  // What was saved is no longer all there is.
  item.kept = null;
  store.save(item);
  draw();
  pump();
}

export async function pump() {
  if (pumping) return;
  pumping = true;
  clearTimeout(retry);
  let again = false;
  for (let item; !again && (item = waiting()[0]); ) again = await send(item);
  pumping = false;
  if (again) retry = setTimeout(pump, 1000 * wire.limits.retry_s);
}

// Sends one engine; returns whether the queue must wait before it goes on.
async function send(item) {
  const change = item.change;
  const tell = (name, values) => item === day.current && phase(name, values);
  try {
    tell("send", { percent: 0 });
    const photos = [...item.photos];
    const { answer, shown } = await wire.answer(item, tell);
    // What was said while the laptop was reading is asked again.
    if (item.change !== change || !day.items.includes(item)) return false;
    item.seen.filter((photo) => !photos.includes(photo)).forEach(release);
    // An answer is shown with the photos that it was given for, whatever is added since.
    Object.assign(item, { answer, shown, seen: photos, agreed: { ...item.said }, pending: false });
    reach(true);
  } catch (error) {
    if (!(error instanceof wire.Refused) || error.code === "door") {
      putOff(error, item);
      return true;
    }
    item.trouble = words(error);
    item.pending = withdraw(item, error);
    if (!item.photos.length) return discard(item);
  }
  store.save(item);
  tell(null);
  draw();
  if (item === day.current) tellAnswer(item);
  return false;
}

// Takes out of an engine what the laptop refused, so that it does not stand in the way of every
// later answer; returns whether there is anything left to ask.
function withdraw(item, { code, detail }) {
  if (code === "statement" && Object.keys(item.said).length) {
    const last = JSON.stringify(item.agreed) === JSON.stringify(item.said);
    item.said = last ? {} : { ...item.agreed };
    return true;
  }
  const fresh = item.photos.filter((photo) => !item.seen.includes(photo));
  // The laptop names the photo, by the end of a long name.
  const named = fresh.filter(({ name }) => detail.startsWith(`${name.slice(-NAME_LENGTH)}: `));
  const refused = code === "request_too_large" ? fresh.slice(-1) : code.startsWith("photo_") ? (named.length ? named : fresh) : [];
  refused.forEach(release);
  item.photos = item.photos.filter((photo) => !refused.includes(photo));
  return refused.length > 0 && item.photos.length > 0;
}

// An engine of which no photo is left; what was wrong with the last one still stands there.
async function discard(item) {
  const open = item === day.current;
  day.items = day.items.filter((one) => one !== item);
  if (open) day.current = null;
  await store.drop(item.id);
  if (!open) return false;
  phase(null);
  draw();
  trouble(item.trouble);
  return false;
}

function unreached(error) {
  reach(!(error instanceof wire.OutOfReach));
  // The laptop may have been started anew; if it wants a code, the door asks for one.
  if (error instanceof wire.Refused && error.code === "door") shut();
}

// The queue itself tries again.
function putOff(error, item) {
  unreached(error);
  const mine = item === day.current;
  if (error instanceof wire.OutOfReach) mine && phase("queued");
  else if (error instanceof wire.Busy) mine && phase("busy");
  else if (!(error instanceof wire.Refused)) throw error;
}

// What only a person can try again, so that nothing may look as if it were being tried.
export function failed(error) {
  phase(null);
  if (error instanceof wire.OutOfReach) trouble(say("error_reach"));
  else if (error instanceof wire.Busy) trouble(say("error_busy"));
  else if (error instanceof wire.Refused) error.code === "door" || trouble(words(error));
  else throw error;
  unreached(error);
}
