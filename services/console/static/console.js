// What every page does by itself: choices kept in cookies, figures that show their age, and a lost server that is told.
(() => {
  const STALE_AFTER_MS = 30000;
  const root = document.documentElement;
  let offset = 0; // server's clock minus this device's
  let lostSince = null;

  const keep = (name, value) => {
    document.cookie = `${name}=${value}; path=/; max-age=31536000; SameSite=Lax`;
  };

  document.addEventListener("change", (event) => {
    const choice = event.target.dataset && event.target.dataset.choice;
    if (!choice) return;
    if (choice === "theme") {
      keep("coldside_theme", event.target.value);
      window.coldsideTheme();
      const dark = { light: false, dark: true }[event.target.value];
      if (window.Quasar) window.Quasar.Dark.set(dark === undefined ? "auto" : dark);
      return;
    }
    const units = [...document.querySelectorAll('[data-choice^="unit-"]')].map((one) => one.value);
    keep("coldside_units", units.join("."));
    location.reload();
  });

  document.addEventListener("click", (event) => {
    const fold = event.target.closest && event.target.closest("[data-unfold]");
    if (!fold) return;
    const open = fold.getAttribute("aria-expanded") !== "true";
    fold.setAttribute("aria-expanded", String(open));
    document.getElementById(fold.dataset.unfold).classList.toggle("unfolded", open);
  });

  const words = (ms) => {
    const s = Math.round(ms / 1000);
    if (s < 120) return `${s} s old`;
    if (s < 7200) return `${Math.round(s / 60)} min old`;
    if (s < 172800) return `${Math.round(s / 3600)} h old`;
    return `${Math.round(s / 86400)} d old`;
  };

  const now = () => Date.now() + offset;

  const age = () => {
    const told = document.querySelector("[data-server-now]");
    if (told && told.dataset.serverNow !== told.dataset.taken) {
      offset = Number(told.dataset.serverNow) - Date.now();
      told.dataset.taken = told.dataset.serverNow;
    }
    for (const one of document.querySelectorAll("[data-at]")) {
      const ms = now() - Number(one.dataset.at);
      const stale = ms > Number(one.dataset.staleAfter || STALE_AFTER_MS);
      const look = one.closest("[data-figure]") || one;
      if (look.dataset.stale !== String(stale)) look.dataset.stale = String(stale);
      const says = one.querySelector(".age");
      const text = stale ? words(ms) : "";
      if (says && says.textContent !== text) says.textContent = text;
    }
  };

  const tellLoss = () => {
    const popup = document.getElementById("popup");
    const lost = popup && popup.getAttribute("aria-hidden") === "false";
    root.dataset.server = lost ? "lost" : "there";
    if (!lost) lostSince = null;
    else if (!lostSince) lostSince = new Date(now());
    for (const strip of document.querySelectorAll(".lost")) {
      const text = lost
        ? `This page has lost the console since ${lostSince.toTimeString().slice(0, 8)}: what you see is the last it heard. ` +
          "It tries again by itself."
        : "";
      if (strip.textContent !== text) strip.textContent = text;
      strip.hidden = !lost;
    }
  };

  const start = () => {
    const popup = document.getElementById("popup");
    if (popup) new MutationObserver(tellLoss).observe(popup, { attributes: true });
    window.addEventListener("offline", tellLoss);
    setInterval(() => {
      age();
      tellLoss();
    }, 1000);
    age();
  };
  window.coldsideNow = now;
  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", start);
  else start();
})();
