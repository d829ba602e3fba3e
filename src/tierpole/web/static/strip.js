// The season strip: the list of cuts under it points at blocks, and a line leads to their place.

import { drawAll, set } from "./charts.js";

await drawAll();

const list = document.querySelector("#cuts");
const pick = (event) => {
  const row = event.target.closest("[data-mark]");
  set("strip", { picked: row ? row.dataset.mark : "" });
};

for (const name of ["pointerover", "focusin"]) list?.addEventListener(name, pick);
for (const name of ["pointerleave", "focusout"]) {
  list?.addEventListener(name, () => set("strip", { picked: "" }));
}
