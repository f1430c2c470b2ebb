// What a person does: adds photos, answers, corrects, takes back, keeps, shares, throws away.
import { begun, day } from "./day.js";
import { release } from "./picture.js";
import { ask, failed } from "./queue.js";
import { draw, drawCards, open, phase, sure } from "./screen.js";
import { shrink } from "./shrink.js";
import * as store from "./store.js";
import * as wire from "./wire.js";
import { make, say } from "./words.js";

export async function add(files) {
  if (!files.length) return;
  if (day.current === null) day.current = begun();
  const item = day.current;
  const free = wire.limits.photos - item.photos.length;
  phase("shrink");
  for (const file of files.slice(0, free)) item.photos.push(await shrink(file));
  ask(item, files.length > free ? say("error_too_many", { count: wire.limits.photos }) : null);
}

export function acts(item) {
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
      if (!item.skip.includes(name)) item.skip.push(name);
      ask(item);
    },
    unskip(name) {
      item.skip = item.skip.filter((one) => one !== name);
      ask(item);
    },
    remove(photo) {
      item.photos = item.photos.filter((one) => one !== photo);
      ask(item);
    },
    write: (text) => (item.note = text),
    note() {
      if (item.kept) {
        item.kept = null;
        draw();
      }
      store.save(item);
      drawCards();
    },
    share: () => share(item),
    keep: wire.limits.archive && (() => keep(item)),
    throwAway: async () => (await sure("throw_away_sure")) && throwAway(item),
  };
}

async function throwAway(item) {
  item.photos.forEach(release);
  day.items = day.items.filter((one) => one !== item);
  // Gone from the screen only when it is gone from the phone.
  await store.drop(item.id);
  open(null);
}

export async function throwAll() {
  if (!(await sure("throw_all_sure"))) return;
  day.items.forEach((item) => item.photos.forEach(release));
  day.items = [];
  await store.clear();
  open(null);
}

async function keep(item) {
  try {
    item.kept = await wire.keep(item, phase);
    phase(null);
    store.save(item);
    draw();
  } catch (error) {
    failed(error);
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
    failed(error);
  }
}
