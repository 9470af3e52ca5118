// Asks once a second what is to be shown, and puts the texts in their places. Nothing is worded or reckoned here but the
// watch, which runs on between two answers.
"use strict";
const SVG = "http://www.w3.org/2000/svg";
const place = (id) => document.getElementById(id);
const put = (node, text) => { if (node.textContent !== text) node.textContent = text; };
const made = (name, text, className) => {
  const node = document.createElement(name);
  node.textContent = text;
  if (className) node.className = className;
  return node;
};
const drawn = (name, attributes) => {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return node;
};
const drawnBefore = {};
// Whether a part has changed since it was drawn: what is read aloud must not be read again for nothing.
const changed = (name, told) => {
  const text = JSON.stringify(told);
  const is = drawnBefore[name] !== text;
  drawnBefore[name] = text;
  return is;
};
let version = -1, since = null, answered = 0, failed = 0, lastClock = "", last = null;

function standing(node, text) {
  put(node, text);
  node.className = "standing " + text;
  node.hidden = text === "";
}

function watchText(seconds) {
  const whole = Math.max(Math.floor(seconds), 0), two = (n) => String(n).padStart(2, "0");
  const minutes = Math.floor(whole / 60);
  return minutes < 60 ? minutes + ":" + two(whole % 60) : Math.floor(minutes / 60) + ":" + two(minutes % 60) + ":" + two(whole % 60);
}

function tick() {
  const moving = last && last.ticking && failed < 3 ? (performance.now() - answered) / 1000 : 0;
  put(place("watch"), since === null ? "" : watchText(since + moving));
}

function figures(facts) {
  const list = place("facts");
  if (list.children.length !== facts.length) {
    list.replaceChildren(...facts.map(() => {
      const pair = document.createElement("div");
      pair.append(document.createElement("dt"), document.createElement("dd"));
      return pair;
    }));
  }
  facts.forEach(([name, value], i) => {
    put(list.children[i].children[0], name);
    put(list.children[i].children[1], value);
  });
}

function warnings(told) {
  place("warnings").replaceChildren(...told.map((one) => {
    const box = made("div", "", one.caution ? "warning" : "warning quiet");
    if (one.caution) box.setAttribute("role", "alert");
    box.append(made("p", (one.when ? one.when + ": " : "") + one.text, "what"));
    if (one.caution) box.append(made("p", "⚠ " + one.caution));
    return box;
  }));
}

function strip(told) {
  const hatch = drawn("svg", { width: 0, height: 0, class: "hatch", "aria-hidden": "true" });
  const pattern = drawn("pattern", { id: "hatched", width: 6, height: 6, patternUnits: "userSpaceOnUse" });
  pattern.append(drawn("path", { d: "M0 6L6 0" }));
  hatch.append(pattern);
  place("strip").replaceChildren(hatch, ...told.lines.map((one) => {
    const line = made("div", "", "line");
    const svg = drawn("svg", { viewBox: "0 0 1000 10", preserveAspectRatio: "none", "aria-hidden": "true" });
    for (const kind of ["rests", "gaps", "settled", "provisional"]) {
      if (one[kind]) svg.append(drawn("path", { d: one[kind], class: kind }));
    }
    if (one.heard < 1000) svg.append(drawn("path", { d: `M${one.heard} 0v10`, class: "end" }));
    line.append(made("span", one.label), svg);
    return line;
  }));
  place("strip").setAttribute("aria-label", told.alt);
  put(place("strip-text"), told.text);
}

function runs(told, more) {
  place("runs").replaceChildren(...told.map((one) => {
    const row = document.createElement("tr");
    const began = made("td", one.began);
    if (one.note) began.append(made("span", one.note, "why"));
    const how = document.createElement("td");
    how.append(made("span", one.standing, "standing " + one.standing));
    row.append(made("td", one.number, "figure"), began, made("td", one.run, "figure"), made("td", one.rest, "figure"), how);
    return row;
  }));
  put(place("more-runs"), more);
}

function slow(told) {
  const v = told.verdict;
  place("verdict").className = "verdict " + v.tone;
  put(place("verdict-sign"), v.sign);
  put(place("verdict-title"), v.title);
  standing(place("verdict-standing"), v.standing);
  place("verdict-found").replaceChildren(
    ...v.found.map((text) => made("p", text, "found")), ...v.notes.map((text) => made("p", text)),
    ...(v.settle ? [made("p", v.settle)] : []));
  put(place("verdict-standing-text"), v.standing_text);
  place("last").hidden = !told.last.run;
  if (told.last.run) {
    put(place("last-run"), told.last.run);
    standing(place("last-standing"), told.last.standing);
    put(place("last-more"), told.last.more);
  }
  if (changed("warnings", told.warnings)) warnings(told.warnings);
  if (changed("strip", told.strip)) strip(told.strip);
  if (changed("runs", [told.runs, told.more_runs])) runs(told.runs, told.more_runs);
  put(place("spoken"), told.spoken);
}

function show(told) {
  last = told;
  answered = performance.now();
  put(place("name"), told.name);
  put(place("status"), told.status_text);
  document.title = (told.pump_text ? told.pump_text + " - " : "") + told.name;
  place("all").hidden = told.status === "waiting";
  if (told.status === "waiting") return;
  lastClock = told.clock;
  since = told.since_s;
  put(place("pump"), told.pump_text || "");
  put(place("pump-more"), [told.pump_why, told.since ? (told.ticking || since !== null ? "Since " : "From ") + told.since + " (" + told.pump_standing + ")." : ""].filter(Boolean).join(" "));
  put(place("heard"), told.heard);
  figures(told.facts);
  place("level-section").hidden = told.level.text === "";
  place("level").hidden = told.level.db === null;
  if (told.level.db !== null) place("level").value = told.level.db;
  put(place("level-text"), told.level.text);
  if (told.verdict) slow(told);
  version = told.version;
  tick();
}

function lost(why) {
  const box = place("lost");
  box.hidden = why === "";
  put(box, why);
  document.body.classList.toggle("stale", why !== "");
}

async function ask() {
  try {
    const answer = await fetch("now.json?have=" + version, { cache: "no-store", signal: AbortSignal.timeout(4000) });
    const told = await answer.json();
    if (told.error) {
      failed += 1;
      lost(told.error + (lastClock ? " What is shown is as of " + lastClock + "." : ""));
    } else {
      failed = 0;
      lost("");
      show(told);
    }
  } catch {
    failed += 1;
    if (failed >= 3) {
      lost("Connection lost: clicktimer page was ended, or that computer sleeps. It is tried again." + (lastClock ? " What is shown is as of " + lastClock + "." : ""));
    }
  }
  setTimeout(ask, last && last.status !== "listening" && last.status !== "silent" && failed === 0 ? 3000 : 1000);
}

async function begin() {
  try {
    const told = await (await fetch("about.json", { cache: "no-store" })).json();
    place("cautions").replaceChildren(...told.cautions.map((text) => made("li", text)));
    put(place("certificate"), told.certificate);
    put(place("produced"), told.produced);
  } catch { /* the page tells by itself that the connection is lost */ }
  ask();
  setInterval(tick, 200);
}
begin();
