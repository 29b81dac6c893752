// The cook's page: one step after the other without loading, timers that go by the clock, presses that are kept.
// Without it each step is a page of its own and each press a form; the rules are the server's either way.
(() => {
  "use strict";
  const data = document.body.dataset;
  const words = document.getElementById("words").dataset;
  const main = document.querySelector("main");
  const steps = [...document.querySelectorAll(".stove-step")];
  const keys = steps.map((step) => step.dataset.step);
  const lot = data.lot;
  const kitchen = window.kitchen;
  let state = JSON.parse(document.getElementById("state").textContent);
  let behind = state.now - Date.now(); // how far this phone's clock is behind the server's
  let csrf = data.csrf;
  let shown = data.shown;
  let pending = [];
  let told = [];
  let pressedHere = true; // a press of this phone may have moved the batch on since the server was asked
  let timer = null;

  const now = () => Date.now() + behind;
  const byKey = (key) => steps[keys.indexOf(key)];
  const visible = (box) => box.checkVisibility();

  // Showing

  function show(key, remember) {
    if (!byKey(key)) return;
    shown = key;
    for (const step of steps) step.hidden = step.dataset.step !== key;
    for (const form of document.querySelectorAll("#jars form")) form.action = `${data.root}${key}/`;
    if (remember) {
      history.pushState({ key }, "", `${data.root}${key}/`);
      window.scrollTo(0, 0);
      byKey(key).querySelector("h1").focus({ preventScroll: true });
    }
  }

  const move = (by) => show(keys[keys.indexOf(shown) + by], true);

  function clock(ms) {
    const left = Math.max(Math.ceil(ms / 1000), 0);
    const [hours, minutes] = [Math.floor(left / 3600), Math.floor(left / 60) % 60];
    const two = (number) => String(number).padStart(2, "0");
    return hours ? `${hours}:${two(minutes)}:${two(left % 60)}` : `${minutes}:${two(left % 60)}`;
  }

  // Times are shown as the server's clock has them, in the zone of this phone.
  const wall = (ms) => new Date(ms).toTimeString().slice(0, 8);

  function timers() {
    const seals = state.seals ? [{ key: "seals", step: keys.at(-1), name: words.seals, ends: state.seals }] : [];
    return [...state.timers, ...seals].sort((one, other) => one.ends - other.ends);
  }

  function drawTimers() {
    const box = document.getElementById("timers");
    const list = box.querySelector("ul");
    const all = timers();
    box.hidden = !all.length;
    list.replaceChildren(
      ...all.map((one) => {
        const row = document.createElement("li");
        const link = document.createElement("a");
        const name = document.createElement("span");
        const left = document.createElement("strong");
        link.href = `${data.root}${one.step}/`;
        link.dataset.go = one.step;
        link.dataset.ends = one.ends;
        name.className = "stove-timer-name";
        name.textContent = one.name;
        link.append(name, left);
        row.append(link);
        return row;
      }),
    );
  }

  function drawSteps() {
    for (const step of steps) {
      const key = step.dataset.step;
      const done = key in state.done;
      const isProcess = step.dataset.part === "process";
      const counts = state.timers.some((one) => one.key === key);
      step.querySelector("[data-is=done]").hidden = !done;
      for (const box of step.querySelectorAll("[data-is=goes]")) box.hidden = done || !state.open || (isProcess && !counts);
      for (const box of step.querySelectorAll("[data-is=breaks]")) box.hidden = !counts || !state.open;
      for (const box of step.querySelectorAll("[data-is=fell]")) box.hidden = !(key in state.fell);
      for (const box of step.querySelectorAll("[data-timer]")) {
        const one = state.timers.find((each) => each.key === box.dataset.timer);
        box.querySelector("[data-is=counts]").hidden = !one;
        const begins = box.querySelector("[data-is=begins]");
        if (begins) begins.hidden = Boolean(one) || done || !state.open;
        if (one) box.querySelector("[data-is=until]").textContent = `${words.until} ${wall(one.ends)} · ${one.who}`;
      }
    }
    for (const link of document.querySelectorAll(".stove-list a")) {
      link.classList.toggle("is-done", link.dataset.go in state.done);
    }
    for (const box of document.querySelectorAll("[data-count]")) box.textContent = state.jars[box.dataset.count] || 0;
    document.getElementById("notice").textContent = state.notice;
    document.getElementById("notice").hidden = !state.notice;
    document.getElementById("ended").hidden = state.open;
    document.getElementById("ended-words").textContent = state.ended;
    document.getElementById("jars")?.toggleAttribute("hidden", !state.open);
    document.getElementById("sign").hidden = !state.open;
  }

  function draw() {
    drawSteps();
    drawTimers();
    tick();
  }

  function drawTold() {
    const box = document.getElementById("told");
    box.replaceChildren(
      ...told.map((sentence) => {
        const line = document.createElement("p");
        line.textContent = sentence;
        return line;
      }),
    );
    if (!told.length) return;
    const read = document.createElement("button");
    read.type = "button";
    read.className = "stove-button";
    read.textContent = words.read;
    read.addEventListener("click", () => {
      told = [];
      kitchen.put("marks", `told ${lot}`, told).catch(() => {});
      drawTold();
    });
    box.append(read);
  }

  // What the cook has to know stays until they say that they read it, also when the page was closed meanwhile.
  function tell(sentence) {
    if (told.includes(sentence)) return;
    told = [...told, sentence].slice(-6);
    kitchen.put("marks", `told ${lot}`, told).catch(() => {});
    drawTold();
    document.getElementById("told").scrollIntoView({ block: "nearest" });
  }

  const net = (sentence) => {
    const box = document.getElementById("net");
    if (box.textContent !== sentence) box.textContent = sentence;
  };

  function tick() {
    for (const link of document.querySelectorAll("#timers a[data-ends]")) {
      const left = Number(link.dataset.ends) - now();
      link.classList.toggle("is-over", left <= 0);
      link.querySelector("strong").textContent = left > 0 ? clock(left) : words.over;
    }
    const box = byKey(shown);
    for (const part of box.querySelectorAll("[data-timer]")) {
      const one = state.timers.find((each) => each.key === part.dataset.timer);
      if (!one) continue;
      const left = one.ends - now();
      part.querySelector(".stove-left").textContent = left > 0 ? clock(left) : words.over;
      part.querySelector(".stove-clock").classList.toggle("is-over", left <= 0);
    }
    // A button that would be refused looks like one that waits.
    box.querySelector("[data-is=goes] button")?.classList.toggle("is-early", Boolean(refused("done", shown)));
    ring();
  }

  // The alarm: heard, shaken and seen, until somebody says so.

  const heard = new Set(JSON.parse(sessionStorage.getItem("heard") || "[]"));
  let sound = null;
  let beeps = null;
  let rung = "";

  function ring() {
    const over = timers().find((one) => one.ends <= now() && !heard.has(`${one.key} ${one.ends}`));
    const alarm = document.getElementById("alarm");
    const mark = over ? `${over.key} ${over.ends}` : "";
    if (mark === rung) return;
    rung = mark;
    alarm.hidden = !over;
    clearInterval(beeps);
    if (!over) return;
    document.getElementById("alarm-words").textContent = `${words.timeover} ${over.name}`;
    document.getElementById("alarm-heard").focus();
    beep();
    beeps = setInterval(beep, 1500);
  }

  function hear() {
    heard.add(rung);
    sessionStorage.setItem("heard", JSON.stringify([...heard].slice(-50)));
    tick();
  }

  function beep() {
    navigator.vibrate?.([400, 150, 400]);
    if (!sound) return;
    for (const [after, pitch] of [[0, 880], [0.3, 660], [0.6, 880]]) {
      const tone = sound.createOscillator();
      const loud = sound.createGain();
      const at = sound.currentTime + after;
      tone.type = "triangle";
      tone.frequency.value = pitch;
      loud.gain.setValueAtTime(0.0001, at);
      loud.gain.exponentialRampToValueAtTime(0.9, at + 0.02);
      loud.gain.exponentialRampToValueAtTime(0.0001, at + 0.26);
      tone.connect(loud).connect(sound.destination);
      tone.start(at);
      tone.stop(at + 0.28);
    }
  }

  // A browser lets a page sound only after it was touched.
  function touched() {
    const Sound = window.AudioContext || window.webkitAudioContext;
    if (Sound && !sound) sound = new Sound();
    sound?.resume?.();
    stayAwake();
  }

  let awake = null;
  async function stayAwake() {
    if (!navigator.wakeLock || document.visibilityState !== "visible" || (awake && !awake.released)) return;
    try {
      awake = await navigator.wakeLock.request("screen");
    } catch {
      awake = null; // the battery is low, or the browser does not let us
    }
  }

  // A headset's button speaks only to a page that plays something: it plays silence.
  function listenToHeadset() {
    if (!navigator.mediaSession || !sound?.createMediaStreamDestination) return;
    const player = new Audio();
    player.srcObject = sound.createMediaStreamDestination().stream;
    player.play().catch(() => {});
    navigator.mediaSession.metadata = new MediaMetadata({ title: document.title });
    for (const act of ["play", "pause", "nexttrack"]) navigator.mediaSession.setActionHandler(act, goOn);
    navigator.mediaSession.setActionHandler("previoustrack", () => move(-1));
  }

  // Pressing

  const timerOf = (key) => state.timers.find((one) => one.key === key);

  // What the server would refuse for sure is said at once; "" where it may be pressed.
  function refused(kind, key) {
    if (kind === "began") return timerOf(key) ? words.counts : "";
    const step = byKey(key);
    if (kind !== "done" || !step || !["process", "out"].includes(step.dataset.part) || !step.dataset.load) return "";
    const process = `l${step.dataset.load}process`;
    if (process in state.done) return "";
    const one = timerOf(process);
    if (!one) return words.notcounted;
    return one.ends > now() ? `${words.early} ${clock(one.ends - now())}` : "";
  }

  // What a press changes, as far as this page can tell; the server's answer takes its place.
  function apply(press) {
    const at = press.pressed_ms + behind;
    const { kind, step: key } = press;
    const step = byKey(key);
    if (kind === "began" && !timerOf(key)) {
      const box = document.querySelector(`[data-timer="${key}"]`);
      const screen = box.closest(".stove-step");
      const minutes = Number(box.dataset.minutes);
      const name = screen.dataset.name;
      state.timers.push({ key, step: screen.dataset.step, name, minutes, began: at, ends: at + minutes * 60_000, who: "" });
      delete state.fell[key];
    } else if (kind === "fell" || (kind === "gauge" && Number(press.psi) < Number(data.setting))) {
      state.timers = state.timers.filter((one) => one.key !== key);
      delete state.done[key];
      state.fell[key] = at;
      state.here = key;
    } else if (kind === "done") {
      state.done[key] ??= at;
      if (step?.dataset.part === "out" && step.dataset.load) state.done[`l${step.dataset.load}process`] ??= at;
      state.timers = state.timers.filter((one) => !(one.step in state.done));
      state.here = keys.slice(keys.indexOf(key)).find((each) => !(each in state.done)) || keys.at(-1);
    } else if (kind === "looked") {
      // The next look is due as long after this one as it was after the last.
      const one = timerOf(key);
      if (one) Object.assign(one, { began: at, ends: at + one.minutes * 60_000 });
    } else if (kind === "short" || kind === "more") {
      state.jars[press.size] = Math.max((state.jars[press.size] || 0) + (kind === "more" ? 1 : -1), 0);
    }
  }

  function newToken() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
  }

  async function press(kind, key, more, button) {
    const why = refused(kind, key);
    if (why) return net(why);
    const one = { lot, token: newToken(), kind, step: key, ...more, pressed_ms: Date.now(), behind_ms: Math.round(behind) };
    button?.classList.add("is-kept");
    setTimeout(() => button?.classList.remove("is-kept"), 300);
    pressedHere = true;
    try {
      if (!(await kitchen.keep(one))) tell(words.full);
    } catch {
      pending.push(one); // lives as long as this page
      tell(words.full);
    }
    apply(one);
    draw();
    if (["done", "looked", "ph"].includes(kind) && byKey(key)) show(keys[keys.indexOf(key) + 1], true);
    return send();
  }

  function goOn() {
    if (!document.getElementById("alarm").hidden) return hear();
    const step = byKey(shown);
    const button = [...step.querySelectorAll(".stove-go")].find(visible);
    if (button) return button.click();
    return move(1);
  }

  // Sending: in order, each with its token, so that what was cut off is simply sent again.

  let isSending = false;
  let again = false;

  async function ask(kept) {
    const options = { redirect: "manual", headers: { Accept: "application/json" }, signal: AbortSignal.timeout(15_000) };
    if (kept.length) {
      options.method = "POST";
      options.headers = { ...options.headers, "Content-Type": "application/json", "X-CSRFToken": csrf };
      options.body = JSON.stringify({ user: data.store, sent_ms: Date.now(), presses: kept });
    }
    return fetch(data.presses, options);
  }

  async function take(answer, kept) {
    const before = state.here;
    behind = answer.now - Date.now();
    csrf = answer.csrf;
    for (const one of answer.answers) {
      if (one.said) tell(one.said);
      const sent = kept.find((each) => each.token === one.token);
      if (sent?.seq) await kitchen.drop(sent.seq);
      pending = pending.filter((each) => each.token !== one.token);
    }
    if (answer.clock) tell(answer.clock);
    state = answer;
    await kitchen.put("states", lot, { state, behind }).catch(() => {});
    for (const one of await waiting()) apply(one);
    if (!byKey(state.here)) return location.reload(); // dried food went back to the drier: there are new steps
    if (!pressedHere && state.here !== before && state.here !== shown) elsewhere();
    pressedHere = false;
    draw();
  }

  function elsewhere() {
    const step = byKey(state.here);
    if (step) tell(`${words.elsewhere} ${step.querySelector("h1").textContent}`);
  }

  const waiting = async () => [...(await kitchen.waiting(lot).catch(() => [])), ...pending];

  async function send() {
    if (isSending) {
      again = true;
      return;
    }
    isSending = true;
    clearTimeout(timer);
    let wait = 8000;
    try {
      do {
        again = false;
        const kept = (await waiting()).slice(0, 50);
        const response = await ask(kept);
        if (response.type === "opaqueredirect") {
          net(words.out);
          await kitchen.forgetPages();
          return;
        }
        if (response.status === 409) return net(words.other);
        if (response.status === 403 && kept.length) {
          const fresh = await ask([]); // the form's token was renewed meanwhile
          if (fresh.ok) csrf = (await fresh.json()).csrf;
          throw new Error("sent again later");
        }
        if (!response.ok) throw new Error(String(response.status));
        await take(await response.json(), kept);
      } while (again || (await waiting()).length);
      net("");
    } catch {
      const left = (await waiting()).length;
      net(`${words.away} ${left}`);
      wait = again ? 300 : 3000; // asked for meanwhile: perhaps the network is back
    } finally {
      isSending = false;
      timer = setTimeout(send, wait);
    }
  }

  // Listening

  document.addEventListener("submit", (event) => {
    const { target: form, submitter: button } = event;
    if (button?.name !== "kind") return;
    event.preventDefault();
    const fields = Object.fromEntries(new FormData(form));
    const key = fields.step || form.closest(".stove-step")?.dataset.step || shown;
    const more = {};
    for (const name of ["psi", "size", "words", "takes_back", "scum", "cover", "smell", "moisture"]) if (fields[name]) more[name] = fields[name];
    press(button.value, key, more, button);
  });

  document.addEventListener("click", (event) => {
    const link = event.target.closest("[data-go]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    link.closest("details")?.removeAttribute("open");
    show(link.dataset.go, true);
    tick();
  });

  document.addEventListener("keydown", (event) => {
    if (event.target.closest("input, textarea, select, button, summary, a") || event.ctrlKey || event.metaKey || event.altKey) return;
    const act = { " ": goOn, Enter: goOn, ArrowRight: goOn, ArrowLeft: () => move(-1) }[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });

  let from = null;
  main.addEventListener("touchstart", ({ touches }) => {
    from = touches.length === 1 ? [touches[0].clientX, touches[0].clientY] : null;
  }, { passive: true });
  main.addEventListener("touchend", ({ changedTouches }) => {
    if (!from) return;
    const [x, y] = [changedTouches[0].clientX - from[0], changedTouches[0].clientY - from[1]];
    from = null;
    if (Math.abs(x) < 80 || Math.abs(y) > 50) return;
    if (x > 0) return move(-1);
    // What is attested is pressed, not brushed.
    return ["process", "out", "look", "ph", "end"].includes(byKey(shown).dataset.part) ? move(1) : goOn();
  }, { passive: true });

  window.addEventListener("popstate", () => show(keyOfPath() || state.here, false));
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "visible") return;
    tick();
    stayAwake();
    send();
  });
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, touched, { passive: true });
  document.getElementById("alarm-heard").addEventListener("click", hear);

  const soundButton = document.getElementById("sound");
  soundButton.hidden = !(window.AudioContext || window.webkitAudioContext);
  soundButton.addEventListener("click", () => {
    touched();
    beep();
    listenToHeadset();
    soundButton.setAttribute("aria-pressed", "true");
  });
  const hand = document.getElementById("hand");
  const HAND = "kitchen-hand";
  hand.hidden = false;
  document.body.classList.toggle("is-left", localStorage.getItem(HAND) === "left");
  hand.addEventListener("click", () => {
    localStorage.setItem(HAND, document.body.classList.toggle("is-left") ? "left" : "right");
  });

  // Beginning

  function keyOfPath() {
    const key = location.pathname.slice(data.root.length).replace(/\/$/, "");
    return keys.includes(key) ? key : "";
  }

  async function begin() {
    await kitchen.ready;
    const last = await kitchen.get("states", lot).catch(() => null);
    if (last && last.state.now > state.now) {
      // This page came from the phone's store, and what was known last is newer than it.
      state = last.state;
      behind = last.behind;
    } else if (last && state.now + 60_000 < Date.now() + last.behind) {
      behind = last.behind; // kept for a while: its own moment says nothing of this phone's clock
    }
    told = (await kitchen.get("marks", `told ${lot}`).catch(() => null)) || [];
    for (const one of await waiting()) apply(one);
    show(keyOfPath() || state.here, false);
    draw();
    drawTold();
    document.documentElement.dataset.ready = "yes";
    setInterval(tick, 500);
    send();
    await kitchen.keepPages([data.root], false);
  }

  begin().catch(() => {});
})();
