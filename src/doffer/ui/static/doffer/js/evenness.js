// Sliders of layers and passes: slider and number move together. Without this the numbers are typed.
"use strict";
(function () {
  document.addEventListener("DOMContentLoaded", function () {
    for (const slider of document.querySelectorAll("[data-turns]")) {
      const field = document.getElementById(slider.dataset.turns);
      slider.hidden = false;
      // before htmx hears of it, so that what is sent is what stands there
      slider.addEventListener("input", function () {
        field.value = slider.value;
      }, true);
      field.addEventListener("input", function () {
        const typed = Number.parseInt(field.value, 10);
        if (Number.isFinite(typed)) slider.value = String(typed);
      });
    }
  });
})();
