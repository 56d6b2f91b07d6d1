// Shows the chosen photo and fills the fields of places by touching it. Typing them works without this.
"use strict";
(function () {
  document.addEventListener("DOMContentLoaded", function () {
    const input = document.getElementById("photo");
    const box = document.querySelector("[data-photo-tap]");
    const shown = document.querySelector("[data-photo-shown]");
    if (!input || !box || !shown) return;
    input.addEventListener("change", function () {
      const file = input.files[0];
      box.hidden = !file;
      if (!file) return;
      const reader = new FileReader();
      reader.addEventListener("load", function () {
        shown.src = reader.result;
      });
      reader.readAsDataURL(file);
    });
    shown.addEventListener("click", function (event) {
      const chosen = box.querySelector("input[name=tap]:checked");
      if (!chosen) return;
      const at = shown.getBoundingClientRect();
      const places = [(event.clientX - at.left) / at.width, (event.clientY - at.top) / at.height];
      chosen.value.split(" ").forEach(function (name, k) {
        document.getElementById(name).value = (100 * places[k]).toFixed(1);
      });
      const next = chosen.closest("label").nextElementSibling;
      if (next) next.querySelector("input").checked = true;
    });
  });
})();
