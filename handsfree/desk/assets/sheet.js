"use strict";
/* A sheet's form: each answer is sent when its field is left, and what the desk says of it is shown. Without this
   script the buttons do the same. */
(() => {
  const form = document.getElementById("sheet");
  const standing = document.getElementById("standing");
  if (!form) return;
  let order = Promise.resolve();

  function send(field) {
    const body = new URLSearchParams({ form_token: form.elements.form_token.value, then: "keep", [field.name]: field.value });
    return fetch(form.action, { method: "POST", body, headers: { accept: "text/html" } });
  }

  /* Brings the children of one kind into the order of the fresh page. None that stays is moved, so that whoever
     writes in it goes on writing. */
  function merge(live, fresh, kind, nameOf, update) {
    const of = (parent) => [...parent.children].filter((one) => one.matches(kind));
    const known = new Map(of(live).map((one) => [nameOf(one), one]));
    const staying = new Set(of(fresh).map(nameOf));
    for (const [name, one] of known) if (!staying.has(name)) one.remove();
    let before = of(live)[0] ?? null;
    const end = () => (kind === "fieldset" ? live.querySelector(".actions") : null);
    for (const one of of(fresh)) {
      const here = known.get(nameOf(one));
      if (here) {
        update(here, one);
        before = here.nextElementSibling?.matches(kind) ? here.nextElementSibling : null;
      } else live.insertBefore(document.importNode(one, true), before ?? end());
    }
  }

  function tell(here, one) {
    const field = here.querySelector("input, select");
    const told = one.querySelector("input, select");
    if (field !== document.activeElement && field.dataset.written === undefined) field.value = told.value;
    if (told.hasAttribute("aria-invalid")) field.setAttribute("aria-invalid", "true");
    else field.removeAttribute("aria-invalid");
    here.querySelector(".says").innerHTML = one.querySelector(".says").innerHTML;
  }

  function take(page) {
    const group = (here, one) => merge(here, one, ".question", (each) => each.dataset.path, tell);
    merge(form, page.getElementById("sheet"), "fieldset", (each) => each.firstElementChild.textContent, group);
    standing.textContent = page.getElementById("standing").textContent;
  }

  form.addEventListener("change", (change) => {
    const field = change.target;
    if (!field.name.startsWith("answer:")) return;
    field.dataset.written = "";
    form.dataset.underway = String(Number(form.dataset.underway ?? 0) + 1);
    order = order.then(async () => {
      try {
        const answer = await send(field);
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        if (!answer.ok || !page.getElementById("sheet")) throw new Error(answer.statusText);
        delete field.dataset.written;
        take(page);
      } catch {
        standing.textContent = "The desk cannot be reached: what you wrote stays on this page, and is not kept yet.";
      }
      form.dataset.underway = String(Number(form.dataset.underway) - 1);
    });
  });
})();
