// Long pages on a narrow screen: a fold (details with data-fold) is shut there, open where there is room, and open on
// paper. What the reader opened or shut himself stays so. Without this script every fold is shut and can be opened.
"use strict";
(function () {
  const wide = window.matchMedia("(min-width: 52.01rem)"); // the same width as in layout.css

  function settle() {
    for (const fold of document.querySelectorAll("details[data-fold]:not([data-touched])")) fold.open = wide.matches;
    reveal();
  }

  // An address that points into a fold opens it.
  function reveal() {
    const id = decodeURIComponent(window.location.hash.slice(1));
    let fold = id ? document.getElementById(id) : null;
    if (fold) fold = fold.closest("details");
    for (; fold; fold = fold.parentElement.closest("details")) {
      if (!fold.matches(".menu")) fold.open = true;
    }
  }

  document.addEventListener("click", function (event) {
    const summary = event.target.closest("summary");
    if (summary) summary.parentElement.setAttribute("data-touched", "");
  });

  // On paper every fold is open; afterwards each is as it was.
  window.addEventListener("beforeprint", function () {
    for (const fold of document.querySelectorAll("details[data-fold]:not([open])")) {
      fold.setAttribute("data-printed", "");
      fold.open = true;
    }
  });
  window.addEventListener("afterprint", function () {
    for (const fold of document.querySelectorAll("details[data-printed]")) {
      fold.removeAttribute("data-printed");
      fold.open = false;
    }
  });

  wide.addEventListener("change", settle);
  window.addEventListener("hashchange", reveal);
  document.addEventListener("htmx:afterSwap", settle);
  settle();
})();
