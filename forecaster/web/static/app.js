/* Makes the pages quicker to use; every page works without it. Asks this server only. */
"use strict";
(() => {
  const body = document.body;
  const news = document.querySelector(".banner.news");
  let touched = false;
  document.addEventListener("input", () => { touched = true; });

  // A form is sent once, however often the button is pressed.
  document.addEventListener("submit", (event) => {
    if (event.target.dataset.sent) { event.preventDefault(); return; }
    event.target.dataset.sent = "yes";
    setTimeout(() => { delete event.target.dataset.sent; }, 5000);
  });
  window.addEventListener("pageshow", (event) => { if (event.persisted) { location.reload(); } });

  // Says when a new estimate is there; shows it at once where nobody is writing.
  const ask = async () => {
    let wait = 60000;
    try {
      const answer = await fetch("/data/state.json", { headers: { accept: "application/json" } });
      if (!answer.ok) { return; }
      const state = await answer.json();
      const pending = body.dataset.pending === "yes";
      const isNew = (state.state || "") !== body.dataset.state || (pending && !state.pending);
      if (isNew && !state.pending) {
        if (body.dataset.reload === "yes" && !touched) { location.reload(); return; }
        if (news) { news.hidden = false; }
        return;
      }
      wait = state.pending ? 1500 : 60000;
    } catch { /* no network: the page stays as it is */ }
    setTimeout(ask, wait);
  };
  if (body.dataset.state || body.dataset.pending === "yes") {
    setTimeout(ask, body.dataset.pending === "yes" ? 1000 : 60000);
  }
})();
