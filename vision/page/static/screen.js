// What is on the screen besides the answer itself: what is being done, what went wrong, whether
// the laptop is in reach, and the cards of the day.
import { day, waiting } from "./day.js";
import { brief, card, show } from "./show.js";
import { steadily, watchTouches } from "./steady.js";
import { say } from "./words.js";

export const at = (id) => document.getElementById(id);

// Below the last answer's plate the years go on standing above the buttons of the hand.
const plateLeaves = new IntersectionObserver((entries) => {
  at("hand").toggleAttribute("data-away", !entries[entries.length - 1].isIntersecting);
});
let acts = null;

// Who knows what a person can do with an engine; set once, by the page.
export function actedBy(makeActs) {
  acts = makeActs;
  watchTouches(at("answer"));
}

export function phase(name, values) {
  at("phase").hidden = name === null;
  if (name !== null) at("phase-text").textContent = say(`phase_${name}`, values);
  // Nothing turns while nothing is being done.
  at("phase").toggleAttribute("data-still", name === "queued" || name === "busy");
}

export function trouble(text) {
  at("trouble").hidden = !text;
  at("trouble").textContent = text || "";
}

export function reach(is) {
  const count = waiting().length;
  const words = is ? say("reach_yes") : count ? say("reach_no_queue", { count }) : say("reach_no");
  at("reach").dataset.reach = is ? "yes" : "no";
  if (at("reach").textContent !== words) at("reach").textContent = words;
}

export function inReach() {
  return at("reach").dataset.reach === "yes";
}

export function drawCards() {
  const { items, current } = day;
  at("today").hidden = items.length === 0;
  at("cards").replaceChildren(...items.map((item, index) => card(item, index + 1, item === current, () => open(item))));
}

export function draw() {
  const { current } = day;
  at("welcome").hidden = current !== null;
  at("adds").textContent = say(current ? "same_engine" : "new_engine");
  at("next-engine").disabled = current === null;
  steadily(at("answer"), () => at("answer").replaceChildren(current ? show(current, acts(current)) : ""));
  at("brief").textContent = current && current.shown ? brief(current.shown) : "";
  plateLeaves.disconnect();
  at("hand").removeAttribute("data-away");
  const plate = at("answer").querySelector(".plate");
  if (plate) plateLeaves.observe(plate);
  trouble(current && current.trouble);
  drawCards();
}

// For those who hear the page: the answer, when there is a new one.
export function tellAnswer(item) {
  at("heard").textContent = item.shown ? brief(item.shown) : "";
}

export function open(item) {
  day.current = item;
  phase(item && item.pending ? "queued" : null);
  at("heard").textContent = "";
  draw();
  window.scrollTo(0, 0);
}

export function sure(word) {
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
