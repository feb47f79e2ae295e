"use strict";
// Shows what the tool sends, covers it when nothing comes, and sends keys. It asks nothing of any other machine.
const at = (id) => document.getElementById(id);
const token = location.hash.slice(1);
const STALE_MS = 3000;
let source = null, last = performance.now(), over = false, words = {};

function put(id, text) {
  at(id).textContent = text;
  at(id).hidden = !text;
}

function each(parent, items, tag, fill) {
  while (parent.children.length > items.length) parent.lastElementChild.remove();
  items.forEach((item, number) => {
    const child = parent.children[number] || parent.appendChild(document.createElement(tag));
    fill(child, item, number);
  });
}

function set(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function show(picture) {
  words = picture.words;
  document.documentElement.lang = picture.language;
  document.body.dataset.condition = picture.condition;
  set(at("gate"), picture.gate);
  put("banner", picture.banner);
  set(at("headline"), picture.headline);
  const length = picture.headline.length;
  at("headline").className = length > 28 ? "long" : length <= 12 ? "short" : "";
  put("remark", picture.remark);
  put("entry", picture.typing || (picture.chosen === null ? "" : "> " + picture.offers[picture.chosen]));
  each(at("values"), picture.values, "li", (node, value) => {
    if (!node.firstElementChild) node.append(document.createElement("b"), document.createElement("span"));
    const [big, small] = node.children;
    node.className = value.at_hand ? "here" : "";
    set(big, value.value || (value.at_hand ? "_" : ""));
    big.className = /^[-0-9.]*$/.test(value.value) ? "" : "words";
    set(small, [value.at_hand ? ">" : "", value.name, value.unit, value.stands].join(" ").trim());
  });
  at("values").className = ["", "one", "two", "three", "four"][picture.values.length] || "";
  at("values").hidden = picture.values.length === 0;
  at("time").hidden = picture.bar === null;
  if (picture.bar !== null) {
    set(at("left"), picture.bar.label + " " + picture.left);
    at("gone").style.width = (100 * picture.gone).toFixed(1) + "%";
  }
  put("taken", picture.taken);
  const facts = [picture.heard, picture.verdict, picture.altered, picture.sound, picture.seal];
  while (at("facts").children.length < 2 * facts.length)
    at("facts").append(document.createElement("dt"), document.createElement("dd"));
  facts.forEach((fact, number) => {
    const [label, text] = [...at("facts").children].slice(2 * number, 2 * number + 2);
    set(label, fact.label);
    set(text, fact.text);
    text.className = fact.alarming ? "bad" : "";
  });
  each(at("offers"), picture.offers, "li", (node, offer, number) => {
    if (!token) { set(node, offer); return; }
    const button = node.firstElementChild || node.appendChild(key("offer " + number));
    button.dataset.key = "offer " + number;
    set(button, offer);
    button.setAttribute("aria-pressed", String(number === picture.chosen));
  });
  at("offers").hidden = picture.offers.length === 0;
  set(at("enter"), picture.enter ? words.enter + ": " + picture.enter : words.enter);
  at("enter").disabled = !picture.enter;
  at("digits").hidden = !picture.values.some((value) => value.at_hand);
  at("stop").hidden = picture.condition === "stopped" || picture.condition === "closed" || picture.condition === "finished";
  over = picture.condition === "closed" || picture.condition === "finished";
}

function key(name) {
  const made = document.createElement("button");
  made.type = "button";
  made.dataset.key = name;
  return made;
}

async function press(button) {
  button.classList.add("sent");
  setTimeout(() => button.classList.remove("sent"), 250);
  try {
    const answer = await fetch("key", { method: "POST", headers: { "X-Glance-Key": token }, body: button.dataset.key });
    put("viewing", answer.ok ? "" : words["not-taken"]);
  } catch {
    put("viewing", words["not-taken"]);
  }
}

function listen() {
  if (source !== null) source.close();
  source = new EventSource("news");
  source.onmessage = (event) => {
    last = performance.now();
    show(JSON.parse(event.data));
  };
}

function watch() {
  const age = performance.now() - last;
  const old = age > STALE_MS && !over;
  at("cover").hidden = !old;
  if (old) {
    put("no-news", (words["no-news"] || "NO NEWS FOR {seconds} s").replace("{seconds}", Math.floor(age / 1000)));
    put("old", words["old-picture"] || "Look at the tool.");
  }
  if (over && age > STALE_MS) put("viewing", words["visit-over"]);
  if (age > STALE_MS && source.readyState === EventSource.CLOSED) listen();
}

for (const digit of "1234567890") at("digits").appendChild(key(digit)).textContent = digit;
at("keys").hidden = !token;
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-key]");
  if (button !== null && !button.disabled) press(button);
});
fetch("words").then((answer) => answer.json()).then((found) => {
  words = found;
  set(at("stop"), words.stop);
  set(at("enter"), words.enter);
  at("stop").setAttribute("aria-label", words.stop);
  for (const [id, label] of [["left-key", "takes-back"], ["up", "previous"], ["down", "next"]]) at(id).setAttribute("aria-label", words[label]);
  at("keys").setAttribute("aria-label", words.keys);
  if (!token) put("viewing", words["view-only"]);
});
listen();
setInterval(watch, 200);
