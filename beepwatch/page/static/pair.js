"use strict";
// The code comes in the fragment, which browsers keep to themselves; it is taken out of the address at once.
const field = document.getElementById("code"), word = document.getElementById("word");

function take() {
  const code = decodeURIComponent(location.hash.slice(1)).split("~")[0];
  if (!code) return;
  field.value = code;
  history.replaceState(null, "", "/pair");
}

async function pair(event) {
  event.preventDefault();
  word.textContent = "";
  try {
    const answer = await fetch("/pair", {
      method: "POST", cache: "no-store", headers: { "content-type": "application/json" },
      body: JSON.stringify({ code: field.value, name: document.getElementById("name").value }),
    });
    if (answer.ok) location.replace("/");
    else if (answer.status === 429) word.textContent = "Too many tries. Wait a minute.";
    else word.textContent = "This code does not hold. It is good once, for five minutes. On the computer type: beepwatch paired --new";
  } catch (error) {
    word.textContent = "The computer does not answer. Is this phone in the home network?";
  }
}

document.getElementById("form").addEventListener("submit", pair);
addEventListener("hashchange", take);
word.textContent = ""; // it asks to load the page again, for when this script never came
take();
