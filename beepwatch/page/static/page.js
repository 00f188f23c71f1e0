"use strict";
// What the computer says, and above all when it says nothing. Nothing is kept in the browser but the pairing cookie.
const SILENCE = 5000;      // ms without a word, after which this page itself says that nobody listens
const RENEW = 3000;        // ms without a word, after which the connection is made anew, whatever it claims to be
const CONFIRM = 4000;      // ms between two confirmations that an alarm is shown
const LOWEST = -95, HIGHEST = -15; // dBFS at the bottom and top of the trace

const byId = (id) => document.getElementById(id);
const root = document.documentElement;
const alarm = new Alarm(tellPhone);
let now = null;            // the newest state
let heardFrom = performance.now(); // when the computer last said something
let began = performance.now();
let source = null, sourceAt = 0;
let unpaired = false;
let quietUntilHeard = false;
let said = "";             // what the alert region last said
let drawn = "", questioned = "[]";            // alarms as they were last drawn
let confirmedAt = 0, confirmed = "";
let version = "";
let ticked = Date.now();

// ---------------------------------------------------------------- the connection

function connect() {
  if (source) source.close();
  sourceAt = performance.now();
  source = new EventSource("/events");
  source.addEventListener("now", (event) => { hear(); now = JSON.parse(event.data); show(); });
  source.addEventListener("events", (event) => { hear(); showEvents(JSON.parse(event.data)); });
  source.addEventListener("hello", (event) => { hear(); greet(JSON.parse(event.data)); });
  source.addEventListener("unpaired", () => { unpaired = true; source.close(); show(); });
  source.onerror = () => { if (source.readyState === 2) askWhy(); };
}

function hear() {
  heardFrom = performance.now();
  unpaired = false;
}

// The stream was refused: find out whether this phone is not paired any more.
async function askWhy() {
  try {
    const answer = await fetch("/", { method: "HEAD", cache: "no-store" });
    unpaired = answer.status === 401;
  } catch (error) { /* no network: the timer below tells */ }
  show();
}

function tick() {
  const slept = Date.now() - ticked;
  ticked = Date.now();
  if (slept > SILENCE) { // the phone held this page back: give the connection its time, but say what was
    heardFrom = performance.now();
    byId("slept").textContent = `This phone held the page back for ${words(slept / 1000)} until ${clock()}. It could not have told you anything then.`;
    connect();
  }
  const silent = performance.now() - heardFrom;
  if (silent > RENEW && performance.now() - sourceAt > RENEW) connect();
  show();
}

function greet(hello) {
  if (version && version !== hello.version) byId("newer").hidden = false;
  version = version || hello.version;
  const list = byId("views").firstElementChild;
  list.replaceChildren(...hello.views.map((view) => {
    const item = document.createElement("li"), link = document.createElement("a");
    link.href = view.path;
    link.textContent = view.title;
    item.append(link);
    return item;
  }));
  byId("views").hidden = hello.views.length === 0;
}

// ---------------------------------------------------------------- what is shown

function lost() {
  if (unpaired) return ["NOT PAIRED", "This phone is told nothing any more. On the computer type: beepwatch paired --new"];
  if (performance.now() - heardFrom > SILENCE) {
    return ["NOT LISTENING", now === null && performance.now() - began < 15000
      ? "I cannot reach the computer."
      : `No word from the computer for ${words((performance.now() - heardFrom) / 1000)}. Is it on? Is the home network on? Until then, listen yourself.`];
  }
  if (now && now.hearing === "stuck") return ["NOT LISTENING", sentence(now.why)];
  if (now && now.hearing === "deaf") return ["NOT LISTENING", `${sentence(now.why)} Until I hear again, listen yourself.`];
  if (now && now.hearing === "ended") return ["NOT LISTENING", sentence(now.why || "nothing listens on the computer")];
  return null;
}

function show() {
  const gone = lost();
  const open = now ? now.alarms : [];
  const waking = open.filter((one) => one.stage === "waking" || one.stage === "stopped");
  const calling = waking.filter((one) => !technical(one));
  if (!gone) quietUntilHeard = false;
  byId("quiet").hidden = !gone || quietUntilHeard || calling.length > 0 || waking.length > 0;
  const call = calling.every((one) => one.drill) ? "DRILL" : "ALARM";
  if (calling.length) headline("alarm", gone ? `${call}. ${gone[0]}` : call, calling[0].title + (gone ? ". " + gone[1] : ""));
  else if (gone) headline("lost", gone[0], gone[1]);
  else if (waking.length) headline("lost", "WARNING", waking[0].title);
  else if (now && now.hearing === "paused") headline("paused", `NOT LISTENING until ${now.until ? now.until.clock : "later"}`, now.why || "A planned pause. Smoke and gas still wake you.");
  else if (open.some((one) => one.going)) { const one = open.find((each) => each.going); headline("answered", `${one.going} is going`, one.title); }
  else if (now) headline("rest", "Listening", now.since ? `since ${now.since.clock}` : "");
  else headline("waiting", "Waiting", "I have not heard from the computer yet.");
  alarm.sound(calling.length ? "alarm" : waking.length || (gone && !quietUntilHeard && (now || unpaired)) ? "lost" : "");
  speak(gone, waking);
  showAlarms(open, waking);
  showQuestions(waking.length || !now ? [] : now.asked);
  showRoom();
  byId("resume").hidden = !(now && now.hearing === "paused");
  byId("pause-more").hidden = !(now && now.hearing === "listening");
  confirmShown(waking);
}

// Of beepwatch itself, not of a device: its numbers are below 0.
function technical(one) {
  return one.id.includes(":-");
}

function headline(state, line, under) {
  root.dataset.state = state;
  put("line", line);
  put("under", under);
  const title = state === "rest" ? "beepwatch: listening" : `${line} - beepwatch`;
  if (document.title !== title) document.title = title;
}

function put(id, text) {
  const place = byId(id);
  if (place.textContent !== text) place.textContent = text;
}

// For a screen reader: each new alarm, and each loss of listening, once.
function speak(gone, waking) {
  const words = waking.length
    ? waking.map((one) => `Alarm. ${one.drill ? "Drill. " : ""}${one.title}. ${one.lines.join(" ")}`).join(" ")
    : gone ? `${gone[0]}.` : "";
  if (words !== said) { said = words; byId("loud").textContent = words; }
}

function showAlarms(open, waking) {
  byId("alarms").hidden = open.length === 0;
  byId("going").hidden = waking.length === 0;
  const form = JSON.stringify(open);
  if (form === drawn) return;
  drawn = form;
  if (!waking.length) put("sent", "");
  byId("cards").replaceChildren(...open.map((one, i) => card(one, i === 0)));
}

// first: its title and who goes stand in large letters at the top already.
function card(one, first) {
  const made = document.createElement("article");
  made.className = "card";
  if (one.drill) made.append(text("p", "DRILL. Not a real alarm.", "drill"));
  made.append(text("h2", one.title, first ? "unseen" : "title"));
  if (one.going && !first) made.append(text("p", `${one.going} is going.`, "who"));
  const list = document.createElement("ul");
  list.append(...one.lines.map((line) => text("li", line, "")));
  made.append(list);
  made.append(text("p", `Since ${one.since.clock}. ${one.why}`, ""));
  if (one.stage === "answered" && one.pattern === "backup-battery") made.append(told("The main battery is changed", "/changed", {}));
  return made;
}

// Answered and perhaps over: what was it? It can wait until the person is well.
function showQuestions(asked) {
  byId("asking").hidden = asked.length === 0;
  const form = JSON.stringify(asked);
  if (form === questioned) return;
  questioned = form;
  byId("questions").replaceChildren(...asked.map(question));
}

function question(one) {
  const group = document.createElement("div");
  group.setAttribute("role", "group");
  group.setAttribute("aria-label", one.title);
  group.append(text("p", one.title, ""));
  for (const [what, label] of [["cable", "Cable"], ["battery", "Battery"], ["false-alarm", "False alarm"], ["other", "Something else"]]) {
    group.append(told(label, "/found", { alarm: one.id, what }), " ");
  }
  return group;
}

// A button that tells one thing and says whether it arrived.
function told(label, path, body) {
  const button = text("button", label, "");
  button.type = "button";
  button.addEventListener("click", async () => {
    button.textContent = (await send(path, body)) ? `${label}: noted` : `${label}: NOT noted, the computer does not answer`;
  });
  return button;
}

function text(kind, content, style) {
  const made = document.createElement(kind);
  made.textContent = content;
  if (style) made.className = style;
  return made;
}

function showRoom() {
  if (!now) return;
  const since = (performance.now() - heardFrom) / 1000;
  put("heard", now.heard_ago === null ? "It has not heard the room yet." : `It heard the room ${words(now.heard_ago + since)} ago.`);
  const last = now.levels.length ? now.levels[now.levels.length - 1] : null;
  const level = last === null ? "" : last <= -99 ? "No sound at all. " : `Level ${last} dB. `;
  put("margin", level + (now.margin === null
    ? "How well it would hear the device's beep is not known: teach it."
    : now.margin < 6 ? `Only ${now.margin} dB to spare for the device's beep: move the microphone.` : `${now.margin} dB to spare for the device's beep.`));
  const step = 10, height = 60;
  const first = 48 - now.levels.length;
  byId("levels").setAttribute("points", now.levels.map((one, i) =>
    `${(first + i) * step},${Math.round(height - height * Math.min(1, Math.max(0.03, (one - LOWEST) / (HIGHEST - LOWEST))))}`).join(" "));
}

function showEvents(events) {
  byId("events").replaceChildren(...(events.length ? events.map((one) => text("li", `${one.clock}  ${one.text}`, "")) : [text("li", "Nothing yet.", "")]));
}

function tellPhone() {
  byId("unlock").hidden = alarm.ready;
  put("phone", alarm.ready
    ? `Sound is on. ${alarm.screen ? "The screen stays on." : "THE SCREEN MAY GO OFF: " + (alarm.lockWord || "touch the page once") + "."}`
    : "Sound is off.");
}

function sentence(words) {
  return words.charAt(0).toUpperCase() + words.slice(1) + (words.endsWith(".") ? "" : ".");
}

function words(seconds) {
  if (seconds < 90) return `${Math.round(seconds)} s`;
  const minutes = Math.round(seconds / 60);
  return minutes < 120 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

function clock() {
  const at = new Date();
  return `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
}

// ---------------------------------------------------------------- what a person says

async function send(path, body) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), 4000);
  try {
    const answer = await fetch(path, {
      method: "POST", cache: "no-store", signal: stop.signal,
      headers: { "content-type": "application/json" }, body: JSON.stringify(body),
    });
    return answer.ok || answer.status === 409;
  } catch (error) {
    return false;
  } finally {
    clearTimeout(timer);
  }
}

async function going() {
  await alarm.wake();
  const waking = now ? now.alarms.filter((one) => one.stage === "waking" || one.stage === "stopped") : [];
  put("sent", "Sending.");
  const done = await Promise.all(waking.map((one) => send("/going", { alarm: one.id })));
  put("sent", done.every(Boolean) ? "Sent. Go now." : "NOT SENT: the computer does not answer. Go, and tap again.");
}

// The computer counts an alarm as shown only when a page says so.
function confirmShown(waking) {
  const names = waking.map((one) => one.id);
  const visible = document.visibilityState === "visible";
  const word = JSON.stringify([names, visible, alarm.ready]);
  const at = performance.now();
  if (!names.length || (word === confirmed && at - confirmedAt < CONFIRM)) return;
  confirmed = word;
  confirmedAt = at;
  requestAnimationFrame(() => send("/seen", { alarms: names.slice(0, 20), visible, sounding: alarm.ready }));
}

byId("unlock-now").addEventListener("click", () => alarm.unlock());
byId("going").addEventListener("click", going);
byId("quiet").addEventListener("click", () => { quietUntilHeard = true; show(); });
byId("resume").addEventListener("click", async () => put("pause-word", await send("/resume", {}) ? "" : "NOT SENT: the computer does not answer."));
byId("pause-now").addEventListener("click", async () => {
  const done = await send("/pause", { minutes: Number(byId("minutes").value), purpose: byId("purpose").value });
  byId("pause-more").open = false;
  put("pause-word", done ? "" : "NOT SENT: the computer does not answer. It still listens.");
});
byId("light").addEventListener("click", () => {
  const bright = root.dataset.light !== "bright";
  root.dataset.light = bright ? "bright" : "dim";
  byId("light").setAttribute("aria-pressed", String(bright));
});
document.addEventListener("visibilitychange", () => { if (!document.hidden) tick(); });
tellPhone();
connect();
setInterval(tick, 500);
