"use strict";
// Finds calls and schemas by what stands in them, and opens the one that a link leads to. The page is whole without it.
const entries = [...document.querySelectorAll("details.entry")];
const field = document.getElementById("find");
document.getElementById("finder").hidden = false;
field.addEventListener("input", () => {
  const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
  let count = 0;
  for (const entry of entries) {
    const text = entry.textContent.toLowerCase();
    entry.hidden = !words.every((word) => text.includes(word));
    if (!entry.hidden) count++;
  }
  document.getElementById("found").textContent = words.length ? `${count} of ${entries.length}` : "";
});
function open() {
  const entry = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!entry || entry.tagName !== "DETAILS") return;
  entry.hidden = false;
  entry.open = true;
  entry.scrollIntoView();
}
addEventListener("hashchange", open);
open();
