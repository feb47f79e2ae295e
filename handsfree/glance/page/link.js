"use strict";
// In a worker, whose clock goes on while the screen is locked: the line to the tool, and how long nothing has arrived.
importScripts("sha256.js");
const KEPT = 150;  // frames of a broken line that are sent again: three seconds
const LOOK_MS = 250, SILENT_MS = 3000, AGAIN_MS = 400, PATIENCE_MS = 4000;
const session = crypto.getRandomValues(new Uint32Array(1))[0];
let keyCode = "", socket = null, opened = 0, opening = false, heard = 0, tried = 0;
let kept = [], arrived = -1, progress = performance.now(), prompt = null, waiting = [];
onmessage = ({ data }) => {
  if (data.line) {
    keyCode = data.keyCode;
    data.line.onmessage = ({ data: frame }) => take(frame);
  } else if (data.again) {
    keyCode = data.again;
    progress = performance.now();
  } else if (data.over) {
    close();
    self.close();
  } else {
    say(data);
  }
};
function take(frame) {
  kept.push(frame);
  if (kept.length > KEPT) kept.shift();
  if (opened) socket.send(frame);
  look();  // the frames are a clock, too
}
function say(told) {
  if (opened) socket.send(JSON.stringify(told));
  else if (told.state) waiting = [told];
}
async function open() {
  opening = true;
  tried = performance.now();
  try {
    const answer = await signed(keyCode, "sound", "sound", { method: "POST", signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.ok) connect(await answer.text());
  } catch {
    // It is tried again.
  }
  opening = false;
}
function connect(ticket) {
  const own = socket = new WebSocket(`wss://${location.host}/sound?ticket=${ticket}&session=${session}`);
  own.binaryType = "arraybuffer";
  own.onopen = () => {
    if (own !== socket) return own.close();
    opened = heard = performance.now();
    for (const frame of kept) own.send(frame);
    for (const told of waiting.splice(0)) say(told);
  };
  own.onerror = () => {
    if (own === socket) close();
  };
  own.onclose = ({ code }) => {
    if (own !== socket) return;
    close();
    if (code !== 4001) return;
    keyCode = "";  // another phone has the sound: it is not taken back before "Sound on" is touched
    postMessage({ taken: true });
  };
  own.onmessage = ({ data }) => {
    if (own !== socket) return;
    heard = performance.now();
    if (typeof data === "string") obey(JSON.parse(data));
    else collect(data);
  };
}
function close() {
  const before = socket;
  socket = null;
  opened = 0;
  if (before !== null) before.close();
}
function obey(told) {
  if ("ack" in told) {
    kept = kept.filter((frame) => new DataView(frame).getUint32(0, true) > told.ack);
    if (told.ack > arrived) progress = performance.now();
    arrived = told.ack;
  } else if ("play" in told) {
    prompt = { number: told.play, rate: told.rate, bytes: new Uint8Array(told.bytes), filled: 0 };
  } else if (told.cut) {
    prompt = null;
    postMessage({ cut: true });
  }
}
function collect(data) {
  if (prompt === null || new DataView(data).getUint32(0, true) !== prompt.number) return;
  prompt.bytes.set(new Uint8Array(data, 4), prompt.filled);
  prompt.filled += data.byteLength - 4;
  if (prompt.filled < prompt.bytes.length) return;
  postMessage({ play: prompt.number, rate: prompt.rate, pcm: prompt.bytes.buffer });
  prompt = null;
}
let looked = 0;
function look() {
  const now = performance.now();
  if (now - looked < LOOK_MS || !keyCode) return;
  looked = now;
  if (opened && now - heard > SILENT_MS) close();
  if (socket !== null && !opened && now - tried > PATIENCE_MS) close();
  if (socket === null && !opening && now - tried > AGAIN_MS) open();
  postMessage({ silent: now - progress });
}
setInterval(look, LOOK_MS);
