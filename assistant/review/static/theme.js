// Light, dark, or as the system says; remembered in this browser only. Runs before the first paint.
"use strict";
(() => {
  const root = document.documentElement;
  const kept = () => { try { return localStorage.getItem("theme") || "auto"; } catch { return "auto"; } };
  const put = (theme) => { if (theme === "auto") root.removeAttribute("data-theme"); else root.setAttribute("data-theme", theme); };
  put(kept());
  document.addEventListener("DOMContentLoaded", () => {
    const button = document.getElementById("theme");
    if (!button) return;
    const order = ["auto", "light", "dark"];
    const show = () => { button.textContent = "Theme: " + kept(); };
    button.hidden = false;
    show();
    button.addEventListener("click", () => {
      const next = order[(order.indexOf(kept()) + 1) % order.length];
      try { localStorage.setItem("theme", next); } catch { /* private window: it lasts for this page */ }
      put(next);
      show();
    });
  });
})();
