"use strict";
// In the audio thread: from the microphone's rate to 16 kHz by a windowed sinc, in numbered frames of 20 ms.
const RATE = 16000, FRAME = 320, CROSSINGS = 32;  // zero crossings of the sinc to each side
const shared = (a, b) => (b ? shared(b, a % b) : a);
class Capture extends AudioWorkletProcessor {
  constructor() {
    super();
    const common = shared(sampleRate, RATE);
    this.up = RATE / common;
    this.down = sampleRate / common;
    // Below the lower of the two Nyquist rates, less the width of the filter's slope.
    const cut = Math.min(1, RATE / sampleRate) * 0.94;
    this.reach = Math.ceil(CROSSINGS / cut);
    this.taps = Array.from({ length: this.up }, (_, phase) => this.kernel(phase / this.up, cut));
    this.held = new Float32Array(4 * this.reach + 8192);
    this.count = this.reach;  // silence before the first sample
    this.next = 0;            // the number of the next sample at 16 kHz
    this.first = -this.reach; // where `held` begins, in samples of the microphone
    this.number = 0;
    this.frame = new Int16Array(FRAME);
    this.filled = 0;
    this.line = null;
    this.muted = false;
    this.port.onmessage = ({ data }) => {
      if (data.line) this.line = data.line;
      if ("muted" in data) this.muted = data.muted;
    };
  }
  kernel(shift, cut) {
    const taps = new Float32Array(2 * this.reach);
    let sum = 0;
    for (let i = 0; i < taps.length; i++) {
      const x = i - this.reach + 1 - shift, part = x / this.reach;
      const sinc = x === 0 ? 1 : Math.sin(Math.PI * cut * x) / (Math.PI * cut * x);
      // Blackman's window, 74 dB down
      taps[i] = Math.abs(part) > 1 ? 0 : sinc * (0.42 + 0.5 * Math.cos(Math.PI * part) + 0.08 * Math.cos(2 * Math.PI * part));
      sum += taps[i];
    }
    return taps.map((tap) => tap / sum);
  }
  process(inputs) {
    const channels = inputs[0];
    if (channels.length) this.take(channels[0]);
    return true;
  }
  take(samples) {
    if (this.count + samples.length > this.held.length) this.forget();
    this.held.set(samples, this.count);
    this.count += samples.length;
    for (;;) {
      const place = this.next * this.down, whole = Math.floor(place / this.up), from = whole - this.reach + 1 - this.first;
      if (from + 2 * this.reach > this.count) return;
      const taps = this.taps[place % this.up];
      let sum = 0;
      for (let i = 0; i < taps.length; i++) sum += taps[i] * this.held[from + i];
      this.next += 1;
      this.frame[this.filled] = Math.max(-32768, Math.min(32767, Math.round(32768 * sum)));
      this.filled += 1;
      if (this.filled === FRAME) this.send();
    }
  }
  forget() {
    const from = Math.floor((this.next * this.down) / this.up) - this.reach + 1 - this.first;
    this.held.copyWithin(0, from, this.count);
    this.count -= from;
    this.first += from;
  }
  send() {
    this.filled = 0;
    const number = this.number++;
    if (this.line === null || this.muted) return;  // what is not sent shows by the numbers
    const data = new ArrayBuffer(4 + 2 * FRAME), view = new DataView(data);
    view.setUint32(0, number, true);
    this.frame.forEach((sample, i) => view.setInt16(4 + 2 * i, sample, true));
    this.line.postMessage(data, [data]);
  }
}
registerProcessor("capture", Capture);
