"use strict";
// A signature drawn with a finger, in a box of 1000 by 400; offered only while the tool takes one.
const WIDE = 1000, HIGH = 400, MOST = 2000, MOST_STROKES = 64;
let signer = "", strokes = [];

function offerSigning(signs) {
  each(at("signing"), keyCode ? signs : [], "li", (node, [who, label]) => {
    const button = node.firstElementChild || node.appendChild(document.createElement("button"));
    button.type = "button";
    set(button, label);
    button.onclick = () => openPad(who, label);
  });
  at("signing").hidden = !keyCode || signs.length === 0;
  if (signer && !signs.some(([who]) => who === signer)) closePad();  // work goes on, or it was taken
}

function openPad(who, label) {
  signer = who;
  set(at("pad-who"), label);
  set(at("pad-again"), words["sign-again"]);
  set(at("pad-take"), words["sign-take"]);
  at("pad").hidden = false;
  clearPad();
}

function closePad() {
  signer = "";
  strokes = [];
  at("pad").hidden = true;
}

function clearPad() {
  strokes = [];
  at("drawing").width = WIDE;
  at("drawing").height = HIGH;
  const pen = at("drawing").getContext("2d");
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, WIDE, HIGH);
  pen.lineWidth = 6;
  pen.lineCap = "round";
}

function point(event) {
  const box = at("drawing").getBoundingClientRect();
  const within = (value, most) => Math.max(0, Math.min(most, Math.round(value)));
  return [within((event.clientX - box.left) / box.width * WIDE, WIDE), within((event.clientY - box.top) / box.height * HIGH, HIGH)];
}

function draw(event) {
  const stroke = strokes[strokes.length - 1], [x, y] = point(event);
  const pen = at("drawing").getContext("2d");
  pen.beginPath();
  pen.moveTo(stroke[stroke.length - 2], stroke[stroke.length - 1]);
  pen.lineTo(x, y);
  pen.stroke();
  stroke.push(x, y);
}

at("drawing").addEventListener("pointerdown", (event) => {
  if (strokes.length === MOST_STROKES || strokes.flat().length > 2 * MOST - 4) return;  // the tool takes no more
  at("drawing").setPointerCapture(event.pointerId);
  strokes.push(point(event));
  draw(event);  // a dot is a stroke too
});
at("drawing").addEventListener("pointermove", (event) => {
  const begun = at("drawing").hasPointerCapture(event.pointerId) && strokes.length;
  if (begun && strokes.flat().length < 2 * MOST) draw(event);
});
at("pad-again").onclick = clearPad;
at("pad-take").onclick = async () => {
  if (!strokes.length) return;
  const body = JSON.stringify(strokes), digest = sha256(new TextEncoder().encode(body));
  const hex = [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  try {
    const name = "signature " + signer + " " + hex;
    const answer = await signed(keyCode, "signature/" + signer, name, { method: "POST", body, signal: AbortSignal.timeout(PATIENCE_MS) });
    if (!answer.ok) throw new Error(String(answer.status));
    closePad();
  } catch {
    set(at("pad-who"), words["not-taken"]);  // the pad covers all else
  }
};
