// Before anything is drawn: which theme. Runs in the head, so that nothing flashes.
(() => {
  const root = document.documentElement;
  const device = matchMedia("(prefers-color-scheme: dark)");
  const picked = () => (document.cookie.match(/(?:^|; )coldside_theme=(light|dark)/) || [])[1];
  const apply = () => {
    root.dataset.theme = picked() || (device.matches ? "dark" : "light");
  };
  device.addEventListener("change", apply);
  window.coldsideTheme = apply;
  root.lang = "en";
  apply();
})();
