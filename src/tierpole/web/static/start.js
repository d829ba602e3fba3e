/* The start, as it is answered: what the answers come to, and corners set by hand on the paper. */

const form = document.getElementById("answers");
const PAUSE = 500; // milliseconds without typing before it is asked
let waiting = 0;
let asked = 0;

async function look() {
  const mine = ++asked;
  const sent = new FormData(form);
  sent.delete("file");
  sent.set("do", "look");
  let text = "";
  try {
    const answer = await fetch(form.action, { method: "POST", body: sent });
    if (!answer.ok) return;
    text = await answer.text();
  } catch {
    return; // the page works without
  }
  if (mine !== asked) return;
  const found = new DOMParser().parseFromString(text, "text/html");
  for (const fresh of found.querySelectorAll("#told, .squared")) {
    const old = document.getElementById(fresh.id);
    if (old && drawn(old) !== drawn(fresh)) old.replaceWith(fresh);
  }
  equip();
}

/* What a part shows; the buttons beside a drawing are shown by this script and say nothing. */
function drawn(part) {
  return (part.querySelector("svg") ?? part).innerHTML;
}

function later() {
  clearTimeout(waiting);
  waiting = setTimeout(look, PAUSE);
}

function equip() {
  for (const paper of form.querySelectorAll(".squared")) {
    delete paper.dataset.empty;
    for (const one of paper.querySelectorAll(".by-hand")) one.hidden = false;
  }
}

function corner(paper, at) {
  const picture = paper.querySelector("svg");
  const place = new DOMPoint(at.clientX, at.clientY).matrixTransform(
    picture.getScreenCTM().inverse(),
  );
  const { feet, left, top } = paper.dataset;
  const round = (squares) => Math.round(squares * 2) / 2; // to half a square
  const east = Number(left) + round(place.x) * feet;
  const north = Number(top) - round(place.y) * feet;
  const corners = document.getElementById(paper.dataset.corners);
  corners.value = `${corners.value.trimEnd()}\n${east}, ${north}`.trimStart();
  look();
}

form.addEventListener("input", later);
form.addEventListener("click", (event) => {
  const paper = event.target.closest(".squared");
  if (!paper) return;
  if (event.target.closest("svg")) corner(paper, event);
  if (event.target.closest(".undo")) {
    const corners = document.getElementById(paper.dataset.corners);
    corners.value = corners.value.trimEnd().split("\n").slice(0, -1).join("\n");
    look();
  }
});
document.getElementById("look").hidden = true;
equip();
