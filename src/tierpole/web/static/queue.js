// Entries without a signal. A form that is sent is first kept in this browser, then sent; what
// does not get through waits and is sent later. Each entry carries its own id, so that one sent
// twice is written once.

const FORMS = "/enter";
const PATIENCE = 6000; // ms for an answer before the farm's computer counts as out of reach
const AGAIN = 5000; // ms between tries while something waits
const KEPT = "tierpole-2"; // the store offline.js starts pages from; there only if encrypted
const pages = new Map(); // forms kept in memory, for a page that is left open
const board = document.querySelector("#queue");

// --- what waits, in the browser's own store ----------------------------------------------------

const opened = new Promise((resolve, reject) => {
  const asked = indexedDB.open("tierpole", 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("waiting", { keyPath: "id" });
  asked.onsuccess = () => resolve(asked.result);
  asked.onerror = () => reject(asked.error);
});

async function store(mode, work) {
  const transaction = (await opened).transaction("waiting", mode);
  const asked = work(transaction.objectStore("waiting"));
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve(asked.result);
    transaction.onerror = () => reject(transaction.error);
  });
}

const keep = (entry) => store("readwrite", (all) => all.put(entry));
const drop = (id) => store("readwrite", (all) => all.delete(id));
const waiting = async () => (await store("readonly", (all) => all.getAll())).sort((a, b) => a.at - b.at);

// crypto.randomUUID is not there over plain HTTP
function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

// --- sending -----------------------------------------------------------------------------------

async function send(entry) {
  const form = new FormData();
  for (const [key, value] of entry.fields) form.append(key, value);
  const answer = await fetch(entry.url, {
    method: "POST", body: form, signal: AbortSignal.timeout(PATIENCE), credentials: "same-origin",
  });
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  return { answer, page };
}

// what became of an entry: sent, refused (with why), or still waiting
async function settle(entry) {
  try {
    const { answer, page } = await send(entry);
    if (answer.ok && new URL(answer.url).pathname.startsWith("/entered/")) {
      await drop(entry.id);
      return { state: "sent", url: answer.url, contested: Boolean(page.querySelector("main .notice.warns")) };
    }
    if (answer.status === 422 || answer.status === 413) {
      const why = [...page.querySelectorAll("[role=alert] li")].map((one) => one.textContent).join(" ");
      await keep({ ...entry, refused: why || answer.statusText });
      return { state: "refused", page };
    }
    return { state: answer.status < 500 ? "stranger" : "waits" };
  } catch {
    return { state: "waits" };
  }
}

let busy = false;

async function flush() {
  if (busy) return;
  busy = true;
  let contested = false;
  let stranger = false;
  try {
    for (const entry of await waiting()) {
      if (entry.refused) continue;
      const found = await settle(entry);
      contested ||= found.contested;
      stranger ||= found.state === "stranger";
      if (found.state === "waits") break;
    }
  } finally {
    busy = false;
  }
  await show(contested, stranger);
}

// --- what is seen of it ------------------------------------------------------------------------

function line(text, tag = "p") {
  const made = document.createElement(tag);
  made.textContent = text;
  return made;
}

function button(text, act) {
  const made = line(text, "button");
  made.type = "button";
  made.addEventListener("click", act);
  return made;
}

const told = (entry) => `${entry.title}: ${entry.said}`;

async function show(contested = false, stranger = false) {
  const all = await waiting();
  const open = all.filter((entry) => !entry.refused);
  board.replaceChildren();
  if (open.length) {
    board.append(line(`${open.length} ${board.dataset.waits}`));
    const list = document.createElement("ul");
    list.append(...open.map((entry) => line(told(entry), "li")));
    board.append(list);
    if (!navigator.serviceWorker?.controller) board.append(line(board.dataset.open));
  }
  for (const entry of all.filter((one) => one.refused)) {
    board.append(line(`${told(entry)} ${board.dataset.refused} ${entry.refused}`));
    board.append(button(board.dataset.mend, () => mend(entry)));
    board.append(button(board.dataset.drop, () => drop(entry.id).then(() => show())));
  }
  if (contested) board.append(line(board.dataset.contested));
  if (stranger) board.append(line(board.dataset.sign));
  board.hidden = !board.childElementCount;
}

// --- forms -------------------------------------------------------------------------------------

function prepare(form) {
  form.elements.entry.value = newId(); // a page out of the browser's store may be shown twice
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const fields = [...new FormData(form)].filter(([, value]) => !(value instanceof File) || value.size);
    const said = fields.filter(([key, value]) => typeof value === "string" && !["token", "entry", "seen"].includes(key) && value);
    const shown = said.map(([key, value]) => form.elements[key].selectedOptions?.[0].textContent ?? value);
    const entry = {
      id: form.elements.entry.value, url: form.action, title: form.dataset.queue,
      said: shown.join(", "), fields, at: Date.now(),
    };
    await keep(entry);
    const found = await settle(entry);
    if (found.state === "sent") location.assign(found.url);
    else if (found.state === "refused") {
      await drop(entry.id);
      swap(found.page.querySelector("main").innerHTML);
    } else {
      form.reset();
      form.elements.entry.value = newId();
      await show(false, found.state === "stranger");
      board.scrollIntoView();
    }
  });
}

function swap(html) {
  document.querySelector("main").innerHTML = html;
  document.querySelectorAll("form[data-queue]").forEach(prepare);
  (document.querySelector("[role=alert] a, main h1") ?? document.body).scrollIntoView();
}

async function mend(entry) {
  const path = new URL(entry.url).pathname;
  if (!pages.has(path)) await fetchPage(path);
  if (!pages.has(path)) return;
  swap(pages.get(path));
  const form = document.querySelector("form[data-queue]");
  for (const [key, value] of entry.fields) {
    if (typeof value === "string" && key !== "entry" && form.elements[key]) form.elements[key].value = value;
  }
  await drop(entry.id);
  await show();
}

// --- a page left open: its forms are in memory -------------------------------------------------

const keptPages = globalThis.caches?.open(KEPT);

// What a page is drawn with, so that one which starts without a signal is whole.
async function keepParts() {
  const loaded = performance.getEntriesByType("resource").map((one) => new URL(one.name));
  const parts = loaded.filter(({ origin, pathname }) => origin === location.origin && /^\/(static|fonts)\//.test(pathname));
  await (await keptPages)?.addAll(parts.map(String)).catch(() => {}); // no signal: kept before
}

async function fetchPage(path) {
  try {
    const answer = await fetch(path, { signal: AbortSignal.timeout(PATIENCE) });
    if (!answer.ok) return false;
    if (answer.redirected) return true; // to the sign-in page, which is not kept
    await (await keptPages)?.put(path, answer.clone());
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    pages.set(path, page.querySelector("main").innerHTML);
    return true;
  } catch {
    return false;
  }
}

document.addEventListener("click", async (event) => {
  const link = event.target.closest?.("a[href]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const { origin, pathname: path } = new URL(link.href);
  if (origin !== location.origin || !pages.has(path)) return;
  event.preventDefault();
  if (await fetchPage(path)) {
    location.assign(link.href);
    return;
  }
  swap(pages.get(path));
});

document.querySelectorAll("form[data-queue]").forEach(prepare);
addEventListener("online", flush);
setInterval(async () => {
  if ((await waiting()).some((entry) => !entry.refused)) await flush();
}, AGAIN);
navigator.serviceWorker?.register("/offline.js");
await flush();
await keepParts();
const forms = [...document.querySelectorAll(".tiles a")].map((link) => new URL(link.href).pathname);
if (forms.length) {
  await fetchPage(location.pathname);
  pages.set(FORMS, pages.get(FORMS) ?? pages.get(location.pathname));
  for (const path of forms) await fetchPage(path);
  document.documentElement.dataset.forms = "kept";
}
