"use strict";
// The phone as microphone and loudspeaker. What is said by itself when the link is lost was fetched before.
const LOST_MS = 10000, AWAY_MS = 2000;
let audio = null, link = null, capture = null, playing = null, switchOff = null, alarm = null, lock = null;
async function soundOn() {
  at("sound").hidden = true;
  try {
    // The browser takes its own loudspeaker out of what it hears; nothing else is to change the voice.
    const wish = { echoCancellation: true, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
    const stream = await navigator.mediaDevices.getUserMedia({ audio: wish });
    await hear(stream);
    put("hearing", words["sound-runs"]);
  } catch {
    at("sound").hidden = false;
    put("hearing", words["sound-refused"]);
  }
}
async function hear(stream) {
  if (link === null) {
    if (audio === null) audio = new AudioContext({ latencyHint: "interactive" });
    await audio.audioWorklet.addModule("capture.js");
    switchOff = await audio.decodeAudioData(await (await fetch("switch-off.wav")).arrayBuffer());
    audio.onstatechange = tell;
    capture = new AudioWorkletNode(audio, "capture");
    capture.connect(audio.destination);  // it gives silence; unconnected it might not be run
    const channel = new MessageChannel();
    link = new Worker("link.js");
    link.onmessage = ({ data }) => obey(data);
    capture.port.postMessage({ line: channel.port1 }, [channel.port1]);
    link.postMessage({ line: channel.port2, keyCode }, [channel.port2]);
  } else {
    link.postMessage({ again: keyCode });
  }
  await audio.resume();
  audio.createMediaStreamSource(stream).connect(capture);
  const [track] = stream.getAudioTracks();
  track.onmute = track.onunmute = () => {
    capture.port.postMessage({ muted: track.muted });
    tell();
  };
  track.onended = () => {
    link.postMessage({ state: "microphone taken away" });
    at("sound").hidden = false;
  };
  state = () => (track.readyState === "ended" ? "microphone taken away" : track.muted ? "microphone muted" : "");
  keepAwake();
}
let state = () => "";
// Tells the tool when the screen was locked, a call came in, or the phone took the sound away.
function tell() {
  if (link === null) return;
  const away = [state(), audio.state === "running" ? "" : "sound " + audio.state, document.hidden ? "page hidden" : ""];
  link.postMessage({ state: away.filter(Boolean).join(", ") });
}
async function keepAwake() {
  try {
    if (!document.hidden) lock = await navigator.wakeLock.request("screen");
  } catch {
    lock = null;  // the phone has no such thing, or refuses it to save its battery
  }
}
function obey(told) {
  if ("play" in told) play(told);
  else if (told.cut) fallSilent();
  else if ("silent" in told) watchLink(told.silent);
  else if (told.taken) handOver();
}
// Another phone has the sound now: this one neither hears nor alarms, and may be touched to take it back.
function handOver() {
  fallSilent();
  watchLink(0);
  at("sound").hidden = false;
  put("hearing", words["sound-taken"]);
}
function play({ play: number, rate, pcm }) {
  fallSilent();
  const samples = new Int16Array(pcm), buffer = audio.createBuffer(1, samples.length, rate);
  buffer.copyToChannel(Float32Array.from(samples, (sample) => sample / 32768), 0);
  const own = playing = audio.createBufferSource();
  own.buffer = buffer;
  own.connect(audio.destination);
  own.onended = () => {
    if (playing === own) playing = null;
    link.postMessage({ ended: number });
  };
  own.start();
}
function fallSilent() {
  if (playing !== null) playing.stop();
  playing = null;
}
function watchLink(silent) {
  const lost = silent > LOST_MS && last_picture.firing && !over;
  at("off").hidden = !lost;
  if (silent > AWAY_MS && audio.state !== "running") audio.resume();
  if (!at("hearing").hidden) put("hearing", words[silent > AWAY_MS ? "sound-away" : "sound-runs"]);
  if (lost && alarm === null) {
    fallSilent();
    put("off-order", words["switch-off"]);
    put("off-why", words["link-lost"]);
    alarm = audio.createBufferSource();
    alarm.buffer = switchOff;
    alarm.loop = true;
    alarm.connect(audio.destination);
    alarm.start();
    if (navigator.vibrate) navigator.vibrate([600, 200, 600]);
  } else if (!lost && alarm !== null) {
    alarm.stop();
    alarm = null;
  }
  if (over && lock !== null) lock.release().then(() => { lock = null; });
}
document.addEventListener("visibilitychange", () => {
  tell();
  if (audio !== null && !document.hidden) keepAwake();
});
at("sound").addEventListener("click", soundOn);
