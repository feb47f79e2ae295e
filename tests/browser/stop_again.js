"use strict";
// Runs the page's script without a browser: the tool's answers and the picture are given, the clock is turned at once.
const fs = require("fs"), vm = require("vm");
const nodes = {}, sent = [];
function node() {
  const made = { hidden: true, textContent: "", dataset: {}, children: [], style: {}, className: "" };
  return Object.assign(made, {
    classList: { add() {}, remove() {} }, setAttribute() {}, addEventListener() {}, append(...more) { made.children.push(...more); },
    appendChild(child) { made.children.push(child); return child; }, get lastElementChild() { return { remove() { made.children.pop(); } }; },
  });
}
const [script, way, name] = process.argv.slice(2);
const scene = vm.createContext({
  document: { getElementById: (id) => (nodes[id] ||= node()), addEventListener() {}, createElement: node, body: node(), documentElement: {} },
  location: { protocol: "https:", hash: "#view.key" }, performance, AbortSignal: { timeout: () => null }, audio: null,
  AbortController, innerWidth: 400, innerHeight: 800, addEventListener() {}, setInterval() {}, console,
  offerSigning() {}, offerPhotos() {}, fetch: () => new Promise(() => {}), setTimeout: (then, ms) => (ms === 1000 ? setImmediate(then) : null),
  signed(code, path, name) {
    if (path !== "key") return new Promise(() => {});
    sent.push(name);
    if (sent.length === 1) return Promise.reject(new Error("no line"));
    if (sent.length === 2) return Promise.resolve({ ok: false });
    if (sent.length === 3) return new Promise(() => {});  // it hangs
    if (way === "picture") { setImmediate(() => vm.runInContext("show(picture)", scene)); return new Promise(() => {}); }
    return Promise.resolve({ ok: true });
  },
});
scene.picture = {
  words: {}, language: "en", condition: "stopped", gate: "", banner: "", headline: "", remark: "", typing: "", chosen: null,
  offers: [], hazards: [], values: [], bar: null, taken: "", altered: {}, heard: {}, sound: {}, seal: {}, answers: 0, enter: "",
};
vm.runInContext(fs.readFileSync(script, "utf8").replace("fit(at(", "(() => 0)(at("), scene);
vm.runInContext("words = { 'not-taken': 'NOT TAKEN' }; press({ classList: at('stop').classList, dataset: { key: '" + name + "' } });", scene);
let turns = 0;
(function wait() {
  if (++turns < 60) return setImmediate(wait);
  console.log(JSON.stringify({ sent, told: nodes.viewing.textContent }));
})();
