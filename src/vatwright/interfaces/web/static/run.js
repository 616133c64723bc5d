// The run beside the machine.  The server keeps the run; this page counts between its answers, calls, and keeps taps that
// have not got through.  A tap has a number of its own, so sending it again is safe.
"use strict";

(() => {
  const box = document.getElementById("run");
  const id = box.dataset.run;
  const texts = JSON.parse(box.dataset.texts);
  const filled = (text, place, value) => text.replace(`{${place}}`, () => value);
  const key = `taps-${id}`;
  const link = document.getElementById("link");
  const LOOK_MS = 3000;
  const SOON_S = 60;
  let ahead = 0; // the server's clock less this one's [s]
  let away = false;
  let refused = false;

  const here = () => document.getElementById("now");
  const serverNow = () => Date.now() / 1000 + ahead;
  const shownAhead = () => JSON.parse(here().dataset.ahead || "[]");
  const newNumber = () => Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
  const waiting = () => JSON.parse(localStorage.getItem(key) || "[]");
  const keep = (taps) => localStorage.setItem(key, JSON.stringify(taps));

  // --- what the server says ---

  const clockKey = "clock-ahead";
  const lastKey = `now-${id}`;

  function told(html, isNew = true) {
    const fresh = new DOMParser().parseFromString(html, "text/html").getElementById("now");
    if (!fresh) return;
    if (isNew) {
      ahead = Number(fresh.dataset.now) - Date.now() / 1000;
      localStorage.setItem(clockKey, ahead);
      localStorage.setItem(lastKey, html);
    }
    const old = here();
    if (fresh.dataset.version !== old.dataset.version || old.dataset.own) {
      const focused = old.contains(document.activeElement);
      old.replaceWith(fresh);
      if (focused) (fresh.querySelector(".act button, .act a") || document.body).focus();
    } else {
      Object.assign(old.dataset, fresh.dataset);
      const layer = document.getElementById("layer");
      if (layer) layer.textContent = fresh.dataset.layer;
    }
    tick();
  }

  async function look() {
    try {
      await send();
      const answer = await fetch(`/run/${id}/now`, { cache: "no-store" });
      refused = answer.status === 403;
      if (answer.ok) told(await answer.text());
      away = false;
    } catch {
      away = true;
    }
    goOnFromLast();
    say();
  }

  let refusal = "";
  let sending = false;
  async function send() {
    if (sending) return;
    sending = true;
    try {
      for (const tap of waiting()) {
        const answer = await fetch(`/api/v1/runs/${id}/taps`, {
          method: "POST",
          headers: { "content-type": "application/json" },
          body: JSON.stringify(tap),
        });
        if (answer.status === 403) return; // kept until this phone is paired again
        if (!answer.ok && ![404, 422].includes(answer.status)) throw new Error("not now");
        if (answer.status === 422) refusal = ((await answer.json()).mistakes || []).map((m) => `${m.where} ${m.what}. ${m.do}.`).join(" ");
        keep(waiting().filter((t) => t.id !== tap.id));
      }
    } finally {
      sending = false;
    }
  }

  function say() {
    const kept = waiting().length;
    const taps = kept ? filled(kept > 1 ? texts.taps : texts.tap, "n", kept) : "";
    link.hidden = !away && !refused && !kept && !refusal;
    link.textContent = refused && !away
      ? `◌ ${filled(texts.unpaired, "taps", taps)}`
      : away
      ? `◌ ${filled(texts.away, "taps", taps)}`
      : kept ? `◌ ${texts.sending}` : refusal;
    for (const form of here().querySelectorAll("form.says")) {
      const about = form.elements.about ? form.elements.about.value : "";
      const answered = waiting().some((t) => t.about === about && t.kind !== "later" && about);
      form.querySelector("button").disabled = answered;
    }
  }

  // Opened without a network, the page is an old one: its clock and what it says are those of the last answer.
  let asked = false;
  function goOnFromLast() {
    if (asked) return;
    asked = true;
    if (!away) return;
    ahead = Number(localStorage.getItem(clockKey) || ahead);
    told(localStorage.getItem(lastKey) || "", false);
    goOn();
  }

  // --- what this page shows by itself until the server's answer comes ---

  function goOn() {
    const said = waiting().filter((t) => t.kind === "done" || t.kind === "could_not").map((t) => t.about);
    const now = here();
    if (!said.length || now.dataset.state !== "running") return;
    const next = shownAhead().find((v) => !said.includes(v.key));
    const act = now.querySelector(".act");
    now.dataset.own = "1";
    if (!next) {
      delete now.dataset.due;
      act.querySelector("#count").textContent = "";
      act.querySelector("#todo").textContent = texts.nothing;
      act.querySelectorAll("form, .harm, #ask, #safe").forEach((e) => e.remove());
      return;
    }
    Object.assign(now.dataset, { due: next.due_s, quiet: next.quiet_s, said: `${next.what} ${next.value}` });
    act.querySelector("#todo").innerHTML = '<span class="what"></span> <span class="big"></span>';
    act.querySelector(".what").textContent = next.what.charAt(0).toUpperCase() + next.what.slice(1);
    act.querySelector(".big").textContent = next.value;
    act.querySelector("#safe").textContent = filled(filled(texts.from, "layer", next.layer), "safe", next.safe);
    act.querySelector(".harm").hidden = !next.late;
    act.querySelector("#late").textContent = next.late;
    act.querySelector("#early").textContent = next.early;
    for (const form of act.querySelectorAll("form.says")) {
      if (form.elements.about.value === next.key) continue;
      form.elements.about.value = next.key;
      form.elements.id.value = newNumber();
    }
  }

  function tooEarly(about) {
    const visit = shownAhead().find((v) => v.key === about);
    const left = visit ? visit.due_s - serverNow() : 0;
    return visit && visit.early && left > visit.early_s ? left : 0;
  }

  // --- taps ---

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.classList.contains("says")) return;
    event.preventDefault();
    allowSound();
    stayAwake();
    const { id: number, kind, about, layer } = form.elements;
    const early = kind.value === "done" && !form.dataset.sure ? tooEarly(about.value) : 0;
    delete form.dataset.sure;
    if (early) {
      document.getElementById("by").textContent = words(early);
      document.getElementById("ask").hidden = false;
      document.getElementById("wait").focus();
      return;
    }
    refusal = "";
    const tap = { id: number.value, kind: kind.value, at_s: serverNow(), about: about ? about.value : "" };
    if (layer) tap.layer = Number(layer.value);
    if (!waiting().some((t) => t.id === tap.id)) keep([...waiting(), tap]);
    goOn();
    say();
    look();
  });

  document.addEventListener("click", (event) => {
    if (event.target.id === "wait") document.getElementById("ask").hidden = true;
    if (event.target.id !== "sure") return;
    const form = here().querySelector(".act form.done");
    form.dataset.sure = "1";
    form.requestSubmit();
    document.getElementById("ask")?.setAttribute("hidden", "");
  });

  // --- the clock ---

  const two = (n) => String(n).padStart(2, "0");
  function words(s, hours) {
    const whole = Math.max(0, Math.round(s));
    const minutes = Math.floor(whole / 60);
    return hours ? `${Math.floor(minutes / 60)}:${two(minutes % 60)}:${two(whole % 60)}` : `${two(minutes)}:${two(whole % 60)}`;
  }

  function tick() {
    const now = here();
    const { state, started, total, due, quiet, said } = now.dataset;
    if (state === "running" || state === "over") {
      const gone = serverNow() - Number(started);
      const hours = Number(total) >= 3600;
      document.getElementById("clock").textContent = words(gone, hours);
      document.getElementById("left").textContent = filled(texts.left, "time", words(total - gone, hours));
      const x = 1000 * Math.min(1, gone / total);
      document.getElementById("gone").setAttribute("width", x);
      document.getElementById("mark").setAttribute("transform", `translate(${x} 0)`);
    }
    if (due === undefined || state !== "running") {
      document.title = document.title.replace(/^.* · /, "");
      return;
    }
    const left = Number(due) - serverNow();
    const told = left > 0 ? filled(texts.due, "time", words(left)) : left > -5 ? texts.now : filled(texts.late, "time", words(-left));
    now.querySelector("#count").textContent = told;
    now.querySelector(".act").classList.toggle("late", left <= -5);
    document.title = `${told} ${said} · ${document.title.replace(/^.* · /, "")}`;
    call(left, serverNow() < Number(quiet), due);
  }

  // --- calling: sound and vibration, louder when late ---

  let audio = null;
  let called = "";
  function allowSound() {
    const Context = window.AudioContext;
    if (!Context) return;
    audio = audio || new Context();
    audio.resume();
    document.getElementById("sound").hidden = true;
  }
  function beep(times, loud) {
    box.dataset.called = String(Number(box.dataset.called || 0) + 1);
    if (navigator.vibrate && navigator.userActivation?.hasBeenActive) navigator.vibrate(Array(times).fill([250, 150]).flat());
    if (!audio || audio.state !== "running") return;
    for (let n = 0; n < times; n += 1) {
      const tone = audio.createOscillator();
      const gain = audio.createGain();
      const at = audio.currentTime + n * 0.4;
      tone.frequency.value = 880;
      gain.gain.setValueAtTime(loud, at);
      gain.gain.exponentialRampToValueAtTime(0.001, at + 0.3);
      tone.connect(gain).connect(audio.destination);
      tone.start(at);
      tone.stop(at + 0.32);
    }
  }
  function call(left, quiet, due) {
    const stage = left > SOON_S ? "" : left > 0 ? "soon" : left > -20 ? "now" : `late ${Math.floor(-left / 20)}`;
    const step = `${due} ${stage}`;
    if (!stage || quiet || step === called) return;
    called = step;
    if (stage === "soon") beep(1, 0.2);
    else if (stage === "now") beep(3, 0.5);
    else beep(5, 1.0);
  }

  // --- staying awake ---

  const awake = document.getElementById("awake");
  let lock = null;
  async function stayAwake() {
    awake.hidden = false;
    if (!navigator.wakeLock) {
      awake.textContent = texts.sleeps;
      return;
    }
    try {
      lock = lock && !lock.released ? lock : await navigator.wakeLock.request("screen");
      awake.textContent = texts.stays;
    } catch {
      awake.textContent = texts.tapped;
    }
  }

  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "visible") return;
    stayAwake();
    look();
  });
  window.addEventListener("online", look);
  const sound = document.getElementById("sound");
  sound.hidden = !window.AudioContext;
  sound.addEventListener("click", () => {
    allowSound();
    beep(1, 0.2);
  });
  ahead = Number(here().dataset.now) - Date.now() / 1000;
  // Only where the page came encrypted, or from this computer, does a browser let it be opened without a network.
  navigator.serviceWorker?.register("/run/worker.js").catch(() => {});
  stayAwake();
  goOn();
  say();
  tick();
  look();
  setInterval(tick, 500);
  setInterval(look, LOOK_MS);
})();
