"use strict";
/* Plays lines of the talk and lets the chart follow. Everything else on the pages works without it. */
(() => {
  const lines = [...document.querySelectorAll(".said")];
  if (!lines.length) return;
  const audio = new Audio();
  const chart = document.getElementById("chart");
  const head = document.getElementById("playhead");
  const stop = document.getElementById("stop");
  const now = document.getElementById("now");
  let going = 0;

  function follow(at) {
    const { begin, end, left, right } = chart.dataset;
    const share = (at - begin) / (end - begin);
    const x = Number(left) + Math.min(Math.max(share, 0), 1) * (right - left);
    head.setAttribute("x1", x);
    head.setAttribute("x2", x);
    head.setAttribute("visibility", "visible");
  }

  function show(line) {
    for (const other of document.querySelectorAll(".said.now")) other.classList.remove("now");
    line.classList.add("now");
    now.textContent = line.querySelector(".text").firstElementChild.nextSibling.textContent.trim();
    follow(Number(line.dataset.at));
  }

  function sound(line) {
    return new Promise((done) => {
      audio.onended = done;
      audio.onerror = done;
      audio.onpause = done;
      audio.src = line.dataset.sound;
      const began = Number(line.dataset.at);
      audio.ontimeupdate = () => follow(began + audio.currentTime * 1000);
      audio.play().catch(done);
    });
  }

  function reading(line) {
    const length = line.querySelector(".text").textContent.length;
    return new Promise((done) => setTimeout(done, Math.min(300 + length * 25, 2500)));
  }

  async function play(first, on) {
    halt();
    const mine = ++going;
    stop.disabled = false;
    document.body.dataset.playing = "yes";
    for (let at = first; at < lines.length && mine === going; at++) {
      const line = lines[at];
      if (line.hidden) continue;
      show(line);
      if (on) line.scrollIntoView({ block: "center" });
      if (line.dataset.sound) await sound(line);
      else if (on) await reading(line);
      if (!on) break;
    }
    if (mine === going) halt();
  }

  function halt() {
    going++;
    audio.pause();
    stop.disabled = true;
    document.body.dataset.playing = "no";
  }

  lines.forEach((line, number) => {
    line.querySelector(".play")?.addEventListener("click", () => play(number, false));
    line.querySelector(".on")?.addEventListener("click", () => play(number, true));
  });
  stop.addEventListener("click", halt);
  document.addEventListener("keydown", (key) => { if (key.key === "Escape") halt(); });
  document.getElementById("show").addEventListener("change", (change) => {
    const wanted = change.target.value;
    for (const line of lines) line.hidden = wanted !== "" && !line.dataset.flags.split(" ").includes(wanted);
  });

  /* An entry that is no line of its own leads to the line before it. */
  function nearest(seq) {
    let found = lines[0];
    for (const line of lines) if (Number(line.id.slice(5)) <= seq) found = line;
    return found;
  }
  function led() {
    if (!location.hash.startsWith("#line-")) return;
    const line = nearest(Number(location.hash.slice(6)));
    show(line);
    line.scrollIntoView({ block: "center" });
    (line.querySelector("button") ?? line).focus?.();
  }
  window.addEventListener("hashchange", led);
  led();
})();

/* What is folded is printed too. */
(() => {
  let folded = [];
  window.addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open])")];
    for (const each of folded) each.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const each of folded) each.open = false;
  });
})();
