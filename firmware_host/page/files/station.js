"use strict";
// Shows what the server says, again and again, and tells it what is pressed. Decides nothing.
// Where nothing was heard for STALE_MS, it covers the word: it never shows STILL when it does not know.

const STALE_MS = 750;
const LATE_MS = 1000; // said so long ago is as good as not said
const AGAIN_MS = 300;

const at = (id) => document.getElementById(id);
const kept = "station page token";

let token = location.hash.slice(1);
if (token) {
  sessionStorage.setItem(kept, token);
  history.replaceState(null, "", location.pathname); // it is not left where a screen or a list of pages shows it
} else {
  token = sessionStorage.getItem(kept) || "";
}

let heard = performance.now(); // when the server was heard last; at first, since when it is waited for
let view = null; // what it said then
let shape = 0; // which surface is drawn
let over = false;
let stopped = false; // it refuses us, or the run is over: nothing is asked again

function put(id, text) {
  const element = at(id);
  if (element.textContent !== text) element.textContent = text;
}

function word(text) {
  if (document.body.dataset.word !== text) {
    document.body.dataset.word = text;
    put("word", text);
  }
}

function duration(seconds) {
  const whole = Math.round(seconds);
  if (whole < 60) return `${whole} s`;
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${String(whole % 60).padStart(2, "0")} s`;
  return `${Math.floor(whole / 3600)} h ${String(Math.floor((whole % 3600) / 60)).padStart(2, "0")} min`;
}

function stale(why) {
  word("STALE");
  put("doing", why);
  put("aloud", `STALE. ${why}`);
  document.title = "STALE";
  document.querySelector(".told").hidden = true; // nothing that was true before stands beside it
  for (const button of document.querySelectorAll("button")) button.disabled = button.id !== "stop";
}

function show() {
  word(view.word);
  put("doing", view.doing);
  put("where", view.where);
  put("following", view.following);
  put("passes", view.of ? `${view.done} of ${view.of} passes are done` : "");
  put("left", view.left_s === null || over ? "" : `about ${duration(view.left_s)} left`);
  put("aloud", `${view.word}. ${view.doing}`);
  document.title = [view.word, view.where].filter(Boolean).join(", ");
  showAsked();
  showWish("hold");
  showWish("carry-on");
  showWish("stop");
  document.body.classList.toggle("over-now", over);
  put("why-hold", view.why_not.hold && view.why_not["carry-on"] ? view.why_not.hold : "");
  put("why-stop", view.why_not.stop);
  showList("told", view.told);
  document.querySelector(".told").hidden = view.told.length === 0;
  showSurface();
  at("over").hidden = !over;
  if (over) {
    put("over-text", view.over.text);
    showList("todo", view.over.todo);
  }
}

function showWish(id) {
  at(id).disabled = view.why_not[id] !== "";
}

function showList(id, lines) {
  const list = at(id);
  const now = lines.join("\n");
  if (list.dataset.now === now) return;
  list.dataset.now = now;
  list.replaceChildren(...lines.map((line) => {
    const item = document.createElement("li");
    item.textContent = line;
    return item;
  }));
}

// --- what is asked --------------------------------------------------------------------------------------------------

function showAsked() {
  const asked = view.asked;
  const panel = at("choices");
  put("question", asked ? asked.text : "Nothing is asked");
  put("why-answer", view.why_not.answer);
  const now = asked ? String(asked.number) : "";
  if (panel.dataset.now === now) {
    for (const button of panel.children) button.disabled = view.why_not.answer !== "";
    at("entry").querySelector("button").disabled = view.why_not.answer !== "";
    return;
  }
  panel.dataset.now = now;
  const choices = asked ? asked.choices : [["", "Done"]];
  panel.replaceChildren(...choices.map(([line, does]) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = does;
    button.disabled = !asked || view.why_not.answer !== "";
    if (line === "") {
      button.id = "done";
      const key = document.createElement("kbd");
      key.textContent = "Enter";
      button.append(" ", key);
    }
    button.addEventListener("click", () => press("answer", { number: asked ? asked.number : 0, line }));
    return button;
  }));
  at("entry").hidden = !asked || !asked.entry;
  put("entry-words", asked ? asked.entry : "");
  at("typed").value = "";
  at("entry").querySelector("button").disabled = false;
}

// --- the part laid flat ---------------------------------------------------------------------------------------------

function showSurface() {
  const drawing = at("surface");
  if (view.shape && view.shape.number !== shape) {
    shape = view.shape.number;
    drawing.replaceChildren(hatching(), ...view.shape.cells.map(([low, high]) => svg("rect", {
      x: 1000 * low, width: Math.max(1000 * (high - low), 1), y: 6, height: 48,
    })), svg("rect", { class: "here", y: 4, height: 52 }));
    const each = view.shape.each > 1 ? `, ${view.shape.each} of ${view.shape.segments} segments in a cell` : "";
    put("legend", `The part laid flat, once around${each}`);
  }
  const known = shape !== 0 && view.surface === shape;
  document.querySelector(".part").hidden = !known;
  if (!known) return;
  const [, ...cells] = drawing.children;
  const here = cells.pop();
  cells.forEach((cell, number) => {
    const now = view.cells[number];
    if (cell.getAttribute("class") === now) return;
    cell.setAttribute("class", now);
    cell.setAttribute("fill", now === "p" ? "url(#partly)" : "none");
  });
  const marked = over || view.at === null ? null : cells[view.at];
  here.setAttribute("display", marked ? "inline" : "none");
  if (marked) for (const name of ["x", "width"]) here.setAttribute(name, marked.getAttribute(name));
}

function svg(kind, attributes, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", kind);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

function hatching() {
  const lines = svg("path", { d: "M0 10 L10 0" });
  return svg("pattern", { id: "partly", width: 10, height: 10, patternUnits: "userSpaceOnUse" }, lines);
}

// --- buttons and keys -----------------------------------------------------------------------------------------------

async function press(button, more = {}) {
  put("refused", "");
  try {
    const answer = await fetch("/press", {
      method: "POST",
      headers: { "Authorization": `Bearer ${token}`, "Content-Type": "application/json" },
      body: JSON.stringify({ button, ...more }),
      cache: "no-store",
      credentials: "omit",
    });
    const said = await answer.json();
    if (said.refused) put("refused", `Not done: ${said.refused}.`);
  } catch {
    put("refused", "Not done: the run's program does not answer. Use the emergency stop if it has to stop.");
  }
}

for (const id of ["hold", "stop"]) at(id).addEventListener("click", () => press(id));
at("carry-on").addEventListener("click", () => press("carry-on", { number: view ? view.hold : 0 }));
at("entry").addEventListener("submit", (event) => {
  event.preventDefault();
  if (view && view.asked) press("answer", { number: view.asked.number, line: at("typed").value.trim() });
});
document.addEventListener("click", (event) => {
  // A button that was clicked keeps no focus: Enter means Done afterwards, and not the same button again.
  if (event.detail > 0 && event.target instanceof Element) event.target.closest("button")?.blur();
});
document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.target instanceof Element && event.target.closest("input, button") && event.key !== "Escape") {
    if (event.target.closest("input") || event.key === "Enter" || event.key === " ") return;
  }
  const key = event.key.toLowerCase();
  const button = key === "enter" ? at("done") : key === "s" ? at("stop") : key === "h" ? holds() : null;
  if (button) {
    event.preventDefault();
    if (!button.disabled) button.click();
  }
});

function holds() {
  return at("hold").disabled ? at("carry-on") : at("hold");
}

// --- what the server says -------------------------------------------------------------------------------------------

let quickest = Infinity; // how far the server's clock lies behind this one, at the least that was seen

function hear(said) {
  const behind = performance.now() - said.at_ms;
  quickest = Math.min(quickest, behind);
  if (behind - quickest > LATE_MS) return; // it came late
  heard = performance.now();
  view = said;
  over = said.over !== null;
  stopped = over;
  show();
}

async function listen() {
  const answer = await fetch("/state", {
    headers: { "Authorization": `Bearer ${token}` }, cache: "no-store", credentials: "omit",
  });
  if (!answer.ok) {
    stopped = answer.status === 401;
    const said = await answer.json();
    stale(`Not connected: ${said.refused}.`);
    return;
  }
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return;
    const events = (rest + value).split("\n\n");
    rest = events.pop();
    for (const event of events) hear(JSON.parse(event.slice("data: ".length)));
  }
}

async function keepListening() {
  while (!stopped) {
    try {
      await listen();
    } catch {
      // the server is gone; the word is covered until it is heard again
    }
    if (!stopped) await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
  }
}

function look() {
  if (!stopped && performance.now() - heard > STALE_MS) {
    stale("The run's program does not answer. The axis may be moving, and the gate may be open.");
  }
}

setInterval(look, 100);
for (const name of ["visibilitychange", "pageshow", "focus", "resume"]) window.addEventListener(name, look);
document.addEventListener("visibilitychange", look);
if (token) {
  keepListening();
} else {
  stopped = true;
  stale("Not connected: open the whole address that the run has printed, with all that is behind the #.");
}
