// The bench's own script.  Every page works without it; it adds what gloves and haste want.
"use strict";

// Chosen files are named, and a drop anywhere on the field is shown.
for (const field of document.querySelectorAll("input.drop")) {
  const told = document.getElementById("chosen");
  field.addEventListener("change", () => {
    told.textContent = [...field.files].map((file) => file.name).join(", ");
  });
  for (const [kind, over] of [["dragover", true], ["dragleave", false], ["drop", false]]) {
    field.addEventListener(kind, () => field.classList.toggle("over", over));
  }
}

// Large keys for readings: a tap on a place, the digits, and on to the next place.
const KEYS = ["7", "8", "9", "⌫", "4", "5", "6", "−", "1", "2", "3", ".", "0", "00", "next"];

function keypad(form) {
  const texts = JSON.parse(form.dataset.texts);
  const places = [...form.querySelectorAll("[data-key]")];
  let at = places.find((p) => !p.value) || places[0];
  const choose = (place) => {
    at.closest(".spot").classList.remove("on");
    at = place;
    at.closest(".spot").classList.add("on");
  };
  const press = (key) => {
    if (key === "next") {
      choose(places[(places.indexOf(at) + 1) % places.length]);
      at.closest(".spot").scrollIntoView({ block: "nearest" });
    } else if (key === "⌫") {
      at.value = at.value.slice(0, -1);
    } else if (key === "−") {
      at.value = at.value.startsWith("-") ? at.value.slice(1) : "-" + at.value;
    } else {
      at.value += key;
    }
  };
  for (const place of places) {
    place.addEventListener("focus", () => choose(place));
    // The keys on the page take the place of the phone's own where a finger is all there is.
    if (window.matchMedia("(pointer: coarse)").matches) place.inputMode = "none";
  }
  const pad = document.createElement("div");
  pad.className = "keys";
  pad.setAttribute("role", "group");
  pad.setAttribute("aria-label", texts.keys);
  for (const key of KEYS) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = key === "next" ? texts.go : key;
    if (texts[key]) button.setAttribute("aria-label", texts[key]);
    if (key === "next") button.className = "next";
    button.addEventListener("click", () => press(key));
    pad.append(button);
  }
  form.querySelector("#keys").append(pad);
  choose(at);
}

for (const form of document.querySelectorAll("form[data-keys]")) if (form.querySelector("[data-key]")) keypad(form);
