// The queue of what waits for an answer: one engine after the other, tried again for as long
// as the laptop is out of reach or busy.
import { day, waiting } from "./day.js";
import { release } from "./picture.js";
import { draw, phase, reach, tellAnswer, trouble } from "./screen.js";
import * as store from "./store.js";
import * as wire from "./wire.js";
import { say } from "./words.js";

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

export function ask(item) {
  item.pending = true;
  item.change += 1;
  // What was saved is no longer all there is.
  item.kept = null;
  store.save(item);
  if (item === day.current) trouble(null);
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
    Object.assign(item, { answer, shown, seen: photos, pending: false, trouble: null });
    reach(true);
  } catch (error) {
    if (!(error instanceof wire.Refused) || error.code === "door") {
      putOff(error, item);
      return true;
    }
    item.pending = false;
    item.trouble = words(error);
  }
  store.save(item);
  tell(null);
  draw();
  if (item === day.current) tellAnswer(item);
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
  if (error instanceof wire.OutOfReach) trouble(say("reach_no"));
  else if (error instanceof wire.Busy) trouble(say("error_busy"));
  else if (error instanceof wire.Refused) error.code === "door" || trouble(words(error));
  else throw error;
  unreached(error);
}
