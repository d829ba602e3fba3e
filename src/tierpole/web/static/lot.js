// The slider of a lot's page: one sample day moves through every picture.

import { drawAll, set } from "./charts.js";

await drawAll();

const chooser = document.querySelector(".chooser");
const written = document.querySelector("#choices");

if (chooser && written) {
  const choices = JSON.parse(written.textContent);
  const slider = chooser.querySelector("input");
  const said = chooser.querySelector("output");
  const at = (day) => Date.parse(`${day}T00:00:00Z`);

  const choose = () => {
    const choice = choices[Number(slider.value)];
    said.textContent = choice.says;
    slider.setAttribute("aria-valuetext", choice.says);
    const signals = { chosen: at(choice.day), opens: at(choice.opens), closes: at(choice.closes) };
    for (const id of ["thc", "cbd", "passing", "worth", "if-read"]) set(id, signals);
  };

  slider.addEventListener("input", choose);
  chooser.hidden = false;
  choose();
}
