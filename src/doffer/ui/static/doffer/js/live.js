// Keeps open pages fresh: an element with data-live="lot order:O204" is fetched again when one of its topics changes.
// Where the stream is not to be had, nothing happens and the page stays as it was loaded.
"use strict";
(function () {
  const WAIT_MS = 400; // several changes in one go cause one fetch
  const waiting = new Map();

  function topicsOf(element) {
    return element.dataset.live.split(/\s+/).filter(Boolean);
  }

  // The element fetches itself again by hx-get with trigger "doffer:changed"; without one, its part of the page.
  function refresh(element) {
    waiting.delete(element);
    if (!element.isConnected || element.contains(document.activeElement)) return;
    if (element.hasAttribute("hx-get")) {
      element.dispatchEvent(new CustomEvent("doffer:changed"));
    } else if (element.id && window.htmx) {
      const selector = "#" + CSS.escape(element.id);
      window.htmx.ajax("GET", window.location.href, { target: selector, select: selector, swap: "outerHTML" });
    }
  }

  function changed(topics) {
    for (const element of document.querySelectorAll("[data-live]")) {
      const concerned = topics.includes("everything") || topicsOf(element).some((topic) => topics.includes(topic));
      if (waiting.has(element) || !concerned) continue;
      waiting.set(element, window.setTimeout(refresh, WAIT_MS, element));
    }
  }

  function listen() {
    if (!document.querySelector("[data-live]") || !("EventSource" in window)) return;
    const stream = new EventSource("/live");
    stream.addEventListener("change", (event) => changed(JSON.parse(event.data).topics));
    window.addEventListener("pagehide", () => stream.close());
  }

  document.addEventListener("DOMContentLoaded", listen);
})();
