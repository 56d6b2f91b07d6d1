// Says that a chosen file is too large before it is sent; the server says the same to those without scripts.
"use strict";
(function () {
  const MB = 1000000;

  document.addEventListener("change", function (event) {
    const input = event.target.closest("input[type=file][data-most-bytes]");
    if (!input) return;
    const id = input.id + "-size";
    const old = document.getElementById(id);
    if (old) old.remove();
    const file = input.files[0];
    const most = Number(input.dataset.mostBytes);
    if (!file || file.size <= most) return;
    const words = document.createElement("p");
    words.id = id;
    words.className = "field-error";
    words.setAttribute("role", "alert");
    words.textContent =
      file.name + " has " + (file.size / MB).toFixed(1) + " MB; at most " + most / MB + " MB are taken. Choose another file.";
    input.value = "";
    input.after(words);
  });
})();
