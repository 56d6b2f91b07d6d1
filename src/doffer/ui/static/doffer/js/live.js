// Keeps open pages fresh: an element with data-live="lot order" is fetched again when one of its topics changes.
// Where the stream is not to be had, nothing happens and the page stays as it was loaded.
"use strict";
(function () {
  const WAIT_MS = 400; // several changes in one go cause one fetch
  const EVERYTHING = "everything";
  const waiting = new Map();
  let stream = null;

  function topicsOf(element) {
    return element.dataset.live.split(/\s+/).filter(Boolean);
  }

  function openTitles(element) {
    const open = element.querySelectorAll("details[open] > summary");
    return new Set([...open].map((summary) => summary.textContent.trim()));
  }

  // What the reader had opened stays open in the new version.
  function openAgain(element, titles) {
    for (const summary of element.querySelectorAll("details > summary")) {
      if (titles.has(summary.textContent.trim())) summary.parentElement.open = true;
    }
  }

  // An element with hx-get fetches itself on "doffer:changed"; any other is cut out of a fresh copy of its page.
  function refresh(element) {
    waiting.delete(element);
    if (!element.isConnected || element.contains(document.activeElement)) return;
    if (element.hasAttribute("hx-get")) {
      element.dispatchEvent(new CustomEvent("doffer:changed"));
      return;
    }
    if (!element.id || !window.htmx) return;
    const titles = openTitles(element);
    const selector = "#" + CSS.escape(element.id);
    const options = { target: selector, select: selector, swap: "outerHTML" };
    window.htmx.ajax("GET", window.location.href, options).then(function () {
      const fresh = document.querySelector(selector);
      if (fresh) openAgain(fresh, titles);
    });
  }

  function changed(event) {
    let topics;
    try {
      topics = JSON.parse(event.data).topics;
    } catch {
      return; // not for us
    }
    for (const element of document.querySelectorAll("[data-live]")) {
      const concerned = topics.includes(EVERYTHING) || topicsOf(element).some((topic) => topics.includes(topic));
      if (concerned && !waiting.has(element)) waiting.set(element, window.setTimeout(refresh, WAIT_MS, element));
    }
  }

  function listen() {
    if (stream || !document.querySelector("[data-live]") || !("EventSource" in window)) return;
    stream = new EventSource("/live");
    stream.addEventListener("change", changed);
  }

  function leave() {
    if (stream) stream.close();
    stream = null;
  }

  document.addEventListener("DOMContentLoaded", listen);
  window.addEventListener("pageshow", listen);
  window.addEventListener("pagehide", leave);
})();
