// Small behaviour of every page. Nothing here is needed to read or to save: forms and links work without it.
"use strict";
(function () {
  const root = document.documentElement;
  const FAULT = "Doffer stumbled over this; nothing was written down. Try once more, or load the page again.";
  const SILENCE = "The mill's computer does not answer. Look whether it is switched on, then try once more.";

  function currentLook() {
    return root.dataset.theme || "auto";
  }

  function showLook() {
    for (const button of document.querySelectorAll("[data-look]")) {
      button.setAttribute("aria-pressed", String(button.dataset.look === currentLook()));
    }
  }

  function chooseLook(look) {
    if (look === "auto") delete root.dataset.theme;
    else root.dataset.theme = look;
    try {
      if (look === "auto") window.localStorage.removeItem("doffer-look");
      else window.localStorage.setItem("doffer-look", look);
    } catch {
      // storage switched off: the look holds for this page
    }
    showLook();
  }

  function noticeElement(sentence) {
    const box = document.createElement("p");
    box.className = "notice notice-error";
    box.setAttribute("role", "alert");
    box.textContent = sentence;
    return box;
  }

  function notice(sentence) {
    return noticeElement(sentence).outerHTML;
  }

  function closeMenus(except) {
    for (const menu of document.querySelectorAll("details.menu[open]")) {
      if (menu !== except) menu.open = false;
    }
  }

  // A form that has been sent says so and cannot be sent twice; a page taken from the history is ready again.
  function setBusy(form, isBusy) {
    form.toggleAttribute("data-sent", isBusy);
    for (const button of form.querySelectorAll("button[type=submit]")) {
      button.setAttribute("aria-busy", String(isBusy));
      if (isBusy) button.setAttribute("aria-disabled", "true");
      else button.removeAttribute("aria-disabled");
    }
  }

  document.addEventListener("click", function (event) {
    const look = event.target.closest("[data-look]");
    if (look) chooseLook(look.dataset.look);
    const print = event.target.closest("[data-print]");
    if (print) window.print();
    closeMenus(event.target.closest("details.menu"));
  });

  document.addEventListener("keydown", function (event) {
    if (event.key !== "Escape") return;
    const open = document.querySelector("details.menu[open]");
    closeMenus(null);
    if (open) open.querySelector("summary").focus();
  });

  document.addEventListener("submit", function (event) {
    const form = event.target;
    if (form.hasAttribute("data-sent")) {
      event.preventDefault();
      return;
    }
    if (event.defaultPrevented || form.hasAttribute("data-stay")) return;
    if (form.matches("[hx-get], [hx-post]")) return;
    setBusy(form, true);
  });

  window.addEventListener("pageshow", function () {
    for (const form of document.querySelectorAll("form[data-sent]")) setBusy(form, false);
  });

  // Parts of a page that htmx fetches say that they are being worked out.
  document.addEventListener("htmx:beforeRequest", function (event) {
    event.detail.target.setAttribute("aria-busy", "true");
  });
  document.addEventListener("htmx:afterRequest", function (event) {
    event.detail.target.removeAttribute("aria-busy");
  });
  // A refusal comes back with its sentences: show them in place, like a good answer. A bare sentence may hold
  // what somebody typed, so it is put in as text and never read as a page.
  document.addEventListener("htmx:beforeSwap", function (event) {
    const answer = event.detail.xhr;
    if (answer.status < 400) return;
    const type = answer.getResponseHeader("Content-Type") || "";
    if (answer.status >= 500) event.detail.serverResponse = notice(FAULT);
    else if (type.startsWith("text/plain")) event.detail.serverResponse = notice(answer.responseText);
    event.detail.shouldSwap = true;
    event.detail.isError = false;
  });

  document.addEventListener("htmx:sendError", function (event) {
    event.detail.target.innerText = "";
    event.detail.target.append(noticeElement(SILENCE));
  });

  document.addEventListener("DOMContentLoaded", function () {
    showLook();
    const wrong = document.querySelector("[data-focus-first], [aria-invalid=true]");
    if (wrong) wrong.focus();
  });
})();
