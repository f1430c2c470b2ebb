// The way in: whether the laptop is in reach, and the code that it asks a new phone for.
import { waiting } from "./day.js";
import { onShut, pump } from "./queue.js";
import { at, phase, reach } from "./screen.js";
import * as wire from "./wire.js";
import { say } from "./words.js";

onShut(() => setTimeout(look, 1000));

function askCode() {
  phase(null);
  if (!at("code-box").open) at("code-box").showModal();
}

export async function enter(code) {
  try {
    await wire.enter(code);
    at("code-box").close();
    reach(true);
    pump();
  } catch (error) {
    const refused = error instanceof wire.Refused;
    at("code-trouble").textContent = say(refused ? `error_${error.code}` : "reach_no");
    askCode();
  }
}

export async function look() {
  try {
    await wire.reached();
    reach(true);
    if (waiting().length) pump();
  } catch (error) {
    if (error instanceof wire.OutOfReach) reach(false);
    else if (error instanceof wire.Refused && error.code === "door") askCode();
  }
}
