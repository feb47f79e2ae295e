"use strict";
/* The inbox by keyboard: n next; a, r, x choose a verdict and lead to "Sign"; q and p ask for a remark; c the clean ones. The hazards: n, t, d. */
(() => {
  const page = document.querySelector("[data-page]");
  if (!page) return;
  const form = document.querySelector("form.signing");

  function choose(letter) {
    const choice = form?.querySelector(`input[data-letter="${letter}"]`);
    if (!choice || choice.disabled) return false;
    choice.checked = true;
    const remark = form.elements.remark;
    const sign = form.querySelector("button[type=submit], .with-passkey");
    const to = choice.value === "accepted" ? sign : remark;
    if (choice.value === "accepted") remark.removeAttribute("required");
    else remark.setAttribute("required", "");
    (to ?? choice).focus();
    return true;
  }

  /* Of the hazard in focus, or the first: n the next one, t to its owner, d to the words that close it. */
  function hazard(letter) {
    const all = [...document.querySelectorAll(".hazard")];
    const at = all.findIndex((each) => each.contains(document.activeElement));
    const now = all[Math.max(at, 0)];
    const to = { n: all[at + 1] ?? all[0], t: now?.querySelector(".take"), d: now?.querySelector("textarea") }[letter];
    to?.focus();
    return Boolean(to);
  }

  document.addEventListener("keydown", (key) => {
    if (key.ctrlKey || key.metaKey || key.altKey || key.key.length !== 1) return;
    if (key.target.closest("input:not([type=radio]), textarea, select")) return;
    if (page.dataset.page === "hazards") {
      if (!hazard(key.key)) return;
    } else if (key.key === "n") location.href = page.dataset.next;
    else if (key.key === "c" && document.getElementById("accept-clean")) document.getElementById("accept-clean").focus();
    else if (!choose(key.key)) return;
    key.preventDefault();
  });
})();
