// The bench: sliders and numbers move together, the others give way in proportion so that the mix stays 100 %.
// Without this the numbers are typed and the button asks for the answer.
"use strict";
(function () {
  const WHOLE = 100;

  function shares() {
    return [...document.querySelectorAll("#bench-form [data-share]")];
  }

  function number(field) {
    const value = Number.parseFloat(field.value.replace(",", "."));
    return Number.isFinite(value) && value > 0 ? value : 0;
  }

  function sliderOf(field) {
    return document.querySelector(`[data-slides="${field.id}"]`);
  }

  function show(field, value) {
    field.value = String(Math.round(value * 100) / 100);
  }

  // What the moved lot leaves is shared among the others as they stand to each other.
  function giveWay(moved) {
    const others = shares().filter((field) => field !== moved);
    const rest = WHOLE - Math.min(WHOLE, number(moved));
    const sum = others.reduce((total, field) => total + number(field), 0);
    for (const field of others) {
      show(field, sum > 0 ? (number(field) / sum) * rest : rest / others.length);
      sliderOf(field).value = field.value;
    }
  }

  function moved(event) {
    const slider = event.target.closest("[data-slides]");
    const field = slider ? document.getElementById(slider.dataset.slides) : event.target.closest("[data-share]");
    if (!field) return;
    const alone = shares().length < 2;
    if (slider) show(field, alone ? WHOLE : Number(slider.value));
    else if (!field.value.trim()) return;
    else sliderOf(field).value = String(number(field));
    giveWay(field);
    if (slider && alone) slider.value = String(WHOLE);
  }

  document.addEventListener("DOMContentLoaded", function () {
    for (const slider of document.querySelectorAll("[data-slides]")) slider.hidden = false;
    // before htmx hears of it, so that the others' shares are sent as they now stand
    const form = document.getElementById("bench-form");
    if (form) form.addEventListener("input", moved, true);
  });

  document.addEventListener("change", function (event) {
    if (event.target.matches("[data-submits]") && event.target.value !== "own") event.target.form.requestSubmit();
  });
})();
