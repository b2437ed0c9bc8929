// The session's page: time line, replay, jumps, the panel of one instant. Everything shown comes from the server.
"use strict";
(() => {
  const box = document.getElementById("player");
  if (!box) return;
  const by = (id) => document.getElementById(id);
  const svg = by("timeline-svg"), cursor = by("cursor"), width = by("tl-width"), scroll = by("tl-scroll");
  const scrub = by("scrub"), time = by("time"), note = by("player-note"), panel = by("instant"), clip = by("clip"), again = by("again");
  const caption = by("caption"), picked = by("picked");
  const total = Number(box.dataset.total) || 1, url = box.dataset.url;
  const NS = "http://www.w3.org/2000/svg";
  const rows = [...document.querySelectorAll("tr[data-at]")].map((row) => [Number(row.dataset.at), row]);
  // What Next and Previous stop at: the marks of the first lane, every one once.
  const stops = [...new Set([...svg.querySelectorAll(".m-deviation, .m-mishap, .m-skip, .m-recovery, .m-correction")].map((m) => Number(m.dataset.at)))].sort((a, b) => a - b);
  let zoom = 1, current = null, asked = -1, asking = null, askedAt = 0, until = null;

  const words = (ms) => {
    const s = Math.max(0, Math.floor(ms / 1000)), two = (n) => String(n).padStart(2, "0");
    return s >= 3600 ? `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}` : `${Math.floor(s / 60)}:${two(s % 60)}`;
  };

  const ask = (ms) => {
    const at = Math.round(ms);
    if (at === asked) return;
    asked = at;
    askedAt = performance.now();
    if (asking) asking.abort();
    asking = new AbortController();
    fetch(`${url}/state?t=${at}`, { signal: asking.signal, headers: { accept: "text/html" } })
      .then((answer) => (answer.ok ? answer.text() : Promise.reject(answer.status)))
      .then((html) => { panel.innerHTML = html; panel.removeAttribute("aria-busy"); })
      .catch((error) => {
        if (error && error.name === "AbortError") return;
        asked = -1;
        note.textContent = error === 401 || error === 403 ? "You were signed out. Sign in again to go on." : "The server doesn’t answer. What stands under “At this instant” may be from before.";
      });
  };

  const follow = () => {
    if (zoom <= 1) return;
    const x = (player.now() / total) * width.clientWidth;
    if (x < scroll.scrollLeft + 20 || x > scroll.scrollLeft + scroll.clientWidth - 40) scroll.scrollLeft = x - scroll.clientWidth * 0.3;
  };

  const onTime = (ms, still) => {
    const place = `${((100 * ms) / total).toFixed(4)}%`;
    cursor.setAttribute("x1", place);
    cursor.setAttribute("x2", place);
    time.textContent = words(ms);
    scrub.value = String(Math.round(ms));
    scrub.setAttribute("aria-valuetext", words(ms));
    let row = null;
    for (const [at, candidate] of rows) { if (at <= ms) row = candidate; else break; }
    if (row !== current) {
      if (current) current.classList.remove("now");
      if (row) row.classList.add("now");
      current = row;
    }
    if (still || performance.now() - askedAt > 500) ask(ms);
    if (until !== null && ms >= until) { until = null; player.pause(); }
    clips(ms);
    say(ms);
    follow();
  };

  const onState = (playing) => {
    by("play").setAttribute("aria-pressed", String(playing));
    by("play-word").textContent = playing ? "Pause" : "Play";
    by("play-shape").setAttribute("d", playing ? "M4 2.5h3v11H4zM9.5 2.5h3v11h-3z" : "M4 2.5 13 8 4 13.5Z");
    if (!playing) again.pause();
    if (playing && !box.dataset.sound) remind();
  };
  const remind = () => { if (!note.textContent) note.textContent = "Replay runs without sound."; };

  const player = new Player(total, by("sound"), onTime, onState, (text) => { note.textContent = text; });
  window.gauntletPlayer = player; // for a person at the console, and for the tests

  // What was said, beside the cursor: the newest line that began before it, for as long as a person reads it.
  let lines = [];
  fetch(`${url}/said?part=1`, { headers: { accept: "text/html" } })
    .then((answer) => (answer.ok ? answer.text() : Promise.reject(answer.status)))
    .then((html) => {
      by("said").innerHTML = html;
      lines = [...document.querySelectorAll(".transcript li[data-from]")].map((li) => ({
        from: Number(li.dataset.from), to: Number(li.dataset.to), who: li.dataset.who, text: li.querySelector(".tr-text").textContent, line: li.dataset.line,
      }));
      shown = undefined;
      say(player.now());
      caption.hidden = false;
    })
    .catch(() => {}); // the link to the page of it stays
  const READ_MS = 4000;
  let shown = null, spoke = null;
  const lineAt = (ms) => {
    let low = 0, high = lines.length;
    while (low < high) { const middle = (low + high) >> 1; if (lines[middle].from <= ms) low = middle + 1; else high = middle; }
    const found = lines[low - 1];
    return found && ms <= Math.max(found.to, found.from) + READ_MS ? found : null;
  };
  const say = (ms) => {
    const found = lineAt(ms);
    if (found !== shown) {
      shown = found;
      by("caption-who").textContent = found ? found.who : "";
      by("caption-text").textContent = found ? found.text : "Nobody speaks.";
      caption.classList.toggle("silent", !found);
    }
    // Without session sound the assistant's lines are spoken again from their text, as long as they can be followed.
    if (box.dataset.speaks && player.playing && player.rate <= 2 && found && found !== spoke && found.who === "Assistant" && ms - found.from < 1500) {
      spoke = found;
      again.src = `${url}/spoken/${found.line}`;
      again.playbackRate = player.rate;
      again.play().catch(() => {});
    }
  };

  // Without session sound the kept clips are played where they were heard, as long as they can be followed.
  const kept = box.dataset.sound ? [] : [...document.querySelectorAll("button[data-clip]")].map((b) => [Number(b.closest("tr").querySelector(".jump").dataset.at), b.dataset.clip]);
  let before = 0;
  const clips = (ms) => {
    if (player.playing && player.rate <= 2 && ms > before && ms - before < 2000) {
      const hit = kept.find(([at]) => at > before && at <= ms);
      if (hit) { clip.src = hit[1]; clip.play().catch(() => {}); }
    }
    before = ms;
  };

  const jump = (ms, stay) => {
    until = null;
    spoke = null;
    again.pause();
    player.seek(ms);
    if (!stay) scroll.scrollIntoView({ block: "nearest" });
  };
  const stopAt = (at) => { jump(at, true); const mark = svg.querySelector(`.m[data-at="${at}"]`); if (mark) pick(mark); };
  const next = () => { const at = stops.find((s) => s > player.now() + 50); if (at !== undefined) stopAt(at); else note.textContent = "There is no later one."; };
  const previous = () => { const at = [...stops].reverse().find((s) => s < player.now() - 50); if (at !== undefined) stopAt(at); else note.textContent = "There is no earlier one."; };
  const toggle = () => { until = null; if (player.playing) player.pause(); else player.play(); };

  const tick = () => {
    const ticks = by("ticks"), height = svg.getAttribute("height"), most = Math.max(3, Math.floor(width.clientWidth / 90));
    const seconds = [1, 2, 5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400].find((s) => total / (s * 1000) <= most) || 28800;
    const parts = [];
    for (let at = 0; at < total && parts.length < 4000; at += seconds * 1000) {
      const place = `${((100 * at) / total).toFixed(4)}%`;
      const line = document.createElementNS(NS, "line"), text = document.createElementNS(NS, "text");
      for (const [name, value] of [["class", "tl-tick"], ["x1", place], ["x2", place], ["y1", "18"], ["y2", height]]) line.setAttribute(name, value);
      for (const [name, value] of [["class", "tl-time"], ["x", place], ["dx", "4"], ["y", "14"]]) text.setAttribute(name, value);
      text.textContent = words(at);
      parts.push(line, text);
    }
    ticks.replaceChildren(...parts);
  };
  const setZoom = (factor) => {
    const most = Math.max(1, Math.min(64, total / 30000));
    zoom = Math.max(1, Math.min(most, factor));
    width.style.width = `${zoom * 100}%`;
    tick();
    scroll.scrollLeft = (player.now() / total) * width.clientWidth - scroll.clientWidth / 2;
  };

  const copy = async () => {
    const link = `${location.origin}${url}?t=${Math.round(player.now())}`;
    history.replaceState(null, "", `${url}?t=${Math.round(player.now())}`);
    try { await navigator.clipboard.writeText(link); note.textContent = "The link to this instant is copied."; }
    catch { note.textContent = `The link to this instant: ${link}`; }
  };

  const listen = (button) => {
    document.querySelectorAll(".listen[aria-pressed]").forEach((b) => b.removeAttribute("aria-pressed"));
    button.setAttribute("aria-pressed", "true");
    if (button.dataset.clip) {
      player.pause();
      clip.src = button.dataset.clip;
      clip.play().catch(() => { note.textContent = "This clip can’t be played here."; });
      clip.onended = () => button.removeAttribute("aria-pressed");
    } else {
      player.setRate(1);
      by("speed").value = "1";
      player.seek(Number(button.dataset.from));
      until = Number(button.dataset.to);
      player.play();
    }
  };

  for (const part of document.querySelectorAll(".controls, .scrub, .keys-hint")) part.hidden = false;
  by("play").addEventListener("click", toggle);
  by("next").addEventListener("click", next);
  by("prev").addEventListener("click", previous);
  by("speed").addEventListener("change", (event) => player.setRate(Number(event.target.value)));
  by("zoom-in").addEventListener("click", () => setZoom(zoom * 2));
  by("zoom-out").addEventListener("click", () => setZoom(zoom / 2));
  by("zoom-fit").addEventListener("click", () => setZoom(1));
  by("copy").addEventListener("click", copy);
  scrub.addEventListener("input", () => jump(Number(scrub.value), true));
  // What was picked on the time line: its words, and the way to its fact.
  const pick = (target) => {
    const item = target.closest("[data-line]"), line = item ? item.dataset.line : "0";
    picked.hidden = line === "0";
    if (picked.hidden) return;
    by("picked-text").textContent = item.querySelector("title").textContent;
    by("picked-line").textContent = `Fact in line ${line}`;
    by("picked-line").href = `${url}/facts?line=${line}#line-${line}`;
  };
  svg.addEventListener("click", (event) => {
    pick(event.target);
    const mark = event.target.closest(".m");
    if (mark && mark.dataset.at) { jump(Number(mark.dataset.at), true); return; }
    const frame = svg.getBoundingClientRect();
    jump(((event.clientX - frame.left) / frame.width) * total, true);
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a.jump");
    if (link) { event.preventDefault(); jump(Number(link.dataset.at)); return; }
    const button = event.target.closest(".listen");
    if (button) { event.preventDefault(); listen(button); }
  });
  const keys = {
    " ": toggle, n: next, p: previous, l: copy, "+": () => setZoom(zoom * 2), "=": () => setZoom(zoom * 2), "-": () => setZoom(zoom / 2), 0: () => setZoom(1),
    ArrowLeft: () => jump(player.now() - 5000, true), ArrowRight: () => jump(player.now() + 5000, true),
  };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest("input, select, textarea, [contenteditable]") || (event.key === " " && event.target.closest("button, a, summary"))) return;
    if (event.key.startsWith("Arrow") && event.target === scroll) return; // the region scrolls by itself
    const act = keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (act) { event.preventDefault(); act(); }
  });
  asked = Number(box.dataset.at);
  player.at = asked;
  before = asked;
  if (player.sound) player.sound.addEventListener("loadedmetadata", () => { if (!player.playing) player.sound.currentTime = player.at / 1000; }, { once: true });
  onTime(asked, false);
  tick();
  box.dataset.ready = "yes";
  performance.mark("ready");
})();
