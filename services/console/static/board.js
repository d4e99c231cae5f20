// The board's own hands: pointing, dragging, zooming, keys. The server draws; here only what must follow the finger.
(() => {
  const HOUR = 3600000;
  const SHORTEST = HOUR;
  const LONGEST = 56 * 24 * HOUR;
  let pending = null; // a window asked for and not drawn yet
  let timer = 0;
  let drag = null;
  let pinch = null;
  let told = 0;

  const board = () => document.querySelector(".board");
  const plots = () => [...document.querySelectorAll(".board .plot")];
  const tell = (what) => window.emitEvent && window.emitEvent("board", what);
  const shown = () => {
    const one = board();
    return { start: Number(one.dataset.start), end: Number(one.dataset.end) };
  };
  const shareOf = (x) => {
    const box = plots()[0].getBoundingClientRect();
    return (x - box.left) / box.width;
  };

  // until the server has drawn the new window, the old drawing is stretched into it
  const stretch = (to) => {
    const from = shown();
    const scale = (from.end - from.start) / (to.end - to.start);
    const shift = ((from.start - to.start) / (to.end - to.start)) * 100;
    board().classList.add("turning");
    for (const svg of document.querySelectorAll(".board .plot svg")) {
      svg.style.transformOrigin = "0 0";
      svg.style.transform = `translateX(${shift}%) scaleX(${scale})`;
    }
  };
  const relax = () => {
    board().classList.remove("turning");
    for (const svg of document.querySelectorAll(".board .plot svg")) svg.style.transform = "";
  };
  const ask = (to) => {
    pending = to;
    stretch(to);
    clearTimeout(timer);
    timer = setTimeout(() => tell({ act: "window", start: Math.round(to.start), end: Math.round(to.end) }), 120);
  };
  const zoom = (factor, share) => {
    const from = pending || shown();
    const span = Math.min(LONGEST, Math.max(SHORTEST, (from.end - from.start) * factor));
    const fixed = from.start + (from.end - from.start) * share;
    ask({ start: fixed - span * share, end: fixed + span * (1 - share) });
  };
  const move = (share) => {
    const from = pending || shown();
    const by = (from.end - from.start) * share;
    ask({ start: from.start + by, end: from.end + by });
  };

  const onPlot = (event) => event.target.closest && event.target.closest(".board .plot, .board .axis");

  const clearLens = () => {
    for (const one of document.querySelectorAll(".lens, .lens-words, .lens-time")) one.remove();
  };
  const put = (into, cls, left, text) => {
    const one = document.createElement("div");
    one.className = cls;
    one.style.left = `${left}%`;
    if (text) one.textContent = text;
    if (cls === "lens-words" && left > 60) one.style.transform = "translateX(-100%)";
    into.append(one);
  };
  const minus = (text) => text.replace("-", "\u2212");
  const words = (trace, share) => {
    const count = trace.beer.length;
    const index = Math.min(count - 1, Math.max(0, Math.floor(share * count)));
    const beer = trace.beer[index];
    const wanted = trace.wanted[index];
    if (beer === null) return "nothing known";
    const off = wanted === null ? "" : `, wanted ${minus((wanted / 100).toFixed(1))}, ${beer >= wanted ? "+" : "\u2212"}${Math.abs((beer - wanted) / 100).toFixed(2)}`;
    return minus((beer / 100).toFixed(2)) + off;
  };
  const point = (share) => {
    clearLens();
    if (share < 0 || share > 1) return;
    const { start, end } = shown();
    const at = new Date(start + (end - start) * share);
    const zone = board().dataset.zone;
    const time = at.toLocaleString("en-GB", { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", timeZone: zone });
    const ticks = document.querySelector(".board .ticks");
    if (ticks) put(ticks, "lens-time", share * 100, time);
    for (const plot of plots()) {
      put(plot, "lens", share * 100);
      if (plot.dataset.trace) {
        plot.parsed = plot.parsed && plot.parsedFrom === plot.dataset.trace ? plot.parsed : JSON.parse(plot.dataset.trace);
        plot.parsedFrom = plot.dataset.trace;
        put(plot, "lens-words", share * 100, words(plot.parsed, share));
      }
    }
  };

  document.addEventListener("pointermove", (event) => {
    if (!board()) return;
    if (drag) {
      const box = plots()[0].getBoundingClientRect();
      const by = ((drag.x - event.clientX) / box.width) * (drag.window.end - drag.window.start);
      if (Math.abs(drag.x - event.clientX) > 4) {
        drag.moved = true;
        board().classList.add("dragging");
        clearLens();
        ask({ start: drag.window.start + by, end: drag.window.end + by });
      }
      return;
    }
    if (event.pointerType !== "touch" && onPlot(event)) point(shareOf(event.clientX));
    else if (event.pointerType !== "touch") clearLens();
  });
  document.addEventListener("pointerdown", (event) => {
    if (!board() || !onPlot(event) || event.button !== 0 || pinch) return;
    drag = { x: event.clientX, window: pending || shown(), moved: false, touch: event.pointerType === "touch" };
  });
  const letGo = (event) => {
    if (drag && !drag.moved && drag.touch) point(shareOf(event.clientX));
    drag = null;
    if (board()) board().classList.remove("dragging");
  };
  document.addEventListener("pointerup", letGo);
  document.addEventListener("pointercancel", () => {
    drag = null;
  });
  document.addEventListener(
    "wheel",
    (event) => {
      if (!board() || !onPlot(event) || !(event.ctrlKey || event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY))) return;
      event.preventDefault();
      if (event.ctrlKey) zoom(Math.exp(event.deltaY * 0.004), Math.min(1, Math.max(0, shareOf(event.clientX))));
      else move((event.deltaX || event.deltaY) / plots()[0].clientWidth);
    },
    { passive: false },
  );
  const spread = (touches) => Math.abs(touches[0].clientX - touches[1].clientX);
  document.addEventListener("touchstart", (event) => {
    if (event.touches.length !== 2 || !onPlot(event)) return;
    drag = null;
    pinch = { spread: spread(event.touches), window: pending || shown(), share: shareOf((event.touches[0].clientX + event.touches[1].clientX) / 2) };
  });
  document.addEventListener("touchmove", (event) => {
    if (!pinch || event.touches.length !== 2) return;
    const factor = pinch.spread / Math.max(20, spread(event.touches));
    const span = Math.min(LONGEST, Math.max(SHORTEST, (pinch.window.end - pinch.window.start) * factor));
    const fixed = pinch.window.start + (pinch.window.end - pinch.window.start) * pinch.share;
    ask({ start: fixed - span * pinch.share, end: fixed + span * (1 - pinch.share) });
  });
  document.addEventListener("touchend", (event) => {
    if (event.touches.length < 2) pinch = null;
  });
  const KEYS = {
    ArrowLeft: () => move(-0.1),
    ArrowRight: () => move(0.1),
    "+": () => zoom(0.6, 0.6),
    "=": () => zoom(0.6, 0.6),
    "-": () => zoom(1.6, 0.6),
    Home: () => tell({ act: "now" }),
  };
  document.addEventListener("keydown", (event) => {
    if (!event.target.closest || !event.target.closest(".board .axis") || !KEYS[event.key]) return;
    event.preventDefault();
    KEYS[event.key]();
  });
  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest(".board [data-act]");
    if (button) tell({ act: button.dataset.act, value: button.dataset.value });
  });

  // what the server has drawn anew
  const settle = () => {
    const one = board();
    if (!one) return;
    pending = null;
    clearLens();
    relax();
    const { start, end } = shown();
    for (const button of one.querySelectorAll('[data-act="span"]')) {
      button.setAttribute("aria-pressed", String(Math.abs(Number(button.dataset.value) - (end - start)) < 1000));
    }
  };
  const walk = () => {
    // the present moves on between two drawings
    const one = board();
    if (!one || !one.dataset.start || pending) return;
    const { start, end } = shown();
    const now = window.coldsideNow ? window.coldsideNow() : Date.now();
    if (now > start && now < end) one.style.setProperty("--now", `${(((now - start) / (end - start)) * 100).toFixed(3)}%`);
  };
  const measure = () => {
    const width = plots().length ? Math.round(plots()[0].clientWidth) : 0;
    if (width && Math.abs(width - told) > 20) {
      told = width;
      tell({ act: "width", value: width });
    }
  };
  const ready = () => {
    const one = board();
    if (!one || !one.querySelector(".plot svg") || !window.did_handshake) {
      requestAnimationFrame(ready);
      return;
    }
    settle();
    measure();
    requestAnimationFrame(() => {
      one.dataset.boardReady = "true";
    });
    new MutationObserver(settle).observe(one, { attributes: true, attributeFilter: ["data-start", "data-end"] });
    new ResizeObserver(measure).observe(one);
    setInterval(walk, 1000);
  };
  ready();
})();
