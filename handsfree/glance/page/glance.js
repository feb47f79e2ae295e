"use strict";
// Shows what the tool sends, covers it when nothing comes, and sends keys. It asks nothing of any other machine.
const at = (id) => document.getElementById(id);
// Behind the #: the view code, and where this page has keys, the key code. The key code never travels.
const encrypted = location.protocol === "https:", codes = location.hash.slice(1).split(".");
const viewCode = codes[0], keyCode = encrypted ? codes[1] : "";  // in the open no key is taken
const STALE_MS = 3000, AGAIN_MS = 1000, PATIENCE_MS = 4000;
let last = performance.now(), tried = 0, following = null, barred = false, over = false, words = {};
let sending = Promise.resolve(), last_picture = { firing: false };
const urgent = new Set();  // STOP and hazards that were pressed, and of which nothing shows yet that they were taken

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
  const before = last_picture.condition;
  words = picture.words;
  last_picture = picture;
  if (picture.condition === "stopped") {
    if (before !== "stopped" && urgent.size === 1) [...urgent].forEach(taken);  // of two presses either may have stopped it
    else if (urgent.has("stop")) taken("stop");
  }
  document.documentElement.lang = picture.language;
  document.body.dataset.condition = picture.condition;
  set(at("gate"), picture.gate);
  put("banner", picture.banner);
  set(at("headline"), picture.headline);
  put("remark", picture.remark);
  put("entry", picture.typing || (picture.chosen === null ? "" : "> " + picture.offers[picture.chosen]));
  each(at("values"), picture.values, "li", (node, value) => {
    if (!node.firstElementChild) node.append(...["b", "span", "i"].map((tag) => document.createElement(tag)));
    const [big, small, band] = node.children;
    node.className = value.at_hand ? "here" : "";
    set(big, value.value || (value.at_hand ? "_" : ""));
    big.className = /^[-0-9.]*$/.test(value.value) ? "" : "words";
    set(small, [value.at_hand ? ">" : "", value.name, value.unit, value.stands].join(" ").trim());
    set(band, value.band);
    band.hidden = !value.band;
    if (value.outside) node.classList.add("outside");
  });
  at("values").className = ["", "one", "two", "three", "four"][picture.values.length] || "";
  at("values").hidden = picture.values.length === 0;
  at("time").hidden = picture.bar === null;
  if (picture.bar !== null) {
    set(at("left"), picture.bar.label + " " + picture.left);
    at("gone").style.width = (100 * picture.gone).toFixed(1) + "%";
  }
  put("taken", picture.taken);
  const stopped = picture.condition === "stopped" || picture.condition === "closed";
  const facts = stopped ? [picture.altered, picture.heard, picture.sound, picture.seal]
    : [picture.heard, picture.verdict, picture.altered, picture.sound, picture.seal];
  while (at("facts").children.length > 2 * facts.length) at("facts").lastElementChild.remove();
  while (at("facts").children.length < 2 * facts.length)
    at("facts").append(document.createElement("dt"), document.createElement("dd"));
  facts.forEach((fact, number) => {
    const [label, text] = [...at("facts").children].slice(2 * number, 2 * number + 2);
    set(label, fact.label);
    set(text, fact.text);
    text.className = fact.alarming ? "bad" : "";
  });
  const offers = picture.offers.slice(0, picture.offers.length - picture.hazards.length);
  if (keyCode) each(at("hazards"), picture.hazards, "button", (button, name, number) => {  // the gravest first
    const last = picture.hazards.length - 1 - number;
    button.type = "button";
    button.dataset.key = "hazard " + picture.hazards[last];
    set(button, picture.offers[offers.length + last]);
  });
  at("danger").hidden = picture.hazards.length === 0;
  if (at("danger").hidden) unfold(false);
  each(at("offers"), offers, "li", (node, offer, number) => {
    node.className = number < picture.answers ? "answer" : "other";
    if (!keyCode) { set(node, offer); return; }
    const button = node.firstElementChild || node.appendChild(key("offer " + number));
    button.dataset.key = "offer " + number;
    set(button, offer);
    button.setAttribute("aria-pressed", String(number === picture.chosen));
  });
  at("offers").hidden = offers.length === 0;
  offerSigning(picture.signs || []);
  offerPhotos(picture.photos || []);
  if (keyCode && picture.sound && audio === null && at("hearing").hidden) at("sound").hidden = false;
  set(at("enter"), picture.enter);
  at("enter").hidden = !picture.enter;
  fit(at("headline"), picture);
  at("digits").hidden = !picture.values.some((value) => value.at_hand);
  at("stop").hidden = picture.condition === "stopped" || ["closed", "finished", "incomplete"].includes(picture.condition);
  over = ["closed", "finished", "incomplete"].includes(picture.condition);
  at("keys").hidden = !keyCode || over;
}

function key(name) {
  const made = document.createElement("button");
  made.type = "button";
  made.dataset.key = name;
  return made;
}

async function send(name) {
  let ok = false;
  try {
    const answer = await signed(keyCode, "key", name, { method: "POST", body: name, signal: AbortSignal.timeout(PATIENCE_MS) });
    ok = answer.ok;
  } catch {
    // It did not get there, or nobody knows whether it did.
  }
  if (ok) taken(name);
  else if (!halts(name) || urgent.has(name)) put("viewing", words["not-taken"]);
}

function taken(name) {
  urgent.delete(name);
  put("viewing", "");
}

const halts = (name) => name === "stop" || name.startsWith("hazard ");

// Sends STOP or a hazard each second, each time with a new count, until it was taken or the picture shows the stop.
async function insist(name) {
  if (urgent.has(name)) return;
  urgent.add(name);
  while (urgent.has(name) && !over) {
    send(name);  // one that hangs holds up none after it
    await new Promise((again) => setTimeout(again, AGAIN_MS));
  }
  urgent.delete(name);
}

// Shows or hides the hazards that can be called by one touch.
function unfold(shown) {
  at("hazards").hidden = !shown;
  at("danger").setAttribute("aria-expanded", String(shown));
}

function press(button) {
  button.classList.add("sent");
  setTimeout(() => button.classList.remove("sent"), 250);
  const name = button.dataset.key;
  unfold(false);
  if (halts(name)) insist(name);  // it waits for no other key
  else sending = sending.then(() => send(name));
}

async function listen() {
  if (following !== null) following.abort();
  const own = following = new AbortController(), signal = own.signal;
  tried = performance.now();
  try {
    const headers = { "X-Glance-View": viewCode };
    const answer = await (keyCode ? signed(keyCode, "news", "follow", { signal }) : fetch("news", { headers, signal }));
    barred = answer.status === 403;
    if (answer.ok) await take(answer.body.pipeThrough(new TextDecoderStream()).getReader());
  } catch {
    // The tool or the network has gone: the page is covered, and asks again.
  }
  if (following === own) following = null;
}

async function take(reader) {
  for (let text = ""; ;) {
    const { done, value } = await reader.read();
    if (done) return;
    const events = (text + value).split("\n\n");
    text = events.pop();
    for (const event of events.filter((one) => one.startsWith("data: "))) {
      last = performance.now();
      show(JSON.parse(event.slice(6)));
    }
  }
}

// Gives what to do the largest letters that leave room for the rest.
function fit(node, picture) {
  const order = ["stopped", "closed"].includes(picture.condition) && picture.answers === 0;  // else a question with answers
  const most = innerHeight * (order ? 0.52 : 0.3);
  const known = [picture.headline, order, innerWidth, innerHeight].join();
  if (node.dataset.fitted === known) return;
  node.dataset.fitted = known;
  for (let size = Math.round(innerWidth / 4.5); size >= 20; size -= 2) {
    node.style.fontSize = size + "px";
    if (node.scrollWidth <= node.clientWidth && node.offsetHeight <= most) return;
  }
}

function watch() {
  const age = performance.now() - last;
  const old = age > STALE_MS && !over;
  at("cover").hidden = !old;
  if (old) {
    put("no-news", (words["no-news"] || "NO NEWS FOR {seconds} s").replace("{seconds}", Math.floor(age / 1000)));
    put("old", (barred ? words["no-code"] : words["old-picture"]) || "Look at the tool.");
  }
  if (over && age > STALE_MS) put("viewing", words["visit-over"]);
  const since = performance.now() - tried;
  if (!over && since > AGAIN_MS && (following === null || (age > STALE_MS && since > PATIENCE_MS))) listen();
}

for (const digit of "1234567890") at("digits").appendChild(key(digit)).textContent = digit;
at("keys").hidden = !keyCode;
at("danger").addEventListener("click", () => unfold(at("hazards").hidden));
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-key]");
  if (button !== null && !button.disabled) press(button);
});
fetch("words").then((answer) => answer.json()).then((found) => {
  words = found;
  set(at("stop"), words.stop);
  set(at("danger"), words.hazards);
  set(at("sound"), words["sound-on"]);
  at("stop").setAttribute("aria-label", words.stop);
  for (const [id, label] of [["left-key", "takes-back"], ["up", "previous"], ["down", "next"]]) at(id).setAttribute("aria-label", words[label]);
  at("keys").setAttribute("aria-label", words.keys);
  if (!keyCode) put("viewing", words[encrypted ? "view-only" : "not-encrypted"]);
  put("certificate", words.certificate);
  at("trust").hidden = encrypted;
});
addEventListener("hashchange", () => location.reload());  // the other address, opened in the same tab
listen();
setInterval(watch, 200);
