"use strict";
/* The inbox by keyboard: n next; a, r, x choose a verdict and lead to "Sign"; q and p ask for a remark; c the clean ones. */
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

  document.addEventListener("keydown", (key) => {
    if (key.ctrlKey || key.metaKey || key.altKey || key.key.length !== 1) return;
    if (key.target.closest("input:not([type=radio]), textarea, select")) return;
    if (key.key === "n") location.href = page.dataset.next;
    else if (key.key === "c" && document.getElementById("accept-clean")) document.getElementById("accept-clean").focus();
    else if (!choose(key.key)) return;
    key.preventDefault();
  });
})();
