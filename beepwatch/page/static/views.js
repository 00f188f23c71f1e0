"use strict";
// The views of the history. They sound nothing; so at an alarm the page that wakes takes their place at once, and what
// keeps this house from being listened to is told on top.
const SILENCE = 5000;      // ms without a word, after which nobody is taken to listen
const RENEW = 3000;        // ms without a word, after which the connection is made anew

const byId = (id) => document.getElementById(id);
let source = null, sourceAt = 0;
let heardFrom = performance.now();
let now = null;
let unpaired = false, left = false;

function connect() {
  if (source) source.close();
  sourceAt = performance.now();
  source = new EventSource("/events");
  source.addEventListener("now", (event) => { heardFrom = performance.now(); unpaired = false; now = JSON.parse(event.data); show(); });
  source.addEventListener("unpaired", () => { unpaired = true; source.close(); show(); });
}

function trouble() {
  if (unpaired) return "NOT PAIRED. This phone is told nothing any more.";
  if (performance.now() - heardFrom > SILENCE) return "NOT LISTENING. No word from the computer.";
  if (now && (now.hearing === "deaf" || now.hearing === "stuck" || now.hearing === "ended")) return `NOT LISTENING: ${now.why}`;
  return "";
}

function show() {
  const waking = now ? now.alarms.filter((one) => one.stage === "waking" || one.stage === "stopped") : [];
  const words = waking.length ? `ALARM. ${waking[0].title}` : trouble();
  if (byId("loud-word").textContent !== words) byId("loud-word").textContent = words;
  byId("loud").hidden = words === "";
  if (waking.length && !left) {
    left = true;
    location.assign("/");
  }
}

function tick() {
  const silent = performance.now() - heardFrom;
  if (!unpaired && silent > RENEW && performance.now() - sourceAt > RENEW) connect();
  show();
}

async function write(event) {
  event.preventDefault();
  const chosen = document.querySelector("input[name=what]:checked"), words = byId("words").value.trim();
  if (!chosen && !words) { byId("word").textContent = "Choose what it was, or write a note."; return; }
  byId("word").textContent = "Sending.";
  byId("word").textContent = await send({ what: chosen ? chosen.value : null, words });
}

// What came of it, in words; where it is in the history, the page is loaded anew with it.
async function send(body) {
  try {
    const answer = await fetch(byId("form").dataset.path, {
      method: "POST", cache: "no-store", headers: { "content-type": "application/json" }, body: JSON.stringify(body),
    });
    if (answer.status === 202) return "Taken, but not in the history yet. Load this page anew in a minute, and look.";
    if (answer.status === 413) return "NOT written: the note is too long.";
    if (!answer.ok) return "NOT written: the computer did not take it.";
    location.replace(`${location.pathname}?noted#notes`);
    return "Written down.";
  } catch (error) {
    return "NOT written: the computer does not answer.";
  }
}

if (byId("form")) byId("form").addEventListener("submit", write);
if (location.search === "?noted" && byId("notes")) byId("notes").focus();
document.addEventListener("visibilitychange", () => { if (!document.hidden) { heardFrom = performance.now(); connect(); } });
window.addEventListener("pageshow", () => { left = false; });
connect();
setInterval(tick, 500);
