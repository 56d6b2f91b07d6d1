// At the scale: a press on a known empty container types its weight. Without this the weight is typed by hand.
"use strict";
(function () {
  document.addEventListener("DOMContentLoaded", function () {
    for (const row of document.querySelectorAll("[data-fills]")) row.hidden = false;
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
