// While the first plan is made: show how far it is, and open the page when it is there.

const bar = document.querySelector("progress");
const step = document.querySelector("#step");

async function look() {
  const answer = await fetch("/health").then((response) => response.json()).catch(() => null);
  if (answer && (answer.has_plan || answer.state === "failed")) {
    location.reload();
    return;
  }
  if (answer) {
    bar.value = answer.share;
    step.textContent = answer.step;
  }
  setTimeout(look, 1000);
}

look();
