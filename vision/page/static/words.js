// Every word of the page comes from here; the server filled the block from words.json.
const words = JSON.parse(document.getElementById("words").textContent);

export function say(key, values = {}) {
  const text = words[key];
  if (text === undefined) throw new Error(`no word for ${key}`);
  return text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
}

export function has(key) {
  return key in words;
}

// Makes an element; text only ever goes in as text, so nothing from a file or a guide
// can become markup.
export function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name === "on") for (const [event, act] of Object.entries(value)) element.addEventListener(event, act);
    else if (name in element && !name.includes("-")) element[name] = value;
    else element.setAttribute(name, value);
  }
  // Years and figures keep their order, and a guide's own language its direction, in a page
  // that runs the other way.
  if (children.some((child) => typeof child === "string" && child)) element.dir = element.dir || "auto";
  element.append(...children.filter((child) => child !== null && child !== ""));
  return element;
}
