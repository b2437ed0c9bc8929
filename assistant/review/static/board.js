// The board: whole pictures by server-sent events; the clocks between two pictures run here.
"use strict";
(() => {
  const board = document.getElementById("board"), link = document.getElementById("link");
  if (!board) return;
  const signer = board.dataset.signer === "yes";
  let picture = null, gotAt = 0, lostSince = null;

  const el = (name, kind, text) => {
    const made = document.createElement(name);
    if (kind) made.className = kind;
    if (text !== undefined) made.textContent = text;
    return made;
  };
  const clock = (ms) => {
    const s = Math.max(0, Math.ceil(ms / 1000)), two = (n) => String(n).padStart(2, "0");
    return s >= 3600 ? `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}` : `${Math.floor(s / 60)}:${two(s % 60)}`;
  };
  const verdicts = { complete: "Complete", incomplete: "Incomplete", stopped: "Stopped", left: "Left early" };

  const timer = (t, passed) => {
    const item = el("li", `clock k-${t.kind}`);
    const left = t.left_ms === null ? null : t.left_ms - passed;
    const dries = t.dries_ms === null || t.kind === "wetting" ? null : t.dries_ms - passed;
    const soon = t.rewet || (dries !== null && left !== null && dries < left && dries < 15000) || (t.kind === "wetting" && left < 15000) || (t.kind === "limit" && left < 30000);
    if (soon) item.classList.add("urgent");
    item.append(el("span", "", t.kind === "wait" ? "Wait" : t.name), el("b", "", left === null ? clock(t.since_ms + passed) : clock(left)));
    const told = t.kind === "wetting" ? "until it dries" : t.rewet ? "wet it again now" : dries !== null && left !== null && dries < left ? `of contact left, dries in ${clock(dries)}` : t.kind === "patch" ? "so far" : t.kind === "contact" ? "of contact left" : "left";
    item.append(el("span", "what", told));
    if (left !== null && t.total_ms > 0) {
      const bar = el("progress");
      bar.max = t.total_ms;
      bar.value = Math.min(t.total_ms, Math.max(0, t.total_ms - left));
      bar.setAttribute("aria-label", `${t.kind === "wait" ? "Wait" : t.name}: ${clock(left)} left`);
      item.append(bar);
    }
    return item;
  };

  const pair = (list, name, value, kind) => {
    const box = el("div");
    box.append(el("dt", "", name), el("dd", kind || "", value));
    list.append(box);
    return box;
  };

  const tile = (s, passed, alone) => {
    const box = el("article", `tile${alone ? " alone" : ""}${s.sealed ? " over" : ""}`);
    const top = el("div", "tile-top");
    top.append(el("h2", "", s.enclosure), el("p", "tile-who", `${s.kind === "live" ? "" : s.kind + " · "}${s.title} · ${s.person || s.technician}`));
    box.append(top);
    if (s.problem) box.append(el("p", "tile-mode tile-branch", s.problem));
    if (s.mode === undefined) return box;
    const mode = el("p", "tile-mode");
    if (s.branch) mode.append(el("span", "tile-branch", `${s.branch} · `));
    mode.append(s.sealed || s.verdict ? `Ended: ${verdicts[s.verdict] || "no verdict"}` : `${s.mode_text}${s.total ? ` · step ${Math.min(s.done + 1, s.total)} of ${s.total}` : ""}${s.deviations ? ` · ${s.deviations} deviation${s.deviations === 1 ? "" : "s"}` : ""}`);
    box.append(mode);
    if (!s.verdict) {
      box.append(el("p", "tile-step", s.step || s.said));
      // A limit that is still far away is not for a wall.
      const timers = s.timers.filter((t) => t.kind !== "limit" || t.left_ms - passed < 600000);
      if (timers.length) {
        const clocks = el("ul", "clocks");
        for (const t of timers) clocks.append(timer(t, passed));
        box.append(clocks);
      }
    }
    const row = el("dl", "tile-row");
    for (const o of s.openings) pair(row, o.name, o.since_ms === null ? o.at_text : `${o.at_text}, ${clock(o.since_ms + passed)}`, o.at === "open" ? "open" : "");
    pair(row, "Hands", s.hands);
    const last = s.words[s.words.length - 1];
    if (last) pair(row, "Last heard", `${last.word || "not a command"}${last.accepted ? "" : " (refused)"}, ${clock(last.ago_ms + passed)} ago`, last.accepted ? "" : "refused");
    box.append(row);
    if (s.witness && signer) {
      const go = el("a", "button primary", "Witness this step");
      go.href = `/board/witness/${s.session.split("/").map(encodeURIComponent).join("/")}`;
      box.append(go);
    } else if (s.witness) box.append(el("p", "tile-mode tile-branch", "Waiting for a witness"));
    return box;
  };

  const draw = () => {
    if (!picture) return;
    const passed = performance.now() - gotAt;
    const focused = document.activeElement && board.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    const tiles = picture.sessions.map((s) => tile(s, s.sealed ? 0 : passed, picture.sessions.length === 1));
    board.replaceChildren(...(tiles.length ? tiles : [el("p", "nothing", "No session is running.")]));
    if (focused) { const again = [...board.querySelectorAll("a")].find((a) => a.getAttribute("href") === focused); if (again) again.focus(); }
  };
  const take = (text, first) => {
    picture = JSON.parse(text);
    gotAt = performance.now();
    draw();
    board.dataset.version = String(picture.version);
    board.dataset.lines = String(picture.sessions.reduce((n, s) => n + s.lines, 0));
    if (!first) connected();
  };
  const connected = () => {
    lostSince = null;
    link.textContent = "Live";
    link.className = "link";
    board.classList.remove("stale");
  };
  const lost = () => {
    if (!lostSince) lostSince = new Date();
    link.textContent = `Connection lost at ${lostSince.toLocaleTimeString()}. What stands here may be old.`;
    link.className = "link lost";
    board.classList.add("stale");
  };

  take(board.dataset.first, true);
  let source = null, again = null;
  const open = () => {
    clearTimeout(again);
    source = new EventSource("/board/events");
    source.onmessage = (event) => take(event.data, false);
    source.onerror = () => {
      lost();
      // The browser tries again by itself unless the answer was no; then we do, more slowly.
      if (source.readyState === EventSource.CLOSED) again = setTimeout(open, 3000);
    };
    source.addEventListener("gone", () => { source.close(); location.assign("/sign-in?next=/board"); });
  };
  open();
  setInterval(draw, 500);
})();
