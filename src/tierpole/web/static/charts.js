// Draws the charts a page carries. Without it their sentences and tables still stand.

const OPTIONS = {
  actions: false,
  renderer: "svg",
  defaultStyle: false,
  tooltip: { theme: "custom", disableDefaultStyle: true },
};

const views = new Map();

async function draw(figure) {
  const picture = figure.querySelector(".picture");
  const spec = JSON.parse(figure.querySelector("script").textContent);
  const drawn = await window.drawChart(picture, spec, OPTIONS);
  // the picture is named by its sentence; its strokes are nothing to read out
  picture.querySelector("svg").setAttribute("aria-hidden", "true");
  views.set(figure.id, drawn.view);
  figure.dataset.drawn = "true";
}

export function set(id, signals) {
  const view = views.get(id);
  if (!view) return;
  const known = view.getState({ signals: (name) => name in signals }).signals;
  for (const name of Object.keys(known)) view.signal(name, signals[name]);
  view.runAsync();
}

export async function drawAll() {
  await document.fonts.load("14px 'Atkinson Hyperlegible Next'").catch(() => {});
  const figures = [...document.querySelectorAll("figure.chart")];
  await Promise.all(figures.map(draw));
}
