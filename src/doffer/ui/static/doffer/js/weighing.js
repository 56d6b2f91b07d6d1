// At the scale: a press on a known empty container types its weight, and another stage brings its own form.
// Without this the weight is typed by hand and the form is asked for by its button.
"use strict";
(function () {
  document.addEventListener("DOMContentLoaded", function () {
    for (const row of document.querySelectorAll("[data-fills]")) row.hidden = false;
    for (const row of document.querySelectorAll("[data-when]")) row.hidden = true;
  });

  document.addEventListener("change", function (event) {
    const row = document.querySelector(`[data-when="${event.target.id}"]`);
    if (row) event.target.form.requestSubmit(row.querySelector("button"));
  });

  document.addEventListener("click", function (event) {
    const button = event.target.closest("[data-fill]");
    if (!button) return;
    const field = document.getElementById(button.closest("[data-fills]").dataset.fills);
    field.value = button.dataset.fill;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.focus();
  });
})();
