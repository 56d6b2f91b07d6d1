// Runs before the first paint: takes the look this device chose earlier, so that no page flashes in another one.
"use strict";
(function () {
  const LOOKS = ["light", "dark", "contrast"];
  let look = null;
  try {
    look = window.localStorage.getItem("doffer-look");
  } catch {
    look = null; // storage switched off: the device's own setting decides
  }
  if (LOOKS.includes(look)) document.documentElement.dataset.theme = look;
})();
