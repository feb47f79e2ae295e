"use strict";
/* Signs with a passkey: a verdict, one on all clean visits, a word on a hazard; signs in with one, and makes one. The desk says what is to
   be signed; the passkey signs its digest. */
for (const form of document.querySelectorAll("form.signing, form.together, form.signs, form.signs-in")) {
  const prepares = Object.entries({
    ".signs-in": "/sign-in/prepare",
    ".signs": "/hazards/prepare",
    ".together": "/accept/prepare",
    ".signing": "/sign/prepare",
  }).find(([kind]) => form.matches(kind))[1];
  const says = form.querySelector(".signing-says");
  const bytes = (text) =>
    Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (letter) => letter.charCodeAt(0));
  const text = (buffer) =>
    btoa(String.fromCharCode(...new Uint8Array(buffer)))
      .replace(/\+/g, "-")
      .replace(/\//g, "_")
      .replace(/=+$/, "");

  async function ask(address, members) {
    const answer = await fetch(address, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ ...members, form_token: form.elements.form_token.value }),
    });
    if (!answer.ok) {
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const told = page.querySelector("#main") || page.body;
      throw new Error(told.textContent.trim().replace(/\s+/g, " "));
    }
    return answer;
  }

  const members = (key) => {
    const value = (name) => form.elements[name]?.value;
    if (form.matches(".signs-in")) return { name: value("name") };
    if (form.matches(".together")) return { visits: [...form.querySelectorAll("[name=visit]")].map((one) => one.value), key };
    if (form.matches(".signs"))
      return { key: value("key"), hazard: value("hazard"), owner: value("owner"), words: value("words"), passkey: key };
    const visits = [{ visit: form.dataset.visit, digest: value("digest") }];
    return { visits, verdict: value("verdict"), remark: value("remark"), key };
  };

  async function sign(key) {
    if (!form.reportValidity()) return;
    const enters = form.matches(".signs-in");
    const prepared = await (await ask(prepares, members(key))).json();
    const found = await navigator.credentials.get({
      publicKey: {
        challenge: bytes(prepared.challenge),
        rpId: prepared.host,
        allowCredentials: (prepared.credentials || [prepared.credential]).map((id) => ({
          type: "public-key",
          id: bytes(id),
        })),
        userVerification: "required",
      },
    });
    const response = {
      clientDataJSON: text(found.response.clientDataJSON),
      authenticatorData: text(found.response.authenticatorData),
      signature: text(found.response.signature),
    };
    await ask(enters ? "/sign-in/complete" : "/sign/complete", { token: prepared.token, assertion: { id: found.id, response } });
    if (enters) location.href = "/";
    else if (form.dataset.next) location.href = form.dataset.next;
    else location.reload();
  }

  async function make() {
    const { token, ...asked } = await (await ask("/passkey/begin", {})).json();
    asked.challenge = bytes(asked.challenge);
    asked.user.id = bytes(asked.user.id);
    for (const each of asked.excludeCredentials || []) each.id = bytes(each.id);
    const found = await navigator.credentials.create({ publicKey: asked });
    const response = {
      id: found.id,
      rawId: text(found.rawId),
      type: found.type,
      response: {
        clientDataJSON: text(found.response.clientDataJSON),
        attestationObject: text(found.response.attestationObject),
      },
    };
    const file = await (await ask("/passkey/finish", { token, response })).text();
    const link = document.createElement("a");
    link.download = "passkey.json";
    link.href = `data:application/json,${encodeURIComponent(file)}`;
    link.textContent = "passkey.json";
    says.replaceChildren("Hand this file to the office, which enrols it: ", link);
  }

  function attempt(work) {
    says.textContent = "";
    work().catch((error) => {
      says.textContent = error.message;
    });
  }

  for (const button of form.querySelectorAll(".with-passkey"))
    button.addEventListener("click", () => attempt(() => sign(button.dataset.key)));
  if (form.matches(".signs-in"))
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      attempt(() => sign());
    });
  form.querySelector(".make-passkey")?.addEventListener("click", () => attempt(make));
}
