"use strict";
// A photo for a gate that wants one. It is made smaller here, which leaves out place, time and camera; the tool draws
// it anew all the same. A picture that was not taken stays here until it was: touch again.
const LONGEST = 2048, SENT_MS = 30000;
let photoGate = "", waiting = null, counts = new Map();

function offerPhotos(photos) {
  each(at("photos"), keyCode ? photos : [], "li", (node, [gate, label]) => {
    const button = node.firstElementChild || node.appendChild(document.createElement("button"));
    button.type = "button";
    set(button, label);
    button.onclick = () => takePhoto(gate);
  });
  at("photos").hidden = !keyCode || photos.length === 0;
  const came = new Map(photos.map(([gate, , count]) => [gate, count]));
  if (waiting && waiting.sent && (came.get(waiting.gate) ?? Infinity) > waiting.before) {
    waiting = null;  // it was taken: its gate says so, or wants none any more
    put("photo-told", "");
  }
  counts = came;
}

function takePhoto(gate) {
  if (waiting && waiting.gate === gate && !waiting.sending) return sendPhoto();
  photoGate = gate;
  at("camera").value = "";
  at("camera").click();
}

at("camera").addEventListener("change", async () => {
  const file = at("camera").files[0];
  if (!file) return;
  waiting = { gate: photoGate, body: await smaller(file), before: counts.get(photoGate) ?? 0, sending: false, sent: false };
  sendPhoto();
});

async function smaller(file) {
  try {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    const pen = canvas.getContext("2d");
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    return await new Promise((made) => canvas.toBlob(made, "image/jpeg", 0.85)) || file;
  } catch {
    return file;  // the tool decides by its bytes, and says why not
  }
}

async function sendPhoto() {
  const own = waiting;
  own.sending = true;
  put("photo-told", words["photo-sent"]);
  let why = "";
  try {
    const body = new Uint8Array(await own.body.arrayBuffer()), digest = [...sha256(body)].map((one) => one.toString(16).padStart(2, "0")).join("");
    const answer = await signed(keyCode, "photo/" + own.gate, "photo " + own.gate + " " + digest,
      { method: "POST", body, headers: { "X-Glance-Digest": digest }, signal: AbortSignal.timeout(SENT_MS) });
    own.sent = answer.ok;
    if (answer.status === 415 || answer.status === 413) {
      why = await answer.text();
      waiting = null;  // this one never will be: choose another
    }
  } catch {
    // The network has gone: it stays, to be sent again.
  }
  own.sending = false;
  if (!own.sent) put("photo-told", [why, words["photo-not-taken"]].join(" ").trim());
}
