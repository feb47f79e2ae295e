"use strict";
// HMAC-SHA-256 (FIPS 180-4, RFC 2104). A page over plain HTTP has no crypto.subtle; `presses.py` makes the same codes.
const ROUNDS = [
  0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
  0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
  0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
  0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
  0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
  0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
  0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
  0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2,
];
const BEGIN = [
  0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a, 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19,
];

function sha256(message) {
  const blocks = new Uint8Array(((message.length + 72) >> 6) << 6);
  blocks.set(message);
  blocks[message.length] = 0x80;
  const view = new DataView(blocks.buffer), words = new Uint32Array(64), state = Uint32Array.from(BEGIN);
  view.setUint32(blocks.length - 4, message.length * 8);
  const turned = (word, by) => (word >>> by) | (word << (32 - by));
  for (let at = 0; at < blocks.length; at += 64) {
    for (let i = 0; i < 16; i++) words[i] = view.getUint32(at + 4 * i);
    for (let i = 16; i < 64; i++) {
      const x = words[i - 15], y = words[i - 2];
      const low = turned(x, 7) ^ turned(x, 18) ^ (x >>> 3), high = turned(y, 17) ^ turned(y, 19) ^ (y >>> 10);
      words[i] = words[i - 16] + low + words[i - 7] + high;
    }
    let [a, b, c, d, e, f, g, h] = state;
    for (let i = 0; i < 64; i++) {
      const one = (h + (turned(e, 6) ^ turned(e, 11) ^ turned(e, 25)) + ((e & f) ^ (~e & g)) + ROUNDS[i] + words[i]) | 0;
      const two = ((turned(a, 2) ^ turned(a, 13) ^ turned(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [a, b, c, d, e, f, g, h] = [(one + two) | 0, a, b, c, (d + one) | 0, e, f, g];
    }
    [a, b, c, d, e, f, g, h].forEach((word, i) => { state[i] += word; });
  }
  const digest = new DataView(new ArrayBuffer(32));
  state.forEach((word, i) => digest.setUint32(4 * i, word));
  return new Uint8Array(digest.buffer);
}

function hmac(key, text) {
  const bytes = (of) => new TextEncoder().encode(of), block = new Uint8Array(64);
  block.set(bytes(key).length > 64 ? sha256(bytes(key)) : bytes(key));
  const joined = (mask, rest) => Uint8Array.from([...block.map((byte) => byte ^ mask), ...rest]);
  const digest = sha256(joined(0x5c, sha256(joined(0x36, bytes(text)))));
  return [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
let count = 0;
// Sends a key with a count that nobody used before and its code; the tool tells the last count where ours is too low.
async function signed(keyCode, path, key, options) {
  for (let tries = 0; ; tries++) {
    count += 1;
    const headers = { ...options.headers, "X-Glance-Count": String(count), "X-Glance-Code": hmac(keyCode, count + " " + key) };
    let answer, again = false;
    try {
      answer = await fetch(path, { ...options, headers });
    } catch (fault) {
      // A line that was dropped: the same press once more, which cannot count twice.
      if (options.signal && options.signal.aborted) throw fault;
      again = true;
      answer = await fetch(path, { ...options, headers });
    }
    if (answer.status !== 409 || tries === 3) return answer;
    const last = Number(await answer.text());
    count = Math.max(count, last);
    if (again && path === "key") {
      // Its own code, not its count: another's press may have had the same count.
      if (answer.headers.get("X-Glance-Code") === headers["X-Glance-Code"]) return new Response(null, { status: 204 });
      throw new Error("nobody knows whether it was taken");
    }
  }
}
