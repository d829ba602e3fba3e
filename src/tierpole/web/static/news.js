// A page left open hears of a new plan: what changed and why is put into its status region, where
// it is read out; the rest of the page stays as it was until its reader asks for the new one.

const EVERY = 10_000; // ms
const news = document.querySelector("#news");

async function look() {
  const now = await fetch("/health").then((answer) => answer.json()).catch(() => null);
  if (now?.kept_plan && now.kept_plan !== news.dataset.plan) {
    const answer = await fetch(location.href, { headers: { accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const told = page.querySelector("#news");
    if (!told) return;
    const link = document.createElement("a");
    link.href = location.href;
    link.textContent = "Show the new plan";
    const line = document.createElement("p");
    line.className = "notice";
    line.append("There is a new plan. ", link);
    news.replaceChildren(line, ...told.children);
    news.dataset.plan = told.dataset.plan;
  }
  setTimeout(look, EVERY);
}

setTimeout(look, EVERY);
