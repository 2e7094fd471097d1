"use strict";
// On a phone the long parts of a page begin folded; elsewhere they stand open.
if (matchMedia("screen and (max-width: 40rem)").matches) {
  for (const part of document.querySelectorAll("details.fold")) part.open = false;
  window.addEventListener("beforeprint", () => {
    for (const part of document.querySelectorAll("details.fold")) part.open = true;
  });
}
