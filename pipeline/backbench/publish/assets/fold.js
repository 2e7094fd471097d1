"use strict";
// On a phone the long parts of a page begin folded; elsewhere most stand open. Paper shows all.
const foldable = [...document.querySelectorAll("details.fold")];
if (matchMedia("screen and (max-width: 40rem)").matches) {
  for (const part of foldable) part.open = false;
}
let folded = [];
window.addEventListener("beforeprint", () => {
  folded = foldable.filter((part) => !part.open);
  for (const part of folded) part.open = true;
});
window.addEventListener("afterprint", () => {
  for (const part of folded) part.open = false;
});
