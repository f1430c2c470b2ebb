// The guide at hand: its table, the candidates that are left, and what tells two apart.
import { has, make, say } from "./words.js";
import * as wire from "./wire.js";

// Below this a variation counts as ruled out: it is then said to have "under 1 %".
const LEAST = 0.005;
// Where the guide waits out a reload of a page whose laptop is out of reach.
const SHELF = "guide";
let table = null;

const box = document.getElementById("guide-box");
const place = document.getElementById("guide-table");
const difference = document.getElementById("guide-difference");
document.getElementById("close-guide").addEventListener("click", () => box.close());

function cell(text) {
  return text === "" ? say("guide_silent") : has(text) ? say(text) : text;
}

function shares(item) {
  return new Map((item && item.shown ? item.shown.candidates : []).map((one) => [one.id, one]));
}

// The most probable other variation; without an answer, the next row of the guide.
function neighbour(id, known) {
  const others = table.rows.filter((row) => row.id !== id);
  if (known.size) return others.sort((a, b) => (known.get(b.id)?.p || 0) - (known.get(a.id)?.p || 0))[0];
  const index = table.rows.findIndex((row) => row.id === id);
  return table.rows[index + 1] || table.rows[index - 1];
}

function compare(id, known) {
  const mine = table.rows.find((row) => row.id === id);
  const theirs = neighbour(id, known);
  if (!theirs) return;
  const telling = table.columns.filter(({ name }) => mine.cells[name] !== theirs.cells[name]);
  const pair = { id, other: theirs.id };
  const lines = telling.map(({ name, words }) =>
    make("li", {}, say("guide_difference", { ...pair, cue: words, mine: cell(mine.cells[name]), theirs: cell(theirs.cells[name]) })));
  difference.replaceChildren(make("div", { className: "card" },
    make("p", {}, say(lines.length ? "guide_from" : "guide_same", pair)), make("ul", { className: "told" }, ...lines)));
  for (const td of place.querySelectorAll("td[data-name]")) {
    const row = td.parentElement.dataset.id;
    td.classList.toggle("telling", (row === id || row === theirs.id) && telling.some(({ name }) => name === td.dataset.name));
  }
}

function row(one, known) {
  const share = known.get(one.id);
  const out = known.size && (!share || share.p < LEAST);
  const state = !known.size ? "" : say(out ? "guide_ruled_out" : "guide_remaining", { percent: share ? share.percent : "0 %" });
  const name = make("button", { type: "button", on: { click: () => compare(one.id, known) } }, one.id);
  const cells = table.columns.map(({ name: column }) => make("td", { "data-name": column }, cell(one.cells[column])));
  return make("tr", { className: !known.size ? "" : out ? "out" : "left", "data-id": one.id },
    make("th", { scope: "row" }, name, state ? make("div", { className: "quiet" }, state) : null),
    make("td", {}, one.years), ...cells);
}

function shelved() {
  try {
    return JSON.parse(sessionStorage.getItem(SHELF));
  } catch {
    return null;
  }
}

export async function fetchGuide() {
  table = await wire.guide();
  try {
    sessionStorage.setItem(SHELF, JSON.stringify(table));
  } catch {
    // A browser that keeps nothing has it until the page is left.
  }
}

// The laptop's own, which may have been started anew with another; else the last one seen.
export async function openGuide(item, inReach) {
  table = table || shelved();
  if (inReach || !table) await fetchGuide();
  const known = shares(item);
  const heads = [say("guide_variation"), say("guide_years"), ...table.columns.map(({ words }) => words)];
  place.replaceChildren(make("table", {},
    make("thead", {}, make("tr", {}, ...heads.map((text) => make("th", { scope: "col" }, text)))),
    make("tbody", {}, ...table.rows.map((one) => row(one, known)))));
  difference.replaceChildren();
  document.getElementById("guide-head").textContent = table.title;
  if (!box.open) box.showModal();
}
